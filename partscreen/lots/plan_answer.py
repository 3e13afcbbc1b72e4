"""Answers about single samples: how many to test, what a sample is worth, the tables of the standards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from partscreen.lots.attribute_plans import SOURCE_COPY, SOURCE_MEMORY, Severity, TablePlan, table_plan
from partscreen.lots.intervals import clopper_pearson, most_bad_in_lot, upper_limit, wilson
from partscreen.lots.operating_curve import accepted_from_lot, accepted_from_process, curve_shares
from partscreen.lots.plan_words import given_sentence, percent, size_sentence, table_sentence, two_point_sentence
from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.lots.share import clean_or_bad
from partscreen.lots.stopping import average_read_in_lot, average_read_until_first
from partscreen.lots.switching import RULES_MEMORY, History, PastLot, Switcher
from partscreen.lots.two_point import two_point_plan
from partscreen.lots.zero_acceptance import CONFIDENCE, TOLERABLE, least_bad, most_bad, sample_size
from partscreen.results.base import Interval
from partscreen.results.plan import (
    CurvePoint,
    LotStep,
    PlanResult,
    PlanRisk,
    Question,
    ShareAfter,
    TableEntry,
)

PRIOR_SHARE = 0.1
"""Mean bad share believed before a lot is read, as in screening (assumption)."""

LARGEST_EXACT_LOT = 2000
"""Where parts are read one by one, lots above are treated as much larger than the sample."""

_ROWS_AFTER = 4  # numbers found for which the share is told in advance


class FoundMoreThanTested(ValueError):
    """More bad parts are said to have been found than the sample has."""

    def __init__(self, found: int, tested: int) -> None:
        self.found, self.tested = found, tested
        super().__init__(f"{found} found, but the sample has {tested}")


@dataclass(frozen=True, slots=True)
class Frame:
    """What every question has in common.

    lot_size : None for a lot much larger than the sample
    found : parts against the lot, where the test is done; confidence and prior_share serve the share after it
    """

    version: str
    settings: dict[str, Any]
    lot_size: int | None = None
    readings: ReadingsPower = PERFECT
    confidence: float = CONFIDENCE
    prior_share: float = PRIOR_SHARE
    found: int | None = None
    stop_at_first: bool = False

    @property
    def against(self) -> str:
        """The word for a part that counts against the lot."""
        return "count" if self.readings.held_counts == "against" else "fail"


def answer_size(frame: Frame, tolerable: float = TOLERABLE, c: int = 0) -> PlanResult:
    """The smallest sample that shows the bad share to be below `tolerable`.

    Raises
    ------
    OutOfReach
        No sample does.
    """
    n = sample_size(tolerable, frame.confidence, lot_size=frame.lot_size, c=c, readings=frame.readings)
    sentence = size_sentence(n, c, frame.lot_size, tolerable, frame.confidence, frame.against)
    risks = [
        consumer_risk(frame, n, c, tolerable, 1.0 - frame.confidence),
        producer_risk(frame, n, c, 0.0),
    ]
    return _single(frame, "size", sentence, n, c, risks)


def answer_given(frame: Frame, n: int, c: int = 0, tolerable: float = TOLERABLE) -> PlanResult:
    """What a sample of `n` with up to `c` against the lot is worth."""
    risk = consumer_risk(frame, n, c, tolerable, None)
    sentence = given_sentence(n, c, frame.lot_size, tolerable, risk.chance)
    return _single(frame, "given", sentence, n, c, [risk, producer_risk(frame, n, c, 0.0)])


def answer_two_point(
    frame: Frame, good: float, bad: float, producer: float = 0.05, consumer: float = 0.10
) -> PlanResult:
    """The smallest single plan that keeps both risks.

    Raises
    ------
    OutOfReach
        No plan does.
    """
    n, c = two_point_plan(good, bad, producer, consumer, lot_size=frame.lot_size, readings=frame.readings)
    risks = [consumer_risk(frame, n, c, bad, consumer), producer_risk(frame, n, c, good, producer)]
    sentence = two_point_sentence(n, c, frame.lot_size, good, bad, risks[1].chance, risks[0].chance)
    return _single(frame, "two_point", sentence, n, c, risks)


def answer_table(
    frame: Frame,
    aql: float,
    *,
    level: str = "II",
    severity: Severity = "normal",
    past: Sequence[PastLot] = (),
    reduced: bool = False,
) -> PlanResult:
    """The plan of the tables; with past lots the severity follows from them.

    Raises
    ------
    ValueError
        No lot size, an AQL or level the tables do not have, or a past lot with more bad parts than its sample.
    """
    if frame.lot_size is None:
        raise ValueError("the tables need the lot size")
    history = follow(past, aql, level, severity, reduced)
    stopped = history.state == "stopped"
    now: Severity = "tightened" if history.state == "stopped" else history.state
    plan = table_plan(frame.lot_size, aql, level=level, severity=now)
    allowed = plan.accepts_up_to
    risks = [
        producer_risk(frame, plan.n, allowed, plan.aql / 100.0),
        consumer_risk(frame, plan.n, allowed, TOLERABLE, None),
    ]
    remarks = _table_remarks(plan, history, len(past))
    sentence = table_sentence(plan)
    if stopped:
        sentence = "Take no lot from this supplier until it has mended the cause; afterwards: " + sentence
    result = _single(frame, "table", sentence, plan.n, allowed, risks, remarks)
    entry = TableEntry(
        aql=plan.aql, level=plan.level, severity=plan.severity, letter=plan.letter, plan_letter=plan.plan_letter,
        refuse_from=plan.refuse_from, whole_lot=plan.whole_lot, basis=plan.basis, source=plan.source,
    )  # fmt: skip
    steps = [
        LotStep(
            lot=step.lot.name, lot_size=step.lot.lot_size, severity=step.plan.severity, sample_size=step.plan.n,
            acceptance_number=step.plan.c, found=step.lot.found, accepted=step.accepted, next_state=step.next_state,
            why=step.why, basis=step.basis,
        )
        for step in history.steps
    ]  # fmt: skip
    return result.model_copy(
        update={
            "acceptance_number": plan.c, "table": entry, "history": steps,
            "next_state": history.state if history.steps else None,
        }
    )  # fmt: skip


def follow(past: Sequence[PastLot], aql: float, level: str, severity: Severity, reduced: bool) -> History:
    """The past lots under the switching rules, up to the one that stops the supply."""
    switcher = Switcher(aql, level=level, reduced=reduced, start=severity)
    steps, too_few = [], []
    for lot in past:
        asked = 0 if lot.read is None else switcher.asked(lot)
        if lot.read is not None and len(lot.read) < asked:
            too_few.append((lot.name, len(lot.read), asked))
            continue
        steps.append(switcher.take(lot if lot.read is None else replace(lot, found=sum(lot.read[:asked]))))
        if switcher.state == "stopped":
            break
    return History(tuple(steps), switcher.state, switcher.score, tuple(too_few))


_BASIS_WORDS = {
    "copy": f"The entry was compared with a published copy of the tables: {SOURCE_COPY}.",
    "memory": f"The entry or its code letter is memory: {SOURCE_MEMORY}. Look it up before a contract rests on it.",
}


def _table_remarks(plan: TablePlan, history: History, n_past: int) -> list[str]:
    out = [_BASIS_WORDS[plan.basis]]
    if plan.plan_letter != plan.letter:
        out.append(f"The arrows of the table lead from code letter {plan.letter} to {plan.plan_letter}.")
    if plan.whole_lot:
        out.append("The table asks for as many parts as the lot has, or more: all are tested.")
    if plan.severity == "reduced":
        out.append("Reduced plans are for steady makers. Of a lot whose maker is not known, do not use them.")
    if history.steps:
        out.append(f"Of the switching rules, {RULES_MEMORY}.")
    if history.too_few:
        told = ", ".join(f"{name} ({read} of {asked})" for name, read, asked in history.too_few)
        out.append(f"Not counted, for fewer parts were read than their plan asks: {told}.")
    if len(history.steps) + len(history.too_few) < n_past:
        left = n_past - len(history.steps) - len(history.too_few)
        out.append(f"{left} of the past lots came after the supply was to be stopped; they are not counted.")
    return out


def consumer_risk(frame: Frame, n: int, c: int, share: float, asked: float | None) -> PlanRisk:
    """Chance of accepting a lot with `share` bad, in a lot of known size rounded up to parts."""
    if frame.lot_size is None:
        chance = float(accepted_from_process(n, c, share, frame.readings))
        return PlanRisk(whose="consumer", share=share, chance=chance, asked=asked)
    bad = least_bad(frame.lot_size, share)
    chance = float(accepted_from_lot(frame.lot_size, n, c, bad, frame.readings))
    return PlanRisk(whose="consumer", share=share, bad_in_lot=bad, chance=chance, asked=asked)


def producer_risk(frame: Frame, n: int, c: int, share: float, asked: float | None = None) -> PlanRisk:
    """Chance of refusing a lot with `share` bad, in a lot of known size rounded down to parts."""
    if frame.lot_size is None:
        chance = 1.0 - float(accepted_from_process(n, c, share, frame.readings))
        return PlanRisk(whose="producer", share=share, chance=chance, asked=asked)
    bad = most_bad(frame.lot_size, share)
    chance = 1.0 - float(accepted_from_lot(frame.lot_size, n, c, bad, frame.readings))
    return PlanRisk(whose="producer", share=share, bad_in_lot=bad, chance=max(0.0, chance), asked=asked)


def _single(
    frame: Frame, question: Question, sentence: str, n: int, c: int, risks: list[PlanRisk], remarks: Sequence[str] = ()
) -> PlanResult:
    remarks = [*remarks, *_price_of_readings(risks)]
    told = range(min(c, _ROWS_AFTER - 1) + 1) if frame.found is None else [frame.found]
    if frame.found is not None:
        sentence += f" With {frame.found} bad the lot is {'accepted' if frame.found <= c else 'refused'}."
    return PlanResult(
        version=frame.version, question=question, sentence=sentence, settings=frame.settings,
        remarks=[*remarks, *common_remarks(frame)], lot_size=frame.lot_size, sample_size=n, acceptance_number=c,
        risks=risks, operating_curve=curve(frame, n, c), after=[share_after(frame, k, n) for k in told],
    )  # fmt: skip


MANY_REFUSED = 0.2
"""Producer's risk of a lot without bad parts from which a remark says how to lower it (assumption)."""


