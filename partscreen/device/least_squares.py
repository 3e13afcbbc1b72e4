"""Many small nonlinear least-squares problems at once: a damped Gauss-Newton (Levenberg-Marquardt) core for any model.

It knows nothing of transistors. The device fit and the certified reference sets of the tests run through this one
function.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]


_MEMORY = 0.7
"""Share of the scaling kept per accepted step. Marquardt's running maximum (1.0) freezes a coordinate whose
derivative was once huge; without memory (0) the search can run off. Measured on the certified sets: 0.6 to 0.7 reach
all seven from both starts."""


class Model(Protocol):
    """Residuals of some of the problems and their Jacobian."""

    def __call__(self, x: Floats, rows: Ints, /) -> tuple[Floats, Floats]:
        """`x` (k, p) are coordinates of the problems numbered `rows` (k,). Returns (k, m) and (k, m, p).

        A residual that cannot be formed there is NaN: the step is refused and a smaller one tried. A missing reading
        is a zero with zero derivatives.
        """
        ...


@dataclass(frozen=True, slots=True)
class Minimum:
    """Where the search ended.

    x (n, p); cost (n,): half the sum of squares, prior included; curvature (n, p, p): J'J plus prior precision there,
    whose inverse is the covariance for residuals of unit variance; gradient (n, p); converged (n,); iterations (n,).
    """

    x: Floats
    cost: Floats
    curvature: Floats
    gradient: Floats
    converged: Bools
    iterations: Ints


def minimise(
    model: Model,
    start: Floats,
    *,
    prior_mean: Floats | None = None,
    prior_precision: Floats | None = None,
    absolute: float = 0.0,
    relative: float = 1e-18,
    damping: float = 1e-3,
    largest_step: float = np.inf,
    accelerate: bool = False,
    max_iterations: int = 1000,
) -> Minimum:
    """Minimise half the sum of squared residuals of each problem, plus half a quadratic form around a prior mean.

    Parameters
    ----------
    model : Model
    start : array, shape (n, p)
    prior_mean : array, shape (n, p) or (p,); prior_precision : array, shape (p, p), or (n, p, p), one a problem
        Both or neither.
    absolute, relative : float
        A problem is finished when a step promises to lower its cost by no more than absolute + relative * cost (the
        step is still taken).
    damping : float
        Starting damping relative to the diagonal of the curvature.
    largest_step : float
        Longest move of any coordinate in one step.
    accelerate : bool
        Add the geodesic acceleration (M. K. Transtrum, J. P. Sethna, arXiv:1201.5885; memory): two more evaluations a
        step, for starts far from the minimum.
    max_iterations : int
        A problem that needs more ends with `converged` False and its best coordinates so far.

    Notes
    -----
    Damping falls to 0.3 of itself after a step that kept its promise, is trebled after one that kept less than a
    quarter of it, and made ten times as much after one that raised the cost (measured in the device fit: by four, a
    search from a good start refused five steps before the first it took). Finished problems leave the batch. A start
    where the cost is not finite stays where it is, not converged.
    """
    x = np.array(start, dtype=float, copy=True)
    n, p = x.shape
    precision = np.zeros((p, p)) if prior_precision is None else prior_precision
    mean = x.copy() if prior_mean is None else np.broadcast_to(prior_mean, x.shape)
    rows = np.arange(n)
    cost, curvature, gradient = _evaluate(model, x, rows, mean, precision)
    scale = _diagonal(curvature)
    lam = np.full(n, float(damping))
    converged = np.zeros(n, dtype=bool)
    iterations = np.zeros(n, dtype=np.intp)
    active = np.flatnonzero(np.isfinite(cost))
    for _ in range(max_iterations):
        if active.shape[0] == 0:
            break
        h, g, s, weight = curvature[active], gradient[active], scale[active], lam[active]
        step = _step(h, g, s, weight, largest_step)
        promised = _promised(h, g, step)
        if accelerate:
            step = step + _bend(model, x[active], active, step, h, s, weight)
        trial = x[active] + step
        new_cost, new_h, new_g = _evaluate(model, trial, active, mean, precision)
        old = cost[active]
        # At the end both costs agree to rounding: what is promised is then smaller than what can be seen.
        slack = np.where(promised < 1e-10 * old, 1e-13 * old, 0.0)
        better = new_cost <= old + slack
        iterations[active] += 1
        small = promised <= absolute + relative * old
        finished = small | (~better & (weight > 1e16))
        won = active[better]
        x[won], cost[won], curvature[won], gradient[won] = trial[better], new_cost[better], new_h[better], new_g[better]
        scale[won] = np.maximum(_MEMORY * scale[won], _diagonal(new_h[better]))
        with np.errstate(all="ignore"):
            ratio = np.where(promised > 0.0, (old - new_cost) / promised, 1.0)
        factor = np.where(ratio > 0.75, 0.3, np.where(ratio > 0.25, 1.0, 3.0))
        lam[active] = np.where(better, np.maximum(weight * factor, 1e-12), weight * 10.0)
        converged[active[small]] = True
        active = active[~finished]
    return Minimum(x, cost, curvature, gradient, converged, iterations)


def _evaluate(model: Model, x: Floats, rows: Ints, mean: Floats, precision: Floats) -> tuple[Floats, Floats, Floats]:
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        residual, jacobian = model(x, rows)
        transposed = jacobian.transpose(0, 2, 1)
        away = x - mean[rows]
        here = precision if precision.ndim == 2 else precision[rows]
        pull = times(away, here)
        cost = 0.5 * (np.einsum("nm,nm->n", residual, residual) + np.einsum("np,np->n", away, pull))
        curvature = transposed @ jacobian
        curvature += here
        gradient = (transposed @ residual[:, :, None])[:, :, 0]
        gradient += pull
        usable = np.isfinite(cost) & np.isfinite(gradient).all(axis=1) & np.isfinite(curvature).all(axis=(1, 2))
    cost[~usable] = np.inf
    return cost, curvature, gradient


def times(rows: Floats, matrix: Floats) -> Floats:
    """Each row (n, p) times a matrix (p, q), or times its own of (n, p, q)."""
    return np.asarray(rows @ matrix if matrix.ndim == 2 else (rows[:, None, :] @ matrix)[:, 0])


def _diagonal(curvature: Floats) -> Floats:
    diagonal = np.asarray(np.einsum("npp->np", curvature))
    diagonal = np.where(diagonal > 0.0, diagonal, 1.0)  # a coordinate nothing depends on stays where it is
    return np.asarray(diagonal)


def _bend(model: Model, x: Floats, rows: Ints, step: Floats, h: Floats, scale: Floats, lam: Floats) -> Floats:
    """Half the geodesic acceleration: the second-order part of a step along a curved valley; zero where it is not
    small."""
    short = 0.1
    with np.errstate(all="ignore"):
        residual, jacobian = model(x, rows)
        ahead, _ = model(x + short * step, rows)
        along = (jacobian @ step[:, :, None])[:, :, 0]
        curved = 2.0 / short * ((ahead - residual) / short - along)
        pull = (jacobian.transpose(0, 2, 1) @ curved[:, :, None])[:, :, 0]
    usable: Bools = np.asarray(np.isfinite(pull).all(axis=1))
    half = 0.5 * _step(h, np.where(usable[:, None], pull, 0.0), scale, lam, np.inf)
    size = np.einsum("np,np,np->n", scale, half, half)
    usable &= 16.0 * size <= 0.75**2 * np.einsum("np,np,np->n", scale, step, step)
    return np.asarray(np.where(usable[:, None], half, 0.0))


def _step(h: Floats, g: Floats, scale: Floats, lam: Floats, largest: float) -> Floats:
    unit = 1.0 / np.sqrt(scale)
    system = h * unit[:, :, None]
    system *= unit[:, None, :]
    p = g.shape[1]
    system[:, np.arange(p), np.arange(p)] += lam[:, None]
    step = -unit * np.linalg.solve(system, (g * unit)[:, :, None])[:, :, 0]
    if np.isfinite(largest):
        longest = np.max(np.abs(step), axis=1)
        step *= np.minimum(1.0, largest / np.maximum(longest, 1e-300))[:, None]
    return np.asarray(step)


def _promised(h: Floats, g: Floats, step: Floats) -> Floats:
    curved = np.einsum("np,npq,nq->n", step, h, step, optimize=False)
    return np.asarray(-np.einsum("np,np->n", g, step) - 0.5 * curved)
