"""`partscreen demo`: the whole job on the invented scenario."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    out: Annotated[Path, typer.Option("--out", help="Folder for the demo's files, result and report.")] = Path(
        "demo_report"
    ),
) -> None:
    """Run the whole job on invented data, from the bags to the power-up cards, and say where the report lies."""
    from partscreen.cli.show import progress_line, show_screening
    from partscreen.workflow import run_demo
    from partscreen.workflow.demo import FITTING_FILES

    outcome, report = run_demo(out, progress=progress_line())
    show_screening(outcome.screening, invented=True)
    typer.echo("\nFitting the accepted parts of lots A1 and A2, in the same folder:")
    for name, words in FITTING_FILES.items():
        typer.echo(f"  {name}: {words}")
    typer.echo(f"\nReport, to open in a browser: {report.resolve()}")
