"""How much a reading not yet taken is expected to tell about a part: as marked, or one of the alternatives.

After the readings so far every explanation of a part is a Gaussian about its parameters; a new reading, straight in
them, is Gaussian under each. The expected information is the mutual information between "as marked" and the new
reading. The alternatives of one family lie along a line, so that the information against the family is an integral over
one variable, alternatives on either side of the marking included. Families are then averaged by their probabilities: an
upper bound of the information against all of them together (the Jensen-Shannon divergence is convex). Explanations of
unlike spread count as such of like spread, as far apart in Bhattacharyya's sense.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import Linearised
from partscreen.screening.evidence.quadratic import Information, information

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CHUNK = 500  # parts at a time, so that 10,000 fit into memory
MOST_TYPES = 4  # other library types looked at, the likeliest first
_FAR = 8.0  # standard deviations; further apart two explanations are told apart for certain
_GRID = np.arange(-_FAR - 4.0, _FAR + 4.01, 0.4)  # trapezoids of this step are exact for smooth sums of Gaussians


@dataclass(frozen=True, slots=True)
class Menu:
    """Readings that could be taken of each part, about the part's own fit.

    jacobian : (n_parts, n_rows, q). variance : (n_parts, n_rows), of the reading alone. A row that tells nothing has a
    zero jacobian and variance 1. groups : per candidate, the rows that are read together.
    """

    jacobian: Floats
    variance: Floats
    groups: tuple[Ints, ...]


@dataclass(frozen=True, slots=True)
class Gain:
    """information : (n_parts, n_candidates), expected, in nats. open : (n_parts,), entropy of "as marked" or not, what
    is still open. told : (n_parts, n_candidates), number of the alternative the candidate tells most about.
    """

    information: Floats
    open: Floats
    told: Ints


@dataclass(frozen=True, slots=True)
class _Explanations:
    """Explanations of one spread: their columns in `Weighed.probability`, means (n, h, q), spread (n, q, q)."""

    columns: Ints
    means: Floats
    spread: Floats


def expected_gain(readings: Linearised, weighed: Weighed, known: Knowledge, menu: Menu) -> Gain:
    """Expected information of every candidate for every part, first axis the part."""
    n = readings.point.shape[0]
    shape = (n, len(menu.groups))
    out, told = np.zeros(shape), np.zeros(shape, dtype=np.int64)
    for start in range(0, n, CHUNK):
        rows = np.arange(start, min(start + CHUNK, n))
        out[rows], told[rows] = _chunk(readings.pick(rows), rows, weighed, known, menu)
    return Gain(out, entropy(weighed.probability[:, 0]), told)


def entropy(probability: Floats) -> Floats:
    """Of a yes-or-no question, in nats."""
    p = np.clip(probability, 1e-300, 1.0)
    q = np.clip(1.0 - probability, 1e-300, 1.0)
    return np.asarray(-p * np.log(p) - q * np.log(q))


def _chunk(readings: Linearised, rows: Ints, weighed: Weighed, known: Knowledge, menu: Menu) -> tuple[Floats, Ints]:
    info = information(readings, known.centre)
    marked, others = _explanations(rows, weighed, known)
    jac, variance = menu.jacobian[rows], menu.variance[rows]
    base_mean, base_cov = _predicted(info, marked, known.centre, jac, variance)
    probability = weighed.probability[rows]
    share = probability / np.maximum(1.0 - probability[:, :1], 1e-300)
    ln_odds = np.log(np.maximum(probability[:, 0], 1e-300)) - np.log(np.maximum(1.0 - probability[:, 0], 1e-300))
    gain = np.zeros((rows.size, len(menu.groups)))
    best, told = np.full(gain.shape, -1.0), np.zeros(gain.shape, dtype=np.int64)
    seen = np.zeros(rows.size)
    for one in others:
        mean, cov = _predicted(info, one, known.centre, jac, variance)
        weight = share[:, one.columns]
        whole = weight.sum(axis=1)
        seen += whole
        for c, group in enumerate(menu.groups):
            grid = np.ix_(np.arange(rows.size), group, group)
            place = line_places(mean[:, :, group] - base_mean[:, :, group], base_cov[grid], cov[grid])
            told_now = whole * mixture_information(ln_odds, place, weight)
            gain[:, c] += told_now
            top = (weight * np.minimum(place**2, 9.0)).argmax(axis=1)
            told[:, c] = np.where(told_now > best[:, c], one.columns[top], told[:, c])
            best[:, c] = np.maximum(told_now, best[:, c])
    return gain / np.maximum(seen, 1e-300)[:, None], told


def _explanations(rows: Ints, weighed: Weighed, known: Knowledge) -> tuple[_Explanations, list[_Explanations]]:
    centre, about = weighed.centre[rows][:, None, :], weighed.centre_covariance[rows]
    marked = _Explanations(np.zeros(1, dtype=np.int64), centre, about + known.within)
    others: list[_Explanations] = []
    place = 1
    for family in families(known.within, known.device_between):
        columns = np.arange(place, place + len(family.names))
        others.append(_Explanations(columns, centre + family.shifts, about + family.spread))
        place += len(family.names)
    types = weighed.probability[rows, place:].sum(axis=0)
    for i in np.argsort(-types)[:MOST_TYPES].tolist():
        other = known.others[i]
        spread = np.broadcast_to(other.covariance + known.session, about.shape)
        means = np.broadcast_to(other.mean, centre.shape)
        others.append(_Explanations(np.array([place + i]), means, spread))
    return marked, others


def _predicted(
    info: Information, of: _Explanations, origin: Floats, jac: Floats, variance: Floats
) -> tuple[Floats, Floats]:
    """Mean (n, h, k), up to what all explanations share, and covariance (n, k, k) of the menu's readings."""
    eye = np.eye(origin.size)
    after = np.linalg.solve(eye + of.spread @ info.precision, of.spread)  # (S^-1 + A)^-1 without inverting S
    after = 0.5 * (after + after.transpose(0, 2, 1))
    before = of.means - origin
    pull = info.score[:, None, :] - before @ info.precision
    mean = before + pull @ after
    seen = jac @ after @ jac.transpose(0, 2, 1)
    diagonal = np.arange(jac.shape[1])
    seen[:, diagonal, diagonal] += variance
    return np.asarray(mean @ jac.transpose(0, 2, 1)), np.asarray(seen)


