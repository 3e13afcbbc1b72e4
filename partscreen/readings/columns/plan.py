"""Which column of a table fills which role: from its header, or as a column map says."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from partscreen.errors import Problem
from partscreen.quantities import QUANTITIES, bare
from partscreen.readings.columns.column_map import ColumnMap, MapEntry, absent_columns
from partscreen.readings.columns.recognise import COLUMN_KEYS, ROLES, TYPE_HEADERS, Recognised, recognise
from partscreen.readings.columns.table_form import Table
from partscreen.readings.columns.understanding import ColumnUnderstanding
from partscreen.readings.columns.units import DoubtfulUnit, UnitReading, read_unit
from partscreen.readings.columns.wide_header import WideColumn, is_wide, same_reading, split_wide, wide_column


@dataclass(frozen=True, slots=True)
class Use:
    """How one role is filled: from column `index` (-1: a constant for every row)."""

    role: str
    index: int
    unit: UnitReading | None = None
    sign: int = 1
    constant: float | str | None = None


def plan(
    table: Table, problems: list[Problem], notices: list[str]
) -> tuple[dict[str, Use], list[WideColumn], list[ColumnUnderstanding]]:
    """Roles by header name and unit, and the columns that hold one reading a part."""
    uses: dict[str, Use] = {}
    wide: list[WideColumn] = []
    shown: list[ColumnUnderstanding] = []
    twice: set[str] = set()
    for index, header in enumerate(table.header):
        if is_wide(header):
            _plan_wide(table, index, wide, shown, problems, notices)
            continue
        found = recognise(header) if header else None
        if found is None:
            remark = "no header" if not header else "not known; name it in a column map if it is needed"
            if header or any(table.columns[index] if index < len(table.columns) else ()):
                shown.append(ColumnUnderstanding(header, None, "", remark))
            continue
        if found.doubt is not None:
            problems.append(Problem(*found.doubt, table.file, table.header_row, table.column_label(index)))
            if found.role in COLUMN_KEYS and found.role not in uses:
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
    if wide:
        _alone_in_their_row(table, uses, wide)
        free = [column.header for column in shown if column.role is None and column.remark.startswith("not known")]
        unused = [header for header in free if bare(header) not in TYPE_HEADERS]
        if unused:
            notices.append(f"columns not used: {', '.join(unused)}")
    return uses, wide, shown


def _plan_wide(
    table: Table,
    index: int,
    wide: list[WideColumn],
    shown: list[ColumnUnderstanding],
    problems: list[Problem],
    notices: list[str],
) -> None:
    """A column of one reading a part. One that stands twice is not chosen between."""
    header, label = table.header[index], table.column_label(index)
    column, wrong, notes = wide_column(index, header)
    problems += [Problem(*one, table.file, table.header_row, label) for one in wrong]
    if column is None:
        shown.append(ColumnUnderstanding(header, None, "", "cannot be used, see the problems"))
        return
    notices += [f"column {header}: {note}" for note in notes]
    unit = _unit_of(table, index, Recognised(column.quantity, column.unit, True), problems)
    column = replace(column, unit=unit)
    twin = next((one for one in wide if same_reading(one, column)), None)
    if twin is not None:
        what = f"columns {twin.header!r} and {header!r} are the same reading under the same conditions"
        fix = "state what differs, or write meant repeats one row a reading with a column run; the second was not used"
        problems.append(Problem("COLUMN_TWICE", what, fix, table.file, table.header_row, label))
        shown.append(ColumnUnderstanding(header, None, "", "read as the same thing twice"))
        return
    if unit is not None and np.isnan(unit.factor):
        shown.append(ColumnUnderstanding(header, None, "", "cannot be used, see the problems"))
        return
    wide.append(column)
    shown.append(ColumnUnderstanding(header, column.role, unit.name if unit else "", "one reading a part"))


def _alone_in_their_row(table: Table, uses: dict[str, Use], wide: list[WideColumn]) -> None:
    """Gain or a voltage without a current beside it, in a file of one row a part: a reading without conditions."""
    if "ic" in uses or "ib" in uses:
        return
    for role in ("hfe", "vbe", "vce_sat"):
        if role in uses and not any(column.quantity == role and not column.conditions for column in wide):
            use = uses.pop(role)
            wide.append(WideColumn(use.index, table.header[use.index], role, use.unit))
    wide.sort(key=lambda column: column.index)


def _shown(header: str, role: str, unit: UnitReading | None) -> ColumnUnderstanding:
    """A column as it is told; currents, voltages and times without a unit are taken in A, V and s, and that is said."""
    if unit is not None:
        return ColumnUnderstanding(header, role, unit.name)
    assumed = QUANTITIES[role].unit if role in COLUMN_KEYS else ""
    if assumed in ("A", "V", "s"):
        return ColumnUnderstanding(header, role, assumed, "no unit stated")
    return ColumnUnderstanding(header, role)


def _unit_of(table: Table, index: int, found: Recognised, problems: list[Problem]) -> UnitReading | None:
    text = table.units[index] if table.unit_row else ""
    if not text or (found.role not in QUANTITIES and found.role != "pulse"):
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


def _map_wide(
    table: Table,
    column: WideColumn,
    unit: UnitReading | None,
    wide: list[WideColumn],
    shown: list[ColumnUnderstanding],
    problems: list[Problem],
) -> None:
    """A column of one reading a part that a column map names."""
    header, role = table.header[column.index], column.header
    if unit is None:
        own = recognise(split_wide(header)[0])
        fits = own is not None and own.role == column.quantity and own.doubt is None
        unit = _unit_of(table, column.index, own if own and fits else Recognised(column.quantity), problems)
    wide.append(replace(column, header=header, unit=unit))
    shown.append(ColumnUnderstanding(header, role, unit.name if unit else "", "one reading a part"))


def _say_unit_row(table: Table, index: int, entry: MapEntry, name: str, notices: list[str]) -> None:
    """A unit in the file that is another than the map's: the map holds, and that is said."""
    said = table.units[index].strip("[](){} ") if index >= 0 and table.unit_row else ""
    if said and entry.unit is not None and said != entry.unit.name:
        notices.append(
            f"column {table.header[index]}: the file says {said}, {name} says {entry.unit.name}: the map holds"
        )


