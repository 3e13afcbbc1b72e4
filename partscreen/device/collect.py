"""From finished blocks to the result of a fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from partscreen.device.fit_result import CONVERGED, NO_READINGS, NOT_CONVERGED, FitResult
from partscreen.device.fitting import Fitting
from partscreen.device.observations import Observations
from partscreen.device.parameters import N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.device.weighted import Block, Usable

Floats = npt.NDArray[np.float64]


def collect(
    o: Observations,
    candidates: Usable,
    works: Sequence[Fitting],
    full_mean: Floats,
    prior_covariance: Floats,
    constants: TypeConstants,
    shared: Floats,
    shared_covariance: Floats,
    session_parts: npt.NDArray[np.int64] | None = None,
) -> FitResult:
    """Put the blocks together; parts without readings get their prior, one for all or one a part."""
    from scipy.special import chdtrc

    n = o.n_parts
    theta = np.array(full_mean)
    covariance = np.broadcast_to(prior_covariance, (n, N_PARAMETERS, N_PARAMETERS)).copy()
    chi_square, junction = np.full(n, np.nan), np.full(n, np.nan)
    iterations = np.zeros(n, dtype=np.int64)
    status = np.full(n, NO_READINGS, dtype=object)
    used = Usable(*(np.zeros_like(getattr(candidates, name)) for name in ("hfe", "vbe", "sat", "cap")))
    residuals = [np.full(a.shape, np.nan) for a in (o.hfe, o.vbe, o.vce_sat, o.cap)]
    for work in works:
        rows, parts = np.arange(work.parts.shape[0]), work.parts
        session = work.block.session
        residual, jacobian, by_shared = work.block.evaluate(
            work.theta(work.x, rows), rows, shared[session], with_shared=True
        )
        theta[parts] = work.theta(work.x, rows)
        prior = prior_covariance if prior_covariance.ndim == 2 else prior_covariance[parts]
        covariance[parts] = _covariance(work, jacobian, by_shared, shared_covariance[session], prior)
        sound = np.isfinite(work.cost)
        chi_square[parts] = np.where(sound, 2.0 * work.cost, np.nan)
        iterations[parts] = work.iterations
        status[parts] = np.where(work.converged & sound, CONVERGED, NOT_CONVERGED)
        junction[parts] = _junction_temp(work, theta[parts], shared[session])
        _spread_out(work.block, parts, residual, used, residuals)
    dof = used.count
    chi_square += _session_share(o, shared, dof > 0, session_parts)
    variance = np.einsum("npp->np", covariance)
    p = np.where(dof > 0, chdtrc(np.maximum(dof, 1), np.nan_to_num(chi_square)), np.nan)
    return FitResult(
        theta=theta,
        covariance=covariance,
        prior_share=np.sqrt(np.maximum(variance, 0.0) / np.einsum("...pp->...p", prior_covariance)),
        chi_square=chi_square,
        dof=dof,
        p=np.where(np.isnan(chi_square), np.nan, p),
        junction_temp=junction,
        status=tuple(str(s) for s in status),
        iterations=iterations,
        shared=shared,
        shared_std=np.sqrt(np.einsum("nii->ni", shared_covariance)),
        shared_covariance=shared_covariance,
        hfe_residual=residuals[0],
        vbe_residual=residuals[1],
        sat_residual=residuals[2],
        cap_residual=residuals[3],
        used=used,
        sat_left=np.isfinite(o.vce_sat) & (o.sat_ic > 0.0) & (o.sat_ib > 0.0) & ~used.sat,
        not_reached=np.asarray(((candidates.hfe & ~used.hfe) | (candidates.vbe & ~used.vbe)).any(axis=1)),
        prior_mean=np.array(full_mean),
        prior_covariance=np.array(prior_covariance),
        constants=constants,
    )


def _session_share(
    o: Observations, shared: Floats, there: npt.NDArray[np.bool_], parts: npt.NDArray[np.int64] | None
) -> Floats:
    """Misfit of each session's errors to their own prior, shared out equally among its parts."""
    spread = np.stack([o.session_temp_std, o.session_gain_ln_std, o.session_lead_std], axis=1)
    known = spread > 0.0
    misfit = np.sum(np.where(known, shared / np.where(known, spread, 1.0), 0.0) ** 2, axis=1)
    count = np.bincount(o.session[there], minlength=spread.shape[0]) if parts is None else parts
    return np.asarray((misfit / np.maximum(count, 1))[o.session])


def _covariance(
    work: Fitting, jacobian: Floats, by_shared: Floats, shared_covariance: Floats, prior_covariance: Floats
) -> Floats:
    """Posterior covariance of all coordinates: of the seen ones with the shared errors, carried to the others by the
    prior."""
    transposed = jacobian.transpose(0, 2, 1)
    curvature = transposed @ jacobian + work.precision
    lost = ~np.isfinite(curvature).all(axis=(1, 2))
    curvature[lost] = work.precision if work.precision.ndim == 2 else work.precision[lost]
    own = np.linalg.inv(curvature)
    follow = own @ (transposed @ by_shared)
    follow[lost] = 0.0
    own = own + follow @ shared_covariance @ follow.transpose(0, 2, 1)
    seen, carry = work.seen, work.carry
    rest = prior_covariance - carry @ prior_covariance[..., seen, :]
    everything = carry @ own @ np.swapaxes(carry, -1, -2) + rest
    return np.asarray(0.5 * (everything + everything.transpose(0, 2, 1)))


def _junction_temp(work: Fitting, theta: Floats, shared: Floats) -> Floats:
    """Mean junction temperature over the points used. [K]"""
    block, rows = work.block, np.arange(theta.shape[0])
    temps, weights = [np.zeros((rows.shape[0], 0))], [np.zeros((rows.shape[0], 0))]
    if block.n_gain:
        gain = block.predict_gain(theta, rows, shared[:, 0], jacobian=False)
        temps.append(gain.junction_temp)
        weights.append(((block.w_hfe > 0.0) | (block.w_vbe > 0.0)).astype(float))
    if block.n_sat:
        sat = block.predict_saturation(theta, rows, shared[:, 0], jacobian=False)
        temps.append(sat.junction_temp)
        weights.append((block.w_sat > 0.0).astype(float))
    temp, weight = np.concatenate(temps, axis=1), np.concatenate(weights, axis=1)
    total = weight.sum(axis=1)
    mean = (temp * weight).sum(axis=1) / np.maximum(total, 1.0)
    return np.asarray(np.where(total > 0.0, mean, np.nan))


def _spread_out(
    block: Block, parts: npt.NDArray[np.intp], residual: Floats, used: Usable, residuals: list[Floats]
) -> None:
    """Put residuals (reading minus fit) and what was used back into the shape of the readings."""
    columns = (block.gain_columns, block.gain_columns, block.sat_columns, block.cap_columns)
    weights = (block.w_hfe, block.w_vbe, block.w_sat, block.w_cap)
    begin = 0
    for where, weight, mask, out in zip(
        columns, weights, (used.hfe, used.vbe, used.sat, used.cap), residuals, strict=True
    ):
        width = where.shape[0]
        place = np.ix_(parts, where)
        chosen = weight > 0.0
        mask[place] = chosen
        with np.errstate(divide="ignore", invalid="ignore"):
            out[place] = np.where(chosen, -residual[:, begin : begin + width] / weight, np.nan)
        begin += width
