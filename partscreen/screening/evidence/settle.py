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
from partscreen.screening.evidence.shared_misfit import share_misfit
from partscreen.screening.model_error import Misfit, widened

Floats = npt.NDArray[np.float64]

ROUNDS = 3
AREA_SD = 0.5  # ln area of whatever part may be in the bag, about the lot (assumption: as wide as the alternatives lie)


@dataclass(frozen=True, slots=True)
class Settled:
    """Readings about their settled fits, and the lot's centre were its main population the marked type."""

    readings: Linearised
    marked: Fitted


def settle(
    observations: Observations, constants: TypeConstants, known: Knowledge, share: Share, misfit: Misfit | None = None
) -> Settled:
    """Fit, find the lot's centre, fit again about it.

    `misfit`: the model's own error by reading; what the lot's parts share of it is taken off.
    """
    n = N_PARAMETERS
    loose = (
        known.within[:n, :n] * 4.0
        + AREA_SD**2 * np.outer(AREA_DIRECTION, AREA_DIRECTION)
        + known.device_between[:n, :n]
    )
    mean, covariance = known.centre[:n], known.centre_covariance[:n, :n]
    wide = observations if misfit is None else widened(observations, misfit)
    weight = _chosen(observations.n_parts)
    before: Fitted | None = None
    for _ in range(ROUNDS):
        fit = fit_parts(wide, mean, covariance + loose, constants, starts=3 if before is None else 1)
        readings = share_misfit(linearise(observations, fit.theta, constants, misfit), weight)
        marked = marked_mode(readings, known, share)
        weight = weight.copy()
        weight[weight > 0.0] = np.maximum(marked.weight, 1e-6)
        if before is not None:
            step = marked.centre - before.centre
            if step @ marked.precision @ step < 0.1:
                break
        before, mean, covariance = marked, marked.centre[:n], inverse(marked.precision)[:n, :n]
    return Settled(readings, marked)


def _chosen(n: int) -> Floats:
    """1 for the parts that find the lot's centre, 0 for the others of a large lot."""
    weight = np.zeros(n)
    weight[even(n) if n > ENOUGH else slice(None)] = 1.0
    return weight


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
