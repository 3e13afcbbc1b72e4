"""Answers about sequential plans and plans of least expected cost."""

from __future__ import annotations

from collections.abc import Sequence as Several

import numpy as np

from partscreen.lots.cost_outcomes import Prices, Reading
from partscreen.lots.cost_plan import CostPlan, cheapest_plans
from partscreen.lots.operating_curve import accepted, curve_shares
from partscreen.lots.plan_answer import LARGEST_EXACT_LOT, Frame, common_remarks
from partscreen.lots.plan_words import amount, choice_words, parts, percent
from partscreen.lots.sequential import Decision, Outcome, SequentialPlan
from partscreen.lots.share import clean_or_bad
from partscreen.lots.zero_acceptance import OutOfReach, least_bad, most_bad
from partscreen.results.plan import CostChoice, CurvePoint, PlanResult, PlanRisk, Sequence, StopLine

_LINES_ALL = 60  # so many lines of boundaries are listed one by one; more only where a boundary moves


def answer_sequential(
    frame: Frame,
    good: float,
    bad: float,
    producer: float = 0.05,
    consumer: float = 0.10,
    so_far: Several[Outcome] = (),
) -> PlanResult:
    """Test part by part; with `so_far` the decision after these parts.

    Raises
    ------
    ValueError
        Shares or risks that give no plan.
    OutOfReach
        Good and bad share are the same number of parts of this lot.
    """
    lot_size = frame.lot_size
    if lot_size is not None and most_bad(lot_size, good) >= least_bad(lot_size, bad):
        raise OutOfReach(f"in {lot_size} parts {percent(good)} and {percent(bad)} are the same number of bad parts")
    plan = SequentialPlan(good, bad, producer, consumer, readings=frame.readings)
    if lot_size is not None and plan.end > lot_size:
        plan = SequentialPlan(good, bad, producer, consumer, last=lot_size, readings=frame.readings)
    exact_in_lot = lot_size is not None and lot_size <= LARGEST_EXACT_LOT
    at_good, at_bad = _at(plan, lot_size if exact_in_lot else None, good, bad)
    decision = plan.decide(so_far) if so_far else None
    risks = [
        PlanRisk(whose="producer", share=good, bad_in_lot=most_bad(lot_size, good) if lot_size else None,
                 chance=max(0.0, 1.0 - at_good[0]), asked=producer),
        PlanRisk(whose="consumer", share=bad, bad_in_lot=least_bad(lot_size, bad) if lot_size else None,
                 chance=at_bad[0], asked=consumer),
    ]  # fmt: skip
    remarks = common_remarks(frame)
    if lot_size is not None and not exact_in_lot:
        remarks.append("In a lot of this size the chances are those of a very large one.")
    remarks.append(
        f"Without a decision after {parts(plan.end)} the lot is taken for what it then is likelier; the chances above "
        f"hold this in."
    )
    # Wald's lines may exceed a risk by the factor 1 / (1 - other risk); what is more comes from the early end.
    asked = ((producer, consumer), (consumer, producer))
    over = [r for r, (own, other) in zip(risks, asked, strict=True) if r.chance > own / (1.0 - other)]
    if over:
        told = " and ".join(f"the {r.whose}'s risk is {percent(r.chance)}" for r in over)
        remarks.append(
            f"The plan ends too early to keep what was asked: {told}. Take a larger lot or shares further apart."
        )
    return PlanResult(
        version=frame.version, question="sequential", sentence=_sequence_sentence(plan, at_good[1], decision),
        settings=frame.settings, remarks=remarks, lot_size=lot_size, sample_size=plan.end, acceptance_number=None,
        risks=risks, operating_curve=_sequence_curve(plan, lot_size if exact_in_lot else None),
        sequence=_sequence(plan, at_good[1], at_bad[1], so_far, decision),
    )  # fmt: skip


