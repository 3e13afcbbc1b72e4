"""Date codes of single parts: a column `date_code`, or the lot sheet's `code_on_parts` as `9914=T1-T12; 0231=T13`."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from typing import TYPE_CHECKING

from partscreen.readings.rows.lot_files import read_range

if TYPE_CHECKING:
    from partscreen.readings.tables import Lot


def plain_code(text: str) -> str:
    """A code without outer and double spaces, in capitals: what stands on two parts alike is one code."""
    return " ".join(text.split()).upper()


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


def settled_codes(
    of_rows: Mapping[int, str],
    lot_rows: Mapping[str, Lot],
    parts: Mapping[tuple[str, str], int],
    lots: Container[str],
) -> tuple[dict[int, str], list[str]]:
    """Date codes by part number: those of the rows, else those of the lot sheet; and notices of names without a part.

    Parameters
    ----------
    of_rows : date code by part number, as rows told them
    lot_rows : lots of the sheet by name
    parts : part number by (lot, part)
    lots : names of the lots that have readings
    """
    out, notices = dict(of_rows), []
    for name, lot in lot_rows.items():
        unknown = []
        for part, code in codes_of_sheet(lot):
            number = parts.get((name, part))
            if number is None:
                unknown.append(part)
            else:
                out.setdefault(number, code)
        if unknown and name in lots:
            few = ", ".join(unknown[:6]) + (f" and {len(unknown) - 6} more" if len(unknown) > 6 else "")
            notices.append(f"lot {name}: code_on_parts names parts without readings: {few}")
    return dict(sorted(out.items())), notices
