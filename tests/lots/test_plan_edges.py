"""Plans at their edges: on a line and just beside it, the smallest and the largest that may be asked."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import binom

from partscreen.lots.attribute_plans import AQLS, SIZES, code_letter, step_tighter, table_plan
from partscreen.lots.cost_outcomes import (
    Prices,
    Reading,
    cleared_in_sample,
    counted_in_sample,
    read_and_sorted,
    send_back,
    used_unread,
)
from partscreen.lots.cost_plan import cheapest_plans, sizes
from partscreen.lots.operating_curve import (
    accepted,
    accepted_from_lot,
    curve_shares,
    share_accepted_with,
)
from partscreen.lots.readings_power import ReadingsPower
from partscreen.lots.sequential import SequentialPlan, log_bounds, walk_ratios
from partscreen.lots.share import clean_or_bad
from partscreen.lots.switching import PastLot, Switcher
from partscreen.lots.two_point import two_point_plan
from partscreen.lots.zero_acceptance import OutOfReach, least_bad, most_bad, sample_size


def test_sequential_lines_that_meet_a_whole_number_count_it():
    # A. Wald, Sequential Analysis, 1947: with shares 0.1 and 0.9 and risks 0.1 the lines are d = n/2 -+ 1/2 exactly.
    plan = SequentialPlan(0.1, 0.9, producer_risk=0.1, consumer_risk=0.1, last=100)
    assert plan.slope == pytest.approx(0.5, abs=1e-12)
    assert plan.h0 == pytest.approx(0.5, abs=1e-12)
    assert plan.h1 == pytest.approx(0.5, abs=1e-12)
    assert plan.accept_at([1, 2, 3, 4, 5]).tolist() == [0, 0, 1, 1, 2]
    assert plan.refuse_at([1, 2, 3, 4, 5]).tolist() == [1, 2, 2, 3, 3]
    assert plan.first_accept() == 1
    # At the end the lot goes to where it leans: 50 of 100 lie on the middle line, and are accepted.
    assert plan.accept_at(100) == 50
    assert plan.refuse_at(100) == 51
    assert plan.accept_at(99) == 49


def test_sequential_plan_refuses_settings_without_room_between_its_lines():
    for good, bad in ((0.2, 0.2), (0.3, 0.2), (0.0, 0.2), (0.2, 1.0)):
        with pytest.raises(ValueError, match="rise from good to bad"):
            SequentialPlan(good, bad)
    for producer, consumer in ((0.5, 0.5), (0.0, 0.1), (0.1, 0.0), (-0.1, 0.5)):
        with pytest.raises(ValueError, match="both risks"):
            SequentialPlan(0.1, 0.2, producer, consumer)
    assert SequentialPlan(0.1, 0.2, 0.5, 0.4999).end > 0


def test_log_ratio_on_a_bound_decides_and_short_of_it_goes_on():
    low, high = log_bounds(0.05, 0.10)
    assert (low, high) == (math.log(0.10 / 0.95), math.log(0.90 / 0.05))
    assert walk_ratios([low, 1.0], 0.05, 0.10)[1] == "accept"
    assert walk_ratios([high, 1.0], 0.05, 0.10)[1] == "refuse"
    sums, decision = walk_ratios([low * 0.999, 0.001, -0.002], 0.05, 0.10)
    assert decision == "go on"
    assert sums.tolist() == pytest.approx([low * 0.999, low * 0.999 + 0.001, low * 0.999 - 0.001])
    assert walk_ratios([], 0.05, 0.10)[0].size == 0


def test_sequential_plan_may_read_the_whole_lot_and_no_more():
    plan = SequentialPlan(0.05, 0.3, last=40)
    assert plan.operating_in_lot(40, 0) == (1.0, pytest.approx(plan.first_accept()))
    assert plan.operating_in_lot(40, 40)[0] == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ValueError, match="may read 40 parts, the lot has 39"):
        plan.operating_in_lot(39, 0)


def test_decisions_part_by_part_say_after_how_many():
    plan = SequentialPlan(0.1, 0.9, producer_risk=0.1, consumer_risk=0.1, last=3)
    assert plan.decide([]) == ("go on", 0, 0)
    assert plan.decide(["pass", "fail"]) == ("accept", 1, 0)
    assert plan.decide(["fail", "pass"]) == ("refuse", 1, 1)


def test_two_points_that_are_one_number_of_parts_are_refused():
    for good, bad in ((0.1, 0.1), (-0.01, 0.1), (0.1, 1.0), (0.2, 0.1)):
        with pytest.raises(ValueError, match="0 <= good < bad < 1"):
            two_point_plan(good, bad, 0.05, 0.10)
    with pytest.raises(OutOfReach, match="the same number of bad parts"):
        two_point_plan(0.2, 0.2 + 1e-12, 0.05, 0.10, lot_size=10)
    # Two and three of ten are told apart only by reading nearly all of them.
    n, c = two_point_plan(0.2, 0.3, 0.05, 0.10, lot_size=10)
    assert (n, c) == (10, 2)
    with pytest.raises(OutOfReach, match="even with all 10 parts read"):
        two_point_plan(0.1, 0.2, 0.01, 0.01, lot_size=10, readings=ReadingsPower(power=0.5, false_alarm=0.3))


def test_whole_parts_of_a_share_are_those_of_exact_arithmetic():
    # 0.07 x 100 is 7.000000000000001 in binary
    assert (least_bad(100, 0.07), most_bad(100, 0.07)) == (7, 7)
    assert (least_bad(100, 0.071), most_bad(100, 0.079)) == (8, 7)
    assert (least_bad(10, 1e-6), most_bad(10, 1e-6)) == (1, 0)


def test_sample_size_takes_no_chance_of_0_or_1():
    for tolerable, confidence in ((0.0, 0.9), (1.0, 0.9), (0.1, 0.0), (0.1, 1.0)):
        with pytest.raises(ValueError, match="lies between 0 and 1"):
            sample_size(tolerable, confidence)
    # 1 - 0.5^1 = 0.5 is met with equality by one part
    assert sample_size(0.5, 0.5) == 1
    assert sample_size(0.5, 0.75) == 2
    with pytest.raises(OutOfReach):
        sample_size(0.1, 0.95, lot_size=10, c=1)
    assert sample_size(0.2, 0.95, lot_size=10, c=1) == 10


def test_lot_cannot_hold_more_bad_parts_or_give_a_larger_sample_than_it_has():
    assert accepted_from_lot(10, 10, 0, [0, 10]).tolist() == [1.0, 0.0]
    for n, bad in ((11, 0), (5, 11), (5, -1)):
        with pytest.raises(ValueError, match="of a lot of 10"):
            accepted_from_lot(10, n, 0, bad)
    assert accepted(10, 10, 1, 0.14) == 1.0  # 1.4 parts are one
    assert accepted(10, 10, 1, 0.16) == 0.0


def test_share_accepted_with_a_chance_is_where_the_curve_has_it():
    for n, c in ((5, 0), (20, 3), (80, 1)):
        share = share_accepted_with(0.1, n, c)
        assert binom.cdf(c, n, share) == pytest.approx(0.1, rel=1e-9)
    assert share_accepted_with(0.1, 3, 3) == 1.0
    assert share_accepted_with(0.1, 3, 2) < 1.0


def test_points_of_a_curve_begin_at_no_bad_part_and_end_where_nearly_all_lots_are_refused():
    shares = curve_shares(None, 20, 1)
    assert shares.size == 61
    assert shares[0] == 0.0
    assert binom.cdf(1, 20, shares[-1]) == pytest.approx(0.005)
    assert curve_shares(None, 0, 0)[-1] == 1.0
    small = curve_shares(30, 10, 0) * 30
    assert small == pytest.approx(np.arange(small.size))  # every number of parts
    assert small[-1] >= 10
    assert curve_shares(6, 2, 0).tolist() == pytest.approx(np.arange(7) / 6)
    large = curve_shares(1000, 0, 0) * 1000
    assert (large[0], large[1], large[-1]) == (0, 9, 999)  # 1000 / 120, rounded up


def test_tables_begin_at_two_parts_and_follow_their_diagonals():
    with pytest.raises(ValueError, match="begin at a lot of 2"):
        code_letter(1)
    with pytest.raises(ValueError, match="does not exist"):
        code_letter(50, "IV")
    assert code_letter(2) == "A"
    assert [code_letter(n) for n in (8, 9, 500_000, 500_001)] == ["A", "B", "P", "Q"]
    assert step_tighter(AQLS[0]) is None
    assert step_tighter(1.0) == 0.65
    # CRAN package AQLSchemes, R/AAZ14Single.R: letter D at AQL 1.0 leads down to E, n 13, c 0.
    plan = table_plan(40, 1.0)
    assert (plan.letter, plan.plan_letter, plan.n, plan.c, plan.refuse_from, plan.whole_lot) == (
        "D",
        "E",
        13,
        0,
        1,
        False,
    )
    assert table_plan(10, 1.0).n == 10
    assert table_plan(10, 1.0).whole_lot
    assert table_plan(13, 1.0).whole_lot  # as many as there are
    assert not table_plan(14, 1.0).whole_lot


POWER = ReadingsPower(power=0.8, false_alarm=0.1, held_if_bad=0.25, held_if_good=0.2, held_counts="against")
PRICES = Prices(price=3.0, minute_value=0.5, harm=40.0, refund=0.75, return_cost=6.0)
SHARE = np.array([0.3])


def test_cost_of_a_part_read_and_sorted_is_that_of_its_branches():
    # By hand, bad 0.3: held 0.075, failed 0.18, passed 0.045; good 0.7: held 0.14, failed 0.056, passed 0.504.
    fate = read_and_sorted(SHARE, PRICES, Reading(POWER, minutes=2.0))
    assert fate.cost == pytest.approx(2.0 * 0.5 + 0.045 * 40 + (0.18 + 0.056) * 3 + (0.075 + 0.14) * 3)
    assert fate.minutes == pytest.approx(2.0)
    assert fate.bad == pytest.approx(0.045)
    # Held parts settled by 5 minutes each: bad ones found at 0.8, good ones rejected at 0.1.
    fate = read_and_sorted(SHARE, PRICES, Reading(POWER, minutes=2.0, held_minutes=5.0))
    settled = 0.215 * 5 * 0.5 + 0.075 * 0.2 * 40 + (0.075 * 0.8 + 0.14 * 0.1) * 3
    assert fate.cost == pytest.approx(2.0 * 0.5 + 0.045 * 40 + (0.18 + 0.056) * 3 + settled)
    assert fate.minutes == pytest.approx(2.0 + 0.215 * 5)
    assert fate.bad == pytest.approx(0.045 + 0.075 * 0.2)


def test_cost_of_a_part_of_the_sample_is_that_of_its_branches_given_what_it_showed():
    against = 0.075 + 0.14 + 0.18 + 0.056
    clear = cleared_in_sample(SHARE, PRICES, Reading(POWER))
    assert clear.bad == pytest.approx(0.045 / (1 - against))
    assert clear.cost == pytest.approx(0.045 * 40 / (1 - against))
    counted = counted_in_sample(SHARE, PRICES, Reading(POWER))
    assert counted.cost == pytest.approx(3.0)
    assert counted.bad == pytest.approx(0.0)
    destroyed = Reading(POWER, destroys=True)
    for lost in (cleared_in_sample(SHARE, PRICES, destroyed), counted_in_sample(SHARE, PRICES, destroyed)):
        assert (lost.cost, lost.minutes, lost.bad) == (3.0, 0.0, 0.0)
    assert used_unread(SHARE, PRICES).columns().tolist() == [pytest.approx([12.0, 0.0, 0.3])]
    assert send_back(10, PRICES) == pytest.approx(10 * 3 * 0.25 + 6)


def test_no_price_is_negative_and_no_refund_above_the_price():
    for name in ("price", "minute_value", "harm", "return_cost"):
        with pytest.raises(ValueError, match=f"{name} is -0.01"):
            Prices(**({"price": 0.0, "minute_value": 0.0, "harm": 0.0, "return_cost": 0.0} | {name: -0.01}))
    for refund in (-0.01, 1.01, math.nan):
        with pytest.raises(ValueError, match="refund"):
            Prices(0.0, 0.0, 0.0, refund=refund)
    assert send_back(5, Prices(2.0, 0.0, 0.0, refund=1.0)) == 0.0
    assert send_back(5, Prices(2.0, 0.0, 0.0, refund=0.0)) == 10.0


def test_a_lot_is_never_destroyed_whole_however_cheap_its_parts():
    prices = Prices(price=0.0, minute_value=0.0, harm=100.0, return_cost=5.0)
    broken = Reading(POWER, destroys=True)
    for lot_size in (1, 2, 6):
        plans = cheapest_plans(lot_size, clean_or_bad(0.1), prices, Reading(POWER), destructive=broken)
        assert all(plan.sample_size < lot_size for plan in plans if plan.kind == "sample_destroyed")
    with pytest.raises(ValueError, match="a lot of 0 parts"):
        cheapest_plans(0, clean_or_bad(0.1), prices, Reading(POWER))


def test_sizes_tried_grow_by_about_a_seventh_beyond_sixty():
    assert sizes(1) == [1]
    assert sizes(60) == list(range(1, 61))
    assert sizes(61) == list(range(1, 62))
    assert sizes(100)[60:] == [69, 79, 91, 100]
    assert sizes(1_000_000)[-1] == 5000


def test_entries_of_the_tables_name_where_they_were_read():
    # Compared with the published copy: letters C to L at AQL 0.65 to 4.0, levels I, II and S-4
    assert "AQLSchemes" in table_plan(500, 1.0).source
    assert "recalled" in table_plan(500, 10.0).source
    assert "recalled" in table_plan(500, 1.0, level="III").source


def test_a_belief_after_many_misread_parts_is_the_likelihood_integrated():
    # 40 of 1500 parts counted against the lot; one bad part in ten is missed, one good one in a hundred called bad.
    power = ReadingsPower(power=0.9, false_alarm=0.01)
    belief = clean_or_bad(0.05).after(40, 1500, power)
    share = (np.arange(200_000) + 0.5) / 200_000
    seen = share * power.against_if_bad + (1 - share) * power.against_if_good
    ln = 40 * np.log(seen) + 1460 * np.log1p(-seen) + (0.05 - 1) * np.log(share) + (0.95 - 1) * np.log1p(-share)
    density = np.exp(ln - ln.max())
    wanted = (density * share).sum() / density.sum()
    assert belief.weight.sum() == pytest.approx(1.0)
    assert belief.mean == pytest.approx(wanted, rel=1e-3)


def test_a_supply_takes_any_count_from_no_bad_part_to_a_sample_all_bad():
    n = table_plan(100, 1.0).n
    assert Switcher(1.0).take(PastLot(100, 0)).accepted
    assert not Switcher(1.0).take(PastLot(100, n)).accepted
    for found in (-1, n + 1):
        with pytest.raises(ValueError, match="bad found"):
            Switcher(1.0).take(PastLot(100, found))


def test_a_sequence_without_a_stated_end_is_long_enough_that_hardly_any_lot_is_undecided():
    plan = SequentialPlan(0.02, 0.10)
    rng = np.random.default_rng(4)
    # The share where a decision takes longest lies between the good and the bad one, at the slope of the lines.
    n, parts = 1000, plan.end - 1
    against = np.cumsum(rng.random((n, parts)) < plan.slope, axis=1)
    steps = np.arange(1, parts + 1)
    decided = ((against <= plan.accept_at(steps)) | (against >= plan.refuse_at(steps))).any(axis=1)
    assert decided.mean() > 0.96
    # A. Wald, Sequential Analysis (1947): about h0 h1 / (s (1 - s)) parts are read there on average.
    assert plan.end >= 4.0 * plan.h0 * plan.h1 / (plan.slope * (1.0 - plan.slope))
    first = np.argmax((against <= plan.accept_at(steps)) | (against >= plan.refuse_at(steps)), axis=1) + 1
    assert 0.6 * plan.end / 4.0 < first[decided].mean() < 1.4 * plan.end / 4.0


def test_reduced_inspection_reads_what_normal_reads_two_letters_before():
    # ISO 2859-1: sample sizes follow the R5 series; reduced lies two steps below, tightened reads as many as normal.
    assert SIZES["reduced"][2:] == SIZES["normal"][:-2]
    assert SIZES["reduced"][:2] == (2, 2)
    assert SIZES["tightened"][:-1] == SIZES["normal"]
    steps = [after / before for before, after in pairwise(SIZES["tightened"])]
    assert all(10**0.2 / 1.2 < step < 10**0.2 * 1.2 for step in steps[1:])


def test_one_impossible_lot_among_several_is_refused():
    assert accepted_from_lot(10, 2, 0, [0, 10]).tolist() == [1.0, 0.0]
    for bad in ([3, 11], [-1, 3]):
        with pytest.raises(ValueError, match="of a lot of 10"):
            accepted_from_lot(10, 2, 0, bad)
