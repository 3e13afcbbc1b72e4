"""A table to readings: which column is what, cells to SI figures, and every cell that could not be used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from partscreen.errors import Problem
from partscreen.quantities import QUANTITIES
from partscreen.readings.column_map import ColumnMap, absent_columns
from partscreen.readings.numbers import (
    COMMA,
    MIXED,
    POINT,
    UNKNOWN,
    BadCell,
    Numbers,
    decide_marks,
    evidence,
    read_numbers,
)
from partscreen.readings.recognise import COLUMN_KEYS, Recognised, recognise
from partscreen.readings.table_form import Table
from partscreen.readings.tables import Bools, Floats, Ints
from partscreen.readings.times import clock_seconds
from partscreen.readings.understanding import ColumnUnderstanding
from partscreen.readings.units import DoubtfulUnit, UnitReading, read_unit

_MARK_WORDS = {POINT: "point", COMMA: "comma", MIXED: "mixed"}
SHOWN_ROWS = 8  # rows listed in one message before "and n more"


@dataclass(frozen=True, slots=True)
class Use:
    """How one role is filled: from column `index` (-1: a constant for every row)."""

    role: str
    index: int
    unit: UnitReading | None = None
    sign: int = 1
    constant: float | str | None = None


@dataclass(slots=True)
class Interpreted:
    """A table in SI figures. `numbers` are signed as written; `bad` marks cells that were there and could not be used."""

    table: Table
    uses: dict[str, Use]
    row: Ints
    texts: dict[str, list[str]]
    numbers: dict[str, Floats]
    bad: dict[str, Bools]
    decimal: str
    mark: str
    columns: list[ColumnUnderstanding]
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)

    @property
    def n(self) -> int:
        """Rows of the body."""
        return len(self.row)


def interpret(table: Table, columns: ColumnMap | None) -> Interpreted:
    """Read every used column of a table. Never raises for content; problems are collected."""
    problems: list[Problem] = list(table.problems)
    notices: list[str] = []
    uses, shown = _plan_from_map(table, columns, problems) if columns else _plan(table, problems, notices)
    numeric = [use for use in uses.values() if use.role in COLUMN_KEYS and use.index >= 0]
    told = columns.decimal if columns else ""
    seen = [evidence(table.columns[use.index]) for use in numeric]
    value_use = uses.get("value")
    if value_use is not None and value_use.index >= 0:
        seen.append(evidence(table.columns[value_use.index]))
    marks = decide_marks(seen, table.delimiter, told)
    value_mark = marks[len(numeric)] if len(marks) > len(numeric) else MIXED
    out = Interpreted(
        table,
        uses,
        np.array(table.rows, dtype=np.int64),
        {use.role: _text_column(table, use) for use in uses.values() if use.role not in COLUMN_KEYS},
        {},
        {},
        _decimal_word(marks, [one.certain or one.open_comma or one.open_point for one in seen]),
        value_mark,
        shown,
        problems,
        notices,
    )
    for use, mark in zip(numeric, marks, strict=False):
        _read_column(out, use, mark)
    for use in uses.values():
        if use.role in COLUMN_KEYS and use.index < 0:
            _fill_constant(out, use)
    return out


def _decimal_word(marks: list[str], present: Sequence[object]) -> str:
    words = {_MARK_WORDS.get(mark, "cannot be told") for mark, there in zip(marks, present, strict=True) if there}
    return words.pop() if len(words) == 1 else ("mixed" if words else "")


def _text_column(table: Table, use: Use) -> list[str]:
    if use.index < 0:
        return [str(use.constant)] * len(table.rows)
    return [cell.strip() for cell in table.columns[use.index]]


def _plan(
    table: Table, problems: list[Problem], notices: list[str]
) -> tuple[dict[str, Use], list[ColumnUnderstanding]]:
    """Roles by header name and unit."""
    uses: dict[str, Use] = {}
    shown: list[ColumnUnderstanding] = []
    twice: set[str] = set()
    for index, header in enumerate(table.header):
        found = recognise(header) if header else None
        if found is None:
            remark = "no header" if not header else "not known; name it in a column map if it is needed"
            if header or any(table.columns[index] if index < len(table.columns) else ()):
                shown.append(ColumnUnderstanding(header, None, "", remark))
            continue
        if found.spot or found.doubt is not None:
            problems.append(_unusable_header(table, index, found))
            shown.append(ColumnUnderstanding(header, None, "", "cannot be used, see the problems"))
            continue
        if found.role in uses or found.role in twice:
            twice.add(found.role)
            first = uses.pop(found.role, None)
            other = f" and {table.header[first.index]!r}" if first is not None else ""
            what = f"columns {header!r}{other} both read as {found.role}"
            fix = "rename one of them, or say in a column map which is meant; neither was used"
            problems.append(Problem("COLUMN_TWICE", what, fix, table.file, table.header_row, table.column_label(index)))
            shown = [
                ColumnUnderstanding(c.header, None, "", "read as the same thing twice") if c.role == found.role else c
                for c in shown
            ]
            shown.append(ColumnUnderstanding(header, None, "", "read as the same thing twice"))
            continue
        unit = _unit_of(table, index, found, problems)
        if unit is not None and unit.notice:
            notices.append(f"column {header}: {unit.notice}")
        uses[found.role] = Use(found.role, index, unit)
        shown.append(ColumnUnderstanding(header, found.role, unit.name if unit else ""))
    return uses, shown


def _unusable_header(table: Table, index: int, found: Recognised) -> Problem:
    if found.doubt is not None:
        code, what, fix = found.doubt
        return Problem(code, what, fix, table.file, table.header_row, table.column_label(index))
    what = f"{QUANTITIES[found.role].words} as a column of its own is not read in a file of one row a reading"
    fix = "give it rows of its own: lot, part, quantity, value, unit, conditions"
    return Problem("SPOT_AS_COLUMN", what, fix, table.file, table.header_row, table.column_label(index))


def _unit_of(table: Table, index: int, found: Recognised, problems: list[Problem]) -> UnitReading | None:
    text = table.units[index] if table.unit_row else ""
    if not text or (found.role not in COLUMN_KEYS and found.role != "pulse"):
        return found.unit
    si_unit = "s" if found.role == "pulse" else QUANTITIES[found.role].unit
    label = table.column_label(index)
    try:
        below = read_unit(text, si_unit)
    except DoubtfulUnit as doubt:
        fix = "write the unit with its proper case, or name it in a column map"
        problems.append(Problem("AMBIGUOUS_UNIT", str(doubt), fix, table.file, table.unit_row, label))
        return UnitReading(np.nan, 0.0, text)
    except ValueError:
        what = f"{text!r} is no unit of {QUANTITIES[found.role].words if found.role in QUANTITIES else found.role}"
        problems.append(Problem("UNKNOWN_UNIT", what, "correct the unit row", table.file, table.unit_row, label))
        return UnitReading(np.nan, 0.0, text)
    if found.unit is not None and (found.unit.factor, found.unit.offset) != (below.factor, below.offset):
        what = f"the header says {found.unit.name}, the unit row says {below.name}"
        problems.append(Problem("UNIT_CONFLICT", what, "make the two agree", table.file, table.unit_row, label))
        return UnitReading(np.nan, 0.0, text)
    return below


def _plan_from_map(
    table: Table, columns: ColumnMap, problems: list[Problem]
) -> tuple[dict[str, Use], list[ColumnUnderstanding]]:
    absent = absent_columns(columns, table.header, table.file, table.header_row)
    problems.extend(absent)
    if absent:
        return {}, []
    place = {name.strip().strip('"'): index for index, name in reversed(list(enumerate(table.header)))}
    uses: dict[str, Use] = {}
    shown: list[ColumnUnderstanding] = []
    for role, entry in columns.entries.items():
        index = -1 if entry.column is None else place[entry.column.strip()]
        unit = entry.unit
        if unit is None and index >= 0 and (role in COLUMN_KEYS or role == "pulse"):
            own = recognise(table.header[index])
            found = own if own is not None and own.role == role and own.doubt is None else Recognised(role)
            unit = _unit_of(table, index, found, problems)
        uses[role] = Use(role, index, unit, entry.sign, entry.constant)
        remark = "sign turned" if entry.sign < 0 else ""
        header = table.header[index] if index >= 0 else ""
        shown.append(
            ColumnUnderstanding(
                header, role, unit.name if unit else "", remark, None if index >= 0 else entry.constant, entry.sign
            )
        )
    used = {use.index for use in uses.values()}
    shown += [
        ColumnUnderstanding(name, None, "", "not in the column map")
        for i, name in enumerate(table.header)
        if i not in used and name
    ]
    return uses, shown


def _read_column(out: Interpreted, use: Use, mark: str) -> None:
    quantity = QUANTITIES[use.role]
    cells = out.table.columns[use.index]
    read = read_numbers(cells, mark)
    if use.role == "time" and read.bad:
        seconds = clock_seconds(cells)
        if seconds is not None:
            out.numbers["time"], out.bad["time"] = seconds, np.zeros(out.n, dtype=np.bool_)
            return
    if mark == UNKNOWN and read.ambiguous:
        # The whole column waits: figures of one column are not read by two rules.
        read.values[:] = np.nan
        ambiguous = set(read.ambiguous)
        read.bad = [cell for cell in read.bad if cell.index in ambiguous]
    bad = list(read.bad)
    values = _to_si(out, use, read, bad)
    _check_sizes(use.role, quantity.low, quantity.high, values, bad)
    mask = np.zeros(out.n, dtype=np.bool_)
    if (mark == UNKNOWN and read.ambiguous) or (use.unit is not None and np.isnan(use.unit.factor)):
        mask[:] = True
    mask[[cell.index for cell in bad]] = True
    values[mask] = np.nan
    out.numbers[use.role], out.bad[use.role] = values, mask
    out.problems.extend(_grouped(out, use.index, bad))


def _to_si(out: Interpreted, use: Use, read: Numbers, bad: list[BadCell]) -> Floats:
    quantity = QUANTITIES[use.role]
    header = out.table.header[use.index]
    if use.unit is not None:
        values = read.values * use.unit.factor + use.unit.offset
    elif quantity.unit == "K":
        values = _bare_temperatures(out, header, read.values, bad)
    else:
        values = read.values.copy()
        if quantity.unit != "1" and not read.units:
            out.notices.append(f"column {header} has no unit: read as {quantity.unit}")
    for text, places in read.units.items():
        try:
            unit = read_unit(text, quantity.unit)
        except ValueError as error:
            code = "AMBIGUOUS_UNIT" if isinstance(error, DoubtfulUnit) else "UNKNOWN_UNIT"
            what = (
                str(error)
                if isinstance(error, DoubtfulUnit)
                else f"{text!r} after the figure is no unit of {quantity.words}"
            )
            bad.extend(BadCell(int(i), code, what, "correct the unit in the cell") for i in np.flatnonzero(places))
            continue
        values[places] = read.values[places] * unit.factor + unit.offset
        if unit.notice:
            out.notices.append(f"column {header}: {unit.notice}")
    return np.asarray(values * use.sign if quantity.unit != "K" else values, dtype=np.float64)


def _bare_temperatures(out: Interpreted, header: str, values: Floats, bad: list[BadCell]) -> Floats:
    """Temperatures without a unit: 200 to 500 can only be kelvin, below that only degrees Celsius (believable sizes)."""
    known = values[~np.isnan(values)]
    if known.size == 0:
        return values.copy()
    if np.all(known >= 200):
        out.notices.append(f"column {header} has no unit: figures from 200 up can only be kelvin")
        return values.copy()
    if np.all(known < 200):
        out.notices.append(f"column {header} has no unit: figures below 200 can only be degrees Celsius")
        return np.asarray(values + 273.15, dtype=np.float64)
    what = f"temperatures from {known.min():g} to {known.max():g} without a unit: kelvin or degrees Celsius"
    bad.extend(
        BadCell(int(i), "NO_UNIT", what, "state the unit in the header") for i in np.flatnonzero(~np.isnan(values))
    )
    return values.copy()


def _check_sizes(role: str, low: float, high: float, values: Floats, bad: list[BadCell]) -> None:
    quantity = QUANTITIES[role]
    if role == "hfe":
        for i in np.flatnonzero(values < 0):
            bad.append(
                BadCell(
                    int(i),
                    "NEGATIVE_HFE",
                    f"hFE of {values[i]:g}: a gain cannot be negative",
                    "correct the sign or read again",
                )
            )
        values[values < 0] = np.nan
    size = np.abs(values)
    with np.errstate(invalid="ignore"):
        wrong = (size > high) | ((size < low) & (size > 0))
    fix = "check the unit of the column and the decimal mark (figures 1000 times too large: milliamperes or millivolts without their unit)"
    for i in np.flatnonzero(wrong):
        what = f"{quantity.symbol} of {values[i]:g} {quantity.unit} is impossible (believable: {low:g} to {high:g})".replace(
            " 1 ", " "
        )
        bad.append(BadCell(int(i), "IMPOSSIBLE_SIZE", what, fix))


def _grouped(out: Interpreted, column: int, bad: list[BadCell]) -> list[Problem]:
    """One problem for each kind of bad cell in a column: the first in full, the rows of the others listed."""
    kinds: dict[str, list[BadCell]] = {}
    for cell in bad:
        if int(out.row[cell.index]) not in out.table.blocked:
            kinds.setdefault(cell.code, []).append(cell)
    return [bad_cell_problem(out, column, cells) for cells in kinds.values()]


def bad_cell_problem(out: Interpreted, column: int, cells: list[BadCell]) -> Problem:
    """One problem for several bad cells of one kind in one column."""
    cells = sorted(cells, key=lambda cell: cell.index)
    what = cells[0].what + also_in_rows([int(out.row[cell.index]) for cell in cells])
    parts = out.texts.get("part")
    lots = out.texts.get("lot")
    concerned = {parts[cell.index] for cell in cells} if parts else set()
    part = concerned.pop() if len(concerned) == 1 else None
    lot = lots[cells[0].index] if part and lots else None
    first = int(out.row[cells[0].index])
    return Problem(cells[0].code, what, cells[0].fix, out.table.file, first, out.table.column_label(column), part, lot)


def also_in_rows(rows: Sequence[int]) -> str:
    """ " (also rows 7, 9 and 12 more)" for all rows but the first; "" for one row."""
    rest = list(rows[1:])
    if not rest:
        return ""
    listed = ", ".join(map(str, rest[:SHOWN_ROWS]))
    more = f" and {len(rest) - SHOWN_ROWS} more" if len(rest) > SHOWN_ROWS else ""
    return f" (also row{'s' if len(rest) > 1 else ''} {listed}{more})"


def _fill_constant(out: Interpreted, use: Use) -> None:
    quantity = QUANTITIES[use.role]
    unit = use.unit or UnitReading(1.0, 0.0, "1")
    value = float(use.constant) * unit.factor + unit.offset if isinstance(use.constant, float) else np.nan
    value = value * use.sign if quantity.unit != "K" else value
    bad: list[BadCell] = []
    values = np.full(out.n, value)
    _check_sizes(use.role, quantity.low, quantity.high, values[:1], bad)
    if bad:
        out.problems.append(
            Problem(bad[0].code, f"constant of the column map: {bad[0].what}", bad[0].fix, out.table.file, 0, use.role)
        )
        values[:] = np.nan
    out.numbers[use.role], out.bad[use.role] = values, np.full(out.n, bool(bad))
