"""Lots of a batch that are no bipolar transistors: left out before anything is judged, and told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partscreen.errors import UnknownType
from partscreen.readings.some_parts import take_parts
from partscreen.readings.tables import Batch, Lot
from partscreen.reference.library import Library
from partscreen.reference.not_covered import not_covered
from partscreen.results import NotJudged

CODE = "NOT_COVERED"


def leave_out(batch: Batch, library: Library) -> Batch:
    """The batch without the lots that are not covered; every part of them stands in `not_judged` with the reason.

    Their rows are no fault of the file: what was wrong with them as readings of transistors is told no longer.
    """
    why = {number: words for number, lot in enumerate(batch.lots) if (words := _why(lot, library)) is not None}
    if not why:
        return batch
    keep = ~np.isin(batch.part_lot, list(why))
    told = tuple(
        NotJudged(
            part=batch.part_names[part],
            lot=batch.lots[lot].name,
            why=_sentence(batch.lots[lot], why[lot]),
            code=CODE,
            type=batch.lots[lot].type,
            supplier=batch.lots[lot].supplier,
        )
        for part, lot in enumerate(batch.part_lot.tolist())
        if lot in why
    )
    names = {batch.lots[number].name for number in why}
    left = take_parts(batch, keep)
    problems = tuple(problem for problem in left.problems if problem.lot not in names)
    return replace(left, not_judged=(*left.not_judged, *told), problems=problems)


def _why(lot: Lot, library: Library) -> str | None:
    if lot.type:
        try:
            library.find(lot.type)
        except UnknownType:
            pass
        else:
            return None
    return not_covered(lot.type, lot.extra.get("kind", ""))


def _sentence(lot: Lot, words: str) -> str:
    named = f"type {lot.type}" if lot.type else "the lot"
    return (
        f"not covered: {named} is taken as {words}; partscreen judges bipolar transistors. If it is one, write "
        "kind=bipolar in the lot sheet."
    )
