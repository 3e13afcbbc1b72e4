"""Spot readings without the conditions that give them a meaning: kept, not judged, and asked for."""

from __future__ import annotations

import numpy as np

from partscreen.quantities import QUANTITIES
from partscreen.readings.findings import add_note
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.quality.limits import AT_TOP
from partscreen.readings.quality.size import without_spots
from partscreen.readings.tables import Batch
from partscreen.results import QualityNote

# Any one of each inner tuple must be there.
NEEDED: dict[str, tuple[tuple[str, ...], ...]] = {
    "hfe": (("IC",),),
    "vbe": (("IC",),),
    "vce_sat": (("IC",), ("IB", "IC_over_IB")),
    "vbe_sat": (("IC",), ("IB", "IC_over_IB")),
    "icbo": (("VCB",),),
    "iceo": (("VCE",),),
    "iebo": (("VEB",),),
    "ices": (("VCE",),),
    "icer": (("VCE",), ("RBE",)),
    "icex": (("VCE",), ("VEB", "VBE")),
    "dwell": (("VCE", "V"), ("IC", "I")),
}
BIAS: dict[str, tuple[str, ...]] = {"c_cb": ("VCB", "V"), "c_be": ("VEB", "VBE", "V")}


def missing_conditions(batch: Batch) -> Batch:
    """CONDITIONS_MISSING: kept, not judged. BIAS_NOT_STATED: a capacitance is judged as at 0 V, broadly."""
    spots = batch.spots
    out = np.zeros(spots.value.shape[0], dtype=bool)
    watched = spots.use & np.isin(spots.quantity, (*NEEDED, *BIAS))
    for index in np.flatnonzero(watched):
        name, conditions = str(spots.quantity[index]), spots.conditions[index]
        if name in BIAS:
            if not any(key in conditions for key in BIAS[name]):
                batch = add_note(batch, int(spots.part[index]), _bias_note(name))
            continue
        lacking = [" or ".join(choice) for choice in NEEDED[name] if not any(key in conditions for key in choice)]
        if lacking:
            out[index] = True
            batch = add_note(batch, int(spots.part[index]), _lacking_note(name, lacking))
    return without_spots(batch, out)


def spots_at_range_limit(batch: Batch, kit: Kit | None) -> Batch:
    """AT_RANGE_LIMIT for single readings: at the top of the range the kit states."""
    spots = batch.spots
    out = np.zeros(spots.value.shape[0], dtype=bool)
    for name in np.unique(spots.quantity) if kit is not None else ():
        reader = kit.reader_of(str(name)) if kit else None
        top = reader.range.get(str(name)) if reader else None
        if top is not None:
            out |= spots.use & (spots.quantity == name) & (spots.value >= AT_TOP * top)
    for index in np.flatnonzero(out):
        quantity = QUANTITIES[str(spots.quantity[index])]
        sentence = (
            f"{quantity.symbol} stands at the top of the instrument's range, the true value may be higher. Left out."
        )
        figures: dict[str, float | int | str | None] = {"value": float(spots.value[index])}
        note = QualityNote(code="AT_RANGE_LIMIT", sentence=sentence, run=quantity.symbol, figures=figures, used=False)
        batch = add_note(batch, int(spots.part[index]), note)
    return without_spots(batch, out)


def _bias_note(name: str) -> QualityNote:
    symbol = QUANTITIES[name].symbol
    sentence = (
        f"The bias of {symbol} is not stated: taken as 0 V, with a broad uncertainty. Write the bias with the reading."
    )
    return QualityNote(code="BIAS_NOT_STATED", sentence=sentence, run=symbol, used=True)


def _lacking_note(name: str, lacking: list[str]) -> QualityNote:
    symbol = QUANTITIES[name].symbol
    sentence = (
        f"{symbol} was given without {', '.join(lacking)}: kept, not judged. Write the condition with the reading "
        "or once in the kit file."
    )
    return QualityNote(code="CONDITIONS_MISSING", sentence=sentence, run=symbol, used=False)
