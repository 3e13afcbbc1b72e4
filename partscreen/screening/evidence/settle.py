"""Own fits of a lot's parts, drawn on by what the whole lot says, so that the model is straight where the lot lies.

A single part leaves many directions open and its fit lies near the type's centre there; forty parts together know
better. Each round fits the parts about the lot's centre found so far, takes the derivatives there and finds the centre
again (Gauss-Newton for the lot).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.device.fit import fit_parts
from partscreen.device.fit_result import FitResult
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
from partscreen.screening.fitting import take_observations
from partscreen.screening.model_error import Misfit, widened

Floats = npt.NDArray[np.float64]

ROUNDS = 5
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
    if not _by_some(observations.n_parts):
        return _rounds(observations, constants, known, share, misfit)[0]
    some = even(observations.n_parts)
    taken = None if misfit is None else Misfit(misfit.hfe[some], misfit.vbe[some], misfit.vce_sat[some])
    last = _rounds(take_observations(observations, some), constants, known, share, taken)[1]
    # All parts as in the last round, with the errors of the sessions that it found.
    wide = observations if misfit is None else widened(observations, misfit)
    fit = fit_parts(wide, last.mean, last.covariance, constants, starts=1, shared=last.shared)
    weight = np.zeros(observations.n_parts)
    weight[some] = last.weight
    readings = share_misfit(linearise(_in_saturation(observations, fit), fit.theta, constants, misfit), weight)
    return Settled(readings, marked_mode(readings, known, share))


@dataclass(frozen=True, slots=True)
class _Round:
    """What a round of fits was about: mean and covariance of the parts, their weights (n,) in the lot; and the errors
    of the sessions it found."""

    mean: Floats
    covariance: Floats
    weight: Floats
    shared: Floats


def _by_some(n: int) -> bool:
    """The lot is so large that some of its parts settle it."""
    return n > ENOUGH


def _loose(known: Knowledge) -> Floats:
    """Spread, about the lot's centre, of whatever part may be in the bag."""
    n = N_PARAMETERS
    area = AREA_SD**2 * np.outer(AREA_DIRECTION, AREA_DIRECTION)
    return np.asarray(known.within[:n, :n] * 4.0 + area + known.device_between[:n, :n])


def _rounds(
    observations: Observations, constants: TypeConstants, known: Knowledge, share: Share, misfit: Misfit | None
) -> tuple[Settled, _Round]:
    """Fits of all parts about ever better centres; also what the last round was about."""
    n = N_PARAMETERS
    loose = _loose(known)
    mean, covariance = known.centre[:n], known.centre_covariance[:n, :n]
    wide = observations if misfit is None else widened(observations, misfit)
    weight = _chosen(observations.n_parts)
    before: Fitted | None = None
    for _ in range(ROUNDS):
        fit = fit_parts(wide, mean, covariance + loose, constants, starts=3 if before is None else 1)
        readings = share_misfit(linearise(_in_saturation(observations, fit), fit.theta, constants, misfit), weight)
        marked = marked_mode(readings, known, share)
        about = _Round(mean, covariance + loose, weight, fit.shared)
        weight = weight.copy()
        weight[weight > 0.0] = np.maximum(marked.weight, 1e-6)
        if before is not None:
            step = marked.centre - before.centre
            if step @ marked.precision @ step < 0.1:
                break
        before, mean, covariance = marked, marked.centre[:n], inverse(marked.precision)[:n, :n]
    return Settled(readings, marked), about


def _in_saturation(observations: Observations, fit: FitResult) -> Observations:
    """Without readings of VCE(sat) where a part has left saturation: the fit leaves them out, and so does weighing."""
    return replace(observations, vce_sat=np.where(fit.sat_left, np.nan, observations.vce_sat))


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
