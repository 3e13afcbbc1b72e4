"""How plans are told: numbers, shares and the first sentence."""

from __future__ import annotations

from partscreen.lots.attribute_plans import TablePlan
from partscreen.lots.cost_plan import CostPlan
from partscreen.lots.zero_acceptance import least_bad


def percent(share: float, digits: int = 3) -> str:
    """A share as percent: `4.79 %`; what would round to all or none of it says so."""
    if 0.0 < share < 1e-6:
        return "below 0.0001 %"
    if 0.9999 < share < 1.0:
        return "above 99.99 %"
    return f"{float(f'{100.0 * share:.{digits}g}'):g} %"


def amount(value: float) -> str:
    """A number of minutes or parts on average: three digits, whole from 100 on."""
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def parts(n: int) -> str:
    """`1 part`, `4 parts`."""
    return f"{n} part{'' if n == 1 else 's'}"


def of_lot(n: int, lot_size: int | None) -> str:
    """`Test 22 of 50`."""
    if lot_size is None:
        return f"Test {n}"
    if n < lot_size:
        return f"Test {n} of {lot_size}"
    return f"Test all {n}" if n > 1 else "Test the part"


def if_passed(n: int, c: int, against: str = "fail") -> str:
    """The condition under which a lot is accepted."""
    fails, fail = ("fails", "fail") if against == "fail" else ("counts against the lot", "count against the lot")
    if c:
        return f"if at most {c} of them {fail if c > 1 else fails}"
    if against == "fail":
        return f"if all {n} pass" if n > 1 else "if it passes"
    return f"if none of them {fails}" if n > 1 else "if it does not count against the lot"


def size_sentence(n: int, c: int, lot_size: int | None, tolerable: float, confidence: float, against: str) -> str:
    """The answer to "how many must I test?"."""
    sure = f"with {percent(confidence)} confidence"
    condition = if_passed(n, c, against)
    if lot_size is None:
        return f"{of_lot(n, None)}; {condition}, less than {percent(tolerable)} of the lot is bad, {sure}."
    most = least_bad(lot_size, tolerable) - 1
    told = f"at most {parts(most)}" if most else "no part"
    return f"{of_lot(n, lot_size)}; {condition}, less than {percent(tolerable)} of the lot is bad ({told}), {sure}."


def given_sentence(n: int, c: int, lot_size: int | None, tolerable: float, chance: float) -> str:
    """What a sample of this size is worth."""
    bad = f" ({least_bad(lot_size, tolerable)} of {lot_size})" if lot_size is not None else ""
    up_to = "none" if c == 0 else f"up to {c}"
    return (
        f"{of_lot(n, lot_size)} and accept with {up_to} bad: a lot with {percent(tolerable)} bad{bad} "
        f"still passes with a chance of {percent(chance)}."
    )


def two_point_sentence(
    n: int, c: int, lot_size: int | None, good: float, bad: float, refused: float, passed: float
) -> str:
    """The smallest plan between a good and a bad share."""
    up_to = "none" if c == 0 else f"up to {c}"
    return (
        f"{of_lot(n, lot_size)} and accept with {up_to} bad: a lot with {percent(good)} bad is refused with a chance "
        f"of {percent(refused)}, one with {percent(bad)} bad accepted with a chance of {percent(passed)}."
    )


def table_sentence(plan: TablePlan) -> str:
    """A plan of the tables."""
    where = f"code letter {plan.letter}, level {plan.level}, {plan.severity} inspection, AQL {plan.aql:g} %"
    accept = "accept with none bad" if plan.c == 0 else f"accept with up to {plan.c} bad"
    refuse = f"refuse with {plan.refuse_from} or more"
    gap = ""
    if plan.refuse_from > plan.c + 1:
        between = f"{plan.c + 1}" if plan.refuse_from == plan.c + 2 else f"{plan.c + 1} to {plan.refuse_from - 1}"
        gap = f"; with {between}: accept, but inspect the next lot normally"
    return f"{of_lot(plan.n, plan.lot_size)} ({where}): {accept}, {refuse}{gap}."


def choice_words(plan: CostPlan, lot_size: int) -> str:
    """What one way of least cost asks for."""
    if plan.kind == "none":
        return "Test none and use the lot" if plan.use_up_to >= 0 else "Send the lot back untested"
    if plan.kind == "all":
        return (
            f"Test all {lot_size} and fit those that pass" if lot_size > 1 else "Test the part and fit it if it passes"
        )
    lost = ", which are lost by it" if plan.kind == "sample_destroyed" else ""
    if plan.kind == "stop_at_first":
        rest = "use those that pass" if plan.sample_size == lot_size else "use the rest if all pass"
        return f"{of_lot(plan.sample_size, lot_size)} and stop at the first suspect: send the lot back then, {rest}"
    return f"{of_lot(plan.sample_size, lot_size)}{lost}: {_by_number(plan, lot_size)}"


def _by_number(plan: CostPlan, lot_size: int) -> str:
    n, use, read = plan.sample_size, plan.use_up_to, plan.read_all_up_to
    ways = []
    keep = "use those that pass" if n == lot_size and plan.kind == "sample" else "use the rest untested"
    if use >= 0:
        ways.append(f"{keep} with {_range(0, use, n)} bad")
    if read > use:
        ways.append(f"test all the rest with {_range(use + 1, read, n)} bad")
    if read < n:
        ways.append(f"send the lot back with {_range(read + 1, n, n)} bad")
    return ", ".join(ways)


def _range(low: int, high: int, n: int) -> str:
    if low == 0:
        return "any number" if high >= n else "none" if high == 0 else f"up to {high}"
    return f"{low} or more" if high >= n and low < n else str(low) if low == high else f"{low} to {high}"
