"""A table to readings: which column is what, cells to SI figures, and every cell that could not be used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from partscreen.errors import Problem
from partscreen.quantities import QUANTITIES
from partscreen.readings.columns.column_map import ColumnMap
from partscreen.readings.columns.numbers import (
    COMMA,
    FORMULA_FIX,
    MIXED,
    POINT,
    UNKNOWN,
    BadCell,
    Evidence,
    Numbers,
    decide_marks,
    evidence,
    read_numbers,
)
from partscreen.readings.columns.plan import Use, plan, plan_from_map
from partscreen.readings.columns.recognise import COLUMN_KEYS
from partscreen.readings.columns.table_form import WORKBOOK, Table, letters
from partscreen.readings.columns.times import clock_seconds
from partscreen.readings.columns.understanding import ColumnUnderstanding
from partscreen.readings.columns.units import DoubtfulUnit, UnitReading, read_unit
from partscreen.readings.columns.wide_header import WideColumn
from partscreen.readings.tables import Bools, Floats, Ints

_MARK_WORDS = {POINT: "point", COMMA: "comma", MIXED: "mixed"}
SHOWN_ROWS = 8  # rows listed in one message before "and n more"


@dataclass(slots=True)
class Interpreted:
    """A table in SI figures. `numbers` are signed as written; `bad` marks cells that could not be used."""

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
    wide: list[WideColumn] = field(default_factory=list)
    wide_marks: list[str] = field(default_factory=list)  # decimal mark of each

    @property
    def has_points(self) -> bool:
        """Whether the rows hold points of sweeps in columns of their own."""
        return any(key in self.numbers for key in ("ic", "ib", "vbe", "hfe", "vce_sat"))

    @property
    def n(self) -> int:
        """Rows of the body."""
        return len(self.row)


def interpret(table: Table, columns: ColumnMap | None) -> Interpreted:
    """Read every used column of a table. Never raises for content; problems are collected."""
    problems: list[Problem] = list(table.problems)
    notices: list[str] = list(table.notes)
    planned = (
        plan_from_map(table, columns, problems, notices)
        if columns and columns.entries
        else plan(table, problems, notices)
    )
    uses, wide, shown = planned
    numeric = [use for use in uses.values() if use.role in COLUMN_KEYS and use.index >= 0]
    told = columns.decimal if columns else ""
    seen = [evidence(table.columns[use.index], table.encoding == WORKBOOK) for use in numeric]
    value_use = uses.get("value")
    if value_use is not None and value_use.index >= 0:
        seen.append(evidence(table.columns[value_use.index], table.encoding == WORKBOOK))
    n_long = len(seen)
    seen += [evidence(table.columns[column.index], table.encoding == WORKBOOK) for column in wide]
    marks = decide_marks(seen, table.delimiter, told)
    value_mark = marks[len(numeric)] if n_long > len(numeric) else MIXED
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
        wide,
        marks[n_long:],
    )
    _refuse_formulas(out)
    # The gain comes last: where IC/IB says the same, its size is no slip of unit or decimal mark.
    _say_decided_elsewhere(out, numeric, seen, marks)
    for use, mark in sorted(zip(numeric, marks, strict=False), key=lambda pair: pair[0].role == "hfe"):
        _read_column(out, use, mark)
    for use in uses.values():
        if use.role in COLUMN_KEYS and use.index < 0:
            _fill_constant(out, use)
    return out


def _refuse_formulas(out: Interpreted) -> None:
    """Formulas without a stored value in columns of words (those of figures are told where figures are read)."""
    for role, cells in out.texts.items():
        index = out.uses[role].index
        at = [i for i, cell in enumerate(cells) if cell.startswith("=")] if role != "value" and index >= 0 else []
        if at:
            what = f"{cells[at[0]]!r} is a formula without a stored value"
            found = [BadCell(i, "FORMULA_NO_VALUE", what, FORMULA_FIX) for i in at]
            out.problems.append(bad_cell_problem(out, index, found))
        for i in at:
            cells[i] = ""


def _say_decided_elsewhere(out: Interpreted, numeric: list[Use], seen: list[Evidence], marks: list[str]) -> None:
    """Name the columns whose own figures leave two readings and that other evidence decided."""
    for use, column, mark in zip(numeric, seen, marks, strict=False):
        if column.certain or not (column.open_comma or column.open_point) or mark == UNKNOWN:
            continue
        if mark == POINT and column.open_point and not column.open_comma and not any(one.certain for one in seen):
            continue  # a decimal point is the plain reading
        header = out.table.header[use.index]
        out.notices.append(
            f"column {header}: its figures alone leave two readings; the rest of the file shows a decimal "
            f"{_MARK_WORDS[mark]}"
        )


def _decimal_word(marks: list[str], present: Sequence[object]) -> str:
    words = {_MARK_WORDS.get(mark, "cannot be told") for mark, there in zip(marks, present, strict=True) if there}
    return words.pop() if len(words) == 1 else ("mixed" if words else "")


def _text_column(table: Table, use: Use) -> list[str]:
    if use.index < 0:
        return [str(use.constant)] * len(table.rows)
    return [cell.strip() for cell in table.columns[use.index]]


def _read_column(out: Interpreted, use: Use, mark: str) -> None:
    quantity = QUANTITIES[use.role]
    cells = out.table.columns[use.index]
    if use.role == "time" and any(":" in cell for cell in cells):
        seconds = clock_seconds(cells)
        if seconds is not None:
            out.numbers["time"], out.bad["time"] = seconds, np.zeros(out.n, dtype=np.bool_)
            return
    read = read_numbers(cells, mark)
    if mark == UNKNOWN and read.ambiguous:
        # The whole column waits: figures of one column are not read by two rules.
        read.values[:] = np.nan
        ambiguous = set(read.ambiguous)
        read.bad = [cell for cell in read.bad if cell.index in ambiguous]
    bad = list(read.bad)
    values = _to_si(out, use, read, bad)
    values[[cell.index for cell in bad]] = np.nan
    checked = values
    if use.role == "hfe" and "ic" in out.numbers and "ib" in out.numbers:
        with np.errstate(divide="ignore", invalid="ignore"):
            worked = out.numbers["ic"] / out.numbers["ib"]
            checked = np.where(np.abs(values - worked) <= 0.02 * np.abs(worked), 1.0, values)
    _check_sizes(use.role, quantity.low, quantity.high, checked, bad)
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
    """Temperatures without a unit: from 200 up they can only be kelvin, below only degrees Celsius."""
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
    fix = "check unit and decimal mark; 1000 times too large often means milliamperes or millivolts without their unit"
    for i in np.flatnonzero(wrong):
        unit = "" if quantity.unit == "1" else f" {quantity.unit}"
        what = f"{quantity.symbol} of {values[i]:g}{unit} is impossible (believable: {low:g} to {high:g})"
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
    if cells[0].code == "FORMULA_NO_VALUE" and out.table.sheet:
        what = f"cell {letters(column)}{out.row[cells[0].index]}: {what}"
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
