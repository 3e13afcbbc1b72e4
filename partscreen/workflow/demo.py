"""The whole job on the invented scenario."""

from __future__ import annotations

from pathlib import Path

from partscreen.workflow.options import Outcome, Progress, ScreenOptions
from partscreen.workflow.screening import screen_files
from partscreen.workflow.writing import write_outcome


def run_demo(out: Path, *, progress: Progress | None = None) -> tuple[Outcome, Path]:
    """The whole job on the invented scenario: files, result and report in `out`; gives outcome and report."""
    from partscreen.simulate.scenario import copy_demo_files

    files = copy_demo_files(out / "files")
    outcome = screen_files(files.readings, ScreenOptions(lots=files.lots, kit=files.kit), progress=progress)
    write_outcome(outcome, out=out, title="Demonstration: the bags of a small workshop", invented=True)
    return outcome, out / "report.html"
