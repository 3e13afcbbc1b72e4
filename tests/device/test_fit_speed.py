"""The benchmark of the fit, small: its figures must hold where it is run."""

from __future__ import annotations

import pytest

from benchmarks.fit_speed import measure


def test_cost_is_within_a_thousandth_of_that_of_a_loop_over_parts() -> None:
    found = measure(n_parts=200, n_scipy=3)
    assert found["cost_above_scipy_2_point"] < 1e-3
    assert found["cost_above_scipy_analytic"] < 1e-3
    assert found["converged_share"] == 1.0


@pytest.mark.long
def test_fit_is_three_hundred_times_a_loop_over_parts() -> None:
    found = measure(n_parts=10_000, n_scipy=20)
    assert found["ratio_2_point"] >= 300.0
    assert found["cost_above_scipy_2_point"] < 1e-3
