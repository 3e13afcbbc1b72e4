"""Write the result of a run: report, JSON, table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import not_writable
from partscreen.whole_files import write_whole

if TYPE_CHECKING:
    from partscreen.workflow.options import Outcome


def write_outcome(
    outcome: Outcome,
    *,
    out: Path | None = None,
    json_out: Path | str | None = None,
    table: Path | None = None,
    title: str = "Screening of power transistors",
    invented: bool = False,
    brief: bool = False,
) -> list[Path]:
    """Write what was asked for: `out` gets report.html, result.json and parts.csv; returns the paths written.

    Raises
    ------
    UnusableInput
        A place cannot be written to.
    """
    from partscreen.report.html import render_report
    from partscreen.report.table import write_table

    written: list[Path] = []
    try:
        if out is not None:
            out.mkdir(parents=True, exist_ok=True)
            if outcome.report is not None:
                page = render_report(outcome.screening, outcome.report, title=title, invented=invented)
                written.append(_write(out / "report.html", page))
            written.append(_write(out / "result.json", outcome.json_text(brief=brief)))
            write_table(outcome.screening, out / "parts.csv")
            written.append(out / "parts.csv")
        if json_out is not None:
            written.append(_write(Path(json_out), outcome.json_text(brief=brief)))
        if table is not None:
            write_table(outcome.screening, table)
            written.append(table)
    except OSError as error:
        raise not_writable(error, error.filename or "") from error
    return written


def _write(path: Path, text: str) -> Path:
    return write_whole(path, text)
