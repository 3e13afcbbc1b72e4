"""A limit is judged where it is reached, and only there."""

from dataclasses import replace

import numpy as np
import pytest

from partscreen.readings.tables import Sweep
from partscreen.screening.limits.curve_model import PlainLaws
from partscreen.screening.limits.judge import PartReadings, judge_limits
from partscreen.screening.limits.spots import spot_tables
from partscreen.screening.limits.values import CARRIED, DIRECT, NOT_REACHED
from partscreen.screening.observe import build_observations
from tests.screening.bench import ROOM, Limit, TextbookDevice, batch, gain_limit, points, spots

CURRENTS = np.array([0.05, 0.2, 0.5, 1.0, 2.0])


def readings(device, n=1, currents=CURRENTS, *, temp=ROOM, vce=5.0, spot_rows=(), scale=1.0):
    ic = np.tile(currents, (n, 1))
    hfe, vbe = device.gain(np.arange(n), ic, np.full(ic.shape, vce), np.full(ic.shape, temp), True)
    part = np.arange(n)[:, None] * np.ones(ic.shape, int)
    table = points(part, ic, hfe=(hfe * scale).ravel(), vbe=vbe.ravel(), vce=vce, temp=temp)
    made = batch(n, table, spots(spot_rows))
    return PartReadings(
        build_observations(made, np.arange(n)).observations, spot_tables(made, np.arange(n), None), device
    )


def test_limit_between_readings_is_direct_and_the_value_is_that_of_the_curve():
    device = TextbookDevice(100, 2.0)
    got = judge_limits([gain_limit("min", 50, 0.7)], readings(device))
    truth = device.gain(np.array([0]), np.array([[0.7]]), 5.0, ROOM, True)[0][0, 0]
    assert got.reached[0, 0] == DIRECT
    assert got.value[0, 0] == pytest.approx(truth, rel=1e-6)
    assert got.decision[0, 0] == 1


def test_value_follows_the_readings_where_they_differ_from_the_fit():
    device = TextbookDevice(100, 2.0)
    got = judge_limits([gain_limit("min", 50, 0.7)], readings(device, scale=0.8))
    truth = device.gain(np.array([0]), np.array([[0.7]]), 5.0, ROOM, True)[0][0, 0]
    assert got.value[0, 0] == pytest.approx(0.8 * truth, rel=1e-6)


@pytest.mark.parametrize(
    ("ic", "reached"),
    [(2.0, DIRECT), (2.09, DIRECT), (2.2, CARRIED), (5.9, CARRIED), (6.1, NOT_REACHED), (16.0, NOT_REACHED),
     (0.048, DIRECT), (0.04, CARRIED), (0.01, NOT_REACHED)],
)  # fmt: skip
def test_reach_ends_at_five_percent_directly_and_at_threefold_by_the_fit(ic, reached):
    got = judge_limits([gain_limit("min", 1.0, ic)], readings(TextbookDevice(100, 2.0)))
    assert got.reached[0, 0] == reached
    assert np.isnan(got.value[0, 0]) == (reached == NOT_REACHED)


def test_low_current_readings_are_never_judged_by_high_current_limits():
    # Gain 190 at 1.16 A against 15 to 60 at 8 A: nothing is said.
    part = readings(TextbookDevice(200, 50.0), currents=np.array([1.16]))
    got = judge_limits([gain_limit("max", 60, 8.0, 4.0), gain_limit("min", 15, 8.0, 4.0)], part)
    assert (got.reached == NOT_REACHED).all()
    assert not got.nonconforming.any()
    assert (got.decision == 0).all()


def test_reading_at_fifty_degrees_is_brought_to_the_limit_at_twenty_five():
    device = TextbookDevice(100, 2.0)
    cool = judge_limits([gain_limit("min", 50, 1.0)], readings(device))
    warm = judge_limits([gain_limit("min", 50, 1.0)], readings(device, temp=323.15))
    assert warm.value[0, 0] == pytest.approx(cool.value[0, 0], rel=1e-9)
    # XTB 1.5 over 25 K is 12 %; a third of it is held uncertain.
    assert warm.std[0, 0] / warm.value[0, 0] > 0.042 > 0.03 > cool.std[0, 0] / cool.value[0, 0]


def test_reading_far_from_the_temperature_or_vce_of_the_limit_decides_nothing_directly():
    device = TextbookDevice(100, 2.0)
    hot = judge_limits([gain_limit("min", 50, 1.0)], readings(device, temp=373.15))
    far = judge_limits([gain_limit("min", 50, 1.0)], readings(device, vce=40.0))
    assert hot.reached[0, 0] == far.reached[0, 0] == CARRIED


