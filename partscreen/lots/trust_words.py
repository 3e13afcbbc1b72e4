"""Plain words about suppliers: a share with its interval, advice, what would change it. No mark, no grade."""

from __future__ import annotations

from dataclasses import dataclass

from partscreen.lots.trust_changes import MOST_LOTS
from partscreen.lots.trust_model import Assumptions
from partscreen.lots.trust_records import (
    FAILED_FIRST,
    FAILED_LATER,
    FAILED_WITHIN,
    PART_CAUSE,
    PASSED_SOAK,
    STAGE_CAUSE,
)
from partscreen.results.base import Interval
from partscreen.results.trust import Advice

SURE = 0.9  # chance from which a share counts as above, or below, the tolerable one (assumption: 1 in 10 wrong)

NOTICE = (
    "Private, not for publication: what your own readings and jobs say, with your own readings' limits. It is no "
    "statement about a supplier's honesty; a share of unfit parts has many causes."
)


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one supplier. `effective`: lots that say something, by weight; `enough`: for a place; `above`:
    chance that its share is above the tolerable one."""

    supplier: str
    lots: int
    parts: int
    effective: float
    enough: bool
    share: Interval
    above: float
    tolerable: float


def percent(share: float | None) -> str:
    """A share as a reader takes it in: two figures at most."""
    if share is None:
        return "not known"
    value = 100.0 * share
    if value == 0.0 or value == 100.0:
        return f"{value:.0f} %"
    if value < 0.1:
        return "under 0.1 %"
    if value > 99.9:
        return "over 99.9 %"
    return f"{value:.1f} %" if value < 10 else f"{value:.0f} %"


def count(n: int, what: str) -> str:
    """`1 lot`, `2 lots`."""
    return f"{n} {what}{'' if n == 1 else 's'}"


def advice_of(known: Known) -> Advice:
    """From the chance that the share is above the tolerable one."""
    if not known.enough:
        return "not_enough_known"
    if known.above >= SURE:
        return "buy_elsewhere"
    return "screen_as_usual" if known.above <= 1.0 - SURE else "test_all"


ADVICE_WORDS: dict[Advice, str] = {
    "screen_as_usual": "Nothing known speaks against buying here; go on reading every lot.",
    "test_all": "The share may lie on either side of what you tolerate: read every part of every lot, keep the right "
    "to return.",
    "buy_elsewhere": "The share is above what you tolerate: buy elsewhere, or agree on a return first and read every "
    "part.",
    "not_enough_known": "Not enough is known to place this supplier.",
}


TOO_FEW_YET_ABOVE = (
    "Too few lots or parts were read to compare this supplier with others, but their share is above what you tolerate: "
    "read every part of what you have, and buy elsewhere for now."
)
LEANS_ON_OTHERS = " The figure leans on what your other suppliers are like, and on what is expected of any."


def supplier_sentence(known: Known) -> str:
    """What is known, in two sentences."""
    share = known.share
    words = f"{count(known.lots, 'lot')}, {count(known.parts, 'part')} read: about {percent(share.value)} unfit "
    words += f"(95 % between {percent(share.low)} and {percent(share.high)}). "
    if known.enough:
        return words + ADVICE_WORDS[advice_of(known)]
    return words + (TOO_FEW_YET_ABOVE if known.above >= SURE else ADVICE_WORDS["not_enough_known"] + LEANS_ON_OTHERS)


def what_would_change(
    known: Known,
    *,
    place: int | None,
    ahead: str | None,
    to_overtake: int,
    to_settle: int,
    after_bad: float,
    new_place: int,
    lot_size: int,
) -> list[str]:
    """What further lots would do, `lot_size` parts each, every part read.

    Parameters
    ----------
    place : None where not enough is known. ahead : the supplier placed before this one
    to_overtake, to_settle : clean lots needed; -1: more than are tried
    after_bad, new_place : expected share and place after one wholly unfit lot
    """
    out = []
    size = f"of {count(lot_size, 'part')}"
    if ahead is not None:
        if to_overtake < 0:
            out.append(f"Not even {MOST_LOTS} further clean lots {size} would bring it before {ahead}.")
        else:
            out.append(f"{count(to_overtake, 'further clean lot')} {size} would bring it before {ahead}.")
    if known.above > 1.0 - SURE:
        limit = f"{percent(known.tolerable)} with {100 * SURE:.0f} % probability"
        if to_settle < 0:
            out.append(f"Not even {MOST_LOTS} further clean lots {size} would show the share to be below {limit}.")
        else:
            out.append(f"{count(to_settle, 'further clean lot')} {size} would show the share to be below {limit}.")
    moved = f" and move it from place {place} to {new_place}" if place is not None and new_place > place else ""
    out.append(f"One lot {size} that is wholly unfit would bring its share to about {percent(after_bad)}{moved}.")
    return out


def assumption_words(assumed: Assumptions, half_life_days: float, tolerable: float) -> list[str]:
    """What the figures take for granted."""
    a, b = assumed.mean_prior
    spreads = ", ".join(f"{k:g}" for k in assumed.spreads)
    within = ", ".join(f"{r:g} within {days} days" for days, r in FAILED_WITHIN)
    return [
        f"A lot counts half after {half_life_days:g} days; tolerable share {percent(tolerable)}.",
        f"Before any lot: mean share over suppliers Beta({a:g}, {b:g}), suppliers' concentration even in its logarithm "
        f"from {assumed.concentration[0]:g} to {assumed.concentration[1]:g}.",
        f"Lots of a supplier are all or nothing (concentration {assumed.all_or_nothing:g}) with a chance of "
        f"{', '.join(f'{w:g}' for w in assumed.spread_chances)}, else of concentration {spreads}; each as likely.",
        f"Types of a supplier lie about its mean with concentration "
        f"{', '.join(f'{c:g}' for c in assumed.type_spreads)}; each as likely.",
        f"An unfit part is {FAILED_FIRST:g} times likelier to fail at first power-up, {within}, {FAILED_LATER:g} "
        f"later; {PASSED_SOAK:g} times as likely to pass a soak. Found to be the cause: times {PART_CAUSE:g}; "
        f"the stage was: {STAGE_CAUSE:g} of the logarithm. Parts that failed in one event share the evidence of one.",
    ]