def line_places(gap: Floats, first: Floats, second: Floats) -> Floats:
    """Where the explanations of a family stand on a line with the marking at zero, in standard deviations.

    Parameters
    ----------
    gap : (n, h, k), means of the readings less those as marked
    first, second : (n, k, k), covariances as marked and of the family

    Returns
    -------
    array, shape (n, h): signed distances, sqrt(8 B) with B of `bhattacharyya`; the sign tells the side of the marking.
    """
    furthest = np.abs(gap).sum(axis=2).argmax(axis=1)
    along = _solve(0.5 * (first + second), gap[np.arange(gap.shape[0]), furthest][:, None])
    side = np.where((gap * along).sum(axis=2) < 0.0, -1.0, 1.0)
    return np.asarray(side * np.sqrt(8.0 * bhattacharyya(gap, first, second)))


def _solve(covariance: Floats, rows: Floats) -> Floats:
    """`rows` (n, h, k) times the inverse of `covariance` (n, k, k)."""
    if covariance.shape[1] == 1:
        return np.asarray(rows / covariance)
    return np.asarray(np.linalg.solve(covariance, rows.transpose(0, 2, 1)).transpose(0, 2, 1))


def bhattacharyya(gap: Floats, first: Floats, second: Floats) -> Floats:
    """Bhattacharyya distance of Gaussians; `gap` (n, h, k), covariances (n, k, k); returns (n, h).

    References
    ----------
    D = d' M^-1 d / 8 + ln(det M / sqrt(det A det B)) / 2 with M = (A + B) / 2 (Kailath, IEEE Transactions on
    Communication Technology 15 (1967) 52; memory).
    """
    middle = 0.5 * (first + second)
    along = (gap * _solve(middle, gap)).sum(axis=2) / 8.0
    wider = 0.5 * (_ln_det(middle) - 0.5 * (_ln_det(first) + _ln_det(second)))
    return np.asarray(along + np.maximum(wider, 0.0)[:, None])


def _ln_det(matrices: Floats) -> Floats:
    """Of covariances, shape (n, k, k)."""
    if matrices.shape[1] == 1:
        return np.asarray(np.log(matrices[:, 0, 0]))
    return np.asarray(np.linalg.slogdet(matrices)[1])


def mixture_information(ln_odds: Floats, place: Floats, weight: Floats) -> Floats:
    """Mutual information of a yes-or-no question and a reading of unit spread. [nat]

    Parameters
    ----------
    ln_odds : (n,), natural log of the odds of "yes" before the reading
    place : (n, h), mean of the reading under each way of "no"; under "yes" it is zero
    weight : (n, h), of the ways of "no", to any sum
    """
    x = np.clip(place, -_FAR, _FAR)
    w = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-300)
    ln_p, ln_q = -np.logaddexp(0.0, -ln_odds)[:, None], -np.logaddexp(0.0, ln_odds)[:, None]
    yes = np.exp(-0.5 * _GRID**2)
    no = (w[:, :, None] * np.exp(-0.5 * (_GRID - x[:, :, None]) ** 2)).sum(axis=1)
    ln_ratio = np.log(np.maximum(no, 1e-300)) + 0.5 * _GRID**2
    ln_both = np.logaddexp(ln_p, ln_q + ln_ratio)  # of the reading's density, over that under "yes"
    total = np.exp(ln_p) * (yes * -ln_both) + np.exp(ln_q) * (no * (ln_ratio - ln_both))
    step = _GRID[1] - _GRID[0]
    return np.asarray(np.maximum(total.sum(axis=1) * step / np.sqrt(2.0 * np.pi), 0.0))


def best_of(
    gain: Gain, minutes: Sequence[float], allowed: npt.NDArray[np.bool_], *, useful: float, worth: float, near: float
) -> Ints:
    """The candidate of each part that tells most per minute, the quickest of those nearly as good; -1: none useful.

    Parameters
    ----------
    allowed : (n_parts, n_candidates)
    useful : least share of what is open that a reading must be expected to settle
    worth : ... and least share of what the most telling one on offer would; less only delays the answer
    near : rates above this share of the best count as equal
    """
    cost = np.asarray(minutes, dtype=float)
    most = np.where(allowed, gain.information, 0.0).max(axis=1, initial=0.0)
    least = np.maximum(useful * gain.open, worth * most)
    fit = allowed & (gain.information >= least[:, None]) & (gain.information > 0.0)
    rate = np.where(fit, gain.information / cost, -1.0)
    equal = fit & (rate >= near * rate.max(axis=1, initial=-1.0)[:, None])
    quickest = np.where(equal, cost - 1e-9 * rate, np.inf)
    out = quickest.argmin(axis=1) if cost.size else np.zeros(rate.shape[0], dtype=np.int64)
    return np.where(fit.any(axis=1), out, -1).astype(np.int64)
