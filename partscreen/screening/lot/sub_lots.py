"""A bag of several date codes: weighed as one lot with the spread from lot to lot added, told by sub-lots.

Parts of one code share a production lot; those of two codes differ as lots do, so that the spread within such a bag is
wider. Weighing every code apart was tried and given up: a code that is bad as a whole is then compared with nothing,
and three in five of its parts were accepted where the bag as one lot accepts none (see `docs/goods_in.md`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, expit, logit

from partscreen.readings.tables import Batch
from partscreen.results import Interval, LotResult, PartResult, Reason, SubLot, made
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.lot.view import judge_lot
from partscreen.screening.weighing import FEW, MIXED, WeighedLot

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NO_CODE = "no date code"
NODES = 500  # of each part of the belief; its quantiles are then good to about a thousandth


def with_mixed_marked(batch: Batch) -> Batch:
    """The batch with a mark on every lot of several date codes, so that it is weighed with the wider spread."""
    lots = tuple(
        replace(lot, extra={**lot.extra, MIXED: "yes"}) if len(_counts(batch, number)) > 1 else lot
        for number, lot in enumerate(batch.lots)
    )
    return replace(batch, lots=lots)


def _codes(batch: Batch, lot: int) -> dict[str, str]:
    """Date code of every part of a lot, by its name."""
    parts = np.flatnonzero(batch.part_lot == lot).tolist()
    return {batch.part_names[part]: batch.date_codes.get(part, NO_CODE) for part in parts}


def _counts(batch: Batch, lot: int) -> Counter[str]:
    return Counter(_codes(batch, lot).values())


def with_sub_lots(results: Sequence[LotResult], batch: Batch, prior_share: float) -> list[LotResult]:
    """Judged lots, in the order of `batch.lots`, those of several date codes with their `sub_lots`.

    Every code of at least `FEW` parts is a sub-lot; codes of fewer parts, and parts without one, are told together.

    Parameters
    ----------
    prior_share : expected share of unfit parts before any reading
    """
    out = []
    for number, result in enumerate(results):
        codes = _codes(batch, number)
        groups = _groups(Counter(codes.values()))
        if not groups:
            out.append(result)
            continue
        subs = [_sub_lot(result, group, codes, prior_share) for group in groups]
        out.append(result.model_copy(update={"sub_lots": subs, "reasons": [_reason(subs), *result.reasons]}))
    return out


def _groups(counts: Counter[str]) -> list[tuple[str, ...]]:
    """Groups of codes, the largest code first, the small ones together last; none where all parts bear one code."""
    if len(counts) < 2:
        return []
    large = [code for code, n in counts.most_common() if n >= FEW and code != NO_CODE]
    small = tuple(sorted(code for code in counts if code not in large))
    return [*((code,) for code in large), *([small] if small else [])]


def _sub_lot(lot: LotResult, group: tuple[str, ...], codes: dict[str, str], prior_share: float) -> SubLot:
    parts = [part for part in lot.parts if codes.get(part.part) in group]
    # Where it is not known which half of the bag is right, it is not known of a code either.
    undecided = lot.judgement == "undecided"
    share = share_of(parts, prior_share) if lot.share_unfit is not None and not undecided else None
    judgement = judge_lot(
        known_type=lot.judgement != "no_reference",
        about_equal=undecided,
        rejected=sum(part.disposition == "reject" for part in parts),
        share_unfit=share,
    )
    return made(
        SubLot, codes=list(group), parts=[part.part for part in parts], n_parts=len(parts), judgement=judgement,
        share_unfit=share,
    )  # fmt: skip


def share_of(parts: Sequence[PartResult], prior_share: float) -> Interval | None:
    """Share of unfit parts of what a sub-lot was drawn from: mean, 2.5 % and 97.5 % points; None: nothing was weighed.

    The belief before is that of a lot, clean or bad (`share_priors`); every part counts by its evidence, one outside a
    limit, dead or reversed as surely unfit.
    """
    surely = [part.disposition == "reject" and part.reasons[0].code != "SUSPECT" for part in parts]
    weighed = [
        part.evidence for part, sure in zip(parts, surely, strict=True) if not sure and part.evidence is not None
    ]
    if not weighed and not any(surely):
        return None
    belief = _belief(prior_share)
    ln = belief.ln_weight + sum(surely) * np.log(belief.share) + _ln_each(belief, np.array(weighed)).sum(axis=0)
    weight = np.exp(ln - ln.max())
    weight /= weight.sum()
    order = np.argsort(belief.share)
    places = np.minimum(np.searchsorted(np.cumsum(weight[order]), (0.025, 0.975)), order.size - 1)
    low, high = belief.share[order][places].tolist()
    return Interval(value=float((weight * belief.share).sum()), low=low, high=high)


@dataclass(frozen=True, slots=True)
class _Belief:
    """Shares at which a belief is held, and the logs of their weights; of one length."""

    share: Floats
    ln_weight: Floats


def _belief(prior_share: float) -> _Belief:
    bad_lot, good, rest = share_priors(prior_share)
    steps = (np.arange(NODES) + 0.5) / NODES
    share = np.concatenate((betaincinv(good.a, good.b, steps), betaincinv(rest.b, rest.a, steps)))
    return _Belief(np.clip(share, 1e-12, 1.0 - 1e-12), np.repeat([np.log1p(-bad_lot), np.log(bad_lot)], NODES))


def _ln_each(belief: _Belief, evidence: Floats) -> Floats:
    """ln P(readings of each part | share), up to what does not hang on it; shape (n, shares)."""
    return np.asarray(np.logaddexp(np.log1p(-belief.share), np.log(belief.share) + evidence[:, None]))


def with_own_shares(
    weighed: Mapping[int, WeighedLot], batch: Batch, parts: Ints, prior_share: float
) -> dict[int, WeighedLot]:
    """Lots of several date codes, the probabilities of their parts by the share of their own code.

    A bag mixed of a clean code and a bad one has a share that is neither's. Evidence is left as it is: only what is
    expected of a part before its own readings changes, to what the other parts of its code say. Codes of fewer than
    `FEW` parts keep the share of the bag.

    Parameters
    ----------
    parts : (n,), number in the batch of every part of the type, in the order that `WeighedLot.rows` refers to
    """
    out = dict(weighed)
    belief = _belief(prior_share)
    for number, lot in weighed.items():
        if MIXED not in batch.lots[number].extra or batch.lots[number].known_good:
            continue
        codes = np.array([batch.date_codes.get(int(p), NO_CODE) for p in parts[lot.rows]])
        probability = lot.evidence.weighed.probability.copy()
        for code, count in Counter(codes.tolist()).items():
            if count >= FEW and code != NO_CODE:
                rows = np.flatnonzero(codes == code)
                evidence = lot.evidence.weighed.evidence[rows]
                probability[rows] = _moved(probability[rows], expit(logit(_from_others(belief, evidence)) + evidence))
        found = replace(lot.evidence, weighed=replace(lot.evidence.weighed, probability=probability))
        out[number] = replace(lot, evidence=found)
    return out


def _from_others(belief: _Belief, evidence: Floats) -> Floats:
    """Expected share of unfit parts as all the others of a code say; shape (n,)."""
    each = _ln_each(belief, evidence)
    ln = belief.ln_weight + each.sum(axis=0) - each
    weight = np.exp(ln - ln.max(axis=1, keepdims=True))
    return np.asarray((weight * belief.share).sum(axis=1) / weight.sum(axis=1))


def _moved(probability: Floats, unfit: Floats) -> Floats:
    """Probabilities (n, h) with "as marked", which comes first, at 1 - `unfit`; the others keep their proportions."""
    rest = np.maximum(probability[:, 1:].sum(axis=1), 1e-300)
    return np.concatenate(((1.0 - unfit)[:, None], probability[:, 1:] * (unfit / rest)[:, None]), axis=1)


def _reason(subs: Sequence[SubLot]) -> Reason:
    bits = []
    for sub in subs:
        share = sub.share_unfit
        told = "" if share is None or share.low is None else f", share unfit {share.low:.0%} to {share.high:.0%}"
        name = sub.codes[0] if len(sub.codes) == 1 else f"{len(sub.codes)} codes of few parts ({', '.join(sub.codes)})"
        bits.append(
            f"{name}: {sub.n_parts} part{'s' if sub.n_parts != 1 else ''}, {sub.judgement.replace('_', ' ')}{told}"
        )
    sentence = f"The lot holds several date codes, told as sub-lots: {'; '.join(bits)}."
    figures: dict[str, float | int | str | None] = {"codes": sum(len(sub.codes) for sub in subs), "groups": len(subs)}
    return Reason(code="SUB_LOTS", sentence=sentence, figures=figures)
