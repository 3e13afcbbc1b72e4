"""Parts unlike any known part: distance from known-good and accepted parts, with a stated rate of false alarms.

Coordinates are what the readings see of the device parameters, in standard deviations of good parts as the process
spreads and the reading errors have them; there good parts have covariance one before any of them is read. Where
enough known-good or accepted parts were read their own covariance is mixed in, weighed after Ledoit and Wolf. A part
is always judged by the others, never by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, chdtri, fdtrc, fdtri

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

ALARM_PER_LOT = 0.01
"""One clean Gaussian lot in a hundred may show a part that is flagged (assumption: a flagged part is held and read
again, which costs minutes)."""

ALARM_PER_PART = 0.0015
"""Besides: a part is flagged only where Student's t of `TAIL_DOF` degrees of freedom has less than this beyond it, so
that heavy-tailed lots keep their good parts."""

TAIL_DOF = 8.0
"""Of the tails a good part is allowed (assumption: real lots are not Gaussian far out)."""

PRIOR_PARTS = 30.0
"""Parts that the assumed spreads are worth before known parts were read (assumption)."""

SCALE_READINGS = 20.0
"""Coordinates that the overall size of the assumed spreads is worth (assumption)."""

LEFT_OUT = 0.002
"""Known parts further out than this probability do not teach (assumption: a good part in 500 is lost)."""

LEAST_OWN_CENTRE = 4
"""Known parts of a lot from which its centre is taken from them; below, the centre given counts."""

_ROUNDS = 20


@dataclass(frozen=True, slots=True)
class OutlierResult:
    """How far each part lies from known parts. First axis the part.

    distance (n,): standard deviations of known parts (Mahalanobis), NaN where nothing was read.
    p (n,): probability that a good part of a heavy-tailed lot lies further out.
    bar (n,): distance above which a part of this lot is flagged.
    flagged (n,). reference (n,): parts that taught centre and covariance. weight_of_spreads: of the assumed spreads in
    the covariance, 1 where no known part was read. method: in words.
    """

    distance: Floats
    p: Floats
    bar: Floats
    flagged: Bools
    reference: Bools
    weight_of_spreads: float
    method: str


@dataclass(frozen=True, slots=True)
class _Taught:
    """Covariance, degrees of freedom and centres that a set of known parts teaches."""

    precision: Floats  # inverse of the summed scatter, prior included
    dof: float  # of that scatter
    centre: Floats  # (n, k) of every part's lot
    count: Floats  # (n,) parts behind that centre; inf where it was given
    weight_of_spreads: float


def outlier_distances(
    points: Floats,
    reference_rows: Bools | None = None,
    *,
    lot: Ints | None = None,
    coordinates: Ints | None = None,
    alarm_per_lot: float = ALARM_PER_LOT,
    prior_parts: float = PRIOR_PARTS,
) -> OutlierResult:
    """Distance of every part from the known parts among them.

    Parameters
    ----------
    points : array, shape (n_parts, n_coordinates)
        Deviation from the centre of the part's lot in standard deviations of good parts; a coordinate that a part's
        readings do not see is 0. NaN: nothing was read.
    reference_rows : bool array, shape (n_parts,), optional
        Known-good and accepted parts; None: all, the strange ones being left out in turn.
    lot : int array, shape (n_parts,), optional
        Lots have centres of their own; None: one lot.
    coordinates : int array, shape (n_parts,), optional
        Number of coordinates each part's readings see; None: all.
    alarm_per_lot : chance that a clean Gaussian lot shows a flagged part.
    prior_parts : parts the assumed spreads are worth; above n_coordinates + 2.

    Raises
    ------
    ValueError
        Shapes that do not go together, or an alarm rate that is no share.

    References
    ----------
    Normal model with inverse-Wishart covariance, its predictive distribution Student's t: d^2 / k ~ F(k, dof) for a
    part left out (Gelman et al., Bayesian Data Analysis, 3.6; memory). Shrinkage: Ledoit and Wolf, A well-conditioned
    estimator for large-dimensional covariance matrices, J. Multivariate Analysis 88, 2004, as in scikit-learn.
    """
    z = np.asarray(points, dtype=float)
    if z.ndim != 2:
        raise ValueError(f"points have shape {z.shape}; (n_parts, n_coordinates) is expected")
    if not 0.0 < alarm_per_lot < 1.0:
        raise ValueError(f"alarm_per_lot is {alarm_per_lot}; a share between 0 and 1 is expected")
    n, k = z.shape
    lots = np.zeros(n, dtype=np.int64) if lot is None else np.asarray(lot, dtype=np.int64)
    read = np.isfinite(z).all(axis=1)
    known = read.copy() if reference_rows is None else read & np.asarray(reference_rows, dtype=bool)
    seen = np.full(n, k, dtype=np.int64) if coordinates is None else np.asarray(coordinates, dtype=np.int64)
    if lots.shape != (n,) or known.shape != (n,) or seen.shape != (n,):
        raise ValueError(f"{n} parts, but lots, reference rows or coordinates of another number")
    if k == 0 or not read.any():
        nothing = np.full(n, np.nan)
        none = np.zeros(n, dtype=np.bool_)
        return OutlierResult(nothing, nothing.copy(), nothing.copy(), none, none.copy(), 1.0, "nothing was read")
    filled = np.where(read[:, None], z, 0.0)
    reference = _first_reference(filled, known, lots, seen)
    for _ in range(_ROUNDS):
        taught = _teach(filled, reference, lots, max(prior_parts, k + 3.0))
        squared, dof = _judge(filled, reference, taught)
        keep = _kept(_tail(squared, seen, dof), known, lots)
        if (keep == reference).all():
            break
        reference = keep
    distance = np.where(read & (seen > 0), np.sqrt(squared), np.nan)
    bar = _bar(read, lots, seen, dof, alarm_per_lot)
    with np.errstate(invalid="ignore"):
        flagged = distance > bar
    p = np.where(read, _tail(squared, seen, _heavy(dof)), np.nan)
    return OutlierResult(distance, p, bar, flagged, reference, taught.weight_of_spreads, _method(taught))


def _bar(read: Bools, lots: Ints, seen: Ints, dof: Floats, alarm_per_lot: float) -> Floats:
    """Distance above which a part is flagged: both kinds of alarm at most at their rates; shape (n,)."""
    _, which = np.unique(lots, return_inverse=True)
    sizes = np.maximum(np.bincount(which, weights=read)[which], 1.0)
    k = np.maximum(seen, 1)
    bars = []
    for level, nu in (
        (-np.expm1(np.log1p(-alarm_per_lot) / sizes), dof),
        (np.full(sizes.shape, ALARM_PER_PART), _heavy(dof)),
    ):
        bars.append(fdtri(k, nu, 1.0 - level) * k * (nu - 2.0) / nu)
    return np.sqrt(np.maximum(*bars))


def _first_reference(z: Floats, known: Bools, lots: Ints, seen: Ints) -> Bools:
    """Known parts near the median of their lot: up to half of a lot may be strange without moving that."""
    squared = np.zeros(z.shape[0])
    for number in np.unique(lots):
        mine = lots == number
        rows = mine & known
        if rows.sum() >= LEAST_OWN_CENTRE:
            away = z[mine] - np.median(z[rows], axis=0)
            squared[mine] = (away**2).sum(axis=1)
        else:
            squared[mine] = (z[mine] ** 2).sum(axis=1)
    if not known.any():
        return known
    usual = np.asarray(chdtri(np.maximum(seen, 1), 0.5))
    size = max(float(np.median(squared[known] / usual[known])), 1e-12)
    return _kept(np.asarray(chdtrc(np.maximum(seen, 1), squared / size)) * 0.1, known, lots)


def _kept(p: Floats, known: Bools, lots: Ints) -> Bools:
    """Known parts that teach: all but the far ones, and never less than half of a lot's."""
    keep = known & (p > LEFT_OUT)
    for number in np.unique(lots[known]):
        rows = np.flatnonzero(known & (lots == number))
        half = (rows.size + 1) // 2
        if keep[rows].sum() < half:
            keep[rows[np.argsort(-p[rows], kind="stable")[:half]]] = True
    return keep


