"""Lots of a batch that are no bipolar transistors: left out before anything is judged, and told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partscreen.errors import Problem, UnknownType
from partscreen.readings.some_parts import take_parts
from partscreen.readings.tables import Batch, Lot
from partscreen.reference.library import Library
from partscreen.reference.not_covered import not_covered
from partscreen.results import NotJudged

CODE = "NOT_COVERED"
TOO_LARGE = "LOT_TOO_LARGE"
MOST_PARTS = 20_000
"""Parts of a lot that is judged as one: some 0.1 MB each, so that one lot stays within 2 GiB (measured)."""


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


def leave_out_too_large(batch: Batch, most: int = MOST_PARTS) -> Batch:
    """The batch without lots of more than `most` parts; every part of them stands in `not_judged`, and it is told."""
    counts = np.bincount(batch.part_lot, minlength=len(batch.lots))
    large = np.flatnonzero(counts > most)
    if not large.size:
        return batch
    fix = f"split it into lots of at most {most:,} parts: by box, by date code, or by the day they were read"
    problems, not_judged = [], []
    for number in large.tolist():
        name = batch.lots[number].name
        what = f"lot {name} has {counts[number]:,} parts; a lot is judged as a whole, in memory, up to {most:,} parts"
        problems.append(Problem(TOO_LARGE, what, fix, lot=name))
        mine = np.flatnonzero(batch.part_lot == number).tolist()
        why = f"{what}; {fix}"
        not_judged += [NotJudged(part=batch.part_names[p], lot=name, why=why, code=TOO_LARGE) for p in mine]
    kept = take_parts(batch, ~np.isin(batch.part_lot, large))
    return replace(kept, problems=(*batch.problems, *problems), not_judged=(*batch.not_judged, *not_judged))
