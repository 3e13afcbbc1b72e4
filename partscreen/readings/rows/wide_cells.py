"""Cells of the wide form: columns that hold one reading a part become sweeps and spot readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from partscreen.quantities import QUANTITIES
from partscreen.readings.columns.conditions import spot_value
from partscreen.readings.columns.interpret import Interpreted, bad_cell_problem
from partscreen.readings.columns.numbers import BLANKS, UNKNOWN, BadCell, read_cell, read_numbers
from partscreen.readings.columns.plan import Use
from partscreen.readings.columns.units import UnitReading
from partscreen.readings.columns.wide_header import WideColumn
from partscreen.readings.tables import Bools, Floats, Ints

_GAIN = frozenset(("IC", "IB", "VCE", "TC", "TA", "t"))
_SATURATION = frozenset(("IC", "IB", "IC_over_IB", "TC", "TA", "t"))
_LEVELS = 3  # collector voltages at one base current from which on they are an output family, as `classify` has it

SpotCell = tuple[int, str, float, dict[str, float | str]]


@dataclass(frozen=True, slots=True)
class WideCells:
    """Signed SI figures of one column, NaN where nothing usable stands; `bad`: cells that could not be used."""

    values: Floats
    bad: Bools


@dataclass(frozen=True, slots=True)
class Point:
    """One point of a sweep that the headers describe: what is held, and which columns were read there."""

    sweep: str
    held: dict[str, float]
    read: dict[str, int]  # quantity of a sweep row: place among the wide columns


@dataclass(frozen=True, slots=True)
class WideReadings:
    """The wide columns of a table, taken apart. `sweeps`: their points as a table of one row a reading, None: none;
    `of_row`: its rows' places in the table they come from. `pulsed`, `stated`: what headers say of pulses. `spots`:
    (row, quantity key, SI magnitude, conditions). `read`: rows with any usable or spoilt cell."""

    sweeps: Interpreted | None
    of_row: Ints
    pulsed: Bools
    stated: Bools
    spots: list[SpotCell]
    read: Bools


def read_wide(data: Interpreted, keep: Bools, longest_pulse: float) -> WideReadings:
    """Read the wide columns of the rows that have an owner (`keep`). Bad cells are added to the problems of `data`."""
    cells = [_read_column(data, column, mark, keep) for column, mark in zip(data.wide, data.wide_marks, strict=True)]
    points, loose = _points(data.wide)
    spots = [spot for place in loose for spot in _spots(data, data.wide[place], cells[place])]
    spots.sort(key=lambda spot: spot[0])
    read = np.any([~np.isnan(one.values) | one.bad for one in cells], axis=0) if cells else np.zeros(data.n, np.bool_)
    sweeps, of_row, pulse = _unfold(data, points, cells)
    stated = ~np.isnan(pulse)
    return WideReadings(sweeps, of_row, stated & (np.nan_to_num(pulse) <= longest_pulse), stated, spots, read)


def _read_column(data: Interpreted, column: WideColumn, mark: str, keep: Bools) -> WideCells:
    quantity = QUANTITIES[column.quantity]
    unit = column.unit.name if column.unit is not None else ""
    cells = data.table.columns[column.index]
    values, bad = np.full(data.n, np.nan), np.zeros(data.n, dtype=np.bool_)
    known: dict[str, tuple[float, list[tuple[str, str, str]]]] = {}
    wrong: list[BadCell] = []
    waits = mark == UNKNOWN and any(_ambiguous(cell, mark) for cell in cells)
    notices: set[str] = set()
    plain = np.zeros(data.n, dtype=np.bool_) if waits else _plain_figures(column, cells, mark, values)
    values[~keep] = np.nan
    for i in np.flatnonzero(keep & ~plain).tolist():
        text = cells[i].strip() if type(cells[i]) is str else cells[i]
        if text.lower() in BLANKS:
            continue
        if text not in known:
            value, problems, notes = spot_value(quantity, text, unit, mark)
            notices.update(notes)
            minus = text.startswith("-")
            known[text] = (-value if minus else value, [(p.code, p.what, p.fix) for p in problems])
        value, problems_ = known[text]
        if waits and not problems_:
            bad[i] = True  # figures of one column are not read by two rules
            continue
        values[i] = value
        bad[i] = bool(problems_)
        wrong.extend(BadCell(i, *problem) for problem in problems_)
    data.notices.extend(f"column {column.header}: {text}" for text in sorted(notices))
    for code in dict.fromkeys(cell.code for cell in wrong):
        data.problems.append(bad_cell_problem(data, column.index, [cell for cell in wrong if cell.code == code]))
    return WideCells(values, bad)


def _plain_figures(column: WideColumn, cells: Sequence[str], mark: str, values: Floats) -> Bools:
    """Fill in the cells that are a figure in the header's unit and of a believable size; which these are.

    The others are looked at one by one.
    """
    quantity = QUANTITIES[column.quantity]
    if column.unit is None and quantity.unit != "1":
        return np.zeros(len(values), dtype=np.bool_)
    read = read_numbers(cells, mark)
    unit = column.unit or UnitReading(1.0, 0.0, "1")
    found = unit.factor * read.values + unit.offset
    with np.errstate(invalid="ignore"):
        plain = (np.abs(found) >= quantity.low) & (np.abs(found) <= quantity.high)
        plain &= found >= 0.0 if column.quantity not in ("vbe", "ic", "ib") else True
    for places in read.units.values():
        plain &= ~places
    plain[[cell.index for cell in read.bad]] = False
    values[plain] = found[plain]
    return np.asarray(plain, dtype=np.bool_)


def _ambiguous(text: str, mark: str) -> bool:
    read = read_cell(text, mark)
    return isinstance(read, BadCell) and read.code == "AMBIGUOUS_NUMBER"


def _points(columns: Sequence[WideColumn]) -> tuple[list[Point], list[int]]:
    """Sweep points the headers describe, in the order of one trace after the other, and the columns left as spots."""
    found: dict[tuple[object, ...], Point] = {}
    member: dict[int, Point] = {}
    for place, column in enumerate(columns):
        sweep, quantity = _kind(column)
        if not sweep:
            continue
        held = {key: float(value) for key, value in column.conditions.items() if not isinstance(value, str)}
        held = {key: -value if column.negative and key in _CURRENTS else value for key, value in held.items()}
        point = found.setdefault((sweep, *sorted(held.items())), Point(sweep, held, {}))
        if quantity in point.read:
            continue  # told as a column that stands twice
        point.read[quantity] = place
        member[place] = point
    kept = _sweeps_of_several(list(found.values()))
    loose = [place for place in range(len(columns)) if member.get(place) not in kept]
    return _in_traces(kept), loose


_CURRENTS = frozenset(("IC", "IB", "VCE"))


def _kind(column: WideColumn) -> tuple[str, str]:
    """Kind of sweep a column may be a point of, and the quantity of the sweep row it fills; "": a spot reading."""
    said = {key for key, value in column.conditions.items() if not isinstance(value, str)}
    if len(said) < len(column.conditions):
        return "", ""
    if column.quantity in ("hfe", "vbe", "ib") and said <= _GAIN and "IC" in said:
        return ("", "") if column.quantity == "ib" and "IB" in said else ("gain", column.quantity)
    if column.quantity == "hfe" and said <= _GAIN and "IB" in said:
        return "gain", "hfe"
    if column.quantity == "ic" and said <= _GAIN and "IB" in said and "IC" not in said:
        return "output", "ic"
    if column.quantity in ("vce_sat", "vbe_sat") and said <= _SATURATION and "IC" in said:
        return "saturation", {"vce_sat": "vce_sat", "vbe_sat": "vbe"}[column.quantity]
    return "", ""


def _sweeps_of_several(points: list[Point]) -> list[Point]:
    """Points of sweeps of two currents or more; a single reading stays a spot reading, currents are always points.

    Currents at a fixed base current are an output family where one base current has three collector voltages or more.
    """
    kept: list[Point] = []
    levels: dict[float, set[float]] = {}
    for point in points:
        if point.sweep == "output" and "VCE" in point.held:
            levels.setdefault(point.held["IB"], set()).add(point.held["VCE"])
    for point in points:
        if point.sweep == "output" and len(levels.get(point.held["IB"], ())) < _LEVELS:
            kept.append(replace(point, sweep="gain"))
        else:
            kept.append(point)
    for sweep in ("gain", "saturation"):
        mine = [point for point in kept if point.sweep == sweep]
        currents = {point.held.get("IC", point.held.get("IB")) for point in mine}
        as_current = any(key in point.read for point in mine for key in ("ic", "ib"))
        if len(currents) < 2 and not as_current:
            kept = [point for point in kept if point.sweep != sweep]
    # A base voltage in saturation whose VCE(sat) nobody read is no point of a saturation sweep.
    return [point for point in kept if point.sweep != "saturation" or "vce_sat" in point.read]


def _in_traces(points: list[Point]) -> list[Point]:
    """One bias after the other, as they first appear; the order of the columns within each."""
    order: dict[tuple[object, ...], list[Point]] = {}
    for point in points:
        bias = point.held.get("IB") if point.sweep == "output" else point.held.get("VCE")
        if point.sweep == "saturation":
            bias = _forced_gain(point.held)
        order.setdefault((point.sweep, bias), []).append(point)
    return [point for group in order.values() for point in group]


def _forced_gain(held: dict[str, float]) -> float | None:
    if "IC_over_IB" in held:
        return held["IC_over_IB"]
    return round(held["IC"] / held["IB"], 6) if held.get("IB") else None


def _spots(data: Interpreted, column: WideColumn, cells: WideCells) -> list[SpotCell]:
    """Spot readings of a column. A figure repeated down the rows of one part stands for one reading."""
    parts, lots = data.texts.get("part"), data.texts.get("lot")
    told: set[tuple[str, str, float]] = set()
    several = data.has_points
    out: list[SpotCell] = []
    for i in np.flatnonzero(~np.isnan(cells.values)).tolist():
        value = abs(float(cells.values[i]))
        if several and parts is not None:
            key = (lots[i] if lots else "", parts[i], value)
            if key in told:
                continue
            told.add(key)
        out.append((i, column.quantity, value, dict(column.conditions)))
    return out


def _unfold(data: Interpreted, points: list[Point], cells: list[WideCells]) -> tuple[Interpreted | None, Ints, Floats]:
    """The points of every row as a table of one row a reading, the row each comes from, its pulse length [s]."""
    empty = np.zeros(0, dtype=np.int64)
    if not points:
        return None, empty, np.zeros(0)
    there = np.array(
        [
            np.any([~np.isnan(cells[place].values) | cells[place].bad for place in point.read.values()], axis=0)
            for point in points
        ],
        dtype=np.bool_,
    ).T  # shape (rows, points)
    of_row, of_point = np.nonzero(there)
    if not of_row.size:
        return None, empty, np.zeros(0)
    numbers = {key: values[of_row] for key, values in data.numbers.items() if key in ("case_temp", "ambient", "time")}
    bad = {key: mask[of_row] for key, mask in data.bad.items() if key in numbers}
    for key, condition in (("ic", "IC"), ("ib", "IB"), ("vce", "VCE"), ("case_temp", "TC"), ("ambient", "TA")):
        held = np.array([point.held.get(condition, np.nan) for point in points])[of_point]
        if not np.isnan(held).all():
            numbers[key] = np.where(np.isnan(held), numbers.get(key, np.nan), held)
    if "vce" in data.numbers:  # a collector voltage of the whole row, where the header states none
        gain = np.array([point.sweep == "gain" for point in points])[of_point]
        own = numbers.get("vce", np.full(len(of_row), np.nan))
        numbers["vce"] = np.where(np.isnan(own) & gain, data.numbers["vce"][of_row], own)
    _forced_base_currents(numbers, points, of_point)
    for quantity in dict.fromkeys(key for point in points for key in point.read):
        _fill(quantity, numbers, bad, points, cells, of_row, of_point)
    texts = {"sweep": [points[k].sweep for k in of_point.tolist()]}
    for role in ("part", "lot", "run"):
        if role in data.texts:
            texts[role] = [data.texts[role][i] for i in of_row.tolist()]
    uses = {"sweep": Use("sweep", -1), **{key: Use(key, -1) for key in numbers}}
    pulse = np.array([point.held.get("t", np.nan) for point in points])[of_point]
    long = replace(
        data, uses=uses, row=data.row[of_row], texts=texts, numbers=numbers, bad=bad, problems=[], notices=[], wide=[]
    )
    return long, of_row, pulse


def _forced_base_currents(numbers: dict[str, Floats], points: list[Point], of_point: Ints) -> None:
    forced = np.array([point.held.get("IC_over_IB", np.nan) for point in points])[of_point]
    if not np.isnan(forced).all():
        own = numbers.get("ib", np.full(len(of_point), np.nan))
        numbers["ib"] = np.where(np.isnan(own), numbers["ic"] / forced, own)


def _fill(
    quantity: str,
    numbers: dict[str, Floats],
    bad: dict[str, Bools],
    points: list[Point],
    cells: list[WideCells],
    of_row: Ints,
    of_point: Ints,
) -> None:
    """Figures of one quantity, from whichever column each point was read in."""
    column = np.array([point.read.get(quantity, -1) for point in points])[of_point]
    values = np.array([one.values for one in cells])[column, of_row]
    spoilt = np.array([one.bad for one in cells])[column, of_row]
    mine = column >= 0
    own = numbers.get(quantity, np.full(len(of_row), np.nan))
    numbers[quantity] = np.where(mine, values, own)
    bad[quantity] = bad.get(quantity, np.zeros(len(of_row), dtype=np.bool_)) | (mine & spoilt)
