"""partscreen codes: what a code means, and what to do."""

from typing import Annotated

import typer

from partscreen.cli.options import AsJson


def codes(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="CODE", help="Codes as results and messages show them.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Say of each code what is said with it, what it means and what to do. Without CODE: the list.

    Exit codes: 0 done; 3 there is no such code; 2 usage.
    """
    from partscreen.workflow import tell_codes

    text, problems = tell_codes(tuple(names or ()), as_json=json)
    if text:
        typer.echo(text)
    for problem in problems:
        typer.echo(str(problem), err=True)
    raise typer.Exit(3 if problems else 0)
