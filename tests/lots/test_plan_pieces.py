"""The pieces plans are made of, against sums written out: readings, curves, stopping, beliefs, intervals, sizes."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from scipy.stats import betabinom, binom, hypergeom

from partscreen.lots.intervals import clopper_pearson, lower_limit, most_bad_in_lot, upper_limit, wilson
from partscreen.lots.operating_curve import (
    accepted,
    accepted_from_lot,
    accepted_from_process,
    apparent_share,
    curve_shares,
    share_accepted_with,
    true_share,
)
from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.lots.share import ShareBelief, clean_or_bad
from partscreen.lots.stopping import against_in_lot, average_read_in_lot, average_read_until_first, ln_choose
from partscreen.lots.two_point import _first_that_keeps, two_point_plan
from partscreen.lots.zero_acceptance import OutOfReach, _first, least_bad, most_bad, sample_size
from tests.lots.plan_lots import AGAINST, DROPS

# Readings


def test_chances_of_readings_are_those_of_their_branches():
    for readings, held_counts in ((AGAINST, 1.0), (DROPS, 0.0)):
        assert readings.against_if_bad == pytest.approx(0.88 * 0.85 + held_counts * 0.12)
        assert readings.against_if_good == pytest.approx(0.94 * 0.03 + held_counts * 0.06)
        assert readings.passes_if_bad == pytest.approx(0.88 * 0.15)
        assert not readings.perfect
    assert (PERFECT.power, PERFECT.false_alarm, PERFECT.held_if_good, PERFECT.held_if_bad) == (1.0, 0.0, 0.0, 0.0)
    assert PERFECT.held_counts == "nothing"
    assert PERFECT.perfect
    assert not ReadingsPower(power=0.999).perfect
    assert not ReadingsPower(false_alarm=0.001).perfect
    # All bad parts are held and count: as good as rejected.
    assert ReadingsPower(power=1.0, held_if_bad=0.5, held_counts="against").perfect


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"power": 1.01}, "power is 1.01"), ({"power": -0.01}, "power is -0.01"), ({"power": math.nan}, "power is nan"),
        ({"false_alarm": 1.01}, "false_alarm is 1.01"), ({"held_if_good": -0.01}, "held_if_good is -0.01"),
        ({"held_if_bad": 1.01}, "held_if_bad is 1.01"), ({"held_if_bad": 1.0}, "decide nothing"),
        ({"held_if_good": 1.0}, "decide nothing"), ({"power": 0.0}, "more often than good ones"),
        ({"power": 0.2, "false_alarm": 0.2}, "more often than good ones"),
        ({"power": 0.2, "false_alarm": 0.3}, "more often than good ones"),
    ],
)  # fmt: skip
def test_readings_that_cannot_be_say_why(wrong, words):
    with pytest.raises(ValueError, match=words):
        ReadingsPower(**wrong)


def test_power_just_above_the_false_alarms_is_enough():
    assert ReadingsPower(power=0.2, false_alarm=0.199).against_if_bad > 0.199
    assert ReadingsPower(power=1.0, false_alarm=0.999, held_if_good=0.99, held_if_bad=0.0)


# Operating curves


@pytest.mark.parametrize("readings", [PERFECT, AGAINST, DROPS])
@pytest.mark.parametrize(("lot_size", "n", "c"), [(7, 3, 1), (7, 7, 2), (40, 12, 0), (900, 60, 4), (90, 90, 12)])
def test_acceptance_of_a_lot_is_the_double_sum_over_what_is_drawn_and_what_it_shows(readings, lot_size, n, c):
    bad = np.unique([0, 1, lot_size // 9, lot_size // 3, lot_size - 1, lot_size])
    drawn = np.arange(n + 1)
    wanted = []
    for number in bad:
        shown = [
            sum(
                binom.pmf(k, d, readings.against_if_bad) * binom.cdf(c - k, n - d, readings.against_if_good)
                for k in range(min(c, d) + 1)
            )
            for d in drawn
        ]
        wanted.append(float(hypergeom.pmf(drawn, lot_size, number, n) @ np.array(shown)))
    found = accepted_from_lot(lot_size, n, c, bad, readings)
    assert found == pytest.approx(np.array(wanted), abs=1e-12)
    assert (found <= 1.0).all()
    assert float(accepted_from_lot(lot_size, n, c, int(bad[2]), readings)) == pytest.approx(wanted[2], abs=1e-12)


def test_shares_found_and_shares_bad_are_each_other_s_inverse_and_stay_shares():
    share = np.linspace(0, 1, 11)
    assert true_share(apparent_share(share, AGAINST), AGAINST) == pytest.approx(share)
    assert true_share([0.0, 1.0], AGAINST).tolist() == [0.0, 1.0]
    assert apparent_share(0.3) == pytest.approx(0.3)
    assert apparent_share(0.25, AGAINST) == pytest.approx(
        0.25 * AGAINST.against_if_bad + 0.75 * AGAINST.against_if_good
    )


def test_acceptance_of_an_endless_lot_is_binomial_in_the_share_found():
    share = np.array([[0.0, 0.1], [0.4, 1.0]])
    found = accepted_from_process(12, 2, share, AGAINST)
    assert found == pytest.approx(binom.cdf(2, 12, apparent_share(share, AGAINST)))
    assert accepted(None, 12, 2, share, AGAINST) == pytest.approx(found)
    assert accepted(40, 12, 2, [0.1, 0.2], AGAINST) == pytest.approx(accepted_from_lot(40, 12, 2, [4, 8], AGAINST))


def test_share_accepted_with_a_chance_takes_the_readings_off():
    share = share_accepted_with(0.1, 30, 2, AGAINST)
    assert accepted_from_process(30, 2, share, AGAINST) == pytest.approx(0.1)
    assert share_accepted_with(0.999, 30, 0, AGAINST) == 0.0  # even a sound lot passes more rarely
    assert share_accepted_with(0.1, 0, 0) == 1.0


def test_curves_of_lots_end_with_whole_parts_and_never_beyond_the_lot():
    for lot_size, n, c in ((8, 3, 0), (30, 25, 0), (500, 20, 1), (5000, 60, 2), (130, 1, 0), (121, 0, 0), (120, 0, 0)):
        whole = curve_shares(lot_size, n, c) * lot_size
        assert whole == pytest.approx(np.rint(whole))
        assert whole[-1] <= lot_size
        assert whole.size <= 121
        top = share_accepted_with(0.005, n, c) if n else 1.0
        most = max(np.ceil(top * lot_size), min(lot_size, 10))  # where nearly every lot is refused
        step = whole[1] - whole[0]
        assert step == pytest.approx(np.ceil(most / 120))
        assert most - step < whole[-1] <= most
    assert curve_shares(None, 4, 4)[-1] == 1.0
    assert curve_shares(None, 3_000_000, 0).max() > 0


# Stopping


def test_ways_to_choose_are_counted():
    for n, k in ((5, 2), (10, 0), (10, 10), (52, 5)):
        assert math.exp(ln_choose(n, k)) == pytest.approx(math.comb(n, k))
    assert ln_choose([4, 6], [2, 3]) == pytest.approx(np.log([6, 20]))


@pytest.mark.parametrize("readings", [PERFECT, AGAINST, DROPS])
@pytest.mark.parametrize("bad", [0, 2, 6])
def test_parts_against_a_whole_lot_and_the_average_until_the_first_are_summed_over_all_orders(readings, bad):
    against, chance = against_in_lot(6, bad, readings)
    wanted = np.convolve(
        binom.pmf(np.arange(bad + 1), bad, readings.against_if_bad),
        binom.pmf(np.arange(7 - bad), 6 - bad, readings.against_if_good),
    )
    found = np.zeros(7)
    found[against] = chance
    assert found == pytest.approx(wanted, abs=1e-13)
    for n in (1, 4, 6):
        # Every place of k parts against the lot among six is as likely; reading stops at the first of them.
        average = 0.0
        for k, weight in enumerate(wanted):
            places = list(combinations(range(6), k))
            average += weight * np.mean([min(n, p[0] + 1 if p else n) for p in places])
        assert average_read_in_lot(6, n, bad, readings) == pytest.approx(average)


def test_average_until_the_first_in_an_endless_lot_is_the_sum_of_chances_to_go_on():
    for share in (0.0, 0.2, 1.0):
        q = float(apparent_share(share, AGAINST))
        assert average_read_until_first(9, share, AGAINST) == pytest.approx(sum((1 - q) ** i for i in range(9)))
    assert average_read_until_first(9, [0.0, 1.0]).tolist() == [9.0, 1.0]


# Beliefs


def test_a_belief_that_is_one_beta_is_that_beta():
    one = ShareBelief(np.array([1.0]), np.array([2.0]), np.array([8.0]))
    assert one.mean == pytest.approx(0.2)
    assert one.counts(5) == pytest.approx(betabinom.pmf(np.arange(6), 5, 2, 8))
    assert one.chance_below(one.quantile(0.3)) == pytest.approx(0.3)
    assert (one.quantile(0.0), one.chance_below(0.0), one.chance_below(1.0)) == (0.0, 0.0, 1.0)
    after = one.after(3, 10)
    assert (after.a.tolist(), after.b.tolist(), after.weight.tolist()) == ([5.0], [15.0], [1.0])
    share, weight = one.nodes(20)
    assert weight.sum() == pytest.approx(1.0)
    assert weight @ share**2 == pytest.approx(2 * 3 / (10 * 11))


def test_after_a_test_each_component_counts_as_it_foresaw_what_was_found():
    two = ShareBelief(np.array([0.7, 0.3]), np.array([1.0, 9.0]), np.array([9.0, 1.0]))
    after = two.after(4, 5)
    foresaw = two.weight * betabinom.pmf(4, 5, two.a, two.b)
    assert after.weight == pytest.approx(foresaw / foresaw.sum())
    assert after.a.tolist() == [5.0, 13.0]
    assert after.b.tolist() == [10.0, 2.0]
    assert two.mean == pytest.approx(0.7 * 0.1 + 0.3 * 0.9)
    assert two.counts(3) == pytest.approx(
        0.7 * betabinom.pmf(range(4), 3, 1, 9) + 0.3 * betabinom.pmf(range(4), 3, 9, 1)
    )
    same = two.after(0, 0, AGAINST)
    assert same.weight == pytest.approx(two.weight)
    share, weight = two.nodes(30)
    assert weight @ share == pytest.approx(two.mean)


def test_a_belief_after_thousands_of_parts_is_finite_and_lies_where_they_were_found():
    flat = ShareBelief(np.array([0.5, 0.5]), np.array([1.0, 2.0]), np.array([1.0, 3.0]))
    for found, tested in ((0, 20_000), (3000, 6000), (6000, 6000)):
        for readings in (PERFECT, DROPS):
            belief = flat.after(found, tested, readings)
            assert belief.weight.sum() == pytest.approx(1.0)
            apparent = np.array(found / tested)
            assert belief.mean == pytest.approx(float(true_share(apparent, readings)), abs=2e-3)


def test_clean_or_bad_lots_have_the_expected_share_and_hardly_one_in_between():
    for mean in (0.05, 0.1, 0.4):
        belief = clean_or_bad(mean)
        assert belief.mean == pytest.approx(mean)
        assert belief.weight.sum() == pytest.approx(1.0)
        assert belief.chance_below(0.9) - belief.chance_below(0.1) < 0.35
    assert clean_or_bad(0.1).quantile(0.02) < 1e-6


# Intervals


def test_intervals_take_the_readings_off_at_both_ends():
    for kind in (clopper_pearson, wilson):
        plain, weak = kind(4, 40), kind(4, 40, readings=AGAINST)
        assert weak == pytest.approx(tuple(true_share(np.array(plain), AGAINST)))
        assert kind(4, 40, 0.5)[1] < plain[1]
    assert upper_limit(4, 40, readings=AGAINST) == pytest.approx(float(true_share(upper_limit(4, 40), AGAINST)))
    assert lower_limit(9, 40, readings=AGAINST) == pytest.approx(float(true_share(lower_limit(9, 40), AGAINST)))
    wide, narrow = wilson(4, 40, continuity=True), wilson(4, 40)
    assert wide[0] < narrow[0] < narrow[1] < wide[1]
    assert lower_limit(9, 40) == pytest.approx(clopper_pearson(9, 40, 0.90)[0])
    assert upper_limit(9, 40) == pytest.approx(clopper_pearson(9, 40, 0.90)[1])


@pytest.mark.parametrize(
    ("found", "tested", "lot_size"), [(0, 5, 30), (2, 10, 30), (10, 10, 30), (0, 30, 30), (3, 30, 30)]
)
def test_most_bad_in_a_lot_is_the_largest_number_that_is_not_excluded(found, tested, lot_size):
    for confidence in (0.95, 0.8):
        possible = range(found, lot_size - (tested - found) + 1)
        kept = [k for k in possible if hypergeom.cdf(found, lot_size, k, tested) > 1 - confidence]
        assert most_bad_in_lot(found, tested, lot_size, confidence) == max(kept)


# Sample sizes


def test_the_first_number_that_keeps_a_risk_is_found_wherever_it_lies():
    for wanted in range(1, 40):
        asked = []

        def chance(n, wanted=wanted, asked=asked):
            asked.append(n)
            return 0.0 if n >= wanted else 1.0

        assert _first(chance, 0.5, 1, 40) == wanted
        assert max(asked) <= 40
        assert _first(chance, 0.5, wanted, 40) == wanted
        assert _first(chance, 0.5, min(wanted + 2, 40), 40) == min(wanted + 2, 40)
    assert _first(lambda n: 1.0, 0.5, 1, 40) is None
    assert _first(lambda n: 0.0, 0.5, 41, 40) is None
    assert _first(lambda n: 0.0, 0.5, 40, 40) == 40
    assert _first(lambda n: 0.5, 0.5, 1, 40) == 1  # a risk just met is kept


def test_numbers_that_are_allowed_are_looked_for_from_none_to_the_most():
    for wanted in range(0, 33):
        assert _first_that_keeps(lambda c, wanted=wanted: c >= wanted, 32) == wanted
    for most in (0, 1, 5, 21, 32):
        asked = []

        def keeps(c, most=most, asked=asked):
            asked.append(c)
            return c == most

        assert _first_that_keeps(keeps, most) == most
        assert max(asked) == most  # never more than may be allowed
    assert _first_that_keeps(lambda c: False, 32) is None
    assert _first_that_keeps(lambda c: c == 0, 1) == 0
    # Whole numbers make small steps: one that keeps the risks by luck below the first of a run is found.
    assert _first_that_keeps(lambda c: c >= 20 or c == 17, 32) == 17


def test_what_is_out_of_reach_says_what_the_whole_lot_would_give():
    weak = ReadingsPower(power=0.5)
    for c, words in ((0, "with 1 bad one would pass with a chance of 50 %"),
                     (1, "with 1 bad one would pass with up to 1 allowed with a chance of 100 %")):  # fmt: skip
        with pytest.raises(OutOfReach, match=f"even with all 10 parts read, a lot {words}"):
            sample_size(0.1, 0.95, lot_size=10, c=c, readings=weak)
    with pytest.raises(OutOfReach, match="a lot with 2 bad ones would pass with a chance of 25 %"):
        sample_size(0.2, 0.95, lot_size=10, readings=weak)
    with pytest.raises(OutOfReach, match="no sample of up to 10000000 parts"):
        sample_size(1e-8, 0.95)
    with pytest.raises(OutOfReach, match="no plan that accepts with up to 1 bad parts keeps both risks"):
        two_point_plan(0.1, 0.2, 1e-9, 0.1, lot_size=10, readings=ReadingsPower(power=0.99, false_alarm=0.1))


@pytest.mark.parametrize("lot_size", [10, 100, 1000, 100_000, 10_000_000])
def test_whole_parts_of_a_share_are_exact_in_lots_of_every_size(lot_size):
    for hundredths in (1, 7, 10, 29, 57, 90):
        share, whole = hundredths / 100, hundredths * lot_size / 100
        assert (least_bad(lot_size, share), most_bad(lot_size, share)) == (max(1, math.ceil(whole)), math.floor(whole))
    # A millionth of the share more is another part where the lot has that many.
    more = 0.07 * (1 + 1e-6)
    assert least_bad(lot_size, more) == math.ceil(0.07 * lot_size * (1 + 1e-6))
