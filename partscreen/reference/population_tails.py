"""Second pass of a centre: how far each parameter can really go before the sheets object.

A slope taken at the middle calls a parameter unseen that would spoil every reading two standard deviations further
out: a leak too small to matter, a resistance of a few milliohm. Along one direction after the other the true misfit is
followed to both sides until it has risen by four, and the normal distribution is set on that 95 % interval: its middle
the centre, a quarter of it the standard deviation.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import INDEX, N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.reference.population_fit import Centre, predict
from partscreen.reference.population_witnesses import Witnesses

Floats = npt.NDArray[np.float64]

_STEPS = np.array([0.7, 1.4, 2.1, 2.8])
_RISE = 4.0  # twice the fall of the log density two standard deviations out
_OUT_OF_REACH = 25.0
_ANCHORINGS = 2
_SLACK = 0.1  # share of the witnesses' variance by which the anchored readings may stay off
# Bent parameters first: the others give way to them along their directions.
_FIRST = ("leak", "rc", "re", "rb", "irb", "ikf", "nkf", "ne", "vaf", "br")


def with_tails(found: Centre, mean: Floats, covariance: Floats, of: Witnesses, constants: TypeConstants) -> Centre:
    """The centre again, moved and narrowed where the misfit is not a parabola; `mean`, `covariance`: its prior."""
    if not found.used.any():
        return found
    order = [INDEX[name] for name in _FIRST]
    order += [i for i in range(N_PARAMETERS) if i not in order]
    back = np.argsort(order)
    root = np.linalg.cholesky(found.covariance[np.ix_(order, order)])[back]  # columns: one direction each
    steps = np.concatenate([-_STEPS[::-1], [0.0], _STEPS])
    theta = found.theta + (steps[:, None, None] * root.T[None]).reshape(-1, N_PARAMETERS)
    cost = _cost(theta, found, mean, covariance, of, constants).reshape(len(steps), N_PARAMETERS)
    rise = cost - cost[len(_STEPS)]
    reach = np.array(
        [
            [_reach(side[:, i]) for i in range(N_PARAMETERS)]
            for side in (rise[len(_STEPS) + 1 :], rise[len(_STEPS) - 1 :: -1])
        ]
    )
    up, down = reach
    centre = found.theta + root @ ((up - down) / 2.0)
    scaled = root * ((up + down) / 4.0)
    spread = scaled @ scaled.T
    return replace(found, theta=_anchored(centre, spread, found, of, constants), covariance=spread)


def _anchored(centre: Floats, spread: Floats, found: Centre, of: Witnesses, constants: TypeConstants) -> Floats:
    """The moved centre, brought back to what the first pass reads where the witnesses stand, by the likeliest way.

    Directions were moved one by one; together they would shift readings that are known well.
    """
    aim = predict(found.theta[None], of, constants, jacobian=False)[0][0]
    for _ in range(_ANCHORINGS):
        values, rows = predict(centre[None], of, constants)
        seen = np.isfinite(values[0]) & np.isfinite(aim) & np.all(np.isfinite(rows[0]), axis=1)
        slopes, short = rows[0][seen], (aim - values[0])[seen]
        slack = _SLACK * found.spread[np.ix_(seen, seen)]
        centre = centre + spread @ slopes.T @ np.linalg.solve(slopes @ spread @ slopes.T + slack, short)
    return centre


def _reach(rise: Floats) -> float:
    """Standard deviations to where the misfit has risen by four, between 0.7 and 2.8."""
    highest = np.maximum.accumulate(np.maximum(rise, 0.0))
    grid, line = np.concatenate([[0.0], _STEPS]), np.sqrt(np.concatenate([[0.0], highest]))
    over = np.flatnonzero(line >= np.sqrt(_RISE))
    if not len(over):
        return float(_STEPS[-1])
    j = int(over[0])
    share = (np.sqrt(_RISE) - line[j - 1]) / (line[j] - line[j - 1])
    return float(max(_STEPS[0], grid[j - 1] + share * (grid[j] - grid[j - 1])))


def _cost(
    theta: Floats, found: Centre, mean: Floats, covariance: Floats, of: Witnesses, constants: TypeConstants
) -> Floats:
    """Misfit to prior and witnesses, shape (n,); errors as they are at the centre."""
    seen = predict(theta, of, constants, jacobian=False)[0][:, found.used]
    lost = ~np.isfinite(seen)
    residual = np.where(lost, 0.0, np.array(of.value)[found.used] - seen)
    spread = found.spread[np.ix_(found.used, found.used)]
    misfit = np.einsum("ni,ni->n", residual, np.linalg.solve(spread, residual.T).T)
    away = theta - mean
    held = np.einsum("ni,ni->n", away, np.linalg.solve(covariance, away.T).T)
    return np.asarray(misfit + held + _OUT_OF_REACH * lost.any(axis=1))
