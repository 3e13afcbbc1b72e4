"""`partscreen read FILES`: how files were understood, before anything is judged."""

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import AsJson


def read(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILES", help="Text, .xlsx, .ods, .json or .parquet.", show_default=False),
    ],
    columns: Annotated[
        Path | None,
        typer.Option("--columns", metavar="MAP.toml", help="Column map to read with; saved: the one you saved."),
    ] = None,
    lots: Annotated[Path | None, typer.Option("--lots", metavar="LOTS.csv", help="Lot sheet, CSV or .xlsx.")] = None,
    save_columns: Annotated[
        Path | None,
        typer.Option("--save-columns", metavar="MAP.toml", help="Write the first file's columns as a column map."),
    ] = None,
    json: AsJson = False,
) -> None:
    """Show how files are understood: separator, decimal mark, columns and units, parts, and every problem."""
    from partscreen.errors import PartscreenError
    from partscreen.workflow import explain_files, saved_columns

    try:
        chosen = saved_columns(columns, files)
        text, problems = explain_files(files, columns=chosen, lots=lots, save_columns=save_columns, as_json=json)
    except PartscreenError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(3) from None
    if text:
        typer.echo(text)
    for problem in problems:
        typer.echo(str(problem), err=True)
    raise typer.Exit(3 if problems else 0)
