"""Differences over the working currents, and what measurement lets them tell."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.matching.distance import COVERAGE, Tolerance, differences, features_of, session_numbers
from partscreen.matching.usage import Usage, evenly
from tests.matching.bags import NPN, curves, lot, part, screening, stock_of

AT = evenly(0.02, 4.0)


def features(*parts, usage=AT):
    stock = stock_of(screening(lot("A", NPN, parts)))
    return features_of(stock.parts, usage, session_numbers(stock.parts))


def test_difference_is_ln_of_the_gain_ratio_and_the_voltage_offset():
    f = features(part("1"), part("2", hfe=110.0, vbe=0.625))
    d = differences(f, f, Tolerance(10.0, 0.020))
    assert d.hfe[0, 1] == pytest.approx(np.log(1.1))
    assert d.vbe[0, 1] == pytest.approx(0.005)
    assert d.distance[0, 1] == pytest.approx(np.hypot(1.0, 0.25))


def test_weights_say_at_which_currents_parts_must_be_alike():
    bent = curves().hfe / (1 + np.array(curves().ic) / 5.0)
    other = curves().model_copy(update={"hfe": bent.tolist()})
    parts = (part("1"), part("2", curve=other))
    low, high = (features(*parts, usage=Usage(np.array([ic]), np.ones(1), "")) for ic in (0.05, 5.0))
    assert differences(low, low, Tolerance()).hfe[0, 1] == pytest.approx(np.log(1.01), rel=0.01)
    assert differences(high, high, Tolerance()).hfe[0, 1] == pytest.approx(np.log(2.0), rel=0.01)


def test_curves_are_followed_between_their_points():
    """12 points over three decades: the curve between them within 0.1 % of hFE and 0.2 mV."""
    fine = curves(ic=np.geomspace(0.01, 8.0, 200))
    ic = np.geomspace(0.012, 7.0, 37)
    usage = Usage(ic, np.full(37, 1 / 37), "")
    f = features(part("1"), part("2", curve=fine), usage=usage)
    d = differences(f, f, Tolerance())
    assert d.hfe[0, 1] < 1e-3
    assert d.vbe[0, 1] < 2e-4


def test_shared_errors_cancel_within_a_session_only():
    f = features(part("1"), part("2"), part("3", session="day 2"))
    d = differences(f, f, Tolerance())
    assert d.hfe_std[0, 1] == pytest.approx(np.sqrt(2) * 0.002)
    assert d.hfe_std[0, 2] == pytest.approx(np.sqrt(2) * np.hypot(0.002, 0.01))
    assert d.vbe_std[0, 1] == pytest.approx(np.sqrt(2) * 0.4e-3)
    assert d.vbe_std[0, 2] == pytest.approx(np.sqrt(2) * np.hypot(0.4e-3, 1e-3))
    assert d.one_session[0].tolist() == [True, True, False]


def test_sessions_of_one_name_in_two_results_are_two_sessions():
    runs = [screening(lot(name, NPN, [part(f"{name}1")])) for name in "AB"]
    stock = stock_of(*runs)
    f = features_of(stock.parts, AT, session_numbers(stock.parts))
    assert not differences(f, f, Tolerance()).one_session[0, 1]


@pytest.mark.parametrize("common", [0.0, 1.0], ids=["error of each point", "one error of the whole curve"])
def test_one_part_read_twice_is_told_from_itself_at_most_once_in_twenty(common):
    """False alarms: 4000 pairs of readings of one part, errors independent or common to all currents."""
    rng = np.random.default_rng(20261125)
    n, m = 4000, 12
    error = np.sqrt(1 - common) * rng.standard_normal((2, 2, n, m)) + np.sqrt(common) * rng.standard_normal(
        (2, 2, n, 1)
    )
    hfe, vbe = 0.002 * (error[0, 0] - error[0, 1]), 0.4e-3 * (error[1, 0] - error[1, 1])
    rms = [np.sqrt((x**2).mean(axis=1)) for x in (hfe, vbe)]
    told = (rms[0] > COVERAGE * 0.002 * np.sqrt(2)) | (rms[1] > COVERAGE * 0.4e-3 * np.sqrt(2))
    assert told.mean() < 0.057  # 0.05 and three standard errors of 4000
    if common:
        assert told.mean() > 0.04  # and the rule is not idle


def test_tolerances_hold_for_both_figures_at_once():
    f = features(part("1"), part("2", hfe=109.0), part("3", vbe=0.641), part("4", hfe=111.0))
    within = differences(f, f, Tolerance(10.0, 0.020)).within
    assert within[0].tolist() == [True, True, False, False]


def test_a_curve_that_ends_before_the_currents_is_refused():
    with pytest.raises(ValueError, match="does not reach"):
        features(part("1", ic=np.geomspace(0.01, 1.0, 8)))