def plan_from_map(
    table: Table, columns: ColumnMap, problems: list[Problem], notices: list[str]
) -> tuple[dict[str, Use], list[WideColumn], list[ColumnUnderstanding]]:
    """Roles as a column map gives them."""
    absent = absent_columns(columns, table.header, table.file, table.header_row)
    problems.extend(absent)
    if absent:
        return {}, [], []
    place = {name.strip().strip('"'): index for index, name in reversed(list(enumerate(table.header)))}
    uses: dict[str, Use] = {}
    wide: list[WideColumn] = []
    shown: list[ColumnUnderstanding] = []
    for role, entry in columns.entries.items():
        index = -1 if entry.column is None else place[entry.column.strip()]
        unit = entry.unit
        column, _, notes = (None, [], []) if role in ROLES else wide_column(index, role)
        if column is not None:
            _map_wide(table, column, entry.unit, wide, shown, problems)
            notices += [f"column {table.header[index]}: {note}" for note in notes]
            continue
        if unit is None and index >= 0 and (role in COLUMN_KEYS or role == "pulse"):
            own = recognise(table.header[index])
            found = own if own is not None and own.role == role and own.doubt is None else Recognised(role)
            unit = _unit_of(table, index, found, problems)
        _say_unit_row(table, index, entry, columns.name, notices)
        inside = unit if unit is None or entry.shunt is None else replace(unit, factor=unit.factor / entry.shunt)
        uses[role] = Use(role, index, inside, entry.sign, entry.constant)
        remarks = ["sign turned"] if entry.sign < 0 else []
        remarks += [f"voltage over {entry.shunt:g} ohm"] if entry.shunt is not None else []
        header, constant = (table.header[index], None) if index >= 0 else ("", entry.constant)
        name = unit.name if unit else ""
        shown.append(ColumnUnderstanding(header, role, name, "; ".join(remarks), constant, entry.sign, entry.shunt))
    used = {use.index for use in uses.values()} | {column.index for column in wide}
    shown += [
        ColumnUnderstanding(name, None, "", "not in the column map")
        for i, name in enumerate(table.header)
        if i not in used and name
    ]
    return uses, wide, shown
