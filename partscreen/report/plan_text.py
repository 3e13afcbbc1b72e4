"""The answer of `plan` in plain lines."""

from __future__ import annotations

from partscreen.lots.plan_words import amount, parts, percent
from partscreen.results.plan import CostChoice, CurvePoint, LotStep, PlanResult, PlanRisk, Sequence, ShareAfter

_ROWS = 8
_HISTORY_ROWS = 12
_LINES = 16
_SEVERITY = {"stopped": "stopped: take no more lots until the cause is mended"}


def lines(result: PlanResult) -> list[str]:
    """The sentence first; then what decides, the risks, the curve, the share afterwards, what it rests on."""
    out = [result.sentence]
    if result.drawn is not None:
        numbers = ", ".join(map(str, result.drawn.pieces))
        out.append(
            f"  Number the pieces as they lie and take these, drawn by lot (--seed {result.drawn.seed}): {numbers}."
        )
    out += _history(result)
    if result.sequence is not None:
        out += _sequence(result.sequence)
    out += _costs(result.costs)
    out += [_risk(risk) for risk in result.risks]
    out += _curve(result)
    out += [_after(row) for row in result.after]
    out += [f"  {remark}" for remark in result.remarks]
    return out


def _risk(risk: PlanRisk) -> str:
    bad = f" ({risk.bad_in_lot} in the lot)" if risk.bad_in_lot is not None else ""
    who = "Consumer's risk: a lot" if risk.whose == "consumer" else "Producer's risk: a lot"
    what = "is accepted" if risk.whose == "consumer" else "is refused"
    asked = f" (asked: {percent(risk.asked)})" if risk.asked is not None else ""
    return f"  {who} with {percent(risk.share)} bad{bad} {what} with a chance of {percent(risk.chance)}{asked}."


def _curve(result: PlanResult) -> list[str]:
    points = _telling(result.operating_curve)
    if len(points) < 2:
        return []
    whole = points[0].bad_in_lot is not None
    head = "bad parts in the lot" if whole else "bad share"
    if result.question == "cost":
        head += " (accepted: used without further reading)"
    names = [str(p.bad_in_lot) if whole else percent(p.share, 2) for p in points]
    chances = [percent(p.accepted, 2) for p in points]
    rows = [("accepted", chances)]
    if any(p.average_parts is not None for p in points):
        rows.append(("parts read", [amount(p.average_parts) if p.average_parts is not None else "" for p in points]))
    table = [(head.split(" (")[0], names), *rows]
    wide = max(len(name) for name, _ in table)
    columns = [max(len(cells[i]) for _, cells in table) for i in range(len(points))]
    note = f" ({head.split(' (', 1)[1]}" if " (" in head else ""
    body = [
        f"    {name:<{wide}}  " + "  ".join(f"{cell:>{w}}" for cell, w in zip(cells, columns, strict=True))
        for name, cells in table
    ]
    return [f"  Operating curve{note}:", *body]


def _telling(points: list[CurvePoint]) -> list[CurvePoint]:
    """Up to eight points spread over the curve, the ends included; of a lot in whole parts more of the first ones."""
    if len(points) <= _ROWS:
        return points
    power = 1.5 if points[0].bad_in_lot is not None else 1.0
    last = len(points) - 1
    return [points[i] for i in sorted({round(last * (k / (_ROWS - 1)) ** power) for k in range(_ROWS)})]


def _after(row: ShareAfter) -> str:
    sure = percent(row.confidence)
    in_lot = f", at most {row.most_bad_in_lot} of this lot" if row.most_bad_in_lot is not None else ""
    believed = row.believed
    assert believed.value is not None
    assert believed.low is not None
    assert believed.high is not None
    return (
        f"  With {row.found} of {row.tested} bad: at most {percent(row.upper)} of a large lot{in_lot} "
        f"({sure}, one-sided); between {_span(row.exact.low, row.exact.high)} (Clopper-Pearson), "
        f"{_span(row.score.low, row.score.high)} (Wilson); "
        f"believed {percent(believed.value)}, {_span(believed.low, believed.high)} (beta-binomial)."
    )


def _span(low: float | None, high: float | None) -> str:
    return f"{percent(low or 0.0)} and {percent(1.0 if high is None else high)}"


def _history(result: PlanResult) -> list[str]:
    if not result.history:
        return []
    shown = result.history[-_HISTORY_ROWS:]
    state = result.next_state or ""
    out = [f"  {parts_of(result.history)}; next lot: {_SEVERITY.get(state, state)}"]
    if len(shown) < len(result.history):
        out.append(f"    ... {len(result.history) - len(shown)} earlier")
    for step in shown:
        what = "accepted" if step.accepted else "refused"
        follows = f" -> {step.next_state}: {step.why}" if step.why else ""
        plan = f"{step.sample_size} of {step.lot_size}, up to {step.acceptance_number} bad"
        out.append(f"    {step.lot}: {step.severity}, {plan}; {step.found} found, {what}{follows}")
    return out


def parts_of(history: list[LotStep]) -> str:
    """`6 past lots, 1 refused`."""
    refused = sum(not step.accepted for step in history)
    return f"{len(history)} past lot{'' if len(history) == 1 else 's'}, {refused} refused"


def _sequence(plan: Sequence) -> list[str]:
    out = [
        f"  After n parts with d bad: accept at d <= {plan.slope:.4g} n - {plan.h0:.4g}, refuse at "
        f"d >= {plan.slope:.4g} n + {plan.h1:.4g}; accepted after {parts(plan.first_accept)} at the earliest, refused "
        f"after {plan.first_refuse}."
    ]
    moved = [line for i, line in enumerate(plan.lines) if i == 0 or _differs(line, plan.lines[i - 1])]
    if plan.lines and moved[-1] is not plan.lines[-1]:
        moved.append(plan.lines[-1])
    for line in moved[:_LINES]:
        accept = (
            "not yet"
            if line.accept_at is None
            else f"with {line.accept_at} or fewer"
            if line.accept_at
            else "with none"
        )
        refuse = "not yet" if line.refuse_at is None else f"with {line.refuse_at} or more"
        out.append(f"    from {line.parts} on: accept {accept}, refuse {refuse}")
    if len(moved) > _LINES:
        out.append(f"    ... {len(moved) - _LINES} more; all of them with --json")
    out.append(
        f"  On average {amount(plan.average_good)} parts of a lot with {percent(plan.good)} bad, "
        f"{amount(plan.average_bad)} of one with {percent(plan.bad)} bad."
    )
    return out


def _differs(one: object, other: object) -> bool:
    return any(getattr(one, name) != getattr(other, name) for name in ("accept_at", "refuse_at"))


def _costs(choices: list[CostChoice]) -> list[str]:
    if not choices:
        return []
    out = ["  Ways to deal with the lot, the cheapest first (expected cost, minutes, bad parts fitted):"]
    for choice in choices:
        figures = (
            f"{amount(choice.expected_cost)}, {amount(choice.expected_minutes)} min, {choice.expected_bad_fitted:.2g}"
        )
        out.append(f"    {choice.sentence} {figures}")
    return out
