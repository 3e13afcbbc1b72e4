"""Conformance probability, risks and guard bands against published worked examples.

Sources: JCGM 106:2012 as reworked in a public metrology repository's test file (ball bearings, Gaussian table after
Deaver, draft NCSLI RP-19 table, capability); figures marked "memory" are recalled from JCGM 106 and only their
arithmetic is checked.
"""

import numpy as np
import pytest
from scipy import stats

from partscreen.screening.limits.conformance import (
    DEFAULT_RISK,
    Tolerance,
    acceptance_rate,
    capability,
    conformance_probability,
    decide,
    global_consumer_risk,
    global_guard_band,
    global_producer_risk,
    guard_band,
)

# JCGM 106:2012 9.5.4: roundness error of ball bearings, gamma with shape 4 and scale 1/4 um, limit 2 um.
BEARINGS = stats.gamma(4, scale=0.25)
BEARING_LIMIT = Tolerance(high=2.0)


def test_ball_bearing_share_nonconforming_without_inspection():
    assert 1 - BEARINGS.cdf(2.0) == pytest.approx(0.0423801, abs=5e-8)


def test_ball_bearing_consumers_and_producers_risk_at_the_limit():
    assert global_consumer_risk(BEARINGS, 0.25, BEARING_LIMIT, BEARING_LIMIT) == pytest.approx(0.0080191, abs=5e-8)
    # Derived figure, not printed in the standard. 0.01745 is 0.017445 rounded once more: the integral is 0.01744457
    # (a trapezium sum over four million points and fifty million draws, 0.01743 +- 0.00002, agree).
    assert global_producer_risk(BEARINGS, 0.25, BEARING_LIMIT, BEARING_LIMIT) == pytest.approx(0.017445, abs=5e-7)


def test_ball_bearing_guard_band_for_a_tenth_of_a_percent():
    guard = global_guard_band(BEARINGS, 0.25, BEARING_LIMIT, 0.001)
    assert guard == pytest.approx(0.328171, abs=5e-7)
    acceptance = BEARING_LIMIT.shrunk(guard)
    assert acceptance.high == pytest.approx(1.671829, abs=5e-7)
    assert global_producer_risk(BEARINGS, 0.25, BEARING_LIMIT, acceptance) == pytest.approx(0.07549, abs=5e-6)


@pytest.mark.parametrize(
    ("value", "std", "tolerance", "expected"),
    [
        (-5.47, 0.05, Tolerance(high=-5.40), 0.9192),  # memory: JCGM 106, Zener breakdown, printed 0.92
        (13.6, 1.8, Tolerance(12.5, 16.3), 0.6626),  # memory: JCGM 106, oil viscosity, printed 0.66
    ],
)
def test_conformance_probability_of_one_and_two_sided_examples(value, std, tolerance, expected):
    assert conformance_probability(value, std, tolerance) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("process", "measurement", "limit", "accept", "false_accept", "false_reject"),
    [
        (4, 1, 8, 8, 0.0080061, 0.0148509),
        (1, 0.25, 2, 2, 0.0080061, 0.0148509),
        (1, 0.25, 2.5, 2.5, 0.0024453, 0.0053194),
        (1, 0.5, 2, 1.82, 0.0080516, 0.0661065),
    ],
)
def test_gaussian_risk_table(process, measurement, limit, accept, false_accept, false_reject):
    spread, tolerance, acceptance = stats.norm(0, process), Tolerance(-limit, limit), Tolerance(-accept, accept)
    assert global_consumer_risk(spread, measurement, tolerance, acceptance) == pytest.approx(false_accept, abs=5e-8)
    assert global_producer_risk(spread, measurement, tolerance, acceptance) == pytest.approx(false_reject, abs=5e-8)


@pytest.mark.parametrize(
    ("in_tolerance", "unconditional", "conditional"),
    [
        (0.60, 4.83860326, 8.26008199),
        (0.70, 3.92234109, 5.72322042),
        (0.80, 2.85583037, 3.63227145),
        (0.90, 1.59995312, 1.79880430),
        (0.95, 0.87100925, 0.92389664),
        (0.99, 0.19991684, 0.20243866),
    ],
)
def test_draft_rp19_false_accept_table(in_tolerance, unconditional, conditional):
    process = 1 / stats.norm.ppf((1 + in_tolerance) / 2)
    spread, tolerance = stats.norm(0, process), Tolerance(-1, 1)
    joint = global_consumer_risk(spread, process / 4, tolerance, tolerance)
    assert 100 * joint == pytest.approx(unconditional, abs=1e-6)
    assert 100 * joint / acceptance_rate(spread, process / 4, tolerance) == pytest.approx(conditional, abs=1e-6)


@pytest.mark.parametrize(("mean", "cpk", "outside"), [(10, 0.833333, 0.01242), (10.5, 0.416667, 0.10574)])
def test_capability_of_a_gaussian_process(mean, cpk, outside):
    got = capability(mean, 0.4, Tolerance(9, 11))
    assert got[0] == pytest.approx(cpk, abs=5e-7)
    assert got[1] == pytest.approx(outside, abs=5e-6)


def test_decision_rules_quoted_from_ilac_g8_and_iso_14253():
    # ILAC-G8:09/2019: w = 0 gives up to 50 % false acceptance on the limit; w = U (k = 2) gives below 2.5 %.
    assert conformance_probability(10.0, 1.0, Tolerance(high=10.0)) == pytest.approx(0.5)
    assert 1 - conformance_probability(8.0, 1.0, Tolerance(high=10.0)) < 0.025
    # ISO 14253-1 (memory): 95 % conformance, one-sided guard band 1.65 u.
    assert guard_band(1.0, 0.05) == pytest.approx(1.65, abs=0.006)


def test_guard_band_edge_is_where_the_decision_turns():
    # ANSI/NCSL Z540.3 clause 5.3: at most 2 % false acceptance.
    assert DEFAULT_RISK == 0.02
    edge = 10.0 - float(guard_band(0.3, DEFAULT_RISK))
    values = np.array([edge - 1e-6, edge + 1e-6, 10.6, 10.7, np.nan])
    p = conformance_probability(values, 0.3, Tolerance(high=10.0))
    assert decide(p, DEFAULT_RISK).tolist() == [1, 0, 0, -1, 0]
