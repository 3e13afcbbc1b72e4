"""What a fit of many parts gives, and predictions from it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants
from partscreen.device.weighted import Usable

Floats = npt.NDArray[np.float64]

CONVERGED, NOT_CONVERGED, NO_READINGS = "converged", "not_converged", "no_readings"


@dataclass(frozen=True, slots=True)
class FitResult:
    """Maximum a posteriori fit of many parts. First axis: the part.

    Attributes
    ----------
    theta, covariance : (n_parts, n_parameters), (n_parts, n_parameters, n_parameters)
        Coordinates of `partscreen.device.parameters` and their posterior covariance, errors shared by the session
        included.
    prior_share : (n_parts, n_parameters)
        Posterior over prior standard deviation: near 1 the readings do not see the coordinate, it must not be printed
        as measured.
    chi_square, dof, p : (n_parts,)
        Squared misfit of readings and prior together at the minimum, number of readings used, and the probability of
        a larger misfit. For a part of the population and readings with the stated uncertainties it follows a chi-
        square distribution with `dof` degrees of freedom exactly, as far as the model is linear over the prior: at
        the minimum it equals (y - f(mean))' (J P J' + R)^-1 (y - f(mean)). The misfit of a session's errors
        to their own prior is shared out equally among its parts, so that the sum over a session is right as well.
    junction_temp : (n_parts,)
        Mean over the points used. [K]
    status : per part "converged", "not_converged" (the figures are the best found) or "no_readings" (prior returned)
    iterations : (n_parts,)
    shared, shared_std : (n_sessions, 3)
        Temperature error [K], gain error (ln), collector-emitter lead [ohm] of each session and their posterior
        standard uncertainty.
    hfe_residual, vbe_residual, sat_residual, cap_residual : shapes of the readings
        Reading minus fit: ln, V, V, ln; NaN where not used.
    used : Usable
        Readings the fit used.
    sat_left : bool, shape of the VCE(sat) readings
        There is a reading, but the part has left saturation there (above 0.6 V, or its gain is below twice the forced
        gain).
    not_reached : bool, (n_parts,)
        A reading was left out because the model cannot be at its conditions.
    prior_mean, prior_covariance, constants
        What went in.
    """

    theta: Floats
    covariance: Floats
    prior_share: Floats
    chi_square: Floats
    dof: npt.NDArray[np.int64]
    p: Floats
    junction_temp: Floats
    status: tuple[str, ...]
    iterations: npt.NDArray[np.int64]
    shared: Floats
    shared_std: Floats
    hfe_residual: Floats
    vbe_residual: Floats
    sat_residual: Floats
    cap_residual: Floats
    used: Usable
    sat_left: npt.NDArray[np.bool_]
    not_reached: npt.NDArray[np.bool_]
    prior_mean: Floats
    prior_covariance: Floats
    constants: TypeConstants
    shared_covariance: Floats = field(default_factory=lambda: np.zeros((0, 3, 3)))  # (n_sessions, 3, 3)


@dataclass(frozen=True, slots=True)
class Prediction:
    """Values and standard uncertainties from the posterior, shape (n_parts, n_points); NaN where not reached."""

    value: Floats
    std: Floats


def gain_from_fit(
    fit: FitResult, ic: npt.ArrayLike, vce: npt.ArrayLike, case_temp: npt.ArrayLike, pulsed: npt.ArrayLike = True
) -> tuple[Prediction, Prediction]:
    """ln hFE and VBE [V] of fitted parts at other conditions (for curves, and for limits carried to their condition).

    Arguments as in `predict_gain`. The uncertainty is that of the fit to first order; it knows nothing of what the
    model lacks.
    """
    found = predict_gain(fit.theta, fit.constants, ic, vce, case_temp, pulsed)
    assert found.d_ln_hfe is not None
    assert found.d_vbe is not None
    return (
        Prediction(found.ln_hfe, _spread(found.d_ln_hfe, fit.covariance)),
        Prediction(found.vbe, _spread(found.d_vbe, fit.covariance)),
    )


def saturation_from_fit(
    fit: FitResult, ic: npt.ArrayLike, ib: npt.ArrayLike, case_temp: npt.ArrayLike, pulsed: npt.ArrayLike = True
) -> tuple[Prediction, Prediction]:
    """VCE(sat) and VBE(sat) [V] of fitted parts at forced currents [A]."""
    found = predict_saturation(fit.theta, fit.constants, ic, ib, case_temp, pulsed)
    assert found.d_vce is not None
    assert found.d_vbe is not None
    return (
        Prediction(found.vce, _spread(found.d_vce, fit.covariance)),
        Prediction(found.vbe, _spread(found.d_vbe, fit.covariance)),
    )


def _spread(rows: Floats, covariance: Floats) -> Floats:
    variance = np.einsum("nmp,nmp->nm", rows @ covariance, rows)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