def _teach(z: Floats, reference: Bools, lots: Ints, prior_parts: float) -> _Taught:
    n, k = z.shape
    centre, count = np.zeros((n, k)), np.full(n, np.inf)
    away = np.zeros((0, k))
    dof = 0.0
    for number in np.unique(lots):
        mine = lots == number
        rows = mine & reference
        m = int(rows.sum())
        if m >= LEAST_OWN_CENTRE:
            centre[mine], count[mine] = z[rows].mean(axis=0), m
            dof += m - 1
        else:
            dof += m
        away = np.concatenate((away, z[rows] - centre[rows]))
    size, worth = _shrinkage(away, dof, prior_parts)
    scatter = size * (worth - k - 1.0) * np.eye(k) + away.T @ away
    total = worth + dof
    return _Taught(np.asarray(np.linalg.inv(scatter)), total, centre, count, worth / total)


def _shrinkage(away: Floats, dof: float, prior_parts: float) -> tuple[float, float]:
    """Size of the assumed covariance (1: as assumed), and the number of parts its shape is worth."""
    m, k = away.shape
    if m < LEAST_OWN_CENTRE:
        return 1.0, prior_parts
    size = (SCALE_READINGS + float((away**2).sum())) / (SCALE_READINGS + dof * k)
    if k == 1 or m <= 2:
        return size, prior_parts
    from sklearn.covariance import ledoit_wolf_shrinkage

    share = float(ledoit_wolf_shrinkage(away * np.sqrt(m / max(dof, 1.0)), assume_centered=True))
    # Never surer of the shape of the assumed covariance than `prior_parts`, however well the parts agree with it.
    worth = prior_parts if share > 0.999 else share / (1.0 - share) * dof
    return size, float(np.clip(worth, k + 3.0, prior_parts))


