"""One to one: which row goes with which column. Every aim is met exactly.

Costs are a matrix (n, m) of finite numbers; infinity forbids a pair. Rows or columns beyond the shorter side stay over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Pairing:
    """Rows and their columns, shape (k,) each, by ascending row; the sum of their costs and the largest."""

    rows: Ints
    columns: Ints
    total: float
    worst: float


def pairing_of(cost: Floats, rows: npt.ArrayLike, columns: npt.ArrayLike) -> Pairing:
    """A pairing with its figures; the sum does not depend on the order of the rows."""
    r, c = np.asarray(rows, dtype=np.int64), np.asarray(columns, dtype=np.int64)
    order = np.argsort(r, kind="stable")
    values = cost[r, c]
    return Pairing(r[order], c[order], math.fsum(values.tolist()), float(values.max(initial=0.0)))


def most_pairs(allowed: Bools) -> int:
    """The largest number of pairs among those allowed."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import maximum_bipartite_matching

    if not allowed.any():
        return 0
    return int(np.count_nonzero(maximum_bipartite_matching(csr_array(allowed), perm_type="column") >= 0))


def best_sum(cost: Floats, count: int | None = None) -> Pairing:
    """The pairing of smallest sum.

    Parameters
    ----------
    cost : array, shape (n, m)
    count : int, optional
        Pairs to make; None: as many as can be.

    Raises
    ------
    ValueError
        NaN or minus infinity among the costs, or more pairs asked for than can be made.

    Notes
    -----
    With fewer pairs than rows and columns, m - k rows and n - k columns that cost nothing are added; two of these
    cannot meet, so exactly k real pairs are left. With forbidden pairs the count is first found by the largest
    matching.
    """
    from scipy.optimize import linear_sum_assignment

    cost = _checked(cost)
    n, m = cost.shape
    can = min(n, m) if np.isfinite(cost).all() else most_pairs(np.isfinite(cost))
    k = can if count is None else count
    if not 0 <= k <= can:
        raise ValueError(f"{k} pairs asked for; {can} can be made of {n} and {m}")
    if k == 0:
        return pairing_of(cost, [], [])
    if k == min(n, m):
        return pairing_of(cost, *linear_sum_assignment(cost))
    padded = np.zeros((n + m - k, m + n - k))
    padded[:n, :m] = cost
    padded[n:, m:] = np.inf
    rows, columns = linear_sum_assignment(padded)
    real = (rows < n) & (columns < m)
    return pairing_of(cost, rows[real], columns[real])


def smallest_worst(cost: Floats, count: int | None = None) -> float:
    """The smallest largest cost that `count` pairs (None: as many as can be) must hold: a threshold search.

    Raises
    ------
    ValueError
        As `best_sum`.
    """
    cost = _checked(cost)
    finite = np.isfinite(cost)
    can = min(cost.shape) if finite.all() else most_pairs(finite)
    k = can if count is None else count
    if not 0 <= k <= can:
        raise ValueError(f"{k} pairs asked for; {can} can be made of {cost.shape[0]} and {cost.shape[1]}")
    if k == 0:
        return 0.0
    levels = np.unique(cost[finite])
    low, high = 0, levels.size - 1
    if k == min(cost.shape):  # every row of the shorter side needs its cheapest entry at least
        side = cost.min(axis=1 if cost.shape[0] <= cost.shape[1] else 0)
        low = int(np.searchsorted(levels, side.max()))
    while low < high:
        middle = (low + high) // 2
        if most_pairs(cost <= levels[middle]) >= k:
            high = middle
        else:
            low = middle + 1
    return float(levels[low])


def worst_then_sum(cost: Floats, count: int | None = None) -> Pairing:
    """Of the pairings with the smallest worst pair, the one of smallest sum."""
    cost = _checked(cost)
    k = best_sum(cost).rows.size if count is None else count
    limit = smallest_worst(cost, k)
    return best_sum(np.where(cost <= limit, cost, np.inf), k)


def most_within(cost: Floats, allowed: Bools, count: int | None = None) -> Pairing:
    """As many pairs among the allowed as can be (`count` at most), and of those choices the one of smallest sum."""
    cost = _checked(cost)
    inside = np.where(allowed, cost, np.inf)
    can = most_pairs(np.isfinite(inside))
    return best_sum(inside, can if count is None else min(count, can))


def greedy_on(values_a: Floats, values_b: Floats) -> Pairing:
    """What is done by hand: the two parts closest in one number go together, then the next two. For comparison."""
    gap = np.abs(values_a[:, None] - values_b[None, :])
    order = np.argsort(gap, axis=None, kind="stable")
    row_left, column_left = np.ones(gap.shape[0], bool), np.ones(gap.shape[1], bool)
    rows, columns = [], []
    for place in order.tolist():
        i, j = divmod(place, gap.shape[1])
        if row_left[i] and column_left[j]:
            row_left[i] = column_left[j] = False
            rows.append(i)
            columns.append(j)
            if len(rows) == min(gap.shape):
                break
    return pairing_of(gap, rows, columns)


def _checked(cost: Floats) -> Floats:
    cost = np.asarray(cost, dtype=float)
    if cost.ndim != 2:
        raise ValueError(f"costs have {cost.ndim} axes; a matrix is expected")
    if np.isnan(cost).any() or np.isneginf(cost).any():
        raise ValueError("a cost is NaN or minus infinity; forbid a pair with plus infinity")
    return cost
