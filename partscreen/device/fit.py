"""Fit of many parts at once: maximum a posteriori in log parameters, errors of a session shared by its parts."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.device.collect import collect
from partscreen.device.fit_result import FitResult
from partscreen.device.fitting import FINE, ROUGH, Fitting
from partscreen.device.observations import Observations
from partscreen.device.parameters import INDEX, N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.device.sessions import solve_shared
from partscreen.device.weighted import N_SHARED, Block, usable_readings

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

CHUNK = 1000  # parts per block: its arrays stay in the processor's cache (measured: 500 to 1000 are quickest)
_SURPRISE = 0.01  # parts that fit worse than this get further starts
_ROUNDS = 3  # of leaving out points that cannot be reached, or have left saturation


def fit_parts(
    observations: Observations,
    prior_mean: Floats,
    prior_covariance: Floats,
    constants: TypeConstants,
    *,
    starts: int = 3,
    chunk: int = CHUNK,
    shared: Floats | None = None,
    shared_covariance: Floats | None = None,
    session_parts: npt.NDArray[np.int64] | None = None,
    family: Ints | None = None,
    begin: Floats | None = None,
    begin_shared: Floats | None = None,
) -> FitResult:
    """Fit device parameters of many parts.

    Parameters
    ----------
    observations : Observations
        Readings with their standard uncertainties; NaN = not read.
    prior_mean : array, shape (n_parameters,) or (n_parts, n_parameters)
    prior_covariance : array, shape (n_parameters, n_parameters), or (n_families, ...) with `family`
        Of one part of the population. [coordinates of `partscreen.device.parameters`]
    constants : TypeConstants
    starts : int, 1 to 3
        Prior mean; then, for parts that do not converge or fit badly, a low and a high knee current. The cheapest is
        kept.
    chunk : int
        Parts per block.
    shared : array, shape (n_sessions, 3), optional
        Errors of the sessions (temperature [K], gain, lead [ohm]) where they are known already; None: found.
    shared_covariance : array, shape (n_sessions, 3, 3), optional
        How well they are known; None: exactly.
    session_parts : int array, shape (n_sessions,), optional
        Parts of each session in all, which share its misfit; None: those of this call.
    family : int array, shape (n_parts,), optional
        Problems of their own fitted in one call: number of each part's prior covariance. No session may hold parts of
        two. Every part ends where it would in a call of its family alone.
    begin : array, shape (n_parts, n_parameters), optional
        Where the first search begins: fits about a prior that was a little different; None: at the prior mean.
    begin_shared : array, shape (n_sessions, 3), optional
        Errors of the sessions that those fits were made with, where the search for the errors begins; None: at zero.

    Returns
    -------
    FitResult

    Raises
    ------
    ValueError
        A reading without a positive standard uncertainty, or a covariance that is not positive definite.

    Notes
    -----
    Each part is at the minimum of half the squared misfit of its readings and prior, given the errors of its session.
    Temperature, gain and lead error of a session are common unknowns of all its parts: found by joint Gauss-Newton
    steps (Schur complement of the arrow-shaped normal equations), the parts integrated out by Laplace's
    approximation. A part whose misfit is far outside the population pulls on them with limited weight (Huber), one
    that does not converge with none; so one bad part does not bend its neighbours. A part that fails leaves the
    others untouched.

    A VCE(sat) is left out where it, or the fit there, is above 0.6 V, or where the fitted gain is below twice the
    forced gain; any reading is left out where the model cannot be at its conditions. Both are reported.
    """
    n = observations.n_parts
    full_mean = np.broadcast_to(np.asarray(prior_mean, dtype=float), (n, N_PARAMETERS))
    _check_covariance(prior_covariance, family)
    candidates = usable_readings(observations)
    active = np.flatnonzero((candidates.count > 0) & np.isfinite(full_mean).all(axis=1))
    works = []
    for first in range(0, active.shape[0], chunk):
        parts = active[first : first + chunk]
        prior = prior_covariance if family is None else prior_covariance[family[parts]]
        block = Block(observations, constants, candidates, parts)
        work = _prepare(block, parts, full_mean, prior, begin)
        _fit_block(work, prior, starts, shared, begin_shared)
        works.append(work)
    spread = np.stack(
        [observations.session_temp_std, observations.session_gain_ln_std, observations.session_lead_std], axis=1
    )
    if shared is None:
        shared, shared_covariance = solve_shared(works, spread, begin_shared)
    else:
        known = np.zeros((shared.shape[0], N_SHARED, N_SHARED))
        shared_covariance = known if shared_covariance is None else shared_covariance
    prior = prior_covariance if family is None else prior_covariance[family]
    return collect(
        observations, candidates, works, full_mean, prior, constants, shared, shared_covariance, session_parts
    )


def _check_covariance(covariance: Floats, family: Ints | None) -> None:
    if covariance.shape[-2:] != (N_PARAMETERS, N_PARAMETERS) or covariance.ndim != (2 if family is None else 3):
        raise ValueError(f"prior covariance has shape {covariance.shape}, expected {(N_PARAMETERS, N_PARAMETERS)}")
    try:
        np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError as error:
        raise ValueError("prior covariance is not positive definite: give every parameter a spread above 0") from error


def _prepare(block: Block, parts: Ints, full_mean: Floats, covariance: Floats, begin: Floats | None) -> Fitting:
    seen = block.seen
    precision = np.asarray(np.linalg.inv(covariance[..., seen[:, None], seen]), dtype=np.float64)
    mean = full_mean[np.ix_(parts, seen)]
    x = mean.copy() if begin is None else np.where(np.isfinite(begin), begin, full_mean)[np.ix_(parts, seen)]
    k = parts.shape[0]
    return Fitting(
        block=block, parts=parts, seen=seen, mean=mean, precision=precision, x=x, full_mean=full_mean[parts],
        carry=covariance[..., seen] @ precision, cost=np.full(k, np.inf),
        curvature=np.broadcast_to(precision, (k, *precision.shape[-2:])).copy(),
        converged=np.zeros(k, dtype=bool), iterations=np.zeros(k, dtype=np.int64),
    )  # fmt: skip


def _fit_block(
    work: Fitting, covariance: Floats, starts: int, shared: Floats | None, begin_shared: Floats | None
) -> None:
    """Fit a block with the session errors given, or with those their search begins at, leaving out points where the
    parts cannot be."""
    block, everyone = work.block, np.arange(work.parts.shape[0])
    at = begin_shared if shared is None else shared
    held = np.zeros((everyone.shape[0], N_SHARED)) if at is None else at[block.session]
    tolerance = ROUGH if shared is None else FINE
    gain, sat = block.possible(work.theta(work.x, everyone), held, at_fit=False)
    block.allow(gain, sat)
    work.search(everyone, work.x.copy(), held, tolerance)
    if starts > 1:
        _further_starts(work, covariance, held, starts, tolerance)
    for round_ in range(_ROUNDS):
        new_gain, new_sat = block.possible(work.theta(work.x, everyone), held, at_fit=True)
        if round_ > 0:  # only ever fewer, so that it ends
            new_gain, new_sat = new_gain & gain, new_sat & sat
        hfe, vbe, vce = block.candidate
        moved = ((new_gain != gain) & (hfe | vbe)).any(axis=1) | ((new_sat != sat) & vce).any(axis=1)
        gain, sat = new_gain, new_sat
        if not np.any(moved):
            break
        block.allow(gain, sat)
        work.refresh(np.flatnonzero(moved), held, tolerance)


def _further_starts(work: Fitting, covariance: Floats, shared: Floats, starts: int, tolerance: float) -> None:
    """Try again from a low and a high knee current where the first search failed or ended badly."""
    from scipy.special import chdtrc

    if INDEX["ikf"] not in work.seen:
        return
    count = (work.block.weights(np.arange(work.parts.shape[0])) > 0.0).sum(axis=1)
    surprise = chdtrc(np.maximum(count, 1), 2.0 * np.where(np.isfinite(work.cost), work.cost, 1e300))
    rows = np.flatnonzero(~work.converged | (surprise < _SURPRISE))
    if rows.shape[0] == 0:
        return
    # One sd of IKF, others along.
    knee = covariance[..., work.seen, INDEX["ikf"]] / np.sqrt(covariance[..., INDEX["ikf"], INDEX["ikf"], None])
    along = knee if knee.ndim == 1 else knee[rows]
    for side in (-1.0, 1.0)[: starts - 1]:
        work.search(rows, work.mean[rows] + 1.5 * side * along, shared, tolerance)
