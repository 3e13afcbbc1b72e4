"""Putting an entry of the bench book right, or a reading in a raw file; the old stays."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput
from partscreen.results.book import Recorded
from partscreen.workflow.book.common import Signed, opened, write
from partscreen.workflow.book.rescreen import laid_out

if TYPE_CHECKING:
    from partscreen.book.entries import PartKept, RunInputs, ScreeningKept
    from partscreen.book.facts import Facts
    from partscreen.book.store import Book
    from partscreen.readings.columns.table_form import Table


def correct_entry(
    entry: int, changes: Sequence[str], *, reason: str | None, signed: Signed, where: str | None = None
) -> Recorded:
    """Put an entry right that somebody typed: fields as FIELD=VALUE. The old entry stays.

    Raises
    ------
    UnusableInput
        No reason, a field that is none, a value that does not fit, or an entry that nobody types.
    """
    from partscreen.book.checks_typed import required
    from partscreen.book.corrections import entry_correction

    required({"--reason": reason})
    wrong = [text for text in changes if "=" not in text]
    if wrong:
        fix = "write FIELD=VALUE, say position=Q12; FIELD= alone takes the value away"
        raise UnusableInput([Problem("BOOK_FIELD", f"{text!r} changes nothing", fix, "FIELD=VALUE") for text in wrong])
    read = {name.strip(): value.strip() for name, _, value in (text.partition("=") for text in changes)}
    with opened(where) as (book, facts):
        draft = entry_correction(facts, entry, read, reason=reason or "", by=signed.by, on=signed.day)
        return write(book, [draft])


def correct_reading(
    file: str, row: int, column: str, value: str, *, sheet: str | None, reason: str | None, signed: Signed,
    where: str | None = None,
) -> Recorded:  # fmt: skip
    """Put one cell of a raw file right; `value` as it should have been typed. Judged again by `rescreen`.

    Raises
    ------
    UnusableInput
        No reason, or no such file, row or column in the book.
    """
    from partscreen.book.cells import find_cell
    from partscreen.book.checks_typed import required
    from partscreen.book.corrections import cells_now, find_file, reading_correction
    from partscreen.book.entries import ReadingCorrected

    required({"--reason": reason})
    with opened(where) as (book, facts):
        found = find_file(facts, file)
        lots = _lots_with(facts, found.kept.sha256)
        inputs = lots[-1].inputs
        with tempfile.TemporaryDirectory() as folder:
            tables = _tables(book, inputs, found.kept.sha256, Path(folder))
        place, was = find_cell(tables, found.kept.name, row, column, sheet)
        was = cells_now(facts, [found.kept.sha256])[0].get(found.kept.sha256, {}).get(place, was)
        cell = ReadingCorrected(
            file=found.kept.name, sha256=found.kept.sha256, row=row, column=place[2], sheet=place[0], was=was, now=value
        )  # fmt: skip
        keys = _owner(facts, lots, found.kept.sha256, row)
        draft = reading_correction(facts, found, cell, keys, reason=reason or "", by=signed.by, on=signed.day)
        names = sorted({one.lot for one in lots})
        note = "judged again by: " + "; ".join(f"partscreen book rescreen --lot {name}" for name in names)
        return write(book, [draft], notes=[note])


def _lots_with(facts: Facts, sha256: str) -> list[ScreeningKept]:
    from partscreen.book.entries import ScreeningKept

    found = [fact.of(ScreeningKept) for fact in facts.find("screening")]
    return [one for one in found if any(ref.sha256 == sha256 for ref in one.inputs.files)]


def _tables(book: Book, inputs: RunInputs, sha256: str, folder: Path) -> list[Table]:
    """The tables of a file as the run read them."""
    from partscreen.readings.import_files import read_files

    alone = inputs.model_copy(update={"files": [ref for ref in inputs.files if ref.sha256 == sha256]})
    files, options = laid_out(book, alone, {}, folder)
    seen: list[Table] = []

    def look(_: str, table: Table) -> Table:
        seen.append(table)
        return table

    read_files(files, column_map=options.columns, amend=look)
    return seen


def _owner(facts: Facts, lots: Sequence[ScreeningKept], sha256: str, row: int) -> dict[str, Any]:
    """The part a row of a file belongs to, as far as the kept readings tell; else the lot, where it is the only one."""
    from partscreen.book.entries import PartKept

    keys = {(one.supplier, one.lot): one for one in lots}
    for supplier, lot in keys:
        for fact in facts.find("part", lot=lot, supplier=supplier):
            part = fact.of(PartKept)
            if _has_row(part, sha256, row):
                return {"supplier": supplier, "lot": lot, "part": part.part, "type": part.type}
    if len(keys) == 1:
        one = next(iter(keys.values()))
        return {"supplier": one.supplier, "lot": one.lot, "type": one.type}
    return {}


def _has_row(part: PartKept, sha256: str, row: int) -> bool:
    at = [i for i, ref in enumerate(part.readings.files) if ref.sha256 == sha256]
    if not at:
        return False
    points = part.readings.points
    rows = zip(points.get("file", ()), points.get("row", ()), strict=True)
    return (at[0], row) in set(rows) or any((s["file"], s["row"]) == (at[0], row) for s in part.readings.spots)
