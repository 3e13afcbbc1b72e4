"""One row a part, for spreadsheets."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from partscreen.results import LotResult, PartResult, Screening
from partscreen.whole_files import write_whole

COLUMNS = (
    "lot",
    "part",
    "type",
    "supplier",
    "disposition",
    "status",
    "reason",
    "sentence",
    "evidence",
    "probability_unfit",
    "area_ratio",
    "reach",
    "chi_square",
    "chi_square_dof",
    "chi_square_p",
    "limits_failed",
    "limits_undecided",
    "limits_not_reached",
    "quality_notes",
    "next_measurement",
)  # fmt: skip


def table_rows(screening: Screening) -> list[dict[str, Any]]:
    """One dict a part with the keys of `COLUMNS`; unknown is None. Rows that belong to no lot come last."""
    rows = [_row(lot, part) for lot in screening.lots for part in lot.parts]
    for left in screening.not_judged:
        row: dict[str, Any] = dict.fromkeys(COLUMNS)
        rows.append(row | {"lot": left.lot, "part": left.part, "status": "not_judged", "sentence": left.why})
    return rows


def _row(lot: LotResult, part: PartResult) -> dict[str, Any]:
    chi = part.fit.chi_square if part.fit else None
    first = part.reasons[0] if part.reasons else None
    return {
        "lot": lot.lot,
        "part": part.part,
        "type": lot.type,
        "supplier": lot.supplier,
        "disposition": part.disposition,
        "status": part.status,
        "reason": first.code if first else None,
        "sentence": first.sentence if first else None,
        "evidence": part.evidence,
        "probability_unfit": part.probability_unfit,
        "area_ratio": part.area_ratio.value if part.area_ratio else None,
        "reach": part.reach,
        "chi_square": chi.value if chi else None,
        "chi_square_dof": chi.dof if chi else None,
        "chi_square_p": chi.p if chi else None,
        "limits_failed": sum(row.decision == "nonconforming" for row in part.limits),
        "limits_undecided": sum(row.decision == "undecided" and row.reached != "not_reached" for row in part.limits),
        "limits_not_reached": sum(row.reached == "not_reached" for row in part.limits),
        "quality_notes": " ".join(dict.fromkeys(note.code for note in part.quality)) or None,
        "next_measurement": part.next_measurement.reading if part.next_measurement else None,
    }


def write_table(screening: Screening, path: str | Path) -> None:
    """Write the table as UTF-8 CSV with a byte order mark, so that spreadsheets read the letters right.

    Text that a spreadsheet would take for a formula gets an apostrophe in front; numbers are written in full.
    """
    sink = io.StringIO(newline="")
    writer = csv.DictWriter(sink, COLUMNS)
    writer.writeheader()
    writer.writerows({key: plain_cell(value) for key, value in row.items()} for row in table_rows(screening))
    write_whole(path, sink.getvalue().encode("utf-8-sig"))


def plain_cell(value: Any) -> Any:
    """A cell that a spreadsheet takes for what it is: no formula, no zero byte; unknown is empty."""
    if isinstance(value, str):
        value = value.replace("\0", "\N{REPLACEMENT CHARACTER}")
        return "'" + value if value.lstrip(" ")[:1] in {"=", "+", "-", "@", "\t", "\r", "\n"} else value
    return "" if value is None else value
