"""What to do with a lot: use it, test all of it, return it; each with its expected cost, from one question.

Costs are counted in parts thrown away, as `screening.disposition` counts them: what does one bad part cost you when it
is fitted, against a part thrown away? (`--cost`). The judgement of the lot stays what screening said; costs stand
beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partscreen.lots.likelihood import Bulk, bulk_of, cells, laid_out, ln_likelihood, ln_likelihood_of_lots, posterior
from partscreen.results import LotAction, LotResult, PartResult
from partscreen.screening.disposition import DEFAULT_COST, HOLD_COST, WRONG_REJECT_COST
from partscreen.screening.evidence.lot import CONCENTRATION
from partscreen.screening.lot.view import TOLERABLE_SHARE
from partscreen.screening.weighing import KNOWN_GOOD_SHARE

MISSED = 0.1
"""Share of unfit parts that a further reading does not show (the reach of screening is the die that nine in ten such
parts would be shown by)."""

BULK_NOT_TOLD = ("no_reference", "undecided")  # judgements: nothing says whether the bulk of the lot is right
HANDLING = 2.0  # sending a lot back, in parts thrown away (assumption: a letter, postage, a wait)
CELLS = 400


@dataclass(frozen=True, slots=True)
class Costs:
    """What things cost, in parts thrown away.

    bad : a bad part fitted. reading : the bench minutes of one part. handling : sending a lot back. wronged : a
    supplier wronged by a return. price, currency : of one part, to tell costs in money too; None: not known.
    """

    bad: float = DEFAULT_COST
    reading: float = HOLD_COST
    handling: float = HANDLING
    wronged: float = WRONG_REJECT_COST
    price: float | None = None
    currency: str = ""


def costs(
    bad: float = DEFAULT_COST,
    *,
    price: float | None = None,
    currency: str = "",
    minutes: float | None = None,
    hourly: float | None = None,
) -> Costs:
    """Costs from the one question, and from price and minutes where they are known.

    Parameters
    ----------
    bad : what a bad part costs, in parts thrown away
    price, currency : of one part
    minutes : to read one part. hourly : what an hour costs, in the currency; with a price they set the reading's cost

    Raises
    ------
    ValueError
        Something is not above 0.
    """
    for name, value in (("cost", bad), ("price", price), ("minutes", minutes), ("hourly cost", hourly)):
        if value is not None and not (np.isfinite(value) and value > 0):
            raise ValueError(f"{name} is {value}; a number above 0 is expected")
    reading = HOLD_COST
    if price is not None and minutes is not None and hourly is not None:
        reading = minutes / 60.0 * hourly / price
    return Costs(bad, reading, price=price, currency=currency)


def certainly_unfit(part: PartResult) -> bool:
    """Dead, reversed, or outside a limit: unfit whatever the evidence says."""
    return part.disposition == "reject" and (not part.reasons or part.reasons[0].code != "SUSPECT")


def evidence_of_lot(parts: Sequence[PartResult]) -> tuple[dict[str, float], frozenset[str]]:
    """Evidence of the parts that were weighed, by name, and the parts unfit for certain."""
    certain = frozenset(p.part for p in parts if certainly_unfit(p))
    weighed = {p.part: p.evidence for p in parts if p.evidence is not None and p.part not in certain}
    return weighed, certain


def bulk_of_lot(judgement: str, bulk_unfit: float | None, prior_share: float) -> Bulk | None:
    """What screening says of the bulk of a lot: its `judgement` and `bulk_unfit`; None: not known.

    `prior_share`: of unfit parts, as the screening had it.
    """
    found = None if bulk_unfit is None else bulk_of(bulk_unfit, prior_share)
    if judgement in BULK_NOT_TOLD:
        return Bulk(0.0, None if found is None else found.unfit)
    return found


@dataclass(frozen=True, slots=True)
class ShareBound:
    """Share of unfit parts of the bag the lot was drawn from, one-sided bounds with 95 %.

    expected : its mean. below, above : with what screening expects of lots beforehand. alone_below, alone_above : from
    the readings alone, every share as likely before. tolerable : chance that the share is at most the tolerable one.
    """

    expected: float
    below: float
    above: float
    alone_below: float
    alone_above: float
    tolerable: float


def share_bound(
    evidence: Sequence[float],
    certain: int,
    *,
    prior_share: float = 0.1,
    confidence: float = 0.95,
    tolerable: float = TOLERABLE_SHARE,
    bulk: Bulk | None = None,
) -> ShareBound:
    """Bounds of a lot's share from the evidence of its parts.

    Parameters
    ----------
    evidence : ln likelihood ratios, unfit over as marked, of the parts that were weighed
    certain : parts unfit for certain, besides
    prior_share : expected share before any reading, as screening has it
    bulk : what screening says of the lot's bulk (`bulk_of_lot`)
    """
    grid, readings = cells(CELLS), laid_out([evidence], [certain])
    before = grid.beta(CONCENTRATION * prior_share, CONCENTRATION * (1.0 - prior_share))
    expected = posterior(ln_likelihood(readings, grid.middle), before)
    # Screening's evidence holds what it expects of a lot's bulk; with every share as likely, the bulk counts once.
    flat = posterior(ln_likelihood_of_lots(readings, grid.middle, [bulk]), grid.beta(1.0, 1.0))
    below, above, alone_below, alone_above = (
        float(grid.quantile(mass, q)[0]) for mass in (expected, flat) for q in (confidence, 1.0 - confidence)
    )
    mean = float((expected @ grid.middle)[0])
    within = float(1.0 - grid.chance_above(expected, tolerable)[0])
    return ShareBound(mean, below, above, alone_below, alone_above, within)


def lot_actions(
    lot: LotResult, price: Costs, *, prior_share: float = 0.1, size: int | None = None
) -> tuple[str, list[LotAction]]:
    """The sentence on a lot, and what could be done with it, the cheapest first.

    Parameters
    ----------
    lot : LotResult
    price : Costs
    prior_share : expected share of unfit parts before any reading
    size : parts in the bag, where the lot sheet tells it; parts not read count as this lot's parts on average

    Returns
    -------
    sentence, actions; no costs where nothing says whether the bulk of the lot is right.
    """
    evidence, certain = evidence_of_lot(lot.parts)
    clear = sum(e <= 0 for e in evidence.values())
    whole = max(size or 0, lot.n_parts)
    head = f"No evidence of substitution in {clear} of {lot.n_parts}"
    if whole > lot.n_parts:
        head += f" read ({whole - lot.n_parts} of the bag were not)"
    if not evidence and not certain:
        return "", []
    if lot.judgement in BULK_NOT_TOLD or lot.share_unfit is None:
        words = "not known: nothing says whether the bulk of the lot is right"
        named = [LotAction(action=name, sentence=words) for name in ("use", "test_all", "return")]
        return f"{head}; nothing says whether the bulk is right, so the share of unfit parts is not known.", named
    expects = KNOWN_GOOD_SHARE if lot.known_good else prior_share
    expected = min(expects, prior_share)
    bulk = bulk_of_lot(lot.judgement, lot.bulk_unfit, expected)
    bound = share_bound(list(evidence.values()), len(certain), prior_share=expected, bulk=bulk)
    side, of_lots, alone = "below", bound.below, bound.alone_below
    if 2 * clear < lot.n_parts:
        side, of_lots, alone = "above", bound.above, bound.alone_above
    sentence = (
        f"{head}; the share of unfit parts is {side} {_percent(of_lots)} with 95 % "
        f"({side} {_percent(alone)} from these readings alone, if every share were as likely beforehand)."
    )
    found = _expected(lot, price, bound, whole, prior_share)
    told = [
        _action(name, cost, price, open_=_open(lot, whole))
        for name, cost in sorted(found.items(), key=lambda item: item[1])
    ]
    return sentence, told


def _expected(lot: LotResult, price: Costs, bound: ShareBound, whole: int, prior_share: float) -> dict[str, float]:
    chance = {p.part: bound.expected if p.probability_unfit is None else p.probability_unfit for p in lot.parts}
    accepted = sum(chance[p.part] for p in lot.parts if p.disposition == "accept")
    open_ = [chance[p.part] for p in lot.parts if p.disposition in ("hold", None)]
    open_ += [bound.expected] * (whole - lot.n_parts)
    lost = sum(p.disposition == "reject" for p in lot.parts)  # thrown away, whatever becomes of the rest
    after = price.reading + np.array(open_, dtype=float) * (MISSED * price.bad + (1.0 - MISSED))
    another = whole * (price.reading + prior_share * (MISSED * price.bad + (1.0 - MISSED)))
    return {
        "use": lost + price.bad * (accepted + sum(open_)),
        "test_all": lost + price.bad * accepted + float(after.sum()),
        "return": price.handling + another + price.wronged * bound.tolerable,
    }


_WORDS = {
    "use": "fit every part that is not rejected",
    "test_all": "read what is held or not read, then fit what is accepted",
    "return": "send it back, if it can be, and read another lot",
}


def _open(lot: LotResult, whole: int) -> int:
    return whole - lot.n_parts + sum(p.disposition in ("hold", None) for p in lot.parts)


def _action(name: str, cost: float, price: Costs, *, open_: int) -> LotAction:
    doing = "nothing is held or left to read" if name == "test_all" and not open_ else _WORDS[name]
    words = f"{doing}: costs about as much as {cost:.2g} part{'' if f'{cost:.2g}' == '1' else 's'} thrown away"
    if price.price is not None:
        money = f"{cost * price.price:.2g} {price.currency}".strip()
        words += f", {money} at {price.price:g} a part"
    return LotAction(action=name, expected_cost=float(cost), sentence=words)


def _percent(share: float) -> str:
    value = 100.0 * share
    return f"{value:.1f} %" if value < 10 else f"{value:.0f} %"
