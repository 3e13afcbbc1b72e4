"""Limits at their edges: how far a reading reaches, what a correction costs, which spot reading speaks."""

from math import log, sqrt

import numpy as np
import pytest

from partscreen.screening.limits.curve_model import PlainLaws
from partscreen.screening.limits.fitted_curves import _posterior
from partscreen.screening.limits.spot_conditions import number_of, spot_base_current, spot_temperature
from partscreen.screening.limits.spots import SpotTable, spot_at_limit
from partscreen.screening.limits.values import (
    CARRIED,
    DIRECT,
    NOT_REACHED,
    LimitValues,
    _assemble,
    _bracket,
    nothing_reached,
)

NAN = float("nan")


def bracket(currents, at, comparable=None):
    ic = np.array([currents], dtype=float)
    like = np.ones(ic.shape, bool) if comparable is None else np.array([comparable])
    found = _bracket(ic, like, np.isfinite(ic), at)
    return found.left[0], found.right[0], found.weight[0], found.reached[0]


def test_limit_between_two_readings_takes_its_neighbours_by_the_logarithm_of_current():
    assert bracket([0.1, 1.0, 4.0, 8.0], 2.0) == (1, 2, pytest.approx(0.5), DIRECT)
    assert bracket([0.1, 1.0, 4.0, 8.0], 1.0)[:2] == (1, 1)  # read at the limit's current: that reading alone
    assert bracket([1.0, 4.0], 4.0)[:2] == (1, 1)


@pytest.mark.parametrize(
    ("currents", "at", "reached"),
    [
        ([1.0, 5.0], 2.0, DIRECT),  # fivefold apart
        ([1.0, 5.01], 2.0, CARRIED),
        ([1.0, 100.0], 1.05, DIRECT),  # within 5 % of one of them
        ([1.0, 100.0], 1.06, CARRIED),
        ([1.0, 100.0], 96.0, DIRECT),
        ([1.0, 100.0], 95.0, CARRIED),
        ([1.0, 105.0], 100.0, DIRECT),
        ([1.0, 106.0], 100.0, CARRIED),
        ([0.5, 1.0], 1.05, DIRECT),  # 5 % beyond the end
        ([0.5, 1.0], 1.051, CARRIED),
        ([0.5, 1.0], 3.0, CARRIED),  # threefold beyond
        ([0.5, 1.0], 3.01, NOT_REACHED),
        ([0.3, 1.0], 0.29, DIRECT),
        ([0.3, 1.0], 0.11, CARRIED),
        ([0.3, 1.0], 0.0999, NOT_REACHED),
        ([NAN, NAN], 1.0, NOT_REACHED),
        ([NAN, 1.0], 1.0, DIRECT),
    ],
)
def test_reach_of_readings_ends_where_it_says(currents, at, reached):
    assert bracket(currents, at)[3] == reached


def test_readings_that_are_not_comparable_carry_but_do_not_stand_for_the_limit():
    assert bracket([0.5, 1.0, 2.0], 1.0, [True, False, True]) == (0, 2, pytest.approx(0.5), DIRECT)
    assert bracket([0.5, 1.0, 2.0], 1.0, [False, False, False])[3] == CARRIED
    assert bracket([], 1.0)[3] == NOT_REACHED


def test_value_between_readings_and_its_uncertainty_are_those_worked_by_hand():
    # Neighbours as read 10, 20; the model says 9, 18 there, 9.5, 18.5 at the limit's VCE, 9.6, 18.8 at its temperature
    # as well, and 12 at the limit; weight 1/4.
    read, std = np.array([[10.0, 20.0]]), np.array([[0.3, 0.4]])
    model = np.array([[9.0, 18.0, 9.5, 18.5, 9.6, 18.8, 12.0]])
    value, total, bias = _assemble(read, std, model, np.array([0.25]), (1.5, 0.35), np.array([0.2]))
    assert value[0] == pytest.approx(12.0 + 0.75 * 1.0 + 0.25 * 2.0)
    assert bias[0] == pytest.approx(0.5)
    warmth = 0.35 * (0.75 * 0.1 + 0.25 * 0.3)
    shape = 2 * 0.25 * 1.0 / sqrt(12)  # a rectangle of half the width at a quarter of the way (JCGM 100:2008, 4.3.7)
    reading = (0.75 * 0.3) ** 2 + (0.25 * 0.4) ** 2
    assert total[0] == pytest.approx(sqrt(reading + shape**2 + (1.5 * 0.5) ** 2 + warmth**2 + 0.2**2))
    # Three quarters of the way the rectangle is as wide as at one quarter.
    other = _assemble(read, std * 0, model * 0, np.array([0.75]), (0.0, 0.0), np.array([0.0]))[1]
    assert other[0] == pytest.approx(2 * 0.25 * 10.0 / sqrt(12))


