"""A part that the model cannot reach leaves the derivatives of all other parts as they are."""

from __future__ import annotations

import numpy as np

from benchmarks.fit_speed import CONSTANTS, population
from partscreen.device.predict import predict_saturation


def test_a_part_that_is_not_reached_changes_no_derivative_of_other_parts():
    mean, covariance = population()
    theta = np.random.default_rng(3).multivariate_normal(mean, covariance, 6)
    theta[5] = np.nan
    ic = np.tile(np.geomspace(0.1, 3.0, 5), (6, 1))
    whole = predict_saturation(theta, CONSTANTS, ic, ic / 10.0, 300.0)
    assert not whole.reached[5].any()
    alone = predict_saturation(theta[:5], CONSTANTS, ic[:5], ic[:5] / 10.0, 300.0)
    assert alone.reached.all()
    assert whole.d_vce is not None
    assert alone.d_vce is not None
    assert np.allclose(whole.d_vce[:5], alone.d_vce, rtol=1e-9, atol=1e-12)
