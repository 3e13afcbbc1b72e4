"""What is known of the marked type, and of the types a part could be instead, before a lot is read."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import N_PARAMETERS
from partscreen.screening.evidence.linear import N_COORDINATES

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TypeCentre:
    """Another library type: mean (q,) and covariance (q, q) of one part of an unknown lot, session errors zero."""

    name: str
    mean: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class Knowledge:
    """What is known of the marked type before the lot is read, in the coordinates of `linear`.

    centre (q,), centre_covariance, between, within (q, q). The variance of errors shared by the session stands in
    `centre_covariance` where known-good parts of the same session tell of them, else in `between`; never in `within`.
    `bulk_is_type`: nothing is known of the type but the lot itself, so its bulk is what it is compared with.
    """

    centre: Floats
    centre_covariance: Floats
    between: Floats
    within: Floats
    others: tuple[TypeCentre, ...] = ()
    bulk_is_type: bool = False

    @property
    def lot_covariance(self) -> Floats:
        """Of a lot's centre."""
        return self.centre_covariance + self.between

    @property
    def session(self) -> Floats:
        """Covariance of the session errors alone, (q, q)."""
        return session_block(self.lot_covariance)

    @property
    def device_between(self) -> Floats:
        """Spread of lots without the session errors."""
        return self.between - session_block(self.between)


def widen(matrix: Floats) -> Floats:
    """A covariance of device parameters with rows and columns for the session errors, zero there."""
    out = np.zeros((N_COORDINATES, N_COORDINATES))
    out[:N_PARAMETERS, :N_PARAMETERS] = matrix
    return out


def session_block(covariance: Floats) -> Floats:
    """The session block of a covariance, zero elsewhere."""
    out = np.zeros_like(covariance)
    out[N_PARAMETERS:, N_PARAMETERS:] = covariance[N_PARAMETERS:, N_PARAMETERS:]
    return out


def session_variance(temperature: float, gain: float, lead: float) -> Floats:
    """Covariance (q, q) of the errors shared by one session: [K], relative, [ohm]."""
    out = np.zeros((N_COORDINATES, N_COORDINATES))
    for i, sd in enumerate((temperature, gain, lead), start=N_PARAMETERS):
        out[i, i] = sd**2 + 1e-12  # never exactly known, so that the matrix has an inverse
    return out


def learn(known: Knowledge, centre: Floats, covariance: Floats, *, same_session: bool) -> Knowledge:
    """Knowledge of the type after a known-good lot, the lot-to-lot spread kept (conjugate update).

    Parameters
    ----------
    known : before; its session variance stands in `between`.
    centre, covariance : posterior of the known-good lot's centre under `known`.
    same_session : the lot to be judged was read in the same session, so that its session errors are known too.

    References
    ----------
    Normal model with known spreads: with m = x + b, x ~ N(x0, C), b ~ N(0, B) and m found as N(m1, M),
    x ~ N(x0 + G (m1 - x0), C - G (C + B - M) G'), G = C (C + B)^-1 (conditioning of a joint Gaussian).
    """
    shared = known.centre_covariance + session_block(known.between)
    total = known.lot_covariance
    gain = np.linalg.solve(total, shared).T
    mean = known.centre + gain @ (centre - known.centre)
    about = shared - gain @ (total - covariance) @ gain.T
    about = 0.5 * (about + about.T)
    if same_session:
        return replace(known, centre=mean, centre_covariance=about, between=known.device_between)
    mean = np.concatenate((mean[:N_PARAMETERS], known.centre[N_PARAMETERS:]))
    return replace(known, centre=mean, centre_covariance=widen(about[:N_PARAMETERS, :N_PARAMETERS]))
