"""The device fit of one group, in the form the screening uses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.fit import fit_parts
from partscreen.device.fit_result import CONVERGED, NO_READINGS
from partscreen.device.observations import Observations
from partscreen.device.parameters import NAMES
from partscreen.device.prior import PartPrior

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class GroupFit:
    """Fit of the parts of one group; first axis the part.

    theta (n, p), covariance (n, p, p); prior_share (n, p): posterior over prior standard deviation;
    junction_temperature (n,) [K]; chi_square, p (n,) with dof (n,); status: one word a part, "converged" where it did.
    """

    names: tuple[str, ...]
    theta: Floats
    covariance: Floats
    prior_share: Floats
    junction_temperature: Floats
    chi_square: Floats
    dof: Ints
    p: Floats
    status: tuple[str, ...]

    @property
    def fitted(self) -> npt.NDArray[np.bool_]:
        """Parts with a fit of their own."""
        some = np.array([s != NO_READINGS for s in self.status], dtype=np.bool_)
        return some & np.isfinite(self.theta).all(axis=1)

    @property
    def converged(self) -> npt.NDArray[np.bool_]:
        """Parts whose fit came to rest."""
        return np.array([s == CONVERGED for s in self.status], dtype=np.bool_)

    def take(self, rows: Ints) -> GroupFit:
        """The fit of some of the parts."""
        return GroupFit(
            self.names, self.theta[rows], self.covariance[rows], self.prior_share[rows],
            self.junction_temperature[rows], self.chi_square[rows], self.dof[rows], self.p[rows],
            tuple(self.status[i] for i in rows),
        )  # fmt: skip


FitFunction = Callable[[Observations, PartPrior], GroupFit]


@dataclass(frozen=True, slots=True)
class SessionErrors:
    """Errors that sessions share, as found: temperature [K], gain (relative), lead [ohm].

    sessions : (n,), numbers in the batch, ascending. shared : (n, 3); covariance : (n, 3, 3). parts : (n,), parts of
    the type that each session has.
    """

    sessions: Ints
    shared: Floats
    covariance: Floats
    parts: Ints

    def of(self, sessions: Ints) -> SessionErrors:
        """Of some of the sessions; one that is not there has no errors known, and none."""
        at = np.searchsorted(self.sessions, sessions)
        at = np.minimum(at, max(self.sessions.size - 1, 0))
        there = self.sessions[at] == sessions
        return SessionErrors(
            sessions,
            np.where(there[:, None], self.shared[at], 0.0),
            np.where(there[:, None, None], self.covariance[at], 0.0),
            np.where(there, self.parts[at], 1),
        )


def session_errors(observations: Observations, prior: PartPrior, sessions: Ints, parts: Ints) -> SessionErrors:
    """Errors of the sessions of some parts, found together with the parts. `parts`: how many each session has."""
    found = fit_parts(observations, prior.mean, prior.covariance, prior.constants)
    return SessionErrors(sessions, found.shared, found.shared_covariance, parts)


def fit_group(observations: Observations, prior: PartPrior, known: SessionErrors | None = None) -> GroupFit:
    """Fit every part of a group against one prior. `known`: errors of its sessions, in their order; None: found."""
    found = fit_parts(
        observations,
        prior.mean,
        prior.covariance,
        prior.constants,
        shared=None if known is None else known.shared,
        shared_covariance=None if known is None else known.covariance,
        session_parts=None if known is None else known.parts,
    )
    return GroupFit(
        NAMES, found.theta, found.covariance, found.prior_share, found.junction_temp, found.chi_square,
        found.dof, found.p, found.status,
    )  # fmt: skip
