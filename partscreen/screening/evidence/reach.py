"""What the readings of a part could have shown: reach, power against each alternative, and the die area."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from partscreen.screening.evidence.hypotheses import Family
from partscreen.screening.evidence.linear import AREA, Linearised
from partscreen.screening.evidence.weigh import factor, whiten

Floats = npt.NDArray[np.float64]

LN_PRICE = 5.5
"""What an alternative pays for being one of many. Its prior weight among them alone would be 3.6 (natural log); set by
simulation so that nine in ten parts of the stated area are seen (with 3.0 it was 53 of 72; see the tests)."""

NINE_IN_TEN = float(ndtri(0.9))
AREA_PRIOR_SD = 0.7
"""Natural log of die area before any reading: half to double the type's (assumption)."""


@dataclass(frozen=True, slots=True)
class Area:
    """Natural log of the die area against the centre's, and its standard deviation; shape (n,)."""

    ln: Floats
    sd: Floats


def area_ratio(readings: Linearised, centre: Floats, covariance: Floats) -> Area:
    """Die area of every part, everything else about it as uncertain as `covariance` says.

    Parameters
    ----------
    centre : array, shape (n_parts, q)
    covariance : array, shape (q, q) or (n_parts, q, q)
        Of a part about that centre.
    """
    lower = factor(readings, covariance)
    gap = readings.residual - np.einsum("nkq,nq->nk", readings.jacobian, centre - readings.point)
    z = whiten(lower, np.stack((gap, readings.jacobian @ AREA), axis=2))
    precision = (z[:, :, 1] ** 2).sum(axis=1) + AREA_PRIOR_SD**-2
    return Area((z[:, :, 0] * z[:, :, 1]).sum(axis=1) / precision, precision**-0.5)


def reach(readings: Linearised, covariance: Floats) -> Floats:
    """Largest area ratio below one at which nine in ten such parts would get evidence above 0; shape (n,).

    The evidence of a part a distance D away (in standard deviations of its readings) is about normal with mean
    D^2/2 - LN_PRICE and standard deviation D, so that D^2/2 - 1.28 D = LN_PRICE marks the edge. 0 where the readings
    see no area at all.
    """
    per_ln = _distance(readings, covariance, (readings.jacobian @ AREA)[:, :, None])[:, 0]
    edge = NINE_IN_TEN + np.sqrt(NINE_IN_TEN**2 + 2.0 * LN_PRICE)
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(np.exp(-edge / per_ln))


def powers(readings: Linearised, covariance: Floats, groups: tuple[Family, ...]) -> tuple[tuple[str, ...], Floats]:
    """Probability that a part of each alternative would get evidence above 0: names, and array (n, h)."""
    shifts = np.concatenate([g.shifts for g in groups])
    names = tuple(name for g in groups for name in g.names)
    d = _distance(readings, covariance, readings.jacobian @ shifts.T)
    with np.errstate(divide="ignore", invalid="ignore"):
        return names, np.where(d > 0, ndtr((0.5 * d**2 - LN_PRICE) / d), 0.0)


def _distance(readings: Linearised, covariance: Floats, directions: Floats) -> Floats:
    return np.asarray(np.sqrt((whiten(factor(readings, covariance), directions) ** 2).sum(axis=1)))
