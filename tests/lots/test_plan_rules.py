"""The rules plans follow, with borders worked by hand: sequences, costs, draws, supplies over many lots."""

from __future__ import annotations

import math

import numpy as np
import pytest

from partscreen.lots.cost_outcomes import Fate, Prices, Reading, cleared_in_sample, counted_in_sample, read_and_sorted
from partscreen.lots.cost_plan import (
    CostPlan,
    _between,
    _idle,
    _last,
    _sampled,
    _Setting,
    _stopping,
    cheapest_plans,
    sizes,
)
from partscreen.lots.draw import MOST_PIECES, draw_pieces, new_seed
from partscreen.lots.operating_curve import (
    accepted_from_lot,
    apparent_share,
)
from partscreen.lots.readings_power import PERFECT
from partscreen.lots.sequential import MOST_PARTS, SequentialPlan, walk_ratios
from partscreen.lots.share import clean_or_bad
from partscreen.lots.switching import REDUCED_SCORE, PastLot, Switcher, scheme_acceptance, walk_lots
from partscreen.lots.two_point import two_point_plan
from partscreen.lots.zero_acceptance import least_bad, most_bad
from tests.lots.plan_lots import AGAINST, DROPS

# Sequences


def test_what_a_part_adds_is_the_ratio_of_its_chances():
    plan = SequentialPlan(0.05, 0.3, readings=AGAINST)
    p0, p1 = (float(apparent_share(s, AGAINST)) for s in (0.05, 0.3))
    assert plan.apparent == pytest.approx((p0, p1))
    assert plan.log_ratio("fail") == plan.log_ratio("held") == pytest.approx(math.log(p1 / p0))
    assert plan.log_ratio("pass") == pytest.approx(math.log((1 - p1) / (1 - p0)))
    drops = SequentialPlan(0.05, 0.3, readings=DROPS)
    assert drops.log_ratio("held") == drops.log_ratio("pass") < 0 < drops.log_ratio("fail")
    # Its lines are where the sum of what parts add meets the bounds.
    gain = plan.log_ratio("fail") - plan.log_ratio("pass")
    assert plan.slope == pytest.approx(-plan.log_ratio("pass") / gain)
    assert (plan.h0, plan.h1) == pytest.approx((-math.log(0.1 / 0.95) / gain, math.log(0.9 / 0.05) / gain))


@pytest.mark.parametrize(("good", "bad"), [(0.05, 0.3), (0.1, 0.2)])
def test_lines_of_a_sequence_decide_as_the_running_sum_does(good, bad):
    plan = SequentialPlan(good, bad, 0.04, 0.08, last=400, readings=DROPS)
    rng = np.random.default_rng(3)
    for share in (good, (good + bad) / 2, bad):
        for _ in range(30):
            outcomes = ["fail" if x < share else "held" if x > 0.95 else "pass" for x in rng.random(399)]
            sums, decision = walk_ratios([plan.log_ratio(o) for o in outcomes], 0.04, 0.08)
            assert plan.decide(outcomes)[:2] == (decision, sums.size)


def test_a_sequence_between_shares_hardly_apart_ends_at_the_most_parts():
    assert SequentialPlan(0.0100, 0.0101).end == MOST_PARTS == 20_000
    assert SequentialPlan(0.01, 0.2).end < 200
    assert SequentialPlan(0.01, 0.2, last=17).end == 17
    plan = SequentialPlan(0.01, 0.2)
    longest = max(*plan.average_numbers(), plan.h0 * plan.h1 / plan.slope / (1 - plan.slope), plan.first_accept())
    assert plan.end == math.ceil(4 * longest)


def test_first_decisions_are_the_fewest_parts_on_a_line():
    for good, bad in ((0.02, 0.2), (0.05, 0.3), (0.3, 0.6)):
        plan = SequentialPlan(good, bad, last=500)
        n = np.arange(1, 500)
        assert plan.first_accept() == n[plan.accept_at(n) >= 0][0]
        assert plan.first_refuse() == n[plan.refuse_at(n) <= n][0]
        assert plan.decide(["pass"] * 499)[:2] == ("accept", plan.first_accept())
        assert plan.decide(["fail"] * 499)[:2] == ("refuse", plan.first_refuse())
        assert plan.refuse_at(500) == plan.accept_at(500) + 1


