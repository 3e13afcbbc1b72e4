"""What evidence says of a whole lot: its share of unfit parts, its main population, and what the reference rests on."""

from __future__ import annotations

import numpy as np

from partscreen.results import Interval, Reason
from partscreen.screening.evidence_words import explanation
from partscreen.screening.weighing import WeighedLot

POOR_REACH = 0.2
"""Absolute reach below which a whole lot of another die would look the same (assumption: a fifth of the die)."""


def share_unfit(weighed: WeighedLot | None, dead: int, usable: int) -> Interval | None:
    """Share of unfit parts of the bag, dead, reversed and nonconforming ones counted as unfit.

    Parameters
    ----------
    dead : parts rejected whatever their evidence
    usable : all other parts weighed
    """
    whole = usable + dead
    if weighed is None or not whole or (weighed.assumed and not weighed.known_good_parts):
        return None
    value, low, high = ((usable * share + dead) / whole for share in weighed.evidence.weighed.share)
    return Interval(value=value, low=low, high=high)


def has_reference(weighed: WeighedLot | None) -> bool:
    """Whether anything but the lot itself says what its parts should be."""
    if weighed is None:
        return False
    return bool(weighed.known_good_parts or np.median(weighed.evidence.reach_absolute) >= POOR_REACH)


def lot_reasons(weighed: WeighedLot | None) -> list[Reason]:
    """Sentences on the lot as a whole, the weightiest first."""
    if weighed is None:
        return []
    out = []
    main, halves = weighed.evidence.weighed, weighed.undecided_halves
    if halves is not None:
        out.append(halves.reason())
    if weighed.assumed:  # of an unknown type nothing more is claimed
        return out
    if halves is None and main.main_unfit > 0.5:
        name = max((m for m in main.modes if m[1] != "marked"), key=lambda mode: mode[2])[0]
        sentence = f"The bulk of the lot does not look like the marked type: most likely {explanation(name)}."
        figures: dict[str, float | int | str | None] = {"probability": main.main_unfit, "leading": name}
        out.append(Reason(code="MAIN_POPULATION_UNFIT", sentence=sentence, figures=figures))
    if weighed.contradicts:
        sentence = (
            "The known-good parts contradict the data sheets: they lie where the sheets make it less likely than one "
            "in a thousand. Check that they are of the marked type and edition; the known-good parts were believed."
        )
        out.append(Reason(code="KNOWN_GOOD_CONTRADICTS", sentence=sentence, figures={"probability": weighed.surprise}))
    if weighed.known_good_parts:
        parts, lots = weighed.known_good_parts, weighed.known_good_lots
        sentence = f"Weighed against {parts} known-good part{'s' if parts > 1 else ''} of {lots} lot"
        sentence += f"{'s' if lots > 1 else ''}, and the data sheets."
        if parts < 3:
            sentence += " That is little: a third and a fourth known-good part would sharpen it."
        out.append(Reason(code="KNOWN_GOOD", sentence=sentence, figures={"parts": parts, "lots": lots}))
    elif not has_reference(weighed):
        reach = float(np.median(weighed.evidence.reach_absolute))
        sentence = (
            "A whole lot of another die would look the same: nothing is known of the type that these readings could be "
            "held against as a whole. Two known-good parts, or capacitances, would change that."
        )
        out.append(Reason(code="NO_ABSOLUTE_REFERENCE", sentence=sentence, figures={"reach_absolute": reach}))
    return out
