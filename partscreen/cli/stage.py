"""partscreen stage: will the output stage bear these parts?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import JsonFile, References


def stage(
    stage_file: Annotated[Path, typer.Argument(metavar="STAGE.toml", help="The output stage, described in a file.")],
    results: Annotated[
        list[Path] | None, typer.Argument(metavar="RESULT.json", help="Results of screen: the parts to be fitted.")
    ] = None,
    reference: References = None,
    match: Annotated[
        Path | None,
        typer.Option("--match", metavar="MATCH.json", help="Result of match: its parts go into the places."),
    ] = None,
    set_number: Annotated[
        int | None, typer.Option("--set", min=1, help="Which set of the match; the first that fits if not given.")
    ] = None,
    json: JsonFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for a page with the checks and figures.")
    ] = None,
    figures: Annotated[
        Path | None,
        typer.Option("--figures", metavar="DIR", help="Draw every figure into this folder, as SVG, PNG and PDF."),
    ] = None,
) -> None:
    """Check an output stage: safe area, heat, drive, bias, fuses.

    Exit codes: 0 all ok; 3 a file could not be used; 4 something is not ok; 5 something is marginal or not known.
    """
    from partscreen.cli.show import exit_with, say, say_drawn
    from partscreen.cli.show_stage import show_stage, write_json
    from partscreen.errors import PartscreenError
    from partscreen.workflow import check_stage, draw_figures, write_stage
    from partscreen.workflow.after.stage import EXIT_OF

    try:
        result = check_stage(
            stage_file, tuple(results or ()), references=tuple(reference or ()), match=match, set_number=set_number
        )
        if out is not None:
            say(f"written: {write_stage(result, out)}")
        if figures is not None:
            say_drawn(draw_figures(result, figures))
        if json is not None:
            write_json(result.model_dump_json(by_alias=True, indent=1), json)
    except (PartscreenError, OSError) as error:
        exit_with(3, error)
    if json != "-":
        show_stage(result)
    raise typer.Exit(EXIT_OF[result.worst])
