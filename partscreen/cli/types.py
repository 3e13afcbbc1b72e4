"""partscreen types: what the library knows."""

from pathlib import Path
from typing import Annotated

import typer


def types(
    name: Annotated[
        str | None, typer.Argument(metavar="TYPE", help="Type number, or what is printed on the part.")
    ] = None,
    validate: Annotated[
        Path | None, typer.Option("--validate", metavar="FILE.toml", help="Check a reference file.")
    ] = None,
    reference: Annotated[
        list[Path] | None,
        typer.Option("--reference", metavar="FILE.toml", help="Reference files that take precedence."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Write JSON to stdout.")] = False,
) -> None:
    """List the library, show one type with its sources, or check a reference file."""
    from partscreen.errors import PartscreenError
    from partscreen.workflow import tell_types

    try:
        text, problems = tell_types(name, validate=validate, references=tuple(reference or ()), as_json=json)
    except PartscreenError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(3) from None
    typer.echo(text)
    for problem in problems:
        typer.echo(str(problem), err=True)
    raise typer.Exit(3 if problems else 0)
