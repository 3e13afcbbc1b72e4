"""Outliers of a lot: the device parameters its readings see, the distance of each part from known parts, and whether
any hypothesis explains a strange one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, chdtri, fdtri

from partscreen.results import Reason
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.condense import condense, dropped
from partscreen.screening.evidence.engine import expected
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import Linearised
from partscreen.screening.evidence.weigh import factor, whiten
from partscreen.screening.outliers.model import (
    ALARM_PER_LOT,
    ALARM_PER_PART,
    LEAST_OWN_CENTRE,
    TAIL_DOF,
    OutlierResult,
    outlier_distances,
)

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

LEAST_SIGNAL = 1.0
"""A direction of the parameters counts as seen where the parts' spread along it is at least the readings' error."""

UNEXPLAINED = 1e-3
"""No hypothesis explains a part where under each of them a larger misfit is rarer than this (assumption)."""

UNLIKE = "unlike any known part"
SOURCE = "robust distance with a covariance after Ledoit and Wolf (2004); rate of false alarms simulated"


@dataclass(frozen=True, slots=True)
class Seen:
    """What the readings see of the parameters. First axis the part.

    points (n, k): in standard deviations of good parts; 0 along a direction a part's readings do not see.
    coordinates (n,): directions each part's readings see. rest, rest_dof (n,): chi-square of what no parameters of a
    good part explain, and its degrees of freedom.
    """

    points: Floats
    coordinates: Ints
    rest: Floats
    rest_dof: Ints


@dataclass(frozen=True, slots=True)
class LotOutliers:
    """Outliers of one lot. `found`: distances; `misfit` (n,): what no parameters explain, 1 as expected; `misfit_flag`;
    `explained` (n,): largest probability of such readings under any hypothesis but "unlike any known part"; NaN for
    parts that are not far out.
    """

    found: OutlierResult
    misfit: Floats
    misfit_flag: Bools
    explained: Floats

    @property
    def flagged(self) -> Bools:
        """Far from known parts, and explained by no hypothesis: to be held."""
        with np.errstate(invalid="ignore"):
            return np.asarray((self.found.flagged | self.misfit_flag) & (self.explained < UNEXPLAINED))

    @property
    def distance(self) -> Floats:
        """For the result, shape (n,); NaN where nothing was read."""
        return self.found.distance


def seen_by(readings: Linearised, centre: Floats, spread: Floats, *, along: Floats | None = None) -> Seen:
    """Deviation of every part from its lot's centre along the directions that the readings see.

    Parameters
    ----------
    centre : array, shape (q,) or (n_parts, q)
    spread : array, shape (q, q)
        Of good parts about that centre.
    along : array, shape (q, k), optional
        From `seen_directions` of another lot, so that lots share coordinates.
    """
    root = _root(spread)
    pull, kernel = _score(readings, centre, root)
    turn = seen_directions(readings, spread) if along is None else along
    # The score along the directions has covariance M + M M for good parts; its symmetric root brings that to one.
    cov = turn.T @ (kernel + kernel @ kernel) @ turn
    values, vectors = np.linalg.eigh(cov)
    sees = values > 1e-6 * max(float(values.max(initial=0.0)), 1e-12)
    scale = np.where(sees, 1.0 / np.sqrt(np.where(sees, values, 1.0)), 0.0)
    points = np.einsum("nab,nb,ncb,nc->na", vectors, scale, vectors, pull @ turn)
    lower = factor(readings, spread)
    z = whiten(lower, _gap(readings, centre)[:, :, None])[:, :, 0]
    coordinates = sees.sum(axis=1)
    dof = readings.present.sum(axis=1) - coordinates
    rest = np.where(dof > 0, np.maximum((z**2).sum(axis=1) - (points**2).sum(axis=1), 0.0), 0.0)
    return Seen(points, coordinates.astype(np.int64), rest, np.maximum(dof, 0).astype(np.int64))


def seen_directions(readings: Linearised, spread: Floats) -> Floats:
    """Directions of good parts' spread that the readings of the lot see above their own error, shape (r, k)."""
    root = _root(spread)
    _, kernel = _score(readings, readings.point, root)
    values, vectors = np.linalg.eigh(kernel.mean(axis=0))
    least = min(LEAST_SIGNAL, 0.999 * float(values.max()))  # the best direction counts where none is seen so well
    return np.asarray(vectors[:, values > max(least, 1e-6)][:, ::-1])


def _root(spread: Floats) -> Floats:
    values, vectors = np.linalg.eigh(spread)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    return np.asarray(root[:, values > 1e-14 * values.max()])


def _gap(readings: Linearised, centre: Floats) -> Floats:
    away = readings.point - centre
    return np.asarray(readings.residual + np.einsum("nkq,nq->nk", readings.jacobian, away))


def _score(readings: Linearised, centre: Floats, root: Floats) -> tuple[Floats, Floats]:
    seen = readings.jacobian @ root / readings.std[:, :, None]
    seen_t = seen.transpose(0, 2, 1)
    return np.einsum("nrk,nk->nr", seen_t, _gap(readings, centre) / readings.std), seen_t @ seen


