"""Lots of a type that the library does not hold: what is assumed of them, and their evidence within that."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from partscreen.device.observations import Observations
from partscreen.readings.tables import Batch
from partscreen.results import Reason
from partscreen.screening.lot.alike import assumed_population, compare, top_current
from partscreen.screening.lot.view import join_names
from partscreen.screening.observe import GroupReadings
from partscreen.screening.weighing import WeighedLot, weigh_group

_SAY = "say polarity = NPN or PNP in the lot sheet or with --lot"


def weigh_unknown(
    batch: Batch,
    lots: Sequence[int],
    readings: GroupReadings,
    *,
    prior_share: float,
    name: str,
    progress: Callable[[str, int, int], None] | None = None,
) -> tuple[dict[int, WeighedLot], tuple[Reason, ...]]:
    """Evidence of the lots of one type that is not in the library, and remarks on what it rests on.

    Nothing is weighed where the polarity is not known or nothing sets the scale of the die; the remarks say what to do.
    Only lots of the same stated type stand in one call, so that known-good ones may teach the others.
    """
    o = readings.observations
    if not o.n_parts:
        return {}, ()
    polarity, remark = polarity_of(batch, lots)
    remarks = () if remark is None else (remark,)
    if polarity is None:
        return {}, remarks
    try:
        assumed = assumed_population(polarity, top_current(o), capacitance=_capacitance(o))
    except ValueError as error:
        sentence = f"Nothing was weighed: {error}."
        return {}, (*remarks, Reason(code="SCALE_UNKNOWN", sentence=sentence))
    weighed = weigh_group(
        o, batch.part_lot[readings.parts], {number: batch.lots[number] for number in lots}, assumed, (),
        prior_share=prior_share, name=name, bulk_is_type=True, progress=progress,
    )  # fmt: skip
    return {number: replace(lot, assumed=assumed.basis) for number, lot in weighed.items()}, remarks


def summary(of: WeighedLot, names: Sequence[str]) -> Reason:
    """Of the lot: which parts are unlike the others, or unlike the known-good ones. `names`: in the lot's order."""
    parts, lots = of.known_good_parts, of.known_good_lots
    found = [
        compare(of.evidence, i, known_good_parts=parts, known_good_lots=lots, basis=of.assumed)
        for i in range(len(names))
    ]
    unlike = [name for name, one in zip(names, found, strict=True) if one.word == "unlike"]
    alike = sum(one.word == "alike" for one in found)
    against = f"{parts} known-good part{'' if parts == 1 else 's'}" if parts else "the rest of the lot"
    sentence = f"Against {against}: {alike} of {len(names)} parts alike, {len(unlike)} unlike"
    sentence += f" ({join_names(unlike)})." if unlike else "."
    return Reason(
        code=found[0].reason.code, sentence=sentence,
        figures={"alike": alike, "unlike": ", ".join(unlike) or None, "parts": len(names), "rests_on": of.assumed},
    )  # fmt: skip


def polarity_of(batch: Batch, lots: Sequence[int]) -> tuple[str | None, Reason | None]:
    """Polarity of lots of one type, and what has to be said of it.

    Negative readings say PNP. Positive ones may be magnitudes: they say NPN only where the lot sheet says nothing, and
    that is told.
    """
    sure, positive = set(), False
    for number in lots:
        told = batch.lots[number].extra.get("polarity", "").strip().upper()
        if told in ("NPN", "PNP"):
            sure.add(told)
        if batch.part_sign is not None:
            sign = batch.part_sign[batch.part_lot == number]
            balance = int(np.sign(sign).sum())
            positive |= balance > 0
            if balance < 0:
                sure.add("PNP")
    if len(sure) == 1:
        return sure.pop(), None
    if sure:
        sentence = (
            "Nothing was weighed: the lot sheet says NPN, but currents and voltages were read negative as of a PNP, or "
            f"lots of this type say both; {_SAY}, or write the signs as they were read."
        )
        return None, Reason(code="POLARITY_UNKNOWN", sentence=sentence)
    if positive:
        sentence = f"Taken as NPN, for the readings are positive; if they are magnitudes of PNP parts, {_SAY}."
        return "NPN", Reason(code="POLARITY_ASSUMED", sentence=sentence)
    sentence = f"Nothing was weighed: neither the signs of the readings nor the lot sheet tell the polarity; {_SAY}."
    return None, Reason(code="POLARITY_UNKNOWN", sentence=sentence)


def _capacitance(o: Observations) -> tuple[str, float] | None:
    """A capacitance that sets the scale of the die where no current was read: C_CB first. [F]"""
    for junction, quantity in ((1, "c_cb"), (0, "c_be")):
        read = o.cap[(o.cap_junction == junction) & np.isfinite(o.cap)]
        if read.size:
            return quantity, float(np.median(read))
    return None
