"""Lot sheets: one row a bag, as CSV or workbook; and the one-line form `--lot "A1 type=2SC5200 supplier=Birch"`."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import bare
from partscreen.readings.columns.recognise import close_names
from partscreen.readings.columns.table_form import Table
from partscreen.readings.forms.sources import open_tables
from partscreen.readings.tables import SEVERAL_TYPES, Lot

_FIELDS: dict[str, tuple[str, ...]] = {
    "lot": ("lot", "lotid", "lotno", "bag", "batch"),
    "supplier": ("supplier", "vendor", "seller"),
    "type": ("type", "typenumber", "partnumber", "device"),
    "maker": ("maker", "manufacturer", "brand"),
    "gain_group": ("gaingroup", "hfegroup", "rank", "group"),
    "code_on_parts": ("codeonparts", "datecode", "code", "lotcode"),
    "count": ("count", "quantity", "qty", "pieces", "number"),
    "known_good": ("knowngood",),
    "bought_on": ("boughton", "bought", "date"),
    "order": ("order", "orderno", "ordernumber"),
    "return_by": ("returnby",),
    "source_kind": ("sourcekind",),
    "price": ("price",),
    "currency": ("currency",),
    "kind": ("kind", "devicekind"),
    "files": ("files", "file"),
    "polarity": ("polarity",),
    "notes": ("notes", "note", "remarks"),
}
_BY_SPELLING = {spelling: name for name, spellings in _FIELDS.items() for spelling in spellings}
_OWN = ("lot", "supplier", "type", "maker", "gain_group", "count", "known_good")
_MOST_DIGITS = 9  # of a count of parts
_YES = frozenset(("yes", "y", "true", "1", "x", "ja", "oui", "si", "sim"))
_NO = frozenset(("no", "n", "false", "0", "", "-", "nein", "non", "nao"))


@dataclass(slots=True)
class LotSheet:
    """The lots of a sheet by name, with what was wrong with it."""

    lots: dict[str, Lot] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)


def read_yes_no(text: str) -> bool | None:
    """yes or no as people write it; None when it is neither."""
    lower = text.strip().lower()
    return True if lower in _YES else False if lower in _NO else None


def load_lot_sheet(path: str | Path) -> LotSheet:
    """Read a lot sheet. Problems are collected; rows that can be used are."""
    opened = open_tables(Path(path), _known)
    sheet = LotSheet(problems=list(opened.problems))
    for table in opened.tables:
        _read_table(table, sheet)
    return sheet


def _known(cells: list[str]) -> int:
    return len({_BY_SPELLING[bare(cell)] for cell in cells if bare(cell) in _BY_SPELLING})


def _read_table(table: Table, sheet: LotSheet) -> None:
    sheet.problems += [replace(problem) for problem in table.problems]
    names = [_BY_SPELLING.get(bare(header)) for header in table.header]
    if "lot" not in names:
        fix = f"add a column named lot; the sheet's columns: {', '.join(filter(None, table.header))}"
        sheet.problems.append(
            Problem("LOT_SHEET_NO_LOT", "the lot sheet has no column lot", fix, table.file, table.header_row)
        )
        return
    extra = [header for header, name in zip(table.header, names, strict=True) if name is None and header]
    if extra:
        sheet.notices.append(f"{table.file}: columns not used: {', '.join(extra)}")
    for place, row in enumerate(table.rows):
        cells = {name: table.columns[i][place].strip() for i, name in enumerate(names) if name is not None}
        if row in table.blocked:
            continue
        name = cells.pop("lot", "")
        if not name:
            fix = "name the lot in every row"
            sheet.problems.append(Problem("LOT_SHEET_NO_NAME", "the row names no lot", fix, table.file, row, "lot"))
        elif name in sheet.lots:
            said = cells.get("type") or None
            sheet.lots[name], twice = told_twice(sheet.lots[name], said, "stands in the sheet twice")
            sheet.problems.append(replace(twice, file=table.file, row=row, column="lot"))
        else:
            lot, problems = make_lot(name, cells, table.file, row)
            sheet.lots[name] = lot
            sheet.problems += problems


def told_twice(lot: Lot, said: str | None, where: str) -> tuple[Lot, Problem]:
    """A lot that is told a second time, of type `said`, and the problem: of two types neither is taken."""
    known = types_told(lot)
    if said is None or not known or any(same_type(said, one) for one in known):
        fix = "one row a lot: give the second bag another name; the first row was used"
        return lot, Problem("LOT_TWICE", f"lot {lot.name!r} {where}", fix, lot=lot.name)
    what = f"lot {lot.name!r} {where}, with types {' and '.join([*known, said])}"
    fix = "give the second bag another name; until then its parts are held as of no known type"
    return of_several_types(lot, [*known, said]), Problem("LOT_TWICE", what, fix, lot=lot.name)


def types_told(lot: Lot) -> list[str]:
    """The types a lot is said to be of; several where they contradict each other."""
    several = lot.extra.get(SEVERAL_TYPES)
    return several.split(", ") if several else [lot.type] if lot.type else []


def of_several_types(lot: Lot, types: Sequence[str]) -> Lot:
    """The lot without a type, and with the types that were told."""
    return replace(lot, type=None, extra={**lot.extra, SEVERAL_TYPES: ", ".join(types)})


def same_type(a: str, b: str) -> bool:
    """Whether two spellings may be one type: equal, or one is in the other (C5200 and 2SC5200, suffixes)."""
    one, other = bare(a), bare(b)
    return one in other or other in one


def make_lot(name: str, cells: dict[str, str], file: str = "", row: int = 0) -> tuple[Lot, list[Problem]]:
    """A lot from its cells by field name; what cannot be read is reported and left unknown."""
    problems: list[Problem] = []
    count: int | None = None
    text = cells.get("count", "")
    if text:
        if text.isdecimal() and len(text) <= _MOST_DIGITS and int(text) > 0:
            count = int(text)
        else:
            problems.append(
                Problem(
                    "LOT_COUNT",
                    f"count {text!r} is no number of parts",
                    "write a whole number above 0",
                    file,
                    row,
                    "count",
                    lot=name,
                )
            )
    good = read_yes_no(cells.get("known_good", ""))
    if good is None:
        what = f"known_good {cells['known_good']!r} is neither yes nor no"
        fix = "write yes or no; the lot was taken as not known good"
        problems.append(Problem("LOT_KNOWN_GOOD", what, fix, file, row, "known_good", lot=name))
    extra = {key: value for key, value in cells.items() if key not in _OWN and value}
    lot = Lot(
        name,
        cells.get("type") or None,
        cells.get("supplier") or None,
        cells.get("maker") or None,
        cells.get("gain_group") or None,
        bool(good),
        count,
        extra,
    )
    return lot, problems


def parse_lot_option(text: str) -> Lot:
    """One lot on one line: `A1 type=2SC5200 supplier="Birch Parts" known_good=yes`.

    Raises
    ------
    UnusableInput
        No name, an unknown field, or a field that cannot be read.
    """
    example = 'write it as "A1 type=2SC5200 supplier=Birch"'
    try:
        words = shlex.split(text)
    except ValueError as error:
        raise UnusableInput([Problem("LOT_OPTION", f"{text!r}: {error}", example)]) from error
    if not words or "=" in words[0]:
        raise UnusableInput([Problem("LOT_OPTION", f"{text!r} names no lot", example)])
    cells: dict[str, str] = {}
    problems: list[Problem] = []
    for word in words[1:]:
        key, equals, value = word.partition("=")
        name = _BY_SPELLING.get(bare(key))
        if not equals or name is None or name == "lot":
            fields = [k for k in _FIELDS if k != "lot"]
            hint = f"{example}; fields: {', '.join(close_names(key, fields) or fields)}"
            if not equals:
                quoted = """'"A 1" type=2SC5200 supplier="Birch Parts"'"""
                hint = f"write fields as key=value, and names of several words in quotes of their own: {quoted}"
            problems.append(Problem("LOT_OPTION", f"{word!r} is no field of a lot", hint, lot=words[0]))
        else:
            cells[name] = value
    lot, more = make_lot(words[0], cells)
    if problems or more:
        raise UnusableInput([*problems, *more])
    return lot