# Costs


def test_a_fate_known_to_be_met_is_shared_by_its_chance_and_nothing_where_it_cannot_be():
    fate = Fate(np.array([2.0, 0.0]), np.array([1.0, 0.0]), np.array([0.1, 0.0])).given(np.array([0.5, 0.0]))
    assert fate.columns().tolist() == [[4.0, 2.0, 0.2], [0.0, 0.0, 0.0]]
    assert Reading() == Reading(PERFECT, 0.0, False, None)
    assert (Prices(1, 2, 3).refund, Prices(1, 2, 3).return_cost) == (0.0, 0.0)


def test_held_parts_that_do_not_count_are_kept_with_the_clear_ones():
    prices, share = Prices(3.0, 0.5, 40.0), np.array([0.3])
    against = 0.3 * 0.88 * 0.85 + 0.7 * 0.94 * 0.03
    held, slipped = 0.3 * 0.12 + 0.7 * 0.06, 0.3 * 0.88 * 0.15
    clear = cleared_in_sample(share, prices, Reading(DROPS))
    assert clear.cost == pytest.approx((slipped * 40 + held * 3) / (1 - against))
    settled = cleared_in_sample(share, prices, Reading(DROPS, held_minutes=4.0))
    later = held * 4 * 0.5 + 0.3 * 0.12 * 0.15 * 40 + (0.3 * 0.12 * 0.85 + 0.7 * 0.06 * 0.03) * 3
    assert settled.cost == pytest.approx((slipped * 40 + later) / (1 - against))
    assert settled.minutes == pytest.approx(held * 4 / (1 - against))
    lost = counted_in_sample(share, prices, Reading(DROPS, held_minutes=4.0))
    assert lost.columns().tolist() == [[3.0, 0.0, 0.0]]
    # One part read and sorted is met with as one that counted or as one that did not.
    whole = read_and_sorted(share, prices, Reading(DROPS, held_minutes=4.0))
    both = (1 - against) * settled.columns() + against * lost.columns()
    assert whole.columns() == pytest.approx(both)


def test_kept_numbers_are_the_leading_run():
    for kept, last in (([1, 1, 0, 1], 1), ([0, 1, 1], -1), ([1, 1, 1], 2), ([1], 0), ([0], -1)):
        assert _last(np.array(kept, dtype=bool)) == last


def test_sizes_looked_at_again_lie_between_the_neighbours_of_the_best():
    tried = sizes(5000)
    assert _between(tried, 30) == []
    assert _between(tried, 60) == list(range(61, 69))
    assert _between([60, 69, 79], 69) == [n for n in range(61, 79) if n != 69]
    assert _between([60, 69, 79], 79) == list(range(70, 79))
    far = _between([1000, 2000, 3500], 2000)
    assert (far[0], far[-1], len(far)) == (1001, 3499, 24)
    assert 2000 not in far


def test_a_sample_is_idle_where_its_numbers_change_nothing():
    def plan(kind, n, use, read):
        return CostPlan(kind, n, use, read, 1.0, 0.0, 0.0, {"use": 1.0, "read_all": 0.0, "send_back": 0.0})

    for kind in ("sample", "sample_destroyed"):
        assert _idle(plan(kind, 5, 5, 5))  # used whatever is found
        assert _idle(plan(kind, 5, -1, 5))  # all read whatever is found
        assert not _idle(plan(kind, 5, 4, 5))
        assert not _idle(plan(kind, 5, 0, 5))
        assert not _idle(plan(kind, 5, -1, 4))
        assert not _idle(plan(kind, 5, -1, -1))
    for kind in ("none", "all", "stop_at_first"):
        assert not _idle(plan(kind, 5, 5, 5))


