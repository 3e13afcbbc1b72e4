"""How far two fitted parts of one type may differ by measurement alone: for matching.

The uncertainty of a fitted curve holds what all parts of a session share (gain, temperature, leads) and what all parts
of a type share (the device model's own misfit). Neither shows in a difference of two parts read together. What is left
is the noise of the readings and what the readings do not see, where the fit falls back on the population.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.device.predict import predict_gain
from partscreen.device.prior import PartPrior
from partscreen.device.weighted import N_SHARED, Block, usable_readings

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OwnSpread:
    """Standard uncertainties on a grid of collector currents, shape (n_parts, n_points); NaN where not known.

    own_* : of the part itself; session_* : of what its session shares. ln hFE [1], VBE [V].
    """

    own_ln_hfe: Floats
    own_vbe: Floats
    session_ln_hfe: Floats
    session_vbe: Floats


def own_covariance(
    plain: Observations, wide: Observations, theta: Floats, prior: PartPrior, within: Floats
) -> tuple[Floats, Floats]:
    """Covariance of what is a part's own, and the fit's covariance were there no errors of the session.

    Parameters
    ----------
    plain, wide : the readings with their own uncertainty, and as the fit weighed them
    theta : array, shape (n_parts, n_parameters); the fit
    prior : PartPrior; of the fit
    within : array, shape (n_parameters, n_parameters); spread of parts about their lot

    Returns
    -------
    own, alone : arrays, shape (n_parts, n_parameters, n_parameters)

    Notes
    -----
    The fit is theta = mean + C J' W (y - f(mean)) to first order, with C = (J' W J + P)^-1. Noise R of the readings
    gives C J' W R W J C. A part that stands d away from its lot is drawn to the mean by C P d; with d of covariance
    `within` that is C P within P C.
    """
    rows, n, p = np.arange(theta.shape[0]), theta.shape[0], theta.shape[1]
    usable = usable_readings(wide)
    block = Block(wide, prior.constants, usable, rows)
    _, seen, _ = block.evaluate(theta, rows, np.zeros((n, N_SHARED)))
    weights = block.weights(rows)
    noise = Block(plain, prior.constants, usable, rows).weights(rows)
    share = np.where(weights > 0.0, weights / np.where(noise > 0.0, noise, 1.0), 0.0)
    jacobian = np.zeros((n, seen.shape[1], p))
    jacobian[:, :, block.seen] = np.nan_to_num(seen, nan=0.0, posinf=0.0, neginf=0.0)
    precision = np.linalg.inv(prior.covariance)
    alone = np.linalg.inv(jacobian.transpose(0, 2, 1) @ jacobian + precision)
    noisy = jacobian * share[:, :, None]
    own = alone @ (noisy.transpose(0, 2, 1) @ noisy + precision @ within @ precision) @ alone
    return own, alone


def own_spread(
    plain: Observations,
    wide: Observations,
    theta: Floats,
    covariance: Floats,
    prior: PartPrior,
    within: Floats,
    ic: Floats,
    vce: float,
    temperature: float,
) -> OwnSpread:
    """Standard uncertainties of curves at `ic` (n_points,) [A], one VCE [V] and junction temperature [K].

    `covariance`: that of the fit, errors of the session included. Parts whose fit is not finite get NaN.
    """
    n, good = theta.shape[0], np.flatnonzero(np.isfinite(theta).all(axis=1))
    out = [np.full((n, ic.size), np.nan) for _ in range(4)]
    if not good.size or not ic.size:
        return OwnSpread(*out)
    own, alone = own_covariance(_rows(plain, good), _rows(wide, good), theta[good], prior, within)
    grid = np.tile(ic, (good.size, 1))
    found = predict_gain(
        theta[good], prior.constants, grid, np.full(grid.shape, vce), np.full(grid.shape, temperature), True
    )
    assert found.d_ln_hfe is not None
    assert found.d_vbe is not None
    shared = covariance[good] - alone
    for place, spread, slope in (
        (0, own, found.d_ln_hfe), (1, own, found.d_vbe), (2, shared, found.d_ln_hfe), (3, shared, found.d_vbe),
    ):  # fmt: skip
        with np.errstate(invalid="ignore"):
            out[place][good] = np.sqrt(np.maximum(np.sum((slope @ spread) * slope, axis=2), 0.0))
    return OwnSpread(*out)


def _rows(o: Observations, rows: npt.NDArray[np.intp]) -> Observations:
    from partscreen.device.observations import take_observations

    return take_observations(o, rows.astype(np.int64))
