"""What readings of one part have not decided, in one plain sentence; what they have decided is said by its reasons."""

from __future__ import annotations

from collections.abc import Sequence

from partscreen.results import PartResult
from partscreen.screening.evidence_words import DECIDES_NOTHING, EVEN, odds_text

BLIND = 0.05
"""A reach below this is no reach: no die of the library's range is that small (assumption)."""

CAPACITANCES = frozenset({"C_BE", "C_CB"})


def first_sentence(part: PartResult) -> str | None:
    """Told where nothing speaks clearly against the marking; None where the reasons say it, or nothing was weighed.

    The reach is the one against the reference: a part alone has no lot to be held against.
    """
    if part.evidence is None or part.evidence > DECIDES_NOTHING:
        return None
    if part.evidence < -DECIDES_NOTHING:
        return f"The readings so far fit the marking: {_odds(part.evidence)}; {_shown(part.reach_absolute)}."
    if only_capacitance(part.readings_used):
        return f"Capacitance cannot decide this one: {_odds(part.evidence)}; {_shown(part.reach_absolute)}."
    return f"The readings so far decide little: {_odds(part.evidence)}; {_shown(part.reach_absolute)}."


def only_capacitance(used: Sequence[str]) -> bool:
    """The only readings used are junction capacitances."""
    return bool(used) and set(used) <= CAPACITANCES


def _odds(evidence: float) -> str:
    if abs(evidence) < EVEN:
        return "the readings are about as likely if the part is as marked as if it is not"
    side = "if it is substituted or unfit" if evidence > 0 else "if it is as marked"
    return f"they are {odds_text(evidence)} likelier {side}"


def _shown(reach: float | None) -> str:
    if reach is None or reach < BLIND:
        return "they would not have shown a smaller die"
    return f"they would have shown a die below {reach:.2f} of the type's"
