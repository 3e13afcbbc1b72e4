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
    """Run the whole job on invented data and say where the report lies."""
    from partscreen.cli.show import progress_line, show_screening
    from partscreen.workflow import run_demo

    outcome, report = run_demo(out, progress=progress_line())
    show_screening(outcome.screening, invented=True)
    typer.echo(f"\nReport, to open in a browser: {report.resolve()}")