def test_value_that_is_more_the_fits_word_than_the_readings_counts_as_carried():
    # An Early voltage of 5 V would nearly double the gain from 2 V to 5 V.
    got = judge_limits([gain_limit("min", 90, 1.0)], readings(TextbookDevice(60, 2.0, va=5.0), vce=2.0))
    assert got.reached[0, 0] == CARRIED
    assert not got.nonconforming[0]


def test_part_below_the_minimum_is_nonconforming_and_inside_the_guard_band_undecided():
    device = TextbookDevice([100, 76.2, 60], [2.0] * 3)
    got = judge_limits([gain_limit("min", 60, 0.7)], readings(device, 3))
    assert got.decision[0].tolist() == [1, 0, -1]
    assert got.nonconforming.tolist() == [False, False, True]
    assert 0.02 < got.chance[0, 1] < 0.98


@pytest.mark.parametrize("weak", [{"basis": "memory"}, {"doubt": "VCE not printed"}])
def test_weak_row_never_makes_a_part_nonconforming(weak):
    got = judge_limits([gain_limit("min", 90, 0.7, **weak)], readings(TextbookDevice(60, 2.0)))
    assert got.unconfirmed[0, 0]
    assert not got.nonconforming[0]


def test_carried_value_never_makes_a_part_nonconforming():
    got = judge_limits([gain_limit("min", 90, 4.0)], readings(TextbookDevice(60, 2.0)))
    assert got.reached[0, 0] == CARRIED
    assert got.unconfirmed[0, 0]
    assert not got.nonconforming[0]


def test_part_must_fail_every_edition_when_the_maker_is_not_known():
    strict, wide = gain_limit("min", 90, 0.7, editions=("A",)), gain_limit("min", 30, 0.7, editions=("B",))
    part = readings(TextbookDevice(60, 2.0))
    both = judge_limits([strict, wide], part)
    assert not both.nonconforming[0]
    assert both.some_editions[0]
    assert judge_limits([strict, wide], part, editions=["A"]).nonconforming[0]
    assert not judge_limits([strict, wide], part, editions=["B"]).nonconforming[0]
    # An edition that limits the gain only where no reading reaches has not been failed; one silent on gain has no
    # voice.
    unread = gain_limit("min", 30, 8.0, editions=("B",))
    silent = Limit("ICBO", "max", 1e-4, {"VCB": 100.0}, "icbo", editions=("B",))
    assert not judge_limits([strict, unread], part).nonconforming[0]
    assert judge_limits([strict, silent], part).nonconforming[0]


def test_rejection_threshold_is_shared_among_the_rows():
    # One row at chance just below 0.001: enough alone, not among ten.
    device, row = TextbookDevice(60, 2.0), [gain_limit("min", 60, 0.7)]
    base = judge_limits(row, readings(device))
    std = base.std[0, 0] / base.value[0, 0]
    limit = [gain_limit("min", base.value[0, 0] * np.exp(3.3 * std), 0.7)]
    others = [gain_limit("min", 5 + k, 0.5 + 0.1 * k) for k in range(9)]
    assert judge_limits(limit, readings(device)).nonconforming[0]
    assert not judge_limits(limit + others, readings(device)).nonconforming[0]


def test_sides_and_editions_of_one_row_are_one_chance_of_a_false_rejection():
    device = TextbookDevice(60, 2.0)
    base = judge_limits([gain_limit("min", 60, 0.7)], readings(device))
    std = base.std[0, 0] / base.value[0, 0]
    edge = base.value[0, 0] * np.exp(3.2 * std)
    rows = [gain_limit(side, v, 0.7, editions=(e,)) for e in "ABC" for side, v in (("min", edge), ("max", 500.0))]
    assert judge_limits(rows, readings(device)).nonconforming[0]


def test_typical_figures_and_rows_without_conditions_are_no_limits():
    assert judge_limits([gain_limit("min", 90, 0.7, is_limit=False)], readings(TextbookDevice(60, 2.0))).limits == ()


def test_saturation_is_judged_at_like_forced_gain_only():
    device = TextbookDevice(100, 2.0, r=0.1)
    ic = np.array([1.0, 2.0, 4.0])
    limit = Limit("VCE(sat)", "max", 0.3, {"IC": 3.0, "IB": 0.3}, "vce_sat", "V")
    for forced, reached in ((10.0, DIRECT), (12.0, DIRECT), (30.0, CARRIED)):
        vce = device.saturation(np.array([0]), ic[None], ic[None] / forced, ROOM, True)[0]
        made = batch(1, points(0, ic, ib=ic / forced, vce=vce, sweep=Sweep.SATURATION))
        got = judge_limits([limit], PartReadings(build_observations(made, np.arange(1)).observations, {}, device))
        assert got.reached[0, 0] == reached
        assert got.value[0, 0] == pytest.approx(0.36, rel=1e-6)


