"""Wald's sequential test against published figures and worked sequences."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from partscreen.lots.sequential import SequentialPlan, log_bounds, walk_ratios

CASES = {
    # NIST/SEMATECH e-Handbook 6.2.6 (memory of the page; recomputed)
    (0.01, 0.10, 0.05, 0.10): (0.039747, 0.93886, 1.20538, 24, 2, 27.96, 16.45),
    # inputs as in A. Wald, Sequential Analysis, 1947 (memory; recomputed)
    (0.1, 0.3, 0.02, 0.03): (0.18617, 2.58263, 2.87539, 14, 4, 28.7, 23.8),
    # derived
    (0.02, 0.20, 0.05, 0.10): (0.080997, 0.898531, 1.153599, 12, 2, 13.0, 8.0),
}


@pytest.mark.parametrize("case", CASES)
def test_lines_first_decisions_and_average_numbers(case):
    slope, h0, h1, first_accept, first_refuse, at_good, at_bad = CASES[case]
    plan = SequentialPlan(*case)
    assert plan.slope == pytest.approx(slope, abs=5.1e-6)
    assert plan.h0 == pytest.approx(h0, abs=5.1e-6)
    assert plan.h1 == pytest.approx(h1, abs=5.1e-6)
    assert (plan.first_accept(), plan.first_refuse()) == (first_accept, first_refuse)
    assert plan.average_numbers() == pytest.approx((at_good, at_bad), abs=0.05)


# Below: CRAN package SPRT, inst/doc/SPRT-intro.html, commit a30409cf; alpha 0.05, beta 0.1.


def test_bounds_of_the_log_ratio():
    assert log_bounds(0.05, 0.1) == pytest.approx((-2.251292, 2.890372), abs=1e-6)


def test_counted_sequence_refuses_at_the_seventh_part():
    sequence = [0, 0, 1, 0, 1, 1, 1, 0, 0, 1, 0, 0]
    printed = [-0.2513144, -0.5026289, 0.5959834, 0.3446690, 1.4432813, 2.5418936, 3.6405059]
    plan = SequentialPlan(0.1, 0.3, 0.05, 0.1)
    outcomes = ["fail" if one else "pass" for one in sequence]
    sums, decision = walk_ratios((plan.log_ratio(o) for o in outcomes), 0.05, 0.1)
    assert sums == pytest.approx(printed, abs=1e-7)
    assert decision == "refuse"
    assert plan.decide(outcomes) == ("refuse", 7, 4)


@pytest.mark.parametrize(
    ("values", "good", "bad", "sigma", "printed"),
    [
        ([52, 55, 58, 63, 66, 70, 74], 50, 65, 10, [-0.825, -1.200, -1.125, -0.300, 0.975, 2.850, 5.325]),
        (
            [47, 50, 52, 49, 58, 61, 63, 54, 57], 45, 55, 8,
            [-0.46875, -0.46875, -0.15625, -0.3125, 0.9375, 2.65625, 4.6875],
        ),
    ],
)  # fmt: skip
def test_measured_sequences_refuse_at_the_seventh_value(values, good, bad, sigma, printed):
    steps = norm.logpdf(values, bad, sigma) - norm.logpdf(values, good, sigma)
    sums, decision = walk_ratios(steps, 0.05, 0.1)
    assert sums == pytest.approx(printed, abs=1e-9)
    assert (decision, len(sums)) == ("refuse", 7)


def test_wald_bounds_hold_the_exact_risks_together():
    # A. Wald 1947: the true risks obey a' + b' <= a + b, and a' <= a / (1 - b), b' <= b / (1 - a).
    for good, bad, a, b in CASES:
        plan = SequentialPlan(good, bad, a, b, last=4000)
        chance, _ = plan.operating(np.array([good, bad]))
        refused, passed = 1 - chance[0], chance[1]
        assert refused + passed <= a + b
        assert refused <= a / (1 - b)
        assert passed <= b / (1 - a)
        assert math.isclose(plan.operating(0.0)[0], 1.0)
