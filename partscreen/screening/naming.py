"""Naming the die: which library types the readings of a part resemble, and which of them they cannot tell apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, logsumexp

from partscreen.results import ClosestType
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.knowledge import Knowledge, TypeCentre, session_block
from partscreen.screening.evidence.linear import Linearised
from partscreen.screening.evidence.mode_terms import MARKED
from partscreen.screening.evidence.weigh import factor, whiten

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

NONE_OF_THESE = "none of these"

NONE_WEIGHT = 0.1
"""Prior probability of a die that the library does not hold (assumption)."""

NONE_WIDER = 4.0
"""Variance of such a die about the middle of the library, over that of the library's types (assumption)."""

MISFIT = 1e-3
"""No type is named alone where a part of the best one would fit better in all but this share (assumption)."""

SAME = 0.95
"""Overlap (Bhattacharyya coefficient of the predicted readings) from which two types count as one: the best rule then
takes one for the other in a third of the cases or more, (1 - sqrt(1 - 0.95^2)) / 2 = 0.34."""

LEAST_SHOWN = 0.005


@dataclass(frozen=True, slots=True)
class Naming:
    """Posterior over dies. First axis the part.

    types: names. probability (n, t): of each type. none (n,): of a die the library does not hold; all together sum to
    one. misfit_p (n, t): probability that a part of the type fits worse.
    """

    types: tuple[str, ...]
    probability: Floats
    none: Floats
    misfit_p: Floats

    @property
    def unnamed(self) -> Bools:
        """Parts that no type of the library fits, shape (n,)."""
        return np.asarray(self.misfit_p.max(axis=1, initial=0.0) < MISFIT)


def name_dies(
    readings: Linearised,
    candidates: Sequence[TypeCentre],
    session: Floats,
    *,
    weights: Floats | None = None,
    none_weight: float = NONE_WEIGHT,
    library: Sequence[TypeCentre] | None = None,
) -> Naming:
    """Which of the candidates every part is, all of them known as their data sheets or known-good parts have them.

    Parameters
    ----------
    readings : of n parts, about their own fits
    candidates : types of the polarity, each one part of an unknown lot of it
    session : array, shape (q, q)
        Covariance of the errors that a session shares.
    weights : array, shape (n_types,), optional
        Prior weights of the types; None: alike.
    none_weight : prior probability of a die that is not among them
    library : types about whose middle such a die lies; None: the candidates

    Raises
    ------
    ValueError
        No candidates.
    """
    if not candidates:
        raise ValueError("no types to name a die from: the library holds no other type of this polarity with ratings")
    share = np.full(len(candidates), 1.0) if weights is None else np.asarray(weights, dtype=float)
    ln_prior = np.log(np.maximum(share / share.sum(), 1e-300)) + np.log1p(-none_weight)
    count = np.maximum(readings.present.sum(axis=1), 1)
    ln_p, misfit = [], []
    for one in candidates:
        squared, ln_det = _distance(readings, one.mean, one.covariance + session)
        ln_p.append(-0.5 * (squared + ln_det))
        misfit.append(chdtrc(count, squared))
    stacked = np.stack(ln_p, axis=1)
    squared, ln_det = _distance(readings, *_middle(library or candidates, session))
    nothing = -0.5 * (squared + ln_det) + np.log(none_weight)
    everything = np.concatenate((stacked + ln_prior, nothing[:, None]), axis=1)
    probability = np.exp(everything - logsumexp(everything, axis=1, keepdims=True))
    return Naming(tuple(c.name for c in candidates), probability[:, :-1], probability[:, -1], np.stack(misfit, axis=1))