def test_relative_uncertainty_is_told_in_the_unit_of_the_value():
    value, std, reached = np.array([200.0]), np.array([0.05]), np.ones(1, dtype=np.int8)
    assert LimitValues(value, std, reached, log=True).std_si.tolist() == [10.0]
    assert LimitValues(value, std, reached, log=False).std_si.tolist() == [0.05]
    none = nothing_reached(2)
    assert np.isnan(none.value).all()
    assert none.reached.tolist() == [NOT_REACHED, NOT_REACHED]


def table(*rows):
    """Rows: part, value, conditions; 2 % uncertainty, 25 degrees."""
    part, value, told = zip(*rows, strict=True)
    n = len(rows)
    kelvin = np.array([c.get("TC", 298.15) for c in told])
    return SpotTable(np.array(part), np.array(value), np.full(n, 0.02), kelvin, np.arange(n), tuple(told))


def at_limit(quantity, side, limit, conditions, *rows, n_parts=1):
    return spot_at_limit({quantity: table(*rows)}, quantity, side, limit, conditions, 298.15, n_parts)


@pytest.mark.parametrize(
    ("volt", "value", "reached"),
    [
        (196.1, 5e-6, DIRECT),  # two per cent below the limit's voltage is as good as at it
        (195.9, 5e-6, NOT_REACHED),
        (195.9, 900e-6, DIRECT),
        (203.9, 900e-6, DIRECT),
        (204.0, 5e-6, DIRECT),  # exactly 2 per cent above: the edge belongs to it
        (204.0, 900e-6, DIRECT),
        (204.1, 900e-6, NOT_REACHED),
        (204.1, 5e-6, DIRECT),
    ],
)
def test_leakage_read_beside_the_voltage_of_the_limit_bounds_it_from_one_side(volt, value, reached):
    found = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, value, {"VCB": volt}))
    assert found.reached[0] == reached


def test_leakage_is_brought_to_the_temperature_of_the_limit_and_pays_half_of_the_correction():
    # Doubles every 10 K (common practice, no source): 5 K warmer is root 2 too much.
    found = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, 40e-6, {"VCB": 200.0, "TC": 303.15}))
    assert found.reached[0] == DIRECT
    assert found.value[0] == pytest.approx(40e-6 / sqrt(2))
    assert found.std[0] == pytest.approx(sqrt(0.02**2 + (0.5 * log(2) / 2) ** 2 + (log(2) / 10 * 2.0) ** 2))
    warmer = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, 40e-6, {"VCB": 200.0, "TC": 303.2}))
    assert warmer.reached[0] == DIRECT  # less than the limit although warmer
    assert warmer.value[0] == pytest.approx(40e-6)  # told as read: a bound
    cooler = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, 40e-6, {"VCB": 200.0, "TC": 293.1}))
    assert cooler.reached[0] == NOT_REACHED
    edge = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, 40e-6, {"VCB": 200.0, "TC": 293.15}))
    assert edge.reached[0] == DIRECT  # 5 K cooler still counts as the same
    assert edge.value[0] == pytest.approx(40e-6 * sqrt(2))
    colder = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, 140e-6, {"VCB": 200.0, "TC": 293.1}))
    assert colder.reached[0] == DIRECT  # more than the limit although cooler


def test_a_bound_on_the_limit_itself_speaks_for_the_part():
    # Chance a half exactly: read below the voltage it is no break, read above it the limit is met.
    below = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, 100e-6, {"VCB": 100.0}))
    above = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, (0, 100e-6, {"VCB": 300.0}))
    assert (below.reached[0], above.reached[0]) == (NOT_REACHED, DIRECT)


def test_of_several_readings_the_worst_counts_for_each_part():
    rows = ((1, 5e-6, {"VCB": 200.0}), (0, 7e-6, {"VCB": 200.0}), (1, 50e-6, {"VCB": 200.0}))
    found = at_limit("icbo", "max", 100e-6, {"VCB": 200.0}, *rows, n_parts=3)
    assert found.value[:2] == pytest.approx([7e-6, 50e-6])
    assert found.reached.tolist() == [DIRECT, DIRECT, NOT_REACHED]
    rows = ((0, 300.0, {"IC": 0.1}), (0, 260.0, {"IC": 0.1}))
    assert at_limit("v_br_ceo", "min", 250.0, {"IC": 0.1}, *rows).value[0] == pytest.approx(260.0)


