"""The plan of least expected cost costs what it says, and no other plan of its kind costs less."""

import numpy as np
import pytest

from partscreen.lots.cost_outcomes import Prices, Reading
from partscreen.lots.cost_plan import _sampled, _Setting, _stopping, cheapest_plans, sizes
from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.lots.share import clean_or_bad
from tests.lots.plan_lots import STRICT, WEAK, against, read

LOTS = 40_000
PRICES = Prices(price=4.0, minute_value=0.5, harm=60.0, refund=0.3, return_cost=10.0)
LOST = Reading(ReadingsPower(power=0.98), minutes=8.0, destroys=True)


def drawn_shares(rng, belief, lots):
    which = rng.choice(belief.weight.size, lots, p=belief.weight)
    return rng.beta(belief.a[which], belief.b[which])


def lived_through(rng, plan, lot_size, prices, how, lost, share):
    """Cost, minutes and bad parts fitted of many lots, each read, used, read on or sent back as the plan says."""
    bad = rng.random((share.size, lot_size)) < share[:, None]
    used = lost if plan.kind == "sample_destroyed" else how
    n = plan.sample_size
    failed, held, passed = read(rng, bad, used.readings)
    counts = against(failed, held, used.readings)[:, :n].sum(axis=1)
    _, later_held, later_passed = read(rng, bad, how.readings)
    everything = np.arange(lot_size)
    if plan.kind == "stop_at_first":
        hit = against(failed, held, used.readings)[:, :n]
        minutes = np.where(hit.any(axis=1), hit.argmax(axis=1) + 1, n) * how.minutes
        way = np.where(counts == 0, 0, 2)
    else:
        minutes = np.full(share.size, n * used.minutes)
        way = np.where(counts <= plan.use_up_to, 0, np.where(counts <= plan.read_all_up_to, 1, 2))
        if plan.kind == "all":
            way[:] = 0
    in_sample = everything < n
    fitted = np.where(in_sample, passed & (not used.destroys), np.where(way[:, None] == 1, later_passed, True))
    fitted &= way[:, None] != 2
    minutes = minutes + (way == 1) * (lot_size - n) * how.minutes
    if how.held_minutes is not None:
        settled = np.where(in_sample, held & (not used.destroys), later_held & (way[:, None] == 1))
        settled &= way[:, None] != 2
        minutes = minutes + settled.sum(axis=1) * how.held_minutes
        rejected = rng.random(bad.shape) < np.where(bad, how.readings.power, how.readings.false_alarm)
        fitted |= settled & ~rejected
    lost_parts = np.where(way == 2, n if used.destroys else 0, (~fitted).sum(axis=1))
    back = np.where(way == 2, lot_size - lost_parts, 0)
    cost = (
        minutes * prices.minute_value + lost_parts * prices.price + (fitted & bad).sum(axis=1) * prices.harm
        + (way == 2) * prices.return_cost + back * prices.price * (1 - prices.refund)
    )  # fmt: skip
    return cost, minutes, (fitted & bad).sum(axis=1), way


@pytest.mark.parametrize("readings", [PERFECT, WEAK, STRICT], ids=["perfect", "weak", "strict"])
@pytest.mark.parametrize("stop", [False, True])
@pytest.mark.parametrize("held_minutes", [None, 4.0])
def test_simulated_lots_cost_what_every_plan_says(readings, stop, held_minutes):
    rng = np.random.default_rng(4)
    belief, how = clean_or_bad(0.1), Reading(readings, minutes=1.5, held_minutes=held_minutes)
    plans = cheapest_plans(30, belief, PRICES, how, destructive=None if stop else LOST, stop_at_first=stop)
    assert {p.kind for p in plans} == (
        {"none", "stop_at_first"} if stop else {"none", "all", "sample", "sample_destroyed"}
    )
    share = drawn_shares(rng, belief, LOTS)
    for plan in plans:
        cost, minutes, bad, way = lived_through(rng, plan, 30, PRICES, how, LOST, share)
        for seen, stated in (
            (cost, plan.expected_cost),
            (minutes, plan.expected_minutes),
            (bad, plan.expected_bad_fitted),
        ):
            assert abs(seen.mean() - stated) <= 4 * seen.std() / np.sqrt(LOTS) + 1e-9
        if plan.kind != "all":
            for i, name in enumerate(("use", "read_all", "send_back")):
                assert abs((way == i).mean() - plan.chances[name]) <= 4 * 0.5 / np.sqrt(LOTS)


