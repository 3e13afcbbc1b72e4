"""Own fits of a lot's parts, drawn on by what the whole lot says, so that the model is straight where the lot lies.

A single part leaves many directions open and its fit lies near the type's centre there; forty parts together know
better. Each round fits the parts about the lot's centre found so far, takes the derivatives there and finds the centre
again (Gauss-Newton for the lot).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.device.fit import fit_parts
from partscreen.device.fit_result import FitResult
from partscreen.device.observations import Observations, take_observations
from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.screening.evidence.engine import ENOUGH, even
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.joined import join, side_by_side
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import Linearised, linearise
from partscreen.screening.evidence.lot import Fitted, Mode, Share, alternatives_of, fit_mode
from partscreen.screening.evidence.quadratic import Quadratic, information, integrate, inverse
from partscreen.screening.evidence.shared_misfit import share_misfit
from partscreen.screening.model_error import Misfit, widened

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

ROUNDS = 30  # most lots need ten; these five are assumptions, and the honesty tables were read with them
SHORTER = 0.35  # a step that explained the lot worse is tried again this much shorter
SHORTEST = 0.05  # of a whole step; where none so long explains the lot better, it has arrived as far as can be told
LONGER = 4.0  # than a whole step, at most, where the last ones were too short
DEPTH = 2  # rounds before that tell how short
SETTLED, SETTLED_LARGE = 0.05, 0.25
"""A lot is settled when one more step promises less than this for all its parts together (natural log); the second
figure is for lots of `ENOUGH` parts or more. Kinds of lots are weighed by readings that are straight about where it
settles, and their evidence moves by some fifty times as much (seen in a lot of ten and one of 400). At 1.0, and steps
kept that only promised less, up to twice as many sound parts were held (docs/honesty.md, "What was tried")."""

AREA_SD = 0.5  # ln area of whatever part may be in the bag, about the lot (assumption: as wide as the alternatives lie)


@dataclass(frozen=True, slots=True)
class Settled:
    """Readings about their settled fits, and the lot's centre were its main population the marked type."""

    readings: Linearised
    marked: Fitted


@dataclass(frozen=True, slots=True)
class Unsettled:
    """Readings of a lot's parts, and what is known of it. `misfit`: the model's own error by reading; what the lot's
    parts share of it is taken off."""

    observations: Observations
    known: Knowledge
    share: Share
    misfit: Misfit | None = None

    def take(self, rows: Ints) -> Unsettled:
        """Some of the parts; sessions keep their numbers."""
        of = self.misfit
        taken = None if of is None else Misfit(of.hfe[rows], of.vbe[rows], of.vce_sat[rows])
        return replace(self, observations=take_observations(self.observations, rows), misfit=taken)


def settle(
    observations: Observations, constants: TypeConstants, known: Knowledge, share: Share, misfit: Misfit | None = None
) -> Settled:
    """Fit, find the lot's centre, fit again about it."""
    return settle_lots([Unsettled(observations, known, share, misfit)], constants)[0]


def settle_lots(lots: Sequence[Unsettled], constants: TypeConstants) -> list[Settled]:
    """As `settle`, lots of one type side by side: each ends where it would alone, in a fraction of the time."""
    some = [lot.take(even(lot.observations.n_parts)) if _by_some(lot) else lot for lot in lots]
    found = _rounds(some, constants)
    out = [settled for settled, _ in found]
    large = [i for i, lot in enumerate(lots) if _by_some(lot)]
    for i, settled in zip(
        large, _all_parts([lots[i] for i in large], [found[i][1] for i in large], constants), strict=True
    ):
        out[i] = settled
    return out


def _all_parts(lots: Sequence[Unsettled], last: Sequence[_Round], constants: TypeConstants) -> list[Settled]:
    """All parts of large lots as in the last round of some of them, with the errors of the sessions that it found."""
    out = []
    for lot, (about, readings) in zip(lots, _fitted(lots, last, constants, hold=True), strict=True):
        weight = np.zeros(lot.observations.n_parts)
        weight[even(weight.size)] = about.weight
        readings = share_misfit(readings, weight)
        out.append(Settled(readings, marked_mode(readings, lot.known, lot.share)))
    return out


@dataclass(frozen=True, slots=True)
class _Round:
    """What a round of fits is about: mean and covariance of the parts, their weights (n,) in the lot. theta
    (n, N_PARAMETERS) and shared (n_sessions, 3): fits and errors of the sessions, before it those that it begins at,
    after it those that it found; None before the first."""

    mean: Floats
    covariance: Floats
    weight: Floats
    theta: Floats | None = None
    shared: Floats | None = None


