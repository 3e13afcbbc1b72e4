"""Date codes of single parts: a column `date_code`, or the lot sheet's `code_on_parts` as `9914=T1-T12; 0231=T13`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from partscreen.errors import Problem
from partscreen.readings.rows.lot_files import read_range

if TYPE_CHECKING:
    from partscreen.readings.columns.interpret import Interpreted
    from partscreen.readings.rows.builder import Builder
    from partscreen.readings.rows.file_draft import FileDraft
    from partscreen.readings.tables import Ints, Lot


def plain_code(text: str) -> str:
    """A code without outer and double spaces, in capitals: what stands on two parts alike is one code."""
    return " ".join(text.split()).upper()


def note_date_codes(builder: Builder, draft: FileDraft, data: Interpreted, codes: Ints) -> None:
    """Remember the date code of every part of a table. `codes` (n,): part numbers, -1 nobody's. Two codes on one part
    are a problem, and the first one holds."""
    told: set[int] = set()
    for part, row, text in zip(codes.tolist(), data.row.tolist(), data.texts.get("date_code", ()), strict=False):
        code = plain_code(text)
        if part < 0 or not code:
            continue
        first = builder.date_codes.setdefault(part, code)
        if first != code and part not in told:
            told.add(part)
            lot, name = list(builder.parts)[part]
            what = f"part {name} of lot {lot} has two date codes: {first} and {code}"
            fix = "correct the one that is wrong; the first was taken"
            draft.problems.append(Problem("DATE_CODE_TWICE", what, fix, draft.name, row, "date_code", name, lot))


def codes_of_sheet(lot: Lot) -> Iterator[tuple[str, str]]:
    """(part, code) of a lot sheet's entry such as `9914=T1-T12; 0231=T13, T14`; nothing where one code is for all."""
    for piece in filter(None, map(str.strip, lot.extra.get("code_on_parts", "").split(";"))):
        code, equals, parts = piece.partition("=")
        if not equals:
            continue
        for name in filter(None, map(str.strip, parts.split(","))):
            found = read_range(name)
            for part in found.parts if found is not None else (name,):
                yield part, plain_code(code)


def settled_codes(builder: Builder) -> dict[int, str]:
    """Date codes by part number: those of the rows, else those of the lot sheet."""
    out = dict(builder.date_codes)
    for name, lot in builder.lot_rows.items():
        unknown = []
        for part, code in codes_of_sheet(lot):
            number = builder.parts.get((name, part))
            if number is None:
                unknown.append(part)
            else:
                out.setdefault(number, code)
        if unknown and name in builder.lots:
            few = ", ".join(unknown[:6]) + (f" and {len(unknown) - 6} more" if len(unknown) > 6 else "")
            builder.notices.append(f"lot {name}: code_on_parts names parts without readings: {few}")
    return dict(sorted(out.items()))
