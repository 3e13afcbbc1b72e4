"""What `screen` says two parts may differ by from measurement alone, against parts that were read twice."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.device.fit import fit_parts
from partscreen.device.predict import predict_gain
from partscreen.device.prior import PartPrior
from partscreen.matching.distance import COVERAGE
from partscreen.screening.model_error import misfit_of, widened
from partscreen.screening.own_spread import own_spread
from tests.screening.simulated_parts import CONSTANTS, ROOM, base_theta, draw, read, spread

AT = np.geomspace(0.02, 3.0, 8)
N = 120


@pytest.fixture(scope="module")
def twice():
    """Every part read twice in one session, each reading fitted as if it were another part; and once more elsewhere."""
    rng = np.random.default_rng(20261125)
    within = spread("within")
    theta = base_theta() + draw(rng, within, N)
    prior = PartPrior(base_theta(), within + spread("between") + 0.05 * np.eye(within.shape[0]), CONSTANTS)
    out = []
    for parts in (np.vstack([theta, theta]), theta):
        o = read(parts, rng, top=3.0)
        wide = widened(o, misfit_of(o, CONSTANTS.ic_rated))
        fit = fit_parts(wide, prior.mean, prior.covariance, CONSTANTS)
        own = own_spread(o, wide, fit.theta, fit.covariance, prior, within, AT, 5.0, ROOM)
        ic = np.tile(AT, (parts.shape[0], 1))
        drawn = predict_gain(fit.theta, CONSTANTS, ic, np.full(ic.shape, 5.0), np.full(ic.shape, ROOM), jacobian=False)
        out.append((drawn.ln_hfe, drawn.vbe, own))
    return theta, out


def differences(twice, of):
    """Standardised differences of the two readings of each part, over all currents."""
    _, ((ln_hfe, vbe, own), _) = twice
    values, std = (ln_hfe, own.own_ln_hfe) if of == "hfe" else (vbe, own.own_vbe)
    return (values[:N] - values[N:]) / np.hypot(std[:N], std[N:])


@pytest.mark.parametrize("of", ["hfe", "vbe"])
def test_two_readings_of_one_part_differ_by_no_more_than_told(twice, of):
    """The uncertainty also holds what the readings do not see, which two readings of one part have in common; so the
    scatter may be smaller than told, never larger."""
    assert 0.5 < np.sqrt(np.mean(differences(twice, of) ** 2)) < 1.1


def test_one_part_read_twice_in_a_session_is_called_alike(twice):
    _, ((ln_hfe, vbe, own), _) = twice
    told = np.zeros(N, bool)
    for values, std in ((ln_hfe, own.own_ln_hfe), (vbe, own.own_vbe)):
        rms = np.sqrt(np.mean((values[:N] - values[N:]) ** 2, axis=1))
        told |= rms > COVERAGE * np.sqrt(np.mean(std[:N] ** 2 + std[N:] ** 2, axis=1))
    assert told.mean() <= 0.11  # 0.05 and three standard errors of 120


@pytest.mark.parametrize("of", ["hfe", "vbe"])
def test_true_differences_of_parts_lie_within_what_is_told(twice, of):
    """Against the truth: fitted difference of neighbours minus the true one, over its uncertainty."""
    theta, ((ln_hfe, vbe, own), _) = twice
    ic = np.tile(AT, (N, 1))
    true = predict_gain(theta, CONSTANTS, ic, np.full(ic.shape, 5.0), np.full(ic.shape, ROOM), jacobian=False)
    fitted, exact, std = (ln_hfe, true.ln_hfe, own.own_ln_hfe) if of == "hfe" else (vbe, true.vbe, own.own_vbe)
    error = (fitted[: N - 1] - fitted[1:N]) - (exact[:-1] - exact[1:])
    scaled = error / np.hypot(std[: N - 1], std[1:N])
    assert 0.6 < np.sqrt(np.mean(scaled**2)) < 1.2


def test_readings_of_another_session_differ_by_what_the_session_adds(twice):
    _, ((_, vbe, own), (_, other, own_other)) = twice
    within_session = np.sqrt(np.mean((vbe[:N] - vbe[N:]) ** 2))
    shift = np.mean(vbe[:N] - other[:N])
    told = np.sqrt(np.mean(own.session_vbe**2) + np.mean(own_other.session_vbe**2))
    assert told > 0.0
    assert abs(shift) < 3 * told + within_session


def test_own_uncertainty_is_far_below_that_against_the_truth(twice):
    """What all parts share is most of it: that is why matching can see more than screening."""
    _, ((_, _, own), _) = twice
    assert np.median(own.own_ln_hfe) < 0.015
    assert np.median(own.own_vbe) < 2.5e-3


def test_a_part_without_a_fit_gets_no_figure():
    rng = np.random.default_rng(1)
    within = spread("within")
    prior = PartPrior(base_theta(), within + np.eye(within.shape[0]), CONSTANTS)
    o = read(np.tile(base_theta(), (2, 1)), rng)
    theta = np.vstack([base_theta(), np.full(base_theta().size, np.nan)])
    covariance = np.tile(prior.covariance, (2, 1, 1))
    own = own_spread(o, o, theta, covariance, prior, within, AT, 5.0, ROOM)
    assert np.isfinite(own.own_vbe[0]).all()
    assert np.isnan(own.own_vbe[1]).all()