def _at(
    plan: SequentialPlan, lot_size: int | None, good: float, bad: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Chance of acceptance and average number of parts, of a good and a bad lot."""
    if lot_size is not None:
        return (
            plan.operating_in_lot(lot_size, most_bad(lot_size, good)),
            plan.operating_in_lot(lot_size, least_bad(lot_size, bad)),
        )
    chance, average = plan.operating([good, bad])
    return (float(chance[0]), float(average[0])), (float(chance[1]), float(average[1]))


def _sequence_sentence(plan: SequentialPlan, average: float, decision: tuple[Decision, int, int] | None) -> str:
    if decision is not None:
        what = {"go on": "go on: test the next part", "accept": "accept the lot", "refuse": "refuse the lot"}
        return f"After {parts(decision[1])}, {decision[2]} of them bad: {what[decision[0]]}."
    first = plan.first_accept()
    least = int(plan.refuse_at(plan.first_refuse()))
    if first > plan.end:
        first = plan.end
    return (
        f"Test part by part: with none bad accept after {parts(first)}, with {least} bad refuse at once while no more "
        f"than {_holds_until(plan, least)} are tested; {parts(plan.end)} at most, {amount(average)} on average if the "
        f"lot is good."
    )


def _holds_until(plan: SequentialPlan, least: int) -> int:
    """Parts up to which `least` bad ones refuse the lot."""
    n = np.arange(1, plan.end + 1)
    return int(n[plan.refuse_at(n) <= least].max())


def _sequence(
    plan: SequentialPlan, average_good: float, average_bad: float, so_far: Several[Outcome],
    decision: tuple[Decision, int, int] | None,
) -> Sequence:  # fmt: skip
    ratio = sum(plan.log_ratio(o) for o in so_far[: decision[1]]) if decision else None
    return Sequence(
        good=plan.good, bad=plan.bad, apparent_good=plan.apparent[0], apparent_bad=plan.apparent[1], slope=plan.slope,
        h0=plan.h0, h1=plan.h1, first_accept=plan.first_accept(), first_refuse=plan.first_refuse(), last=plan.end,
        average_good=average_good, average_bad=average_bad, lines=_lines(plan),
        decision=decision[0] if decision else None, parts_read=decision[1] if decision else None,
        against=decision[2] if decision else None, log_ratio=ratio,
    )  # fmt: skip


def _lines(plan: SequentialPlan) -> list[StopLine]:
    """Boundaries part by part; of long plans only where one of them moves, and the end."""
    n = np.arange(1, plan.end + 1)
    accept, refuse = plan.accept_at(n), plan.refuse_at(n)
    lines = [
        StopLine(
            parts=int(i), accept_at=int(a) if a >= 0 else None, refuse_at=int(r) if r <= i or i == plan.end else None
        )
        for i, a, r in zip(n, accept, refuse, strict=True)
    ]
    if len(lines) <= _LINES_ALL:
        return lines
    moved = [lines[0]]
    for line in lines[1:]:
        if (line.accept_at, line.refuse_at) != (moved[-1].accept_at, moved[-1].refuse_at):
            moved.append(line)
    return moved if moved[-1] is lines[-1] else [*moved, lines[-1]]


def _sequence_curve(plan: SequentialPlan, lot_size: int | None) -> list[CurvePoint]:
    if lot_size is None:
        shares = np.linspace(0.0, min(1.0, 2.0 * plan.bad), 61)
        chance, average = plan.operating(shares)
        rows = zip(shares, chance, average, strict=True)
        return [CurvePoint(share=float(s), accepted=float(c), average_parts=float(a)) for s, c, a in rows]
    most = min(lot_size, max(2 * least_bad(lot_size, plan.bad), 5))
    points = []
    for bad in range(0, most + 1, max(1, -(-most // 60))):
        chance_one, average_one = plan.operating_in_lot(lot_size, bad)
        points.append(
            CurvePoint(share=bad / lot_size, bad_in_lot=bad, accepted=min(1.0, chance_one), average_parts=average_one)
        )
    return points


def answer_cost(frame: Frame, prices: Prices, how: Reading, destructive: Reading | None = None) -> PlanResult:
    """The plan of least expected cost, and the best of every other kind.

    Raises
    ------
    ValueError
        No lot size.
    """
    lot_size = frame.lot_size
    if lot_size is None:
        raise ValueError("a plan of least cost needs the lot size")
    plans = cheapest_plans(
        lot_size, clean_or_bad(frame.prior_share), prices, how,
        destructive=destructive, stop_at_first=frame.stop_at_first,
    )  # fmt: skip
    best = plans[0]
    against = [f"{amount(p.expected_cost)} {_SIMPLE[p.kind]}" for p in plans[1:] if p.kind in _SIMPLE]
    told = f", against {' and '.join(against)}" if against else ""
    sentence = f"{choice_words(best, lot_size)}. Expected cost {amount(best.expected_cost)}{told}."
    remarks = [
        f"Before testing {percent(frame.prior_share)} bad are expected on average; most lots are clean or bad.",
        "Costs are beside the price paid: a part that is not fitted costs its price, a bad part fitted the harm.",
        *common_remarks(frame),
    ]
    if how.readings.held_if_good or how.readings.held_if_bad:
        held = f"are settled in {how.held_minutes:g} min each" if how.held_minutes is not None else "are not fitted"
        remarks.append(f"Held parts {held}.")
    used = destructive.readings if best.kind == "sample_destroyed" and destructive else how.readings
    return PlanResult(
        version=frame.version, question="cost", sentence=sentence,
        settings=frame.settings, remarks=remarks, lot_size=lot_size, sample_size=best.sample_size,
        acceptance_number=_number(best), risks=[], operating_curve=_cost_curve(best, lot_size, Reading(used)),
        costs=[_choice(p, lot_size) for p in plans],
    )  # fmt: skip


_SIMPLE = {"none": "if none is tested", "all": "if all are"}


def _number(plan: CostPlan) -> int | None:
    return plan.use_up_to if plan.kind in ("sample", "sample_destroyed", "stop_at_first") else None


def _cost_curve(plan: CostPlan, lot_size: int, how: Reading) -> list[CurvePoint]:
    """Chance that the lot is used without further reading."""
    number = _number(plan)
    if number is None or number < 0:
        return []
    shares = curve_shares(lot_size, plan.sample_size, number, how.readings)
    chance = accepted(lot_size, plan.sample_size, number, shares, how.readings)
    return [
        CurvePoint(share=float(s), bad_in_lot=round(float(s) * lot_size), accepted=float(c))
        for s, c in zip(shares, chance, strict=True)
    ]


def _choice(plan: CostPlan, lot_size: int) -> CostChoice:
    return CostChoice(
        kind=plan.kind, sample_size=plan.sample_size, use_up_to=plan.use_up_to, read_all_up_to=plan.read_all_up_to,
        expected_cost=plan.expected_cost, expected_minutes=plan.expected_minutes,
        expected_bad_fitted=plan.expected_bad_fitted, chance_use=plan.chances["use"],
        chance_read_all=plan.chances["read_all"], chance_send_back=plan.chances["send_back"],
        sentence=f"{choice_words(plan, lot_size)}.",
    )  # fmt: skip