def find_outliers(
    readings: Linearised,
    weighed: Weighed,
    known: Knowledge,
    *,
    reference: Bools | None = None,
    teachers: Sequence[tuple[Linearised, Floats]] = (),
    alarm_per_lot: float = ALARM_PER_LOT,
) -> LotOutliers:
    """Parts of a lot that are like no known part.

    Parameters
    ----------
    readings, weighed, known : the lot, weighed
    reference : bool array, shape (n_parts,), optional
        Parts that may teach; None: those with evidence at or below 0, all where the lot's main population is not the
        marked type.
    teachers : (readings about their own fits, centre (q,)) of known-good lots; their own centre is taken from them
        where they are `LEAST_OWN_CENTRE` or more.
    """
    n = readings.point.shape[0]
    if reference is None:
        reference = weighed.evidence <= 0.0
        if weighed.main_unfit > 0.5 or not reference.any():
            reference = np.ones(n, dtype=np.bool_)
    own_centre = int(reference.sum()) > LEAST_OWN_CENTRE
    centre, about = weighed.centre.mean(axis=0), known.within
    if not own_centre:  # too few to tell their centre: the engine's, as uncertain as it is
        about = known.within + weighed.centre_covariance.mean(axis=0)
    along = seen_directions(readings, about)
    mine = seen_by(readings, centre if own_centre else weighed.centre, about, along=along)
    others = [seen_by(o, c, about, along=along) for o, c in teachers]
    everyone = [mine, *others]
    lot = np.repeat(np.arange(len(everyone)), [s.points.shape[0] for s in everyone])
    points = np.concatenate([s.points for s in everyone])
    points[np.concatenate([s.coordinates for s in everyone]) == 0] = np.nan
    found = outlier_distances(
        points,
        np.concatenate((reference, np.ones(points.shape[0] - n, dtype=np.bool_))),
        lot=lot,
        coordinates=np.concatenate([s.coordinates for s in everyone]),
        alarm_per_lot=alarm_per_lot,
    )
    found = _first(found, n)
    misfit, misfit_flag = _misfit(mine, reference)
    explained = np.full(n, np.nan)
    far = np.flatnonzero(found.flagged | misfit_flag)
    if far.size:
        explained[far] = best_explanation(
            readings.pick(far), weighed.centre[far], weighed.centre_covariance[far], known
        )
    return LotOutliers(found, misfit, misfit_flag, explained)


def _first(found: OutlierResult, n: int) -> OutlierResult:
    return OutlierResult(
        found.distance[:n], found.p[:n], found.bar[:n], found.flagged[:n], found.reference[:n],
        found.weight_of_spreads, found.method,
    )  # fmt: skip


def _misfit(seen: Seen, reference: Bools) -> tuple[Floats, Bools]:
    """What no parameters explain, per degree of freedom against the lot's usual; and where it is far outside."""
    dof = np.maximum(seen.rest_dof, 1)
    ratio = seen.rest / dof
    taught = reference & (seen.rest_dof > 0)
    usual = float(np.median((seen.rest / chdtri(dof, 0.5))[taught])) if taught.sum() >= LEAST_OWN_CENTRE else 1.0
    ratio = ratio / max(usual, 1.0)  # readings better than stated are no reason for a stricter bar
    bar = fdtri(dof, TAIL_DOF, 1.0 - ALARM_PER_PART) * (TAIL_DOF - 2.0) / TAIL_DOF
    return np.where(seen.rest_dof > 0, ratio, np.nan), (seen.rest_dof > 0) & (ratio > bar)


def best_explanation(readings: Linearised, centre: Floats, about: Floats, known: Knowledge) -> Floats:
    """Largest probability, over the hypotheses, of readings that fit one no better than these; shape (n,).

    `centre` (n, q), `about` (n, q, q): the lot's centre as seen from the rest of the lot, and its covariance. "Unlike
    any known part" explains nothing and is left out.
    """
    n = readings.point.shape[0]
    count = readings.present.sum(axis=1)
    best = np.zeros(n)

    few = condense(readings, expected(known))  # what no hypothesis expects anything of is common to all
    rest = dropped(readings, few)[:, None]

    def weigh(means: Floats, covariance: Floats) -> None:
        shift = np.broadcast_to(means, (n, *means.shape[-2:])) - few.point[:, None, :]
        gap = few.residual[:, :, None] - few.jacobian @ shift.transpose(0, 2, 1)
        squared = (whiten(factor(few, covariance), gap) ** 2).sum(axis=1) + rest
        np.maximum(best, chdtrc(np.maximum(count, 1)[:, None], squared).max(axis=1), out=best)

    weigh(centre[:, None, :], known.within + about)
    for family in families(known.within, known.device_between):
        if family.names != (UNLIKE,):
            weigh(centre[:, None, :] + family.shifts, family.spread + about)
    for other in known.others:
        weigh(other.mean[None], other.covariance + known.session)
    return np.where(count > 0, best, 1.0)


def outlier_reason(found: LotOutliers, part: int) -> Reason | None:
    """Why part number `part` of the lot is held as unlike any known part; None where it is not."""
    if not found.flagged[part]:
        return None
    distance, bar = float(found.found.distance[part]), float(found.found.bar[part])
    known = int(found.found.reference.sum())
    if found.found.flagged[part]:
        told = f"it lies {distance:.1f} standard deviations from {known} known parts (bar {bar:.1f})"
    else:
        told = f"its readings scatter {found.misfit[part]:.1f} times as much about any transistor as those of the lot"
    figures: dict[str, float | int | str | None] = {
        "distance": distance, "bar": bar, "known_parts": known, "misfit": _number(found.misfit[part]),
        "p_good_part": float(found.found.p[part]), "p_best_hypothesis": float(found.explained[part]),
        "weight_of_spreads": found.found.weight_of_spreads,
    }  # fmt: skip
    sentence = f"Unlike any known part: {told}, and neither another die nor a known fault explains it; read it again."
    return Reason(code="UNLIKE_KNOWN_PARTS", sentence=sentence, figures=figures, source=SOURCE)


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
