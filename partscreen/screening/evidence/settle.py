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
from partscreen.screening.evidence.quadratic import Quadratic, information, integrate, inverse
from partscreen.screening.evidence.shared_misfit import share_misfit
from partscreen.screening.fitting import take_observations
from partscreen.screening.model_error import Misfit, widened

Floats = npt.NDArray[np.float64]

ROUNDS = 8
SHORTER = 0.35  # a step that explained the lot worse is tried again this much shorter
SETTLED = 1.0
"""A lot is settled when one more step promises less than this for all its parts together (natural log): evidence of one
part, and of one kind of lot against another, then moves by less than the evidence of a reject is rounded to."""

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


@dataclass(frozen=True, slots=True)
class _Try:
    """A round of fits about `mean`: what came of it, and how well the lot is explained there.

    at : (n,), ln p of the parts were the lot's centre `mean`; prior : ln p of that centre; promise : by how much the
    centre found explains the lot better, if the model is as straight that far as it is here (natural log).
    """

    settled: Settled
    about: _Round
    mean: Floats
    at: Floats
    prior: float
    promise: float

    def better_than(self, other: _Try) -> bool:
        """Whether the parts that belonged to the lot in the other try are explained better; a try in which none
        belonged says nothing."""
        if not other.peopled:
            return True
        weight = other.settled.marked.weight
        return float(weight @ (self.at - other.at) + self.prior - other.prior) > 0.0

    @property
    def peopled(self) -> bool:
        """Whether any part belongs to the lot's main population, were it the marked type."""
        return float(self.settled.marked.weight.sum()) >= 1.0


def _rounds(
    observations: Observations, constants: TypeConstants, known: Knowledge, share: Share, misfit: Misfit | None
) -> tuple[Settled, _Round]:
    """Fits of all parts about ever better centres; also what the best round was about.

    Where the lot lies far from the type's centre the model is not straight all the way, and a whole step may explain
    the lot worse (whole steps were found to circle for ever): such a step is taken back and a part of it tried.
    """
    n = N_PARAMETERS
    loose = _loose(known)
    wide = observations if misfit is None else widened(observations, misfit)
    best = _tried(
        observations, wide, constants, known, share, misfit,
        _Round(known.centre[:n], known.centre_covariance[:n, :n] + loose, _chosen(observations.n_parts), np.empty(0)),
    )  # fmt: skip
    length = 1.0
    for _ in range(ROUNDS - 1):
        if best.peopled and best.promise < SETTLED:
            break
        marked = best.settled.marked
        weight = _chosen(observations.n_parts)
        weight[weight > 0.0] = np.maximum(marked.weight, 1e-6)
        mean = best.mean + length * (marked.centre[:n] - best.mean)
        covariance = inverse(marked.precision)[:n, :n] + loose
        found = _tried(
            observations, wide, constants, known, share, misfit, _Round(mean, covariance, weight, best.about.shared)
        )
        if found.better_than(best):
            best, length = found, min(1.0, 2.0 * length)
        else:
            length *= SHORTER
    return best.settled, best.about


def _tried(
    observations: Observations,
    wide: Observations,
    constants: TypeConstants,
    known: Knowledge,
    share: Share,
    misfit: Misfit | None,
    about: _Round,
) -> _Try:
    """One round: fit, take the derivatives, find the centre."""
    first = not about.shared.size
    fit = fit_parts(wide, about.mean, about.covariance, constants, starts=3 if first else 1)
    linear = linearise(_in_saturation(observations, fit), fit.theta, constants, misfit)
    readings = share_misfit(linear, about.weight)
    marked, main = _marked_mode(readings, known, share)
    d = _with_session(about.mean - known.centre[:N_PARAMETERS], marked, main, known)
    prior_precision = inverse(known.lot_covariance)
    at, best = main.at(np.stack((known.centre + d, marked.centre))).T
    prior, best_prior = (-0.5 * float(x @ prior_precision @ x) for x in (d, marked.centre - known.centre))
    promise = float(marked.weight @ (best - at)) + best_prior - prior
    return _Try(Settled(readings, marked), replace(about, shared=fit.shared), about.mean, at, prior, promise)


def _with_session(device: Floats, marked: Fitted, main: Quadratic, known: Knowledge) -> Floats:
    """The session errors that go best with a lot whose device parameters lie `device` off the type's centre."""
    n = N_PARAMETERS
    prior_precision = inverse(known.lot_covariance)
    precision = prior_precision + np.einsum("n,nqr->qr", marked.weight, main.m)
    pull = marked.weight @ main.u  # counted from the type's centre
    session = np.linalg.solve(precision[n:, n:], pull[n:] - precision[n:, :n] @ device)
    return np.concatenate((device, session))


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
    return _marked_mode(readings, known, share)[0]


def _marked_mode(readings: Linearised, known: Knowledge, share: Share) -> tuple[Fitted, Quadratic]:
    n = readings.point.shape[0]
    if n > ENOUGH:
        readings = readings.pick(even(n))
    info = information(readings, known.centre)
    main = integrate(info, known.within)
    alternatives = [(f, integrate(info, f.spread)) for f in families(known.within, known.device_between)]
    nothing = np.full(readings.point.shape[0], -np.inf)
    mode = Mode("as marked", "marked", known.centre, known.lot_covariance, 0.0)
    return fit_mode(mode, main, alternatives, nothing, None, share)[0], main
