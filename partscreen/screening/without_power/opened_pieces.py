"""Opened pieces of weighed lots: the edges of their dies enter as the last term of their evidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from partscreen.readings.tables import Batch
from partscreen.results import Reason
from partscreen.screening.weighing import WeighedLot
from partscreen.screening.without_power.die_edges import DieAreas, die_areas, reference_area, weigh_edges

Ints = npt.NDArray[np.int64]


def opened(batch: Batch) -> bool:
    """Whether edges of dies were read at all."""
    return bool(np.isin(batch.spots.quantity, ("die_edge_x", "die_edge_y")).any())


def with_opened_pieces(batch: Batch, parts: Ints, weighed: Mapping[int, WeighedLot]) -> dict[int, WeighedLot]:
    """The lots of one type, their opened pieces weighed with their edges against known-good pieces of the other lots.

    Parameters
    ----------
    parts : (n,), number in the batch of every part of the type, in the order that `WeighedLot.rows` refers to
    weighed : by lot number
    """
    if not opened(batch):
        return dict(weighed)
    areas = die_areas(batch, parts)
    out = {}
    for number, lot in weighed.items():
        good = [other.rows for n, other in weighed.items() if n != number and batch.lots[n].known_good]
        teachers = np.concatenate(good) if good else np.zeros(0, dtype=np.int64)
        reference = reference_area(_take(areas, teachers))
        out[number] = _with_edges(lot, _take(areas, lot.rows), reference, known_good=batch.lots[number].known_good)
    return out


def _take(areas: DieAreas, rows: Ints) -> DieAreas:
    return DieAreas(areas.ln_area[rows], areas.std[rows], np.flatnonzero(np.isin(rows, areas.one_edge)))


def _with_edges(
    lot: WeighedLot, areas: DieAreas, reference: tuple[float, float] | None, *, known_good: bool
) -> WeighedLot:
    read = np.isfinite(areas.ln_area)
    remarks = {int(i): _ONE_EDGE for i in areas.one_edge}
    if reference is None:
        if not known_good:  # known-good pieces are themselves what others are held against
            remarks |= {int(i): _no_reference(float(np.exp(areas.ln_area[i]))) for i in np.flatnonzero(read)}
        return replace(lot, edge_remarks=remarks)
    found = weigh_edges(lot.evidence.weighed, lot.evidence.area, areas, reference)
    if found is None:
        return replace(lot, edge_remarks=remarks)
    weighed = replace(lot.evidence.weighed, evidence=found.evidence, probability=found.probability, modes=found.modes)
    evidence = replace(lot.evidence, weighed=weighed, area=found.area)
    return replace(lot, evidence=evidence, edge_term=np.where(read, found.term, np.nan), edge_remarks=remarks)


_ONE_EDGE = Reason(
    code="DIE_EDGE_MISSING",
    sentence="Only one edge of the die was read, which is no area and was not used: read the other edge as well.",
)


def _no_reference(area: float) -> Reason:
    sentence = (
        f"The die measures {area * 1e6:.3g} mm2, but no known-good piece of the type was opened to hold it against, so "
        "it was not weighed."
    )
    return Reason(code="DIE_EDGES_NO_REFERENCE", sentence=sentence, figures={"area": area})
