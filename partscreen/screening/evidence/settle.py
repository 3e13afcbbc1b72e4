"""Own fits of a lot's parts, drawn on by what the whole lot says, so that the model is straight where the lot lies.

A single part leaves many directions open and its fit lies near the type's centre there; forty parts together know
better. Each round fits the parts about the lot's centre found so far, takes the derivatives there and finds the centre
again (Gauss-Newton for the lot).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.fit import fit_parts
from partscreen.device.observations import Observations
from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.screening.evidence.engine import ENOUGH, even
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import Linearised, linearise
from partscreen.screening.evidence.lot import Fitted, Mode, Share, fit_mode
from partscreen.screening.evidence.quadratic import information, integrate, inverse

Floats = npt.NDArray[np.float64]

ROUNDS = 3
AREA_SD = 0.5  # ln area of whatever part may be in the bag, about the lot (assumption: as wide as the alternatives lie)


@dataclass(frozen=True, slots=True)
class Settled:
    """Readings about their settled fits, and the lot's centre were its main population the marked type."""

    readings: Linearised
    marked: Fitted


def settle(observations: Observations, constants: TypeConstants, known: Knowledge, share: Share) -> Settled:
    """Fit, find the lot's centre, fit again about it."""
    n = N_PARAMETERS
    loose = (
        known.within[:n, :n] * 4.0
        + AREA_SD**2 * np.outer(AREA_DIRECTION, AREA_DIRECTION)
        + known.device_between[:n, :n]
    )
    mean, covariance = known.centre[:n], known.centre_covariance[:n, :n]
    fit = fit_parts(observations, mean, covariance + loose, constants)
    readings = linearise(observations, fit.theta, constants)
    marked = marked_mode(readings, known, share)
    for _ in range(ROUNDS - 1):
        mean = marked.centre[:n]
        covariance = inverse(marked.precision)[:n, :n]
        fit = fit_parts(observations, mean, covariance + loose, constants, starts=1)
        readings = linearise(observations, fit.theta, constants)
        before, marked = marked, marked_mode(readings, known, share)
        step = marked.centre - before.centre
        if step @ marked.precision @ step < 0.1:
            break
    return Settled(readings, marked)


def marked_mode(readings: Linearised, known: Knowledge, share: Share) -> Fitted:
    """The lot's centre, its main population being the marked type."""
    n = readings.point.shape[0]
    if n > ENOUGH:
        readings = readings.pick(even(n))
    info = information(readings, known.centre)
    main = integrate(info, known.within)
    alternatives = [(f, integrate(info, f.spread)) for f in families(known.within, known.device_between)]
    nothing = np.full(readings.point.shape[0], -np.inf)
    mode = Mode("as marked", "marked", known.centre, known.lot_covariance, 0.0)
    return fit_mode(mode, main, alternatives, nothing, None, share)[0]
