"""Errors shared by the parts of one session, found jointly with the parts: the arrow-shaped problem, eliminated
exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from partscreen.device.fitting import Fitting
from partscreen.device.least_squares import times
from partscreen.device.weighted import N_SHARED

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_ROUNDS = 12
_STANDSTILL = 0.05  # of the posterior standard uncertainty of the shared errors, or
_NEGLIGIBLE = 1e-3  # of their prior one, which no reading of a single part could tell from zero


def solve_shared(works: Sequence[Fitting], spread: Floats, begin: Floats | None = None) -> tuple[Floats, Floats]:
    """Find the shared errors, refitting the parts along.

    Parameters
    ----------
    works : blocks, fitted with the shared errors at `begin`; moved to the joint minimum
    spread : array, shape (n_sessions, 3)
        Prior standard uncertainty of temperature [K], gain (relative) and lead [ohm]; zero or NaN: not there.
    begin : array, shape (n_sessions, 3), optional
        Where the search begins; None: no shared error.

    Returns
    -------
    shared, covariance : (n_sessions, 3), (n_sessions, 3, 3)
    """
    n = spread.shape[0]
    there = spread > 0.0
    shared = np.zeros((n, N_SHARED)) if begin is None else np.where(there, begin, 0.0)
    covariance = np.zeros((n, N_SHARED, N_SHARED))
    if not works or not np.any(there):
        return shared, covariance
    precision = np.where(there, 1.0 / np.where(there, spread, 1.0) ** 2, 0.0)
    tilt = np.zeros((n, N_SHARED))
    for work in works:
        work.alone = work.x.copy()
    busy = np.ones(n, dtype=np.bool_)
    # From no error at all it takes two steps to where the tilt hardly changes any more (measured: after one, a lead's
    # error was off by 0.6 of its uncertainty).
    near = 2 if begin is None else 1
    for round_ in range(_ROUNDS):
        if round_ == near:
            for work in works:
                _add_tilt(work, shared, there, spread, tilt)
        covariance, slope = _joint(works, shared, there, precision, busy)
        slope += tilt
        step = np.where(busy[:, None], -(covariance @ slope[:, :, None])[:, :, 0], 0.0)
        shared = shared + step
        for work in works:
            rows = np.flatnonzero(busy[work.block.session])
            work.follow(step[work.block.session[rows]], rows)
        deviation = np.sqrt(np.einsum("nii->ni", covariance))
        if round_ >= near:
            least = np.maximum(_STANDSTILL * deviation, _NEGLIGIBLE * np.where(there, spread, 1.0))
            resting = (np.abs(step) <= least).all(axis=1)
            if resting.all():
                break
            busy &= ~resting  # each rests once it has arrived, whatever the others do
    for work in works:
        work.settle(shared[work.block.session])
    return shared, _joint(works, shared, there, precision, np.ones(n, dtype=np.bool_))[0]


def _joint(
    works: Sequence[Fitting], shared: Floats, there: Bools, precision: Floats, busy: Bools
) -> tuple[Floats, Floats]:
    """Covariance of the shared errors and slope of the joint cost to them, where parts and shared errors are now.

    `busy` (n_sessions,): the others are not looked at.
    """
    n = shared.shape[0]
    system, slope = np.zeros((n, N_SHARED, N_SHARED)), precision * shared
    system[:, np.arange(N_SHARED), np.arange(N_SHARED)] = precision
    for work in works:
        _add(work, shared, system, slope, busy)
    keep = there[:, :, None] & there[:, None, :]  # a shared error that is not there keeps the value zero
    return np.where(keep, np.linalg.inv(np.where(keep, system, np.eye(N_SHARED))), 0.0), slope


def _add(work: Fitting, shared: Floats, system: Floats, slope: Floats, busy: Bools) -> None:
    """Add what the parts of a block say about the shared errors once their own coordinates have followed (Schur
    complement)."""
    rows = np.flatnonzero(busy[work.block.session])
    session, precision = work.block.session[rows], work.precision_of(rows)
    away = work.x[rows] - work.mean[rows]
    residual, jacobian, by_shared = work.block.evaluate(
        work.theta(work.x[rows], rows), rows, shared[session], with_shared=True
    )
    cross = jacobian.transpose(0, 2, 1) @ by_shared
    gradient = (jacobian.transpose(0, 2, 1) @ residual[:, :, None])[:, :, 0] + times(away, precision)
    curvature = jacobian.transpose(0, 2, 1) @ jacobian + precision
    lost = ~(np.isfinite(curvature).all(axis=(1, 2)) & np.isfinite(residual).all(axis=1) & work.converged[rows])
    curvature[lost] = precision if precision.ndim == 2 else precision[lost]
    for array in (residual, by_shared, cross, gradient):
        array[lost] = 0.0
    transposed = by_shared.transpose(0, 2, 1)
    whole = "np,pq,nq->n" if precision.ndim == 2 else "np,npq,nq->n"
    misfit = np.einsum("nm,nm->n", residual, residual) + np.einsum(whole, away, precision, away)
    solved = np.linalg.solve(curvature, np.concatenate([cross, gradient[:, :, None]], axis=2))
    follow = solved[:, :, :N_SHARED]
    own = transposed @ by_shared - cross.transpose(0, 2, 1) @ follow
    pull = (transposed @ residual[:, :, None] - cross.transpose(0, 2, 1) @ solved[:, :, N_SHARED:])[:, :, 0]
    weight = np.where(lost, 0.0, _weight(work, misfit, rows))
    np.add.at(system, session, own * weight[:, None, None])
    np.add.at(slope, session, pull * weight[:, None])
    if rows.size == work.x.shape[0]:
        work.answer, work.rest, work.weight = follow, solved[:, :, N_SHARED], weight
    else:
        work.answer[rows], work.rest[rows], work.weight[rows] = follow, solved[:, :, N_SHARED], weight


def _add_tilt(work: Fitting, shared: Floats, there: Bools, spread: Floats, tilt: Floats) -> None:
    """Add the slope of half the log determinant of the parts' curvature to each shared error, their coordinates
    following.

    With many parts the joint mode of parts and shared errors is off by more than its uncertainty (each part adds a
    coordinate of its own); integrating the parts out by Laplace's approximation takes that away.
    """
    session = work.block.session
    rows = np.arange(session.shape[0])
    for j in np.flatnonzero(there.any(axis=0)):
        step = 0.1 * np.where(there[:, j], spread[:, j], 0.0)
        halves = []
        for side in (1.0, -1.0):
            moved = shared.copy()
            moved[:, j] += side * step
            x = work.x - side * step[session][:, None] * work.answer[:, :, j]
            _, jacobian, _ = work.block.evaluate(work.theta(x, rows), rows, moved[session])
            curvature = jacobian.transpose(0, 2, 1) @ jacobian + work.precision
            halves.append(0.5 * np.linalg.slogdet(curvature)[1])
        change = (halves[0] - halves[1]) * work.weight
        own = step[session] > 0.0
        change = np.where(own & np.isfinite(change), change / np.where(own, 2.0 * step[session], 1.0), 0.0)
        np.add.at(tilt[:, j], session, change)


def _weight(work: Fitting, chi_square: Floats, rows: npt.NDArray[np.intp]) -> Floats:
    """One for a part of the population, less for one far outside it (Huber's weight on the misfit per part)."""
    count = (work.block.weights(rows) > 0.0).sum(axis=1)
    usual = count + 4.0 * np.sqrt(2.0 * np.maximum(count, 1))  # mean plus four standard deviations of chi-square
    return np.asarray(np.minimum(1.0, usual / np.maximum(chi_square, 1e-300)))
