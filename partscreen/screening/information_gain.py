"""How much a reading not yet taken is expected to tell about a part: as marked, or one of the alternatives.

After the readings so far every explanation of a part is a Gaussian about its parameters; a new reading, straight in
them, is Gaussian under each. The expected information is the mutual information between "as marked" and the new
reading. Told alternative by alternative and averaged by their probabilities it is an upper bound of that of their
mixture (the Jensen-Shannon divergence is convex) and close to it, because what tells one alternative from the marking
mostly tells the others too; two explanations of unlike spread count as two of like spread as far apart in
Bhattacharyya's sense.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import Linearised
from partscreen.screening.evidence.quadratic import Information, information

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CHUNK = 500  # parts at a time, so that 10,000 fit into memory
MOST_TYPES = 4  # other library types looked at, the likeliest first
_ODDS = np.linspace(-16.0, 16.0, 65)
_LN_D = np.linspace(np.log(0.01), np.log(16.0), 60)


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
        seen += weight.sum(axis=1)
        for c, group in enumerate(menu.groups):
            grid = np.ix_(np.arange(rows.size), group, group)
            apart = bhattacharyya(mean[:, :, group] - base_mean[:, :, group], base_cov[grid], cov[grid])
            terms = weight * two_way(ln_odds[:, None], np.sqrt(8.0 * apart))
            gain[:, c] += terms.sum(axis=1)
            top = terms.argmax(axis=1)
            height = terms[np.arange(rows.size), top]
            told[:, c] = np.where(height > best[:, c], one.columns[top], told[:, c])
            best[:, c] = np.maximum(height, best[:, c])
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


def bhattacharyya(gap: Floats, first: Floats, second: Floats) -> Floats:
    """Bhattacharyya distance of Gaussians; `gap` (n, h, k), covariances (n, k, k); returns (n, h).

    References
    ----------
    D = d' M^-1 d / 8 + ln(det M / sqrt(det A det B)) / 2 with M = (A + B) / 2 (Kailath, IEEE Transactions on
    Communication Technology 15 (1967) 52; memory).
    """
    middle = 0.5 * (first + second)
    along = (gap * np.linalg.solve(middle, gap.transpose(0, 2, 1)).transpose(0, 2, 1)).sum(axis=2) / 8.0
    ln_det = [np.linalg.slogdet(m)[1] for m in (middle, first, second)]
    wider = 0.5 * (ln_det[0] - 0.5 * (ln_det[1] + ln_det[2]))
    return np.asarray(along + np.maximum(wider, 0.0)[:, None])


def two_way(ln_odds: Floats, distance: Floats) -> Floats:
    """Mutual information of a yes-or-no question and a reading of unit spread whose mean moves by `distance`.

    Parameters
    ----------
    ln_odds : natural log of the odds before the reading, broadcastable to `distance`.
    """
    table = _two_way_table()
    d = np.clip(distance, 0.01, 15.99)
    a = (np.clip(ln_odds, -16.0, 16.0) - _ODDS[0]) / (_ODDS[1] - _ODDS[0])
    b = (np.log(d) - _LN_D[0]) / (_LN_D[1] - _LN_D[0])
    a, b = np.broadcast_arrays(a, b)
    i, j = np.minimum(a.astype(int), _ODDS.size - 2), np.minimum(b.astype(int), _LN_D.size - 2)
    u, v = a - i, b - j
    ln = (1 - u) * ((1 - v) * table[i, j] + v * table[i, j + 1])
    ln += u * ((1 - v) * table[i + 1, j] + v * table[i + 1, j + 1])
    small = np.minimum(distance / 0.01, 1.0) ** 2  # below the table the information goes as the square
    return np.asarray(np.exp(ln) * small)


@lru_cache(maxsize=1)
def _two_way_table() -> Floats:
    """ln of the information on the grid of ln odds and ln distance, by Gauss-Hermite quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(121)
    weights = weights / weights.sum()
    d = np.exp(_LN_D)[None, :, None]
    p = expit(_ODDS)[:, None, None]
    odds = _ODDS[:, None, None]
    low = d * nodes - 0.5 * d**2  # ln likelihood ratio of the other explanation, where the first holds
    ln_p, ln_q = -np.logaddexp(0.0, -odds), -np.logaddexp(0.0, odds)
    first = -np.logaddexp(ln_p, ln_q + low) @ weights
    second = -np.logaddexp(ln_q, ln_p - (low + d**2)) @ weights
    value = p[:, :, 0] * first + expit(-_ODDS)[:, None] * second
    return np.asarray(np.log(np.maximum(value, 1e-300)))


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
