"""Conformance probability at its edges, and by simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from partscreen.screening.limits.conformance import (
    Tolerance,
    conformance_probability,
    decide,
    global_consumer_risk,
    global_guard_band,
    guard_band,
)


def test_exactly_known_value_conforms_or_does_not():
    assert conformance_probability([1.0, 2.0, 3.0], 0.0, Tolerance(1.5, 2.5)).tolist() == [0.0, 1.0, 0.0]


def test_unknown_value_has_no_probability():
    assert np.isnan(conformance_probability([np.nan, 1.0], [0.1, np.nan], Tolerance(low=0.5))).all()


def test_far_tails_keep_their_digits():
    # A value 20 std outside: 1 - 1 would be zero, the true tail is 2.75e-89.
    p = conformance_probability([-20.0, 120.0], 1.0, Tolerance(0.0, 100.0))
    assert p == pytest.approx([stats.norm.sf(20)] * 2, rel=1e-9)


def test_bad_settings_are_refused():
    with pytest.raises(ValueError, match="negative"):
        conformance_probability(1.0, -0.1, Tolerance(high=1.0))
    with pytest.raises(ValueError, match="lie below"):
        Tolerance(2.0, 1.0)
    with pytest.raises(ValueError, match="risk"):
        guard_band(1.0, 2.0)
    with pytest.raises(ValueError, match="risk"):
        decide(0.3, 0.7)


@given(st.floats(-50, 50), st.floats(0.01, 20), st.floats(-20, 20), st.floats(0.1, 30), st.floats(0.001, 0.5))
def test_probability_is_one_minus_both_tails(value, std, low, width, risk):
    both = conformance_probability(value, std, Tolerance(low, low + width))
    above = conformance_probability(value, std, Tolerance(low=low + width))
    below = conformance_probability(value, std, Tolerance(high=low))
    assert both + above + below == pytest.approx(1.0, abs=1e-12)
    assert decide(both, risk) in (-1, 0, 1)


def test_simulated_false_acceptance_agrees_with_the_integral():
    rng = np.random.default_rng(11)
    spread, tolerance = stats.norm(50, 10), Tolerance(35, 70)
    guard = global_guard_band(spread, 3.0, tolerance, 0.004)
    true = rng.normal(50, 10, 1_000_000)
    read = true + rng.normal(0, 3, true.size)
    acceptance = tolerance.shrunk(guard)
    wrong = ((true < 35) | (true > 70)) & (read >= acceptance.low) & (read <= acceptance.high)
    assert wrong.mean() == pytest.approx(0.004, abs=3 * np.sqrt(0.004 / true.size))
    assert global_consumer_risk(spread, 3.0, tolerance, tolerance) > 0.004


def test_unreachable_risk_is_said():
    with pytest.raises(ValueError, match="no guard band"):
        global_guard_band(stats.norm(0, 1), 0.1, Tolerance(-3, 3), 0.5)