@pytest.mark.parametrize(
    ("quantity", "side", "axis", "also", "alike"),
    [
        # Leakage is alike within 2 % of the voltage; breakdown from half to one and a half of the test current;
        # capacitance within 10 % of the bias; fT within 10 % of the current (assumptions).
        ("icbo", "max", "VCB", {}, 0.02),
        ("iceo", "max", "VCE", {}, 0.02),
        ("iebo", "max", "VEB", {}, 0.02),
        ("ices", "max", "VCE", {}, 0.02),
        ("icer", "max", "VCE", {"RBE": 100.0}, 0.02),
        ("icex", "max", "VCE", {"VBE_off": 1.5}, 0.02),
        ("v_br_cbo", "min", "IC", {}, 0.5),
        ("v_br_ces", "min", "IC", {}, 0.5),
        ("v_br_ebo", "min", "IE", {}, 0.5),
        ("v_br_ceo", "min", "IC", {}, 0.5),
        ("v_br_cer", "min", "IC", {"RBE": 100.0}, 0.5),
        ("c_cb", "max", "VCB", {}, 0.1),
        ("c_be", "max", "VEB", {}, 0.1),
        ("vbe_sat", "max", "IC", {"IC_over_IB": 10.0}, 0.05),
        ("ft", "min", "IC", {"VCE": 10.0}, 0.1),
    ],
)
def test_each_quantity_is_alike_within_its_own_share_of_the_condition_on_either_side(quantity, side, axis, also, alike):
    at = {axis: 10.0, **also} | ({"IB": 1.0} if quantity == "vbe_sat" else {})

    def met(share):
        """Whether readings well inside the limit and well outside it both count: only alike conditions do that."""
        told = {axis: 10.0 * share, **also}
        good, bad = (1e-6, 1.0) if side == "max" else (1.0, 1e-6)
        found = [at_limit(quantity, side, 1e-3, at, (0, value, told)).reached[0] for value in (good, bad)]
        return found == [DIRECT, DIRECT]

    for sign in (1.0, -1.0):
        assert met(1.0 + sign * 0.99 * alike)
        assert not met(1.0 + sign * 1.01 * alike)


@pytest.mark.parametrize(
    ("quantity", "name", "at", "near"), [("icer", "RBE", 100.0, 0.05), ("icex", "VBE_off", 1.5, 0.1)]
)
def test_a_further_condition_of_a_leakage_must_be_as_near_as_stated(quantity, name, at, near):
    for sign in (1.0, -1.0):
        for share, reached in ((0.99, DIRECT), (1.01, NOT_REACHED)):
            told = {"VCE": 100.0, name: at * (1.0 + sign * share * near)}
            found = at_limit(quantity, "max", 1e-3, {"VCE": 100.0, name: at}, (0, 1e-5, told))
            assert found.reached[0] == reached


@pytest.mark.parametrize(
    ("quantity", "limit", "row", "reached"),
    [
        ("icer", {"VCE": 100.0, "RBE": 100.0}, {"VCE": 100.0, "RBE": 104.9}, DIRECT),
        ("icer", {"VCE": 100.0, "RBE": 100.0}, {"VCE": 100.0, "RBE": 106.0}, NOT_REACHED),
        ("icer", {"VCE": 100.0, "RBE": 100.0}, {"VCE": 100.0}, NOT_REACHED),
        ("iceo", {"VCE": 100.0}, {"VCE": 100.0}, DIRECT),
        ("iceo", {"VCE": 100.0}, {"VCE": 100.0, "base": " Open "}, DIRECT),
        ("iceo", {"VCE": 100.0}, {"VCE": 100.0, "base": "shorted"}, NOT_REACHED),
        ("iceo", {"VCE": 100.0}, {"VCE": 100.0, "RBE": 100.0}, NOT_REACHED),
        ("ices", {"VCE": 100.0}, {"VCE": 100.0, "base": "shorted"}, DIRECT),
    ],
)
def test_a_leakage_counts_only_with_its_own_base_connection(quantity, limit, row, reached):
    assert at_limit(quantity, "max", 1e-3, limit, (0, 1e-5, row)).reached[0] == reached


@pytest.mark.parametrize(
    ("row", "reached"),
    [
        ({"IC": 5.0, "IB": 0.5}, DIRECT),
        ({"IC": 5.0, "IC_over_IB": 10.0}, DIRECT),
        ({"IC": 5.24, "IB": 0.35}, DIRECT),  # forced gain 15: half as much again, and current 5 % above
        ({"IC": 5.24, "IB": 0.34}, NOT_REACHED),
        ({"IC": 5.0}, NOT_REACHED),
        ({"IC": 4.0, "IB": 0.4}, NOT_REACHED),  # less than the limit at less current says nothing
        ({"IC": 6.0, "IB": 0.6}, DIRECT),
    ],
)
def test_base_emitter_voltage_in_saturation_counts_at_like_forced_gain(row, reached):
    assert at_limit("vbe_sat", "max", 2.0, {"IC": 5.0, "IB": 0.5}, (0, 1.1, row)).reached[0] == reached