@pytest.mark.parametrize("stop", [False, True])
def test_the_best_size_of_a_sample_of_a_large_lot_is_found_between_the_sizes_tried_first(stop):
    prices, belief = Prices(4.0, 0.1, 400.0, 0.5, 20.0), clean_or_bad(0.002)
    plans = cheapest_plans(4000, belief, prices, Reading(minutes=1.0), stop_at_first=stop)
    kind = "stop_at_first" if stop else "sample"
    best = next(plan for plan in plans if plan.kind == kind)
    setting = _Setting(4000, prices, Reading(minutes=1.0), *belief.nodes(250))

    def cost(n):
        plan = _stopping(setting, n) if stop else _sampled(setting, "sample", setting.how, n)
        return plan.expected_cost

    assert best.sample_size > 70
    tried = sizes(4000)
    assert best.sample_size not in tried
    assert best.expected_cost <= min(cost(n) for n in tried[::3])
    for step in (12, 25):
        assert best.expected_cost <= min(cost(best.sample_size - step), cost(best.sample_size + step))


def test_stopping_at_the_first_suspect_leaves_out_plans_that_keep_a_lot_after_one():
    prices = Prices(4.0, 0.5, 60.0, 0.3, 10.0)
    plans = cheapest_plans(30, clean_or_bad(0.1), prices, Reading(minutes=1.5), stop_at_first=True)
    assert {plan.kind for plan in plans} == {"none", "stop_at_first"}
    for plan in plans:
        assert plan.chances["read_all"] == 0.0
        assert sum(plan.chances.values()) == pytest.approx(1.0)
    stop = next(plan for plan in plans if plan.kind == "stop_at_first")
    assert (stop.use_up_to, stop.read_all_up_to) == (0, 0)


@pytest.mark.parametrize(("lot_size", "good", "bad"), [(10, 0.1, 0.2), (30, 0.3, 0.5), (40, 0.2, 0.3), (60, 0.3, 0.5)])
def test_a_plan_between_two_points_is_found_wherever_there_is_one_and_is_the_smallest(lot_size, good, bad):
    counts = np.array([most_bad(lot_size, good), least_bad(lot_size, bad)])
    for producer, consumer in ((0.05, 0.1), (0.01, 0.05), (0.001, 0.001)):
        kept = []
        for n in range(1, lot_size + 1):
            chances = [accepted_from_lot(lot_size, n, c, counts) for c in range(n)]
            kept += [(n, c) for c, a in enumerate(chances) if a[0] >= 1 - producer and a[1] <= consumer]
        # Perfect readings of the whole lot tell any two numbers of bad parts apart.
        assert two_point_plan(good, bad, producer, consumer, lot_size=lot_size) == kept[0]


# Draws and supplies


def test_pieces_are_drawn_from_lots_up_to_ten_million():
    assert draw_pieces(1, 1, 0) == [1]
    drawn = draw_pieces(50, 50, 3)
    assert drawn == list(range(1, 51))
    assert draw_pieces(MOST_PIECES, 2, 5)[-1] <= MOST_PIECES == 10_000_000
    for n_lot, n_sample, seed, words in (
        (0, 1, 0, "a lot of 0"), (MOST_PIECES + 1, 1, 0, "1 to 10000000 are expected"), (5, 0, 0, "0 pieces"),
        (5, 6, 0, "6 pieces"), (5, 2, -1, "seed is -1"),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=words):
            draw_pieces(n_lot, n_sample, seed)
    seeds = {new_seed() for _ in range(20)}
    assert len(seeds) > 15
    assert all(0 <= seed < 2**32 for seed in seeds)


def test_a_supply_begins_where_it_is_told_and_its_score_from_nothing():
    assert (Switcher(1.0).state, Switcher(1.0).score) == ("normal", 0)
    for start in ("normal", "tightened", "reduced"):
        history = walk_lots([], 1.0, start=start)
        assert (history.state, history.score, history.steps, history.too_few) == (start, 0, (), ())
    switcher = Switcher(1.0)
    for lots in range(1, 10):
        step = switcher.take(PastLot(1000, 0))
        assert (switcher.score, step.why, step.basis) == (3 * lots, "", "copy")
    assert switcher.take(PastLot(1000, 0)).why == "switching score of 30 reached"
    assert (switcher.state, switcher.score) == ("reduced", 0)
    assert REDUCED_SCORE == 30


