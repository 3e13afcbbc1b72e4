"""Work in progress on a block of parts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from partscreen.device.least_squares import minimise, times
from partscreen.device.weighted import Block

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]


_LONGEST = 0.5  # of any coordinate in one joint step
FINE = 5e-4
"""A part has arrived when a step promises to lower its cost (natural log) by less (assumption: nothing a reading could
tell)."""
ROUGH = 0.05
"""The same where it moves again anyway, with the errors of its session (assumption; a hundredth of it moves no fit by a
twentieth of its uncertainty, tested)."""
_DAMPING, _LARGEST_STEP = 3e-3, 1.0
"""Where a search begins, and the longest step of a coordinate. Measured in lots of 400: of dampings from 1e-4 to 1e-2
and steps of 0.5 to 3 these were among those that took the fewest evaluations."""
_PATIENCE = 12  # steps of the plain search; nineteen in twenty parts need fewer


def _nothing() -> Floats:
    return np.zeros(0)


@dataclass(slots=True)
class Fitting:
    """Work in progress on a block: coordinates the readings see are searched, the others follow their prior given
    these."""

    block: Block
    parts: Ints
    seen: Ints
    mean: Floats  # (k, n_seen)
    precision: Floats  # (n_seen, n_seen), or (k, n_seen, n_seen) where parts have priors of their own
    x: Floats  # (k, n_seen)
    full_mean: Floats  # (k, n_parameters)
    carry: Floats  # (n_parameters, n_seen) or (k, ...): regression of all coordinates on the seen ones
    cost: Floats
    curvature: Floats
    converged: Bools
    iterations: npt.NDArray[np.int64]
    alone: Floats = field(default_factory=_nothing)  # (k, n_seen): the fit without shared errors
    rest: Floats = field(default_factory=_nothing)  # (k, n_seen): Gauss-Newton step at the shared errors as they are
    weight: Floats = field(default_factory=_nothing)  # (k,): how far a part counts for the shared errors
    answer: Floats = field(default_factory=_nothing)  # how coordinates follow shared errors (k, n_seen, 3)

    def theta(self, x: Floats, rows: Ints) -> Floats:
        """All coordinates from the seen ones."""
        carry = self.carry.T if self.carry.ndim == 2 else self.carry[rows].transpose(0, 2, 1)
        return np.asarray(self.full_mean[rows] + times(x - self.mean[rows], carry))

    def precision_of(self, rows: Ints) -> Floats:
        """Of the prior of some of the parts: one for all, or one a part."""
        return self.precision if self.precision.ndim == 2 else self.precision[rows]

    def search(self, rows: Ints, start: Floats, shared: Floats, tolerance: float = FINE) -> None:
        """Fit some parts of the block from `start` (k, n_seen), keeping what is cheaper than before.

        The few that have not arrived after a number of steps go on with the geodesic acceleration, which bends along
        their valley.
        """
        self._search(rows, start, shared, _PATIENCE, tolerance, accelerate=False)
        slow = rows[~self.converged[rows]]
        if slow.shape[0]:
            self._search(slow, self.x[slow].copy(), shared, 2 * _PATIENCE, tolerance, accelerate=True)

    def _search(
        self, rows: Ints, start: Floats, shared: Floats, patience: int, tolerance: float, *, accelerate: bool
    ) -> None:
        def model(x: Floats, local: Ints, /) -> tuple[Floats, Floats]:
            which = rows[local]
            residual, jacobian, _ = self.block.evaluate(self.theta(x, which), which, shared[which])
            return residual, jacobian

        found = minimise(
            model, start, prior_mean=self.mean[rows], prior_precision=self.precision_of(rows),
            absolute=tolerance, relative=1e-6, damping=_DAMPING, largest_step=_LARGEST_STEP,
            max_iterations=patience, accelerate=accelerate,
        )  # fmt: skip
        better = (found.cost < self.cost[rows]) | (found.converged & (found.cost <= self.cost[rows]))
        won = rows[better]
        self.x[won], self.cost[won] = found.x[better], found.cost[better]
        self.curvature[won], self.converged[won] = found.curvature[better], found.converged[better]
        self.iterations[rows] += found.iterations

    def refresh(self, rows: Ints, shared: Floats, tolerance: float = FINE) -> None:
        """Forget the cost of some parts (their readings or the session's errors have changed) and fit on from where
        they are."""
        start = self.x[rows].copy()
        self.cost[rows] = np.inf
        self.search(rows, start, shared, tolerance)

    def follow(self, step: Floats, rows: Ints) -> None:
        """Move some of the parts along with a step (k, 3) of the shared errors: one joint Gauss-Newton step."""
        move = -(self.answer[rows] @ step[:, :, None])[:, :, 0] - self.rest[rows]
        longest = np.max(np.abs(move), axis=1, initial=0.0)
        move *= np.minimum(1.0, _LONGEST / np.maximum(longest, 1e-300))[:, None]
        sound = np.isfinite(move).all(axis=1)
        self.x[rows[sound]] += move[sound]

    def settle(self, shared: Floats) -> None:
        """Fit all parts to the end with the shared errors (k, 3) found; a part led astray starts again from its own
        fit."""
        rows = np.arange(self.parts.shape[0])
        self.refresh(rows, shared)
        astray = np.flatnonzero(~self.converged)
        if astray.shape[0]:
            self.search(astray, self.alone[astray], shared)