@pytest.mark.parametrize(
    ("row", "reached"),
    [
        ({"IC": 1.09, "VCE": 14.9}, DIRECT),
        ({"IC": 1.11, "VCE": 10.0}, NOT_REACHED),  # neither rises nor falls for certain: only like conditions count
        ({"IC": 0.89, "VCE": 10.0}, NOT_REACHED),
        ({"IC": 1.0, "VCE": 15.1}, NOT_REACHED),
    ],
)
def test_transition_frequency_counts_at_like_conditions_only(row, reached):
    assert at_limit("ft", "min", 20e6, {"IC": 1.0, "VCE": 10.0}, (0, 30e6, row)).reached[0] == reached


def test_capacitance_limit_at_no_bias_is_met_by_readings_without_bias_only():
    def reached(limit_value, told):
        return at_limit("c_be", "max", limit_value, {"VEB": 0.0}, (0, 1e-9, told)).reached[0]

    assert reached(2e-9, {"VEB": 0.0}) == DIRECT
    assert reached(2e-9, {}) == DIRECT  # not stated: 0 V, with broad uncertainty
    assert reached(2e-9, {"VEB": 1.0}) == NOT_REACHED  # falls with bias: may be more at 0 V
    assert reached(0.5e-9, {"VEB": 1.0}) == DIRECT  # and it is too much already


def test_a_quantity_nobody_read_reaches_nothing():
    found = spot_at_limit({}, "icbo", "max", 1e-4, {"VCB": 200.0}, 298.15, 2)
    assert found.reached.tolist() == [NOT_REACHED, NOT_REACHED]
    with pytest.raises(KeyError):
        spot_at_limit({}, "no such", "max", 1e-4, {}, 298.15, 2)


def test_numbers_of_conditions_are_taken_as_magnitudes_in_the_order_asked():
    assert number_of({"IC": -2.0, "IE": 3.0}, "IC", "IE") == 2.0
    assert number_of({"IE": 3.0, "IC": "limit"}, "IC", "IE") == 3.0
    assert np.isnan(number_of({}, "IC"))
    assert spot_base_current({"IC": 5.0, "IB": -0.25}) == 0.25
    assert spot_base_current({"IC": 5.0, "IC_over_IB": 10.0}) == 0.5
    assert np.isnan(spot_base_current({"IC": 5.0, "IC_over_IB": 0.0}))
    assert np.isnan(spot_base_current({"IC": 5.0}))
    assert spot_temperature({"TC": 350.0, "TA": 300.0}, 310.0) == 350.0
    assert spot_temperature({"TA": 300.0}, 310.0) == 300.0
    assert spot_temperature({}, 310.0) == 310.0
    assert spot_temperature({}, None) == 298.15


def test_plain_laws_say_what_they_state():
    one = np.ones((1, 1))
    hfe, vbe = PlainLaws().gain(np.arange(1), one, 25.0 * one, 298.15 * one, one > 0)
    assert hfe[0, 0] == pytest.approx(1.25)
    assert vbe[0, 0] == pytest.approx(0.0)
    hfe, vbe = PlainLaws().gain(np.arange(1), np.e * one, np.nan * one, 4 * 298.15 * one, one > 0)
    assert hfe[0, 0] == pytest.approx(8.0)
    assert vbe[0, 0] == pytest.approx(0.0257 - 2e-3 * 3 * 298.15)
    assert PlainLaws().saturation(np.arange(1), one, one, one, one > 0).tolist() == [[0.0]]
    assert all(np.isnan(x).all() for x in PlainLaws().gain_std(np.arange(1), one, one, one))
    assert all(np.isnan(x).all() for x in PlainLaws().saturation_std(np.arange(1), one, one, one))


def test_uncertainty_of_a_curve_follows_from_derivatives_and_covariance():
    # JCGM 100:2008 (13): 1^2 x 4 + 2^2 x 9 + 2 x 1 x 2 x 3 = 52
    std = _posterior(np.array([[[1.0, 2.0]]]), np.array([[[4.0, 3.0], [3.0, 9.0]]]))
    assert std[0, 0] == pytest.approx(sqrt(52))
    assert _posterior(np.array([[[1.0]]]), np.array([[[-1.0]]]))[0, 0] == 0.0
