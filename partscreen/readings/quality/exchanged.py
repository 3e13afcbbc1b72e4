"""EXCHANGED: figures written down for the part beside the one they belong to, told as a remark.

Looked for in lots as people read them by hand: a few readings a part, at the same conditions for all. Where figures are
written down wrongly is not known, so nothing is changed and nothing is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partscreen.readings.findings import add_note
from partscreen.readings.tables import Batch, Floats, Ints, Sweep
from partscreen.readings.typed.neighbours import LEAST_PARTS, exchanged_neighbours
from partscreen.results import QualityNote

MOST_PARTS = 200  # longer lists are not written by hand (assumption)
MOST_POINTS = 6  # points of a sweep read by hand; more come from an instrument, which exchanges nothing (assumption)
SAME_CURRENT = 0.05  # parts of a column read within this share of its median current are at one condition


@dataclass(frozen=True, slots=True)
class Column:
    """Readings of one quantity at one condition; `values`: one a part, NaN where not read."""

    quantity: str
    said: str
    values: Floats


def note_exchanged(batch: Batch) -> Batch:
    """The batch with EXCHANGED remarks on both parts of a pair whose figures fit each other better."""
    lot_of = np.asarray(batch.part_lot)
    for lot in range(len(batch.lots)):
        parts = np.flatnonzero(lot_of == lot)
        if not LEAST_PARTS <= parts.size <= MOST_PARTS:
            continue
        gain = _gain_columns(batch, parts)
        if not gain:  # two capacitances alone do not show which of them is wrong
            continue
        columns = [*_spot_columns(batch, parts), *gain]
        values = np.column_stack([column.values for column in columns])
        for found in exchanged_neighbours(values, columns):
            pair = parts[[found.first, found.second]]
            for one, other in (pair, pair[::-1]):
                batch = add_note(batch, int(one), _note(batch.part_names[other], columns, found.columns))
    return batch


def _note(other: str, columns: Sequence[Column], chosen: Sequence[int]) -> QualityNote:
    said = ", ".join(columns[i].said for i in chosen)
    sentence = (
        f"{said}: these figures and those of {other} would fit both parts much better the other way round. Look "
        "whether they were written down for the wrong part; they are used as they stand."
    )
    return QualityNote(code="EXCHANGED", sentence=sentence, figures={"other_part": other, "readings": said})


def _spot_columns(batch: Batch, parts: Ints) -> list[Column]:
    """Single readings by quantity and conditions."""
    spots, place = batch.spots, {int(p): i for i, p in enumerate(parts)}
    found: dict[str, tuple[str, Floats]] = {}
    for row in np.flatnonzero(spots.use & ~spots.control & np.isfinite(spots.value)).tolist():
        part = place.get(int(spots.part[row]))
        if part is None:
            continue
        conditions = ", ".join(f"{k}={v:g}" if isinstance(v, float) else f"{k}={v}" for k, v in
                               sorted(spots.conditions[row].items()))  # fmt: skip
        quantity = str(spots.quantity[row])
        said = f"{quantity} @ {conditions}" if conditions else quantity
        column = found.setdefault(said, (quantity, np.full(parts.size, np.nan)))[1]
        column[part] = spots.value[row]
    return [Column(quantity, said, values) for said, (quantity, values) in found.items()]


def _gain_columns(batch: Batch, parts: Ints) -> list[Column]:
    """hFE and VBE of short gain sweeps, read at the same currents for all parts."""
    points = batch.points
    mine = points.use & ~points.control & (points.sweep == int(Sweep.GAIN)) & np.isin(points.part, parts)
    of_lot = np.flatnonzero(mine)
    rows = [of_lot[points.part[of_lot] == part] for part in parts]
    counts = {len(r) for r in rows if len(r)}
    if len(counts) != 1 or not 1 <= (count := counts.pop()) <= MOST_POINTS:
        return []
    read = [r for r in rows if len(r)]
    currents = np.sort(np.stack([points.ic[r] for r in read]), axis=1)
    middle = np.median(currents, axis=0)
    if not np.all(np.abs(currents / middle - 1.0) <= SAME_CURRENT):
        return []
    out = []
    for name, values in (("hfe", points.hfe), ("vbe", points.vbe)):
        for k in range(count):
            column = np.array([values[r[np.argsort(points.ic[r])[k]]] if len(r) else np.nan for r in rows])
            out.append(Column(name, f"{name} @ IC={middle[k]:.3g}", column))
    return out
