"""The worked sheet of docs/sheet.md: 20 invented parts, filled in by a script.

`python -m tests.docs.filled_sheet` makes its files again.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

from partscreen.report.papers.form import Sheet, headers, lot_row, table
from partscreen.report.papers.form_columns import form_of
from partscreen.workflow.settings import load_library
from tests.report.papers_filled import fill

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "examples" / "sheet"
LABEL = "# Invented data: made by a simulator. No real part, supplier or person is described."


def files() -> dict[str, str]:
    """Name and text of the filled sheet and of its lot sheet."""
    names = tuple(f"A1-T{i:04d}" for i in range(1, 21))
    sheet = Sheet("A1", "2SC5200", names, form_of(load_library(()).find("2SC5200").type, None), supplier="Birch")
    sink = io.StringIO()
    header = headers(sheet)
    csv.writer(sink, lineterminator="\n").writerows([header, *fill(header, table(sheet))])
    told = [
        ("count", "24"), ("bought_on", "2026-11-09"), ("order", "PO-4711 (invented)"), ("return_by", "2026-12-09"),
        ("source_kind", "marketplace"), ("price", "4.20"), ("currency", "EUR"),
        ("notes", "listing: 24 pieces 2SC5200, new"),
    ]  # fmt: skip
    return {"A1.csv": f"{LABEL}\n{sink.getvalue()}", "A1_lot.csv": f"{LABEL}\n{lot_row(sheet, told)}"}


def write(folder: Path = FOLDER) -> list[Path]:
    """Write the files and say where."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in files()]


if __name__ == "__main__":
    write()
