"""The plan of least expected cost: read none, some or all, and what then to do with the lot.

The bad share is believed U-shaped before (lots are clean or bad). For every sample size the number of parts against
the lot is awaited, and for each the cheapest way on is chosen; what is least on average is the plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, xlog1py, xlogy

from partscreen.lots.cost_outcomes import (
    Prices,
    Reading,
    cleared_in_sample,
    counted_in_sample,
    read_and_sorted,
    send_back,
    used_unread,
)
from partscreen.lots.operating_curve import apparent_share
from partscreen.lots.share import ShareBelief
from partscreen.lots.stopping import average_read_until_first

Floats = npt.NDArray[np.float64]
Way = Literal["use", "read_all", "send_back"]
WAYS: tuple[Way, ...] = ("use", "read_all", "send_back")
Kind = Literal["none", "sample", "sample_destroyed", "all", "stop_at_first"]

EVERY_SIZE_TO = 60  # beyond, sizes in steps of about 15 %, then finer about the best
STEP = 1.15
FINER = 24
LARGEST_SAMPLE = 5000  # larger samples are not tried, but for the whole lot read and sorted
MOST_NODES = 250


@dataclass(frozen=True, slots=True)
class CostPlan:
    """One plan and what it costs.

    kind : none read, a sample, a sample that is destroyed, all read and sorted, or read until the first suspect
    sample_size : parts read at most before the lot's fate is decided
    use_up_to, read_all_up_to : parts against the lot up to which the rest is used unread, or all of it is read; more
        sends the lot back. -1: never; read_all_up_to is not below use_up_to.
    expected_cost : for the whole lot, beside the price paid
    expected_minutes, expected_bad_fitted : on average over lots
    chances : of using the rest, reading it, sending the lot back
    """

    kind: Kind
    sample_size: int
    use_up_to: int
    read_all_up_to: int
    expected_cost: float
    expected_minutes: float
    expected_bad_fitted: float
    chances: dict[Way, float]


def cheapest_plans(
    lot_size: int,
    belief: ShareBelief,
    prices: Prices,
    how: Reading,
    *,
    destructive: Reading | None = None,
    stop_at_first: bool = False,
) -> tuple[CostPlan, ...]:
    """The best plan of each kind, the cheapest first.

    Parameters
    ----------
    how : the ordinary reading, which leaves the part whole
    destructive : a reading that costs the part, to be compared; None: there is none
    stop_at_first : the user's rule: reading stops at the first part against the lot and the lot goes back. Plans that
        would keep a lot after a suspect are then left out.

    Raises
    ------
    ValueError
        `lot_size` below 1.
    """
    if lot_size < 1:
        raise ValueError(f"a lot of {lot_size} parts")
    setting = _Setting(lot_size, prices, how, *belief.nodes(min(MOST_NODES, max(80, lot_size // 2 + 10))))
    plans = [_best(setting, "none", how, [0])]
    if stop_at_first:
        # Cleared parts are read already, so reading the whole lot is the largest of these samples.
        tried = sizes(lot_size)
        best = min((_stopping(setting, n) for n in tried), key=_cost)
        finer = (_stopping(setting, n) for n in _between(tried, best.sample_size))
        plans.append(min([best, *finer], key=_cost))
    else:
        plans.append(_all(setting))
        plans.append(_best(setting, "sample", how, sizes(lot_size)))
        if destructive is not None and lot_size > 1:  # a lot that is destroyed whole serves nobody
            plans.append(_best(setting, "sample_destroyed", destructive, [n for n in sizes(lot_size) if n < lot_size]))
    return tuple(sorted((p for p in plans if not _idle(p)), key=_cost))


def sizes(lot_size: int) -> list[int]:
    """Sample sizes tried first: every one up to 60, then in steps of about 15 %, up to the lot or 5000."""
    most = min(lot_size, LARGEST_SAMPLE)
    out = list(range(1, min(most, EVERY_SIZE_TO) + 1))
    while out[-1] < most:
        out.append(min(most, round(out[-1] * STEP)))
    return out


def _between(tried: Sequence[int], best: int) -> list[int]:
    """Sizes between the neighbours of the best one, at most 24."""
    place = tried.index(best)
    low, high = tried[max(0, place - 1)] + 1, tried[min(len(tried) - 1, place + 1)] - 1
    return sorted({round(n) for n in np.linspace(low, high, FINER)} - {best}) if high > low else []


@dataclass(frozen=True, slots=True)
class _Setting:
    lot_size: int
    prices: Prices
    how: Reading
    share: Floats  # nodes
    weight: Floats


def _cost(plan: CostPlan) -> float:
    return plan.expected_cost


def _idle(plan: CostPlan) -> bool:
    """A sample on which nothing hangs: the cost is a straight line in its size, none or all read is as cheap."""
    if plan.kind not in ("sample", "sample_destroyed"):
        return False
    return plan.use_up_to >= plan.sample_size or (plan.use_up_to < 0 and plan.read_all_up_to >= plan.sample_size)


def _best(setting: _Setting, kind: Kind, how: Reading, tried: Sequence[int]) -> CostPlan:
    each = how.minutes * setting.prices.minute_value + (setting.prices.price if how.destroys else 0.0)
    best = _sampled(setting, kind, how, tried[0])
    for n in tried[1:]:
        if n * each > best.expected_cost:
            break  # the sample alone costs more
        best = min(best, _sampled(setting, kind, how, n), key=_cost)
    return min([best, *(_sampled(setting, kind, how, n) for n in _between(tried, best.sample_size))], key=_cost)


def _binomial(n: int, share: Floats) -> Floats:
    """Binomial chances of 0 ... n at every share, shape (n + 1, k)."""
    x = np.arange(n + 1)[:, None]
    ways = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    return np.asarray(np.exp(ways + xlogy(x, share) + xlog1py(n - x, -share)))


def _all(setting: _Setting) -> CostPlan:
    """Every part is read and sorted, whatever is found."""
    n = setting.lot_size
    cost, minutes, bad = n * (setting.weight @ read_and_sorted(setting.share, setting.prices, setting.how).columns())
    return CostPlan(
        "all", n, n, n, float(cost), float(minutes), float(bad), {"use": 0.0, "read_all": 1.0, "send_back": 0.0}
    )


def _sampled(setting: _Setting, kind: Kind, how: Reading, n: int) -> CostPlan:
    """n parts read, then the cheapest way for each number of them against the lot."""
    share, prices, rest = setting.share, setting.prices, setting.lot_size - n
    against = np.arange(n + 1)
    found = _binomial(n, apparent_share(share, how.readings)) * setting.weight
    # By number against the lot: cost, further minutes and bad parts fitted of one part of each fate, (n + 1, 3).
    cleared, counted, used, read = (
        found @ fate.columns()
        for fate in (
            cleared_in_sample(share, prices, how), counted_in_sample(share, prices, how),
            used_unread(share, prices), read_and_sorted(share, prices, setting.how),
        )
    )  # fmt: skip
    seen = found.sum(axis=1)
    kept = against[:, None] * counted + (n - against)[:, None] * cleared
    back = n * prices.price + send_back(rest, prices) if how.destroys else send_back(setting.lot_size, prices)
    ways = np.stack([kept + rest * used, kept + rest * read, back * seen[:, None] * [1.0, 0.0, 0.0]])
    costs = ways[:, :, 0].copy()
    if kind == "none" or rest == 0:
        costs[1] = np.inf  # reading all is a plan of its own; nothing is left to read after all were
    way = costs.argmin(axis=0)
    cost, minutes, bad = ways[way, against].sum(axis=0)
    use = _last(way <= 0)
    chances = {name: float(seen[way == i].sum()) for i, name in enumerate(WAYS)}
    reading = n * how.minutes
    return CostPlan(
        kind, n, use, max(use, _last(way <= 1)), float(cost) + reading * prices.minute_value, float(minutes) + reading,
        float(bad), chances,
    )  # fmt: skip


def _last(kept: npt.NDArray[np.bool_]) -> int:
    """Last place of the leading run of True; -1 where it does not begin with one."""
    return int(np.argmin(kept)) - 1 if not kept.all() else kept.size - 1


def _stopping(setting: _Setting, n: int) -> CostPlan:
    """Read up to n parts, stop and send the lot back at the first against it; the rest is used if none is."""
    prices, how, share, weight = setting.prices, setting.how, setting.share, setting.weight
    rest = setting.lot_size - n
    clear = (1.0 - apparent_share(share, how.readings)) ** n
    reading = float(weight @ average_read_until_first(n, share, how.readings)) * how.minutes
    kept = n * cleared_in_sample(share, prices, how).columns() + rest * used_unread(share, prices).columns()
    cost, minutes, bad = (weight * clear) @ kept
    passes = float(weight @ clear)
    cost = float(cost) + (1.0 - passes) * send_back(setting.lot_size, prices) + reading * prices.minute_value
    return CostPlan(
        "stop_at_first", n, 0, 0, cost, float(minutes) + reading, float(bad),
        {"use": passes, "read_all": 0.0, "send_back": 1.0 - passes},
    )  # fmt: skip