def _by_some(lot: Unsettled) -> bool:
    """The lot is so large that some of its parts settle it."""
    return lot.observations.n_parts > ENOUGH


def _loose(known: Knowledge) -> Floats:
    """Spread, about the lot's centre, of whatever part may be in the bag."""
    n = N_PARAMETERS
    area = AREA_SD**2 * np.outer(AREA_DIRECTION, AREA_DIRECTION)
    return np.asarray(known.within[:n, :n] * 4.0 + area + known.device_between[:n, :n])


@dataclass(frozen=True, slots=True)
class _Try:
    """A round of fits about `mean`: what came of it, and how well the lot is explained there.

    told : (n,), readings of each part. at : (n,), ln p of the parts were the lot's centre `mean`; prior : ln p of that
    centre; promise : by how much the centre found explains the lot better, if the model is as straight that far as it
    is here (natural log).
    """

    settled: Settled
    about: _Round
    mean: Floats
    told: Ints
    at: Floats
    prior: float
    promise: float

    def gain_over(self, other: _Try) -> float:
        """How much better the parts that belonged to the lot in the other try are explained (natural log); a try in
        which none belonged says nothing.

        A part counts where it has the same readings in both: one of VCE(sat) that comes or goes at the edge of
        saturation moves ln p by its density, which says nothing of the centre.
        """
        if not other.peopled:
            return np.inf
        weight = np.where(self.told == other.told, other.settled.marked.weight, 0.0)
        return float(weight @ (self.at - other.at) + self.prior - other.prior)

    @property
    def step(self) -> Floats:
        """From what the round was about to the centre that it found."""
        return self.settled.marked.centre[:N_PARAMETERS] - self.mean

    @property
    def peopled(self) -> bool:
        """Whether any part belongs to the lot's main population, were it the marked type."""
        return float(self.settled.marked.weight.sum()) >= 1.0


@dataclass(slots=True)
class _Search:
    """A lot on its way: its best round so far, those before it, and how much of a whole step is tried next."""

    lot: Unsettled
    best: _Try
    before: tuple[_Try, ...] = ()
    length: float = 1.0

    @property
    def settled(self) -> bool:
        """One more step promises nothing, or none explains the lot better."""
        little = SETTLED if self.lot.observations.n_parts < ENOUGH else SETTLED_LARGE
        return self.length < SHORTEST or (self.best.peopled and self.best.promise < little)

    def next_round(self) -> _Round:
        """About a part of the way to the centre that the best round found."""
        n, marked = N_PARAMETERS, self.best.settled.marked
        covariance = inverse(marked.precision)[:n, :n] + _loose(self.lot.known)
        weight = _chosen(self.lot.observations.n_parts)
        weight[weight > 0.0] = np.maximum(marked.weight, 1e-6)
        return replace(self.best.about, mean=self._next_mean(), covariance=covariance, weight=weight)

    def _next_mean(self) -> Floats:
        step = self.best.step
        if not self.before or self.length < 1.0:
            return self.best.mean + self.length * step
        # How steps changed from round to round tells where they fall short (Anderson mixing; D. G. Anderson, J. ACM
        # 12 (1965) 547; memory).
        n = N_PARAMETERS
        moved = np.stack([self.best.mean - other.mean for other in self.before], axis=1)
        changed = np.stack([step - other.step for other in self.before], axis=1)
        root = np.linalg.cholesky(self.best.settled.marked.precision[:n, :n]).T
        share, *_ = np.linalg.lstsq(root @ changed, root @ step, rcond=1e-3)
        mixed = step - (moved + changed) @ share
        longest = LONGER * float(np.linalg.norm(root @ step))
        return self.best.mean + mixed * min(1.0, longest / max(float(np.linalg.norm(root @ mixed)), 1e-300))

    def weigh(self, found: _Try) -> None:
        """Keep what explains the lot better; after what does not, try a shorter step."""
        if found.gain_over(self.best) > 0.0:
            self.before = (self.best, *self.before)[:DEPTH]
            self.best, self.length = found, 1.0
        else:
            self.length, self.before = SHORTER * self.length, ()


