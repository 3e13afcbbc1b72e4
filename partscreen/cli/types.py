"""partscreen types: what the library knows."""

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import AsJson, References


def types(
    name: Annotated[
        str | None, typer.Argument(metavar="TYPE", help="Type number, or what is printed on the part.")
    ] = None,
    validate: Annotated[
        Path | None, typer.Option("--validate", metavar="FILE.toml", help="Check a reference file.")
    ] = None,
    reference: References = None,
    new: Annotated[
        str | None, typer.Option("--new", metavar="TYPE", help="Copy a data sheet on paper into a reference file.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE.toml", help="With --new: the file to write; TYPE.toml if not.")
    ] = None,
    json: AsJson = False,
) -> None:
    """List the library, show one type with its sources, check a reference file, or make one.

    Exit codes: 0 done; 3 something cannot be used, or the questions were not answered to the end; 2 usage.
    """
    from partscreen.errors import PartscreenError
    from partscreen.workflow import describe_type, tell_types

    if new is not None and (name is not None or validate is not None or json):
        raise typer.BadParameter("--new goes with --out alone")
    if out is not None and new is None:
        raise typer.BadParameter("--out says where --new writes; add --new TYPE")
    try:
        if new is not None:
            from partscreen.cli.terminal import Prompted

            validate = describe_type(Prompted(), new, out)
            if validate is None:
                typer.echo("stopped; the answers are kept, and the same command goes on", err=True)
                raise typer.Exit(3)
        text, problems = tell_types(name, validate=validate, references=tuple(reference or ()), as_json=json)
    except PartscreenError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(3) from None
    typer.echo(text)
    for problem in problems:
        typer.echo(str(problem), err=True)
    raise typer.Exit(3 if problems else 0)
