"""One row a lot for stock systems: plain CSV, the same columns in every version; new ones are added at the end."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any, TextIO

from partscreen.report.table import plain_cell
from partscreen.results import InputFile, LotResult, PartResult, Screening
from partscreen.whole_files import write_whole

STOCK_COLUMNS = (
    "date", "lot", "date_codes", "type", "supplier", "maker", "order", "parts", "accepted", "held", "rejected",
    "not_usable", "judgement", "quarantine", "files", "sha256", "program",
)  # fmt: skip
"""`sha256`: of the file of readings; of several files: of their hashes, sorted, one a line."""


def stock_rows(screening: Screening, on: date) -> list[dict[str, Any]]:
    """One dict a lot with the keys of `STOCK_COLUMNS`, one a sub-lot where a lot has several date codes.

    Lots that are not covered come last, with `judgement` "not_covered". Numbers of rows add up to all parts.
    """
    files = {one.file: one for one in screening.inputs}
    rows = [row for lot in screening.lots for row in _rows(lot, files, screening.version, on)]
    return rows + list(_not_covered(screening, on))


def _rows(lot: LotResult, files: dict[str, InputFile], program: str, on: date) -> Iterator[dict[str, Any]]:
    place = next((r.figures.get("place") for r in lot.reasons if r.code == "IN_QUARANTINE"), None)
    whole: dict[str, Any] = {
        "date": on.isoformat(), "lot": lot.lot, "date_codes": None, "type": lot.type, "supplier": lot.supplier,
        "maker": lot.sheet.get("maker"), "order": lot.sheet.get("order"), "quarantine": place,
        "files": " ".join(lot.files) or None, "sha256": _hash([files[f] for f in lot.files if f in files]),
        "program": program,
    }  # fmt: skip
    if not lot.sub_lots:
        yield {**whole, **_counts(lot.parts), "judgement": lot.judgement}
    for sub in lot.sub_lots:
        mine = set(sub.parts)
        parts = [part for part in lot.parts if part.part in mine]
        yield {**whole, **_counts(parts), "date_codes": " ".join(sub.codes), "judgement": sub.judgement}


def _counts(parts: list[PartResult]) -> dict[str, int]:
    names = {"accepted": "accept", "held": "hold", "rejected": "reject", "not_usable": None}
    counted = {column: sum(part.disposition == word for part in parts) for column, word in names.items()}
    return {"parts": len(parts), **counted}


def _hash(files: list[InputFile]) -> str | None:
    hashes = sorted(one.sha256 for one in files if one.sha256)
    if len(hashes) < 2:
        return hashes[0] if hashes else None
    return hashlib.sha256("".join(f"{one}\n" for one in hashes).encode("ascii")).hexdigest()


def _not_covered(screening: Screening, on: date) -> Iterator[dict[str, Any]]:
    rows = [row for row in screening.not_judged if row.code == "NOT_COVERED"]
    for lot, row in {row.lot: row for row in rows}.items():
        nothing = {"accepted": 0, "held": 0, "rejected": 0, "not_usable": 0}
        told: dict[str, Any] = {
            "date": on.isoformat(), "lot": lot, "type": row.type, "supplier": row.supplier,
            "parts": sum(one.lot == lot for one in rows), "judgement": "not_covered", "program": screening.version,
        }  # fmt: skip
        yield {**dict.fromkeys(STOCK_COLUMNS), **nothing, **told}


def write_stock(screening: Screening, path: Path, on: date, *, append: bool = False) -> None:
    """Write the table as UTF-8 CSV (RFC 4180); `append`: rows are added to a file that is there, under its header.

    Text that a spreadsheet would take for a formula gets an apostrophe in front.

    Raises
    ------
    ValueError
        A file to be added to has other columns.
    OSError
        It cannot be written.
    """
    before = path.read_bytes().decode() if append and path.exists() else ""
    if before and next(csv.reader(io.StringIO(before, newline="")), []) != list(STOCK_COLUMNS):
        raise ValueError(f"{path.name} has other columns")
    sink = io.StringIO(newline="")
    _write_rows(sink, screening, on, headed=not before)
    write_whole(path, before + sink.getvalue())


def stock_text(screening: Screening, on: date) -> str:
    """The table as text, its header first."""
    sink = io.StringIO(newline="")
    _write_rows(sink, screening, on, headed=True)
    return sink.getvalue()


def _write_rows(sink: TextIO, screening: Screening, on: date, *, headed: bool) -> None:
    writer = csv.DictWriter(sink, STOCK_COLUMNS)
    if headed:
        writer.writeheader()
    writer.writerows({k: plain_cell(v) for k, v in row.items()} for row in stock_rows(screening, on))