def _rounds(lots: Sequence[Unsettled], constants: TypeConstants) -> list[tuple[Settled, _Round]]:
    """Fits of all parts of each lot about ever better centres; also what the best round was about.

    Where a lot lies far from the type's centre the model is not straight all the way, and a whole step may explain
    the lot worse (whole steps were found to circle for ever): such a step is taken back and a part of it tried.
    """
    n = N_PARAMETERS
    begin = [
        _Round(
            lot.known.centre[:n], lot.known.centre_covariance[:n, :n] + _loose(lot.known),
            _chosen(lot.observations.n_parts),
        )
        for lot in lots
    ]  # fmt: skip
    searches = [_Search(lot, first) for lot, first in zip(lots, _tried(lots, begin, constants), strict=True)]
    for _ in range(ROUNDS - 1):
        busy = [search for search in searches if not search.settled]
        if not busy:
            break
        tries = _tried([search.lot for search in busy], [search.next_round() for search in busy], constants)
        for search, found in zip(busy, tries, strict=True):
            search.weigh(found)
    return [(search.best.settled, search.best.about) for search in searches]


def _tried(lots: Sequence[Unsettled], about: Sequence[_Round], constants: TypeConstants) -> list[_Try]:
    """One round: fit, take the derivatives, find the centre."""
    out = []
    for lot, (one, linear) in zip(lots, _fitted(lots, about, constants), strict=True):
        known = lot.known
        readings = share_misfit(linear, one.weight)
        marked, main = _marked_mode(readings, known, lot.share)
        d = _with_session(one.mean - known.centre[:N_PARAMETERS], marked, main, known)
        prior_precision = inverse(known.lot_covariance)
        at, best = main.at(np.stack((known.centre + d, marked.centre))).T
        prior, best_prior = (-0.5 * float(x @ prior_precision @ x) for x in (d, marked.centre - known.centre))
        promise = float(marked.weight @ (best - at)) + best_prior - prior
        told = readings.present.sum(axis=1)[_some(readings.point.shape[0])]
        out.append(_Try(Settled(readings, marked), one, one.mean, told, at, prior, promise))
    return out


def _fitted(
    lots: Sequence[Unsettled], about: Sequence[_Round], constants: TypeConstants, *, hold: bool = False
) -> list[tuple[_Round, Linearised]]:
    """Of each lot the round with what it found, and its readings about the fits. `hold`: the errors of the sessions
    stay as they are; else they are found anew, from there on."""
    out: list[tuple[_Round, Linearised] | None] = [None] * len(lots)
    for numbers in side_by_side([lot.observations for lot in lots], constants):
        joint = join([lots[i].observations for i in numbers])
        misfit = _joined_misfit([lots[i].misfit for i in numbers])
        wide = joint.observations if misfit is None else widened(joint.observations, misfit)
        mine = [about[i] for i in numbers]
        alone = len(mine) == 1
        shared = [one.shared for one in mine if one.shared is not None]
        before = [one.theta for one in mine if one.theta is not None and not hold]
        errors = joint.sessions_in(shared) if shared else None
        fit = fit_parts(
            wide,
            mine[0].mean if alone else np.stack([one.mean for one in mine])[joint.family],
            mine[0].covariance if alone else np.stack([one.covariance for one in mine]),
            constants,
            starts=1 if shared else 3,
            shared=errors if hold else None,
            family=None if alone else joint.family,
            begin=np.concatenate(before) if before else None,
            begin_shared=errors,
        )
        linear = linearise(_in_saturation(joint.observations, fit), fit.theta, constants, misfit)
        for place, number in enumerate(numbers):
            rows = joint.rows_of(place)
            readings = linear if alone else linear.pick(rows).trimmed()
            found = replace(about[number], theta=fit.theta[rows], shared=joint.sessions_out(fit.shared, place))
            out[number] = (found, readings)
    return [one for one in out if one is not None]


def _joined_misfit(of: Sequence[Misfit | None]) -> Misfit | None:
    told = [one for one in of if one is not None]
    if not told:
        return None
    return Misfit(*(np.concatenate([getattr(one, name) for one in told]) for name in ("hfe", "vbe", "vce_sat")))


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
    weight[_some(n)] = 1.0
    return weight


def _some(n: int) -> Ints:
    """Numbers of the parts that find the lot's centre."""
    return even(n) if n > ENOUGH else np.arange(n)


def marked_mode(readings: Linearised, known: Knowledge, share: Share) -> Fitted:
    """The lot's centre, its main population being the marked type."""
    return _marked_mode(readings, known, share)[0]


def _marked_mode(readings: Linearised, known: Knowledge, share: Share) -> tuple[Fitted, Quadratic]:
    readings = readings.pick(_some(readings.point.shape[0]))
    info = information(readings, known.centre)
    main = integrate(info, known.within)
    alternatives = alternatives_of(info, families(known.within, known.device_between))
    nothing = np.full(readings.point.shape[0], -np.inf)
    mode = Mode("as marked", "marked", known.centre, known.lot_covariance, 0.0)
    return fit_mode(mode, main, alternatives, nothing, None, share)[0], main
