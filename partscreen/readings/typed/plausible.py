"""Figures held against the type and the parts before them: slips of unit, exchanged columns. Nothing is altered here.

Every figure is compared in decades (capacitance, gain, saturation voltage, leakage) or in volts (VBE). A question is
asked only where another reading of the same keys would fit and the one typed does not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from partscreen.readings.tables import Floats
from partscreen.readings.typed.columns import TypedColumn
from partscreen.readings.typed.line import Cell

ENOUGH = 3  # parts before, from which on they and not the type say what is usual (as in the checks of files)
# A figure this many decades off what is usual, while a tenth (a thousandth, ...) of it fits, is asked about. Between
# parts of one lot dies differ threefold at most (assumption, as `SLIP` of the checks of files); processes of one type
# number eleven-fold in capacitance (0.73 and 8 nF read on one type), and the band of a type is wider still.
OFF_PARTS = 0.75
OFF_TYPE = 1.0
FITS = 0.45  # decades off within which the other reading of the keys is taken to fit (assumption: a factor 2.8)
SLIPS = (1, -1, 2, -2, 3, -3, 6, -6)  # powers of ten: a decimal mark, mV for V, nF for pF, pF for uF
VOLTS_OFF = 0.35  # V; VBE this far off what is usual is asked about (assumption: 20 decades of area make 0.06 V each)
VBE_ALIVE = (0.25, 2.5)  # V; of any silicon transistor that carries current (memory)
EXCHANGED = 0.8  # decades by which two figures must fit better when exchanged (assumption: one of them off a factor 6)


@dataclass(frozen=True, slots=True)
class Usual:
    """What one column usually reads: `centre` (SI) and `spread` in decades (VBE: volts). `parts`: of how many parts;
    0: of the type."""

    centre: float
    spread: float
    parts: int = 0


@dataclass(frozen=True, slots=True)
class Doubt:
    """A question about a line. `instead`: the figures (SI, by column) of the other reading of the same keys."""

    code: str
    question: str
    instead: dict[int, float]


def usual_of_parts(before: Floats) -> list[Usual | None]:
    """What the parts before read. `before`: shape (n_parts, n_columns), SI, NaN where nothing was read."""
    out: list[Usual | None] = []
    for column in before.T:
        read = column[np.isfinite(column) & (column > 0.0)]
        if read.size < ENOUGH:
            out.append(None)
            continue
        logs = np.log10(read)
        centre = float(np.median(logs))
        out.append(Usual(10.0**centre, float(1.4826 * np.median(np.abs(logs - centre))), int(read.size)))
    return out


def doubts(
    cells: Mapping[int, Cell],
    columns: Sequence[TypedColumn],
    of_parts: Sequence[Usual | None],
    of_type: Sequence[Usual | None],
) -> list[Doubt]:
    """Questions to ask about a line; the first that explains most comes first, and one is asked at a time."""
    values = {i: cell.value for i, cell in cells.items() if np.isfinite(cell.value)}
    usual = {i: of_parts[i] or of_type[i] for i in values}
    exchanged = _exchanged(cells, values, columns, usual)
    if exchanged is not None:
        return [exchanged]
    slipped = {i: found for i in values if (found := _slip(columns[i], values[i], usual[i])) is not None}
    return [_slip_question(columns[i], cells[i], usual[i], instead, i) for i, instead in slipped.items()]


def off(column: TypedColumn, value: float, usual: Usual | None) -> float:
    """How far a figure lies from what is usual, in decades; VBE in steps of 0.35 V. NaN where nothing is known."""
    if usual is None or not value > 0.0:
        return float("nan")
    if column.quantity in ("vbe", "vbe_sat"):
        return (value - usual.centre) / VOLTS_OFF
    return float(np.log10(value / usual.centre))


def _allowed(column: TypedColumn, usual: Usual) -> float:
    """Decades off at which a figure is asked about: wider where parts were seen to differ more."""
    if column.quantity in ("vbe", "vbe_sat"):
        return 1.0
    least = OFF_PARTS if usual.parts else OFF_TYPE
    return max(least, 3.0 * usual.spread)


def _slip(column: TypedColumn, value: float, usual: Usual | None) -> float | None:
    """The figure of the other reading by a power of ten; None where the one typed will do."""
    if column.quantity in ("vbe", "vbe_sat") and usual is None:
        usual = Usual(0.65, 0.1)
        if VBE_ALIVE[0] <= value <= VBE_ALIVE[1]:
            return None
    distance = off(column, value, usual)
    if usual is None or not abs(distance) > _allowed(column, usual):
        return None
    others = [(abs(off(column, value * 10.0**k, usual)), value * 10.0**k) for k in SLIPS]
    least, instead = min(others)
    return instead if least <= FITS else None


def _slip_question(column: TypedColumn, cell: Cell, usual: Usual | None, instead: float, place: int) -> Doubt:
    factor = instead / cell.value
    ratio = f"{factor if factor > 1 else 1 / factor:.0f}"
    way = "below" if factor > 1 else "above"
    whose = _whose(column, usual)
    unit = "" if cell.unit_typed else f" (a figure without unit is in {column.unit})" if column.unit != "1" else ""
    question = (
        f"{column.short} reads {column.figure(cell.value)}{unit}: about {ratio} times {way} {whose}. "
        f"Is it {column.figure(instead)}?"
    )
    return Doubt("SLIP_OF_UNIT", question, {place: instead})


def _whose(column: TypedColumn, usual: Usual | None) -> str:
    if usual is None:
        return "what a junction reads"
    figure = column.figure(float(f"{usual.centre:.2g}"))
    return f"the {usual.parts} parts before ({figure})" if usual.parts else f"what the type reads (about {figure})"


def _exchanged(
    cells: Mapping[int, Cell],
    values: Mapping[int, float],
    columns: Sequence[TypedColumn],
    usual: Mapping[int, Usual | None],
) -> Doubt | None:
    """Two figures typed into each other's columns: each figure in the other's unit fits, as typed neither does well."""
    best: tuple[float, int, int, float, float] | None = None
    places = sorted(values)
    for a_at, a in enumerate(places):
        for b in places[a_at + 1 :]:
            if columns[a].quantity == columns[b].quantity or cells[a].unit_typed != cells[b].unit_typed:
                continue
            to_a, to_b = _moved(cells[b], values[b], columns[b], columns[a]), None
            to_b = _moved(cells[a], values[a], columns[a], columns[b])
            if to_a is None or to_b is None:
                continue
            now = np.array([off(columns[a], values[a], usual[a]), off(columns[b], values[b], usual[b])])
            then = np.array([off(columns[a], to_a, usual[a]), off(columns[b], to_b, usual[b])])
            if not (np.isfinite(now).all() and np.isfinite(then).all()):
                continue
            gain = float(np.abs(now).sum() - np.abs(then).sum())
            fits = np.abs(then).max() <= FITS
            if fits and np.abs(now).min() > FITS and gain >= EXCHANGED and (best is None or gain > best[0]):
                best = (gain, a, b, to_a, to_b)
    if best is None:
        return None
    _, a, b, to_a, to_b = best
    question = (
        f"{columns[a].short} {columns[a].figure(values[a])} and {columns[b].short} {columns[b].figure(values[b])} fit "
        f"neither the type nor the parts before; exchanged they fit. Are they {columns[a].short} "
        f"{columns[a].figure(to_a)} and {columns[b].short} {columns[b].figure(to_b)}?"
    )
    return Doubt("COLUMNS_EXCHANGED", question, {a: to_a, b: to_b})


def _moved(cell: Cell, value: float, source: TypedColumn, target: TypedColumn) -> float | None:
    """A figure in another column: its keys in that column's unit, or, typed with a unit, the same value."""
    if not cell.unit_typed:
        return value / source.factor * target.factor
    from partscreen.quantities import QUANTITIES

    return value if QUANTITIES[source.quantity].unit == QUANTITIES[target.quantity].unit else None