def _judge(z: Floats, reference: Bools, taught: _Taught) -> tuple[Floats, Floats]:
    """Squared distance of every part from the others in standard deviations, and the degrees of freedom behind it."""
    k = z.shape[1]
    away = z - taught.centre
    inside = np.einsum("nk,kl,nl->n", away, taught.precision, away)
    own = np.isfinite(taught.count)
    m = np.where(own, taught.count, 2.0)
    # A reference part taken out again: e'(P - c e e')^-1 e = q / (1 - c q), its lot's mean moving by the factor c.
    c = np.where(own, m / (m - 1.0), 1.0)
    left = np.maximum(1.0 - c * inside, 1e-9)
    outside = np.where(reference, c**2 * inside / left, inside)
    others = np.where(own, m - reference, np.inf)
    dof = taught.dof - reference - k + 1.0
    return np.asarray(outside * (dof - 2.0) / (1.0 + 1.0 / others)), np.asarray(dof)


def _heavy(dof: Floats) -> Floats:
    """Degrees of freedom of the tails, those of the covariance included (variances of ln scale add up)."""
    return np.asarray(1.0 / (1.0 / TAIL_DOF + 1.0 / dof))


def _tail(squared: Floats, seen: Ints, dof: Floats) -> Floats:
    """Probability that a good part lies further out, tails as Student's t of `dof` has them."""
    k = np.maximum(seen, 1)
    return np.where(seen > 0, fdtrc(k, dof, squared / k * dof / (dof - 2.0)), 1.0)


def _method(taught: _Taught) -> str:
    share = taught.weight_of_spreads
    if share > 0.999:
        return "distance by the assumed spreads and the errors of the readings alone"
    return (
        "distance by the covariance of known-good and accepted parts, mixed with the assumed spreads "
        f"(weight {share:.2f}, Ledoit-Wolf)"
    )
