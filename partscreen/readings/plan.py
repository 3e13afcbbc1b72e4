"""Which column of a table fills which role: from its header, or as a column map says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.errors import Problem
from partscreen.quantities import QUANTITIES
from partscreen.readings.column_map import ColumnMap, absent_columns
from partscreen.readings.recognise import COLUMN_KEYS, Recognised, recognise
from partscreen.readings.table_form import Table
from partscreen.readings.understanding import ColumnUnderstanding
from partscreen.readings.units import DoubtfulUnit, UnitReading, read_unit


@dataclass(frozen=True, slots=True)
class Use:
    """How one role is filled: from column `index` (-1: a constant for every row)."""

    role: str
    index: int
    unit: UnitReading | None = None
    sign: int = 1
    constant: float | str | None = None


def plan(table: Table, problems: list[Problem], notices: list[str]) -> tuple[dict[str, Use], list[ColumnUnderstanding]]:
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
            if found.doubt is not None and found.role in COLUMN_KEYS and found.role not in uses:
                uses[found.role] = Use(found.role, index, UnitReading(np.nan, 0.0, "?"))  # there, but not usable
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
        shown.append(_shown(header, found.role, unit))
    return uses, shown


def _shown(header: str, role: str, unit: UnitReading | None) -> ColumnUnderstanding:
    """A column as it is told; currents, voltages and times without a unit are taken in A, V and s, and that is said."""
    if unit is not None:
        return ColumnUnderstanding(header, role, unit.name)
    assumed = QUANTITIES[role].unit if role in COLUMN_KEYS else ""
    if assumed in ("A", "V", "s"):
        return ColumnUnderstanding(header, role, assumed, "no unit stated")
    return ColumnUnderstanding(header, role)


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


def plan_from_map(
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
