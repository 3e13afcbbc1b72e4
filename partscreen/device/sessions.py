"""Errors shared by the parts of one session, found jointly with the parts: the arrow-shaped problem, eliminated
exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from partscreen.device.fitting import Fitting
from partscreen.device.weighted import N_SHARED

Floats = npt.NDArray[np.float64]

_ROUNDS = 12
_STANDSTILL = 0.02  # of the posterior standard uncertainty of the shared errors, or
_NEGLIGIBLE = 1e-3  # of their prior one, which no reading of a single part could tell from zero


def solve_shared(works: Sequence[Fitting], spread: Floats) -> tuple[Floats, Floats]:
    """Find the shared errors, refitting the parts along.

    Parameters
    ----------
    works : blocks, fitted with no shared error; moved to the joint minimum
    spread : array, shape (n_sessions, 3)
        Prior standard uncertainty of temperature [K], gain (relative) and lead [ohm]; zero or NaN: not there.

    Returns
    -------
    shared, covariance : (n_sessions, 3), (n_sessions, 3, 3)
    """
    n = spread.shape[0]
    there = spread > 0.0
    shared = np.zeros((n, N_SHARED))
    covariance = np.zeros((n, N_SHARED, N_SHARED))
    if not works or not np.any(there):
        return shared, covariance
    precision = np.where(there, 1.0 / np.where(there, spread, 1.0) ** 2, 0.0)
    for _ in range(_ROUNDS):
        system, slope = np.zeros((n, N_SHARED, N_SHARED)), precision * shared
        system[:, np.arange(N_SHARED), np.arange(N_SHARED)] = precision
        for work in works:
            _add(work, shared, system, slope)
        # A shared error that is not there keeps the value zero.
        keep = there[:, :, None] & there[:, None, :]
        system = np.where(keep, system, np.eye(N_SHARED))
        covariance = np.where(keep, np.linalg.inv(system), 0.0)
        step = -(covariance @ slope[:, :, None])[:, :, 0]
        shared = shared + step
        for work in works:
            rows = np.arange(work.parts.shape[0])
            work.follow(step[work.block.session])
            work.refresh(rows, shared[work.block.session])
        deviation = np.sqrt(np.einsum("nii->ni", covariance))
        if np.all(np.abs(step) <= np.maximum(_STANDSTILL * deviation, _NEGLIGIBLE * np.where(there, spread, 1.0))):
            break
    return shared, covariance


def _add(work: Fitting, shared: Floats, system: Floats, slope: Floats) -> None:
    """Add what the parts of a block say about the shared errors once their own coordinates have followed (Schur
    complement)."""
    session = work.block.session
    rows = np.arange(session.shape[0])
    residual, jacobian, by_shared = work.block.evaluate(
        work.theta(work.x, rows), rows, shared[session], with_shared=True
    )
    transposed = by_shared.transpose(0, 2, 1)
    cross = jacobian.transpose(0, 2, 1) @ by_shared
    gradient = (jacobian.transpose(0, 2, 1) @ residual[:, :, None])[:, :, 0] + (work.x - work.mean) @ work.precision
    curvature = jacobian.transpose(0, 2, 1) @ jacobian + work.precision
    solved = np.linalg.solve(curvature, np.concatenate([cross, gradient[:, :, None]], axis=2))
    follow = solved[:, :, :N_SHARED]
    own = transposed @ by_shared - cross.transpose(0, 2, 1) @ follow
    pull = (transposed @ residual[:, :, None] - cross.transpose(0, 2, 1) @ solved[:, :, N_SHARED:])[:, :, 0]
    weight = _weight(work)
    np.add.at(system, session, own * weight[:, None, None])
    np.add.at(slope, session, pull * weight[:, None])
    work.answer = follow


def _weight(work: Fitting) -> Floats:
    """One for a part of the population; less for one far outside it (Huber's weight on the misfit per part), zero for
    a failed fit."""
    count = (work.block.weights(np.arange(work.parts.shape[0])) > 0.0).sum(axis=1)
    usual = count + 4.0 * np.sqrt(2.0 * np.maximum(count, 1))  # mean plus four standard deviations of chi-square
    chi_square = 2.0 * work.cost
    return np.where(np.isfinite(chi_square), np.minimum(1.0, usual / np.maximum(chi_square, 1e-300)), 0.0)