def test_parts_without_a_fit_are_judged_by_their_readings_alone():
    ic = np.array([0.5, 1.0, 2.0])
    made = batch(1, points(0, ic, hfe=[1000, 900, 700], temp=ROOM))
    part = PartReadings(build_observations(made, np.arange(1)).observations, {}, PlainLaws())
    got = judge_limits([gain_limit("min", 1000, 1.5), gain_limit("min", 100, 4.0)], part)
    assert got.reached[:, 0].tolist() == [DIRECT, NOT_REACHED]
    assert 700 < got.value[0, 0] < 900


LEAK = Limit("ICBO", "max", 100e-6, {"VCB": 200.0}, "icbo", "A")
BREAK = Limit("V(BR)CEO", "min", 250.0, {"IC": 0.1}, "v_br_ceo", "V")
CAP = Limit("C_CB", "max", 500e-12, {"VCB": 10.0}, "c_cb", "F")


@pytest.mark.parametrize(
    ("limit", "row", "reached", "decision"),
    [
        (LEAK, ("icbo", 5e-6, {"VCB": 200.0}), DIRECT, 1),
        (LEAK, ("icbo", 5e-6, {"VCB": 197.0}), DIRECT, 1),  # 0.985 of the voltage: as good as at it
        (LEAK, ("icbo", 5e-6, {"VCB": 100.0}), NOT_REACHED, 0),  # little leakage at half the voltage says nothing
        (LEAK, ("icbo", 900e-6, {"VCB": 100.0}), DIRECT, -1),  # too much of it there already
        (LEAK, ("icbo", 5e-6, {"VCB": 300.0}), DIRECT, 1),
        (LEAK, ("icbo", 900e-6, {"VCB": 300.0}), NOT_REACHED, 0),
        (LEAK, ("icbo", 5e-6, {}), NOT_REACHED, 0),
        (LEAK, ("icbo", 900e-6, {"VCB": 200.0, "TC": 373.15}), NOT_REACHED, 0),  # hot leakage against a cold limit
        (LEAK, ("icbo", 5e-6, {"VCB": 200.0, "TC": 373.15}), DIRECT, 1),
        (BREAK, ("v_br_ceo", 300.0, {"IC": 0.1}), DIRECT, 1),
        (BREAK, ("v_br_ceo", 180.0, {"IC": 0.1}), DIRECT, -1),
        (BREAK, ("v_br_ceo", 300.0, {"IC": 1e-3}), NOT_REACHED, 0),  # may still snap back
        (BREAK, ("v_br_ceo", 180.0, {"IC": 1e-3}), CARRIED, -1),
        (BREAK, ("v_br_ceo", 180.0, {}), NOT_REACHED, 0),
        (BREAK, ("v_br_ceo", 180.0, {"I": 0.1}), DIRECT, -1),
        (BREAK, ("v_br_ceo", 180.0, {"IC": 0.1, "base": "shorted"}), NOT_REACHED, 0),  # not V(BR)CEO at all
        (CAP, ("c_cb", 300e-12, {"VCB": 10.0}), DIRECT, 1),
        (CAP, ("c_cb", 300e-12, {"VCB": 0.0}), DIRECT, 1),  # falls with bias: less still at 10 V
        (CAP, ("c_cb", 900e-12, {"VCB": 0.0}), NOT_REACHED, 0),
        (CAP, ("c_cb", 900e-12, {}), NOT_REACHED, 0),
        (CAP, ("c_cb", 900e-12, {"VCB": 30.0}), DIRECT, -1),
    ],
)
def test_spot_readings_decide_only_what_they_bound(limit, row, reached, decision):
    got = judge_limits([limit], readings(TextbookDevice(100, 2.0), spot_rows=[(0, *row)]))
    assert got.reached[0, 0] == reached
    assert got.decision[0, 0] == decision
    if reached == NOT_REACHED:
        assert np.isnan(got.value[0, 0])


def test_worst_of_several_spot_readings_counts():
    rows = [(0, "icbo", 5e-6, {"VCB": 200.0}), (0, "icbo", 900e-6, {"VCB": 200.0})]
    assert judge_limits([LEAK], readings(TextbookDevice(100, 2.0), spot_rows=rows)).nonconforming[0]


def test_uncertainty_of_an_interpolated_limit_value_agrees_with_simulation():
    rng = np.random.default_rng(5)
    n, device = 4000, TextbookDevice(np.full(4000, 100.0), np.full(4000, 2.0))
    scale = np.exp(rng.normal(0, 0.01, (n, CURRENTS.size)))
    part = readings(device, n, scale=scale)
    none_shared = replace(part.observations, session_gain_ln_std=np.zeros(1), session_temp_std=np.zeros(1))
    got = judge_limits([gain_limit("min", 50, 0.7)], replace(part, observations=none_shared))
    spread = np.std(np.log(got.value[0]))
    told = np.median(got.std[0] / got.value[0])
    # Told: the reading (about 0.7 %) and the shape between two readings that differ.
    assert spread < told < 1.6 * spread