def _price_of_readings(risks: Sequence[PlanRisk]) -> list[str]:
    for risk in risks:
        if risk.whose == "producer" and risk.share == 0.0 and risk.chance > MANY_REFUSED:
            return [
                f"{percent(risk.chance)} of lots without any bad part would be refused for false alarms or held parts: "
                f"read such parts again before they count, or accept with some of them (--allow)."
            ]
    return []


def common_remarks(frame: Frame) -> list[str]:
    """What the answer rests on."""
    r = frame.readings
    out = []
    if frame.lot_size is None:
        out.append("No lot size given: taken as much larger than the sample.")
    if not r.perfect or r.held_if_good or r.held_if_bad:
        held = ""
        if r.held_if_good or r.held_if_bad:
            counts = "count against the lot" if r.held_counts == "against" else "do not count against the lot"
            held = (
                f"; held are {percent(r.held_if_good)} of good and {percent(r.held_if_bad)} of bad parts, they {counts}"
            )
        out.append(
            f"Readings reject {percent(r.power)} of the bad and {percent(r.false_alarm)} of the good parts they "
            f"decide{held}."
        )
    else:
        out.append("Readings are taken as never wrong; --power, --false-alarm and --held say how wrong they are.")
    out.append("The sample must be drawn at random from the whole lot, not from the top of the bag.")
    return out