def setting(lot_size, readings, prices=PRICES):
    return _Setting(lot_size, prices, Reading(readings, 1.5), *clean_or_bad(0.1).nodes(80))


@pytest.mark.parametrize("lot_size", [8, 60, 150])
def test_no_other_sample_size_is_cheaper(lot_size):
    one = setting(lot_size, WEAK)
    costs = [_sampled(one, "sample", one.how, n).expected_cost for n in range(1, lot_size + 1)]
    stops = [_stopping(one, n).expected_cost for n in range(1, lot_size + 1)]
    best = {p.kind: p for p in cheapest_plans(lot_size, clean_or_bad(0.1), PRICES, one.how)}
    assert best["sample"].expected_cost == pytest.approx(min(costs), rel=1e-6 if lot_size <= 60 else 2e-3)
    found = cheapest_plans(lot_size, clean_or_bad(0.1), PRICES, one.how, stop_at_first=True)
    stop = next(p for p in found if p.kind == "stop_at_first")
    assert stop.expected_cost == pytest.approx(min(stops), rel=1e-6 if lot_size <= 60 else 2e-3)


def test_no_other_numbers_of_bad_parts_are_cheaper():
    rng = np.random.default_rng(9)
    belief, how = clean_or_bad(0.1), Reading(WEAK, 1.5)
    best = next(p for p in cheapest_plans(30, belief, PRICES, how) if p.kind == "sample")
    share = drawn_shares(rng, belief, LOTS)
    from dataclasses import replace

    for use, sort in ((-1, 1), (0, 0), (2, 2), (1, 5), (5, 6)):
        if (use, sort) == (best.use_up_to, best.read_all_up_to):
            continue
        other = replace(best, use_up_to=use, read_all_up_to=sort)
        cost = lived_through(rng, other, 30, PRICES, how, LOST, share)[0]
        assert cost.mean() > best.expected_cost - 4 * cost.std() / np.sqrt(LOTS)


def test_dearer_harm_means_more_reading_and_fewer_bad_parts_fitted():
    plans = []
    for harm in (1.0, 20.0, 100.0, 1000.0):
        prices = Prices(price=4.0, minute_value=0.5, harm=harm)
        plans.append(cheapest_plans(50, clean_or_bad(0.1), prices, Reading(WEAK, 1.5))[0])
    assert plans[0].kind == "none"
    bad = [p.expected_bad_fitted for p in plans]
    assert bad == sorted(bad, reverse=True)
    assert bad[-1] < 0.1 * bad[0]


def test_a_sample_on_which_nothing_hangs_is_left_out():
    for harm, lot_size in ((2.0, 50), (200.0, 1)):
        prices = Prices(price=4.0, minute_value=0.5, harm=harm)
        plans = cheapest_plans(lot_size, clean_or_bad(0.1), prices, Reading(WEAK, 1.5))
        assert {p.kind for p in plans} == {"none", "all"}
        # Nothing is lost by it: no idle sample is cheaper than the cheaper of the two.
        one = setting(lot_size, WEAK, prices)
        for n in range(1, lot_size + 1):
            assert _sampled(one, "sample", one.how, n).expected_cost >= plans[0].expected_cost - 1e-9


def test_a_lot_that_can_be_sent_back_for_nothing_is():
    prices = Prices(price=4.0, minute_value=0.5, harm=100.0, refund=1.0)
    best = cheapest_plans(50, clean_or_bad(0.1), prices, Reading(WEAK, 1.5))[0]
    assert (best.kind, best.use_up_to, best.expected_cost) == ("none", -1, 0.0)


def test_expected_cost_never_falls_below_that_of_knowing_every_part():
    prices = Prices(price=4.0, minute_value=0.0, harm=60.0)
    for lot_size in (5, 40):
        best = cheapest_plans(lot_size, clean_or_bad(0.1), prices, Reading(PERFECT, 0.0))[0]
        # Every bad part costs its price at least; free and perfect readings reach exactly that.
        assert best.expected_cost == pytest.approx(lot_size * 0.1 * prices.price, rel=1e-6)


def test_sizes_tried_cover_small_lots_wholly_and_end_with_the_lot():
    assert sizes(1) == [1]
    assert sizes(60) == list(range(1, 61))
    assert sizes(700)[-1] == 700
    assert sizes(100_000)[-1] == 5000
    assert all(b > a for a, b in zip(sizes(3000), sizes(3000)[1:], strict=False))