def _distance(readings: Linearised, mean: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Squared distance of the readings from what a type predicts, and ln of the determinant of its covariance."""
    lower = factor(readings, covariance)
    gap = readings.residual + np.einsum("nkq,nq->nk", readings.jacobian, readings.point - mean)
    squared = (whiten(lower, gap[:, :, None])[:, :, 0] ** 2).sum(axis=1)
    diagonal = np.log(np.diagonal(lower, axis1=1, axis2=2))
    return squared, 2.0 * np.where(readings.present, diagonal, 0.0).sum(axis=1)


def _middle(candidates: Sequence[TypeCentre], session: Floats) -> tuple[Floats, Floats]:
    """Centre and covariance of a die that the library does not hold: about the middle of it, and wider."""
    means = np.stack([c.mean for c in candidates])
    centre = means.mean(axis=0)
    away = means - centre
    spread = away.T @ away / len(candidates) + np.mean([c.covariance for c in candidates], axis=0)
    return centre, NONE_WIDER * spread + session


def equivalence_classes(
    readings: Linearised, candidates: Sequence[TypeCentre], session: Floats, *, overlap: float = SAME
) -> tuple[tuple[int, ...], ...]:
    """Types that these readings cannot tell apart, by number; every type is in one class, alone where it stands alone.

    All members of a class overlap each other, so that a chain of neighbours does not become one class.

    Parameters
    ----------
    readings : of parts; the reading conditions and derivatives of the fullest part count
    overlap : least Bhattacharyya coefficient within a class

    References
    ----------
    Bhattacharyya distance of two Gaussians, d' S^-1 d / 8 + ln(det S / sqrt(det S1 det S2)) / 2 with S their mean
    covariance; error of the best rule at least (1 - sqrt(1 - c^2)) / 2 (Kailath, IEEE Trans. Communication Technology
    15, 1967; memory).
    """
    t = len(candidates)
    if t < 2 or not readings.point.shape[0]:
        return tuple((i,) for i in range(t))
    from scipy.cluster.hierarchy import fcluster, linkage

    means, covariances = _predicted(readings, candidates, session)
    first, second = np.triu_indices(t, 1)
    ln_det = np.linalg.slogdet(covariances)[1]
    gap = np.empty(first.size)
    for at in np.array_split(np.arange(first.size), max(1, first.size // 500)):
        i, j = first[at], second[at]
        middle = 0.5 * (covariances[i] + covariances[j])
        d = means[i] - means[j]
        away = np.einsum("pk,pk->p", d, np.linalg.solve(middle, d[:, :, None])[:, :, 0])
        gap[at] = away / 8.0 + 0.5 * (np.linalg.slogdet(middle)[1] - 0.5 * (ln_det[i] + ln_det[j]))
    label = fcluster(linkage(np.maximum(gap, 0.0), "complete"), -np.log(overlap), "distance")
    return tuple(tuple(np.flatnonzero(label == c).tolist()) for c in np.unique(label))


def _predicted(readings: Linearised, candidates: Sequence[TypeCentre], session: Floats) -> tuple[Floats, Floats]:
    """Readings that each type predicts: means (t, k) and covariances (t, k, k)."""
    fullest = int(readings.present.sum(axis=1).argmax())
    rows = readings.present[fullest]
    jac = readings.jacobian[fullest][rows]
    noise = np.diag(readings.std[fullest][rows] ** 2) + jac @ session @ jac.T
    means = np.stack([jac @ c.mean for c in candidates])
    return means, np.stack([jac @ c.covariance @ jac.T + noise for c in candidates])


def closest_types(
    naming: Naming, classes: Sequence[Sequence[int]] | None = None, *, top: int = 3
) -> list[list[ClosestType]]:
    """The likeliest types of every part, classes under their joined names, "none of these" where none may fit.

    "none of these" stands first where it is likeliest or where no type of the library fits; its probability is then
    the larger of its own and of one less the fit's.
    """
    groups = [(i,) for i in range(len(naming.types))] if classes is None else [tuple(c) for c in classes]
    names = [" or ".join(sorted(naming.types[i] for i in group)) for group in groups]
    shares = np.stack([naming.probability[:, list(group)].sum(axis=1) for group in groups], axis=1)
    fit = naming.misfit_p.max(axis=1, initial=0.0)
    none = np.where(naming.unnamed, np.maximum(naming.none, 1.0 - fit), naming.none)
    total = shares.sum(axis=1)
    shares = shares * ((1.0 - none) / np.where(total > 0, total, 1.0))[:, None]
    out = []
    for i in range(shares.shape[0]):
        best = [g for g in np.argsort(-shares[i], kind="stable")[:top].tolist() if shares[i, g] >= LEAST_SHOWN]
        row = [ClosestType(type=names[g], probability=float(shares[i, g])) for g in best]
        if none[i] >= LEAST_SHOWN and (not row or none[i] > row[-1].probability):
            row = sorted([*row, ClosestType(type=NONE_OF_THESE, probability=float(none[i]))], key=_falling)
        out.append(row)
    return out


def _falling(one: ClosestType) -> float:
    return -one.probability


def name_weighed(
    readings: Linearised, weighed: Weighed, known: Knowledge, marked: str, *, top: int = 3
) -> list[list[ClosestType]]:
    """The likeliest types of the parts of a weighed lot, the marked type among them where its lot has it.

    Between the types it is the lot's weighing that counts; a part of the marked die with a fault is of the marked
    type. What is neither (a die of another area, a lower grade) is told by the types that resemble it.
    """
    mean, about = weighed.centre.mean(axis=0), known.within + weighed.centre_covariance.mean(axis=0)
    everyone = [TypeCentre(marked, mean, about - session_block(about)), *known.others]
    sound = [i for i, kind in enumerate(weighed.kinds) if kind == "unfit" or weighed.names[i] == MARKED]
    sound = [i for i in sound if weighed.names[i] != "unlike any known part"]
    place = {name: i for i, name in enumerate(weighed.names)}
    columns = [weighed.probability[:, sound].sum(axis=1)]
    columns += [weighed.probability[:, place[f"die of {o.name}"]] for o in known.others]
    shares = np.stack(columns, axis=1)
    shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), 1e-300)
    # Types that no part resembles are not worked out again.
    kept = [t for t in range(len(everyone)) if t == 0 or shares[:, t].max(initial=0.0) >= LEAST_SHOWN]
    candidates = [everyone[t] for t in kept]
    apart = name_dies(readings, candidates, known.session, library=everyone)
    named = Naming(apart.types, shares[:, kept] * (1.0 - apart.none)[:, None], apart.none, apart.misfit_p)
    return closest_types(named, equivalence_classes(readings, candidates, known.session), top=top)