def test_plans_that_allow_fewer_than_two_score_two_for_a_lot_that_is_accepted():
    switcher = Switcher(1.0)  # 13 with 0
    scores = []
    for found in (0, 0, 1, 0):
        switcher.take(PastLot(60, found))
        scores.append(switcher.score)
    assert scores == [2, 4, 0, 2]
    allowing_one = Switcher(1.0)  # 50 with 1: accepted with one
    allowing_one.take(PastLot(400, 1))
    assert allowing_one.score == 2
    # At the finest AQL there is no finer one to pass: as many as the plan allows score.
    finest = Switcher(0.010)
    plan_allows = finest.take(PastLot(900_000, 0)).plan.c
    assert plan_allows == 0
    assert finest.score == 2


def test_asked_parts_are_those_of_the_state_the_supply_is_in():
    lot = PastLot(40, 0)
    for start, n in (("normal", 13), ("tightened", 20), ("reduced", 5)):
        assert Switcher(1.0, start=start).asked(lot) == n
    stopped = Switcher(1.0, start="tightened")
    for _ in range(5):
        step = stopped.take(PastLot(1000, 2))
    assert (stopped.state, step.why, step.basis) == ("stopped", "5 lots refused while tightened", "memory")
    assert stopped.asked(lot) == 20


def test_each_change_of_a_supply_says_why_and_begins_a_new_count():
    steps = walk_lots([PastLot(1000, k) for k in (3, 0, 3, 0, 0, 0, 0, 0, 3, 0, 3)], 1.0).steps
    why = [step.why for step in steps]
    assert why[2] == "two lots refused of 5 or fewer in a row"
    assert why[7] == "5 lots accepted in a row"
    assert why[10] == "two lots refused of 5 or fewer in a row"
    assert [w for i, w in enumerate(why) if i not in (2, 7, 10)] == [""] * 8
    assert [s.plan.severity for s in steps] == ["normal"] * 3 + ["tightened"] * 5 + ["normal"] * 3
    gap = walk_lots([PastLot(1000, k) for k in (2, 0)], 1.0, start="reduced").steps
    assert gap[0].why == "accepted, but more bad parts than the reduced plan allows"
    assert gap[1].plan.severity == "normal"
    refused = walk_lots([PastLot(1000, 3)], 1.0, start="reduced").steps[0]
    assert (refused.why, refused.basis, refused.accepted) == ("refused while reduced", "memory", False)
    steady = walk_lots([PastLot(1000, 1)] * 3, 1.0, start="reduced")
    assert [(s.why, s.basis, s.next_state) for s in steady.steps] == [("", "memory", "reduced")] * 3


def test_refusals_while_tightened_are_counted_anew_each_time_a_supply_is_tightened():
    back = [2, 2, 2, 2, *[0] * 5]  # four refused, then five accepted: normal again
    history = walk_lots([PastLot(1000, k) for k in (*back, 3, 3, 2, 2, 2, 2)], 1.0, start="tightened", reduced=False)
    assert history.state == "tightened"
    assert walk_lots([PastLot(1000, 2)] * 5, 1.0, start="tightened").state == "stopped"


def test_long_run_acceptance_of_switching_lies_between_that_of_its_two_plans():
    for normal, tight in ((0.99, 0.95), (0.8, 0.5), (0.3, 0.1)):
        assert tight < scheme_acceptance(normal, tight) < normal
    assert scheme_acceptance(0.5, 0.5) == pytest.approx(0.5)
    # By hand: stays of (2 - 1/16) / (1/2 x 15/16) and (1 - 1/1024) / (3/4 / 1024) lots.
    stay_normal, stay_tight = (2 - 1 / 16) / (0.5 * 15 / 16), (1 - 1 / 1024) / (0.75 / 1024)
    assert scheme_acceptance(0.5, 0.25) == pytest.approx(
        (0.5 * stay_normal + 0.25 * stay_tight) / (stay_normal + stay_tight)
    )