def curve(frame: Frame, n: int, c: int) -> list[CurvePoint]:
    """The operating curve of a single plan."""
    shares = curve_shares(frame.lot_size, n, c, frame.readings)
    if frame.lot_size is None:
        chance = accepted_from_process(n, c, shares, frame.readings)
        bad: list[int | None] = [None] * shares.size
    else:
        whole = np.rint(shares * frame.lot_size).astype(int)
        chance = accepted_from_lot(frame.lot_size, n, c, whole, frame.readings)
        bad = [int(b) for b in whole]
    average = _average_parts(frame, n, shares) if frame.stop_at_first else [None] * shares.size
    return [
        CurvePoint(share=float(s), bad_in_lot=b, accepted=float(p), average_parts=a)
        for s, b, p, a in zip(shares, bad, chance, average, strict=True)
    ]


def _average_parts(frame: Frame, n: int, shares: npt.NDArray[np.float64]) -> list[float | None]:
    """Parts read on average if reading stops at the first against the lot; large lots as if without end."""
    if frame.lot_size is None or frame.lot_size > LARGEST_EXACT_LOT:
        return [float(x) for x in average_read_until_first(n, shares, frame.readings)]
    bad = np.rint(shares * frame.lot_size).astype(int)
    return [average_read_in_lot(frame.lot_size, n, int(one), frame.readings) for one in bad]


def share_after(frame: Frame, found: int, tested: int) -> ShareAfter:
    """Intervals of the bad share once `found` of `tested` counted against the lot.

    Raises
    ------
    FoundMoreThanTested
        They are not 0 to `tested`.
    """
    if not 0 <= found <= tested:
        raise FoundMoreThanTested(found, tested)
    r, confidence = frame.readings, frame.confidence
    exact = clopper_pearson(found, tested, confidence, readings=r)
    score = wilson(found, tested, confidence, readings=r)
    belief = clean_or_bad(frame.prior_share).after(found, tested, r)
    tail = (1.0 - confidence) / 2.0
    in_lot = None
    if frame.lot_size is not None and r.perfect and tested:
        in_lot = most_bad_in_lot(found, tested, frame.lot_size, confidence)
    return ShareAfter(
        found=found, tested=tested, confidence=confidence, exact=Interval(low=exact[0], high=exact[1]),
        score=Interval(low=score[0], high=score[1]), upper=upper_limit(found, tested, confidence, readings=r),
        most_bad_in_lot=in_lot, prior_share=frame.prior_share,
        believed=Interval(value=belief.mean, low=belief.quantile(tail), high=belief.quantile(1.0 - tail)),
    )  # fmt: skip
