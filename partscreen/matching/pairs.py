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
    cost = _checked(cost)
    n, m = cost.shape
    can = min(n, m) if np.isfinite(cost).all() else most_pairs(np.isfinite(cost))
    k = can if count is None else count
    if not 0 <= k <= can:
        raise ValueError(f"{k} pairs asked for; {can} can be made of {n} and {m}")
    return _best_of(cost, k)


def _best_of(cost: Floats, k: int) -> Pairing:
    """The best `k` pairs, where so many can be made."""
    from scipy.optimize import linear_sum_assignment

    n, m = cost.shape
    if k == 0:
        return pairing_of(cost, [], [])
    if k == min(n, m):
        return pairing_of(cost, *linear_sum_assignment(cost))
    rows, columns = linear_sum_assignment(_padded(cost, k))
    real = (rows < n) & (columns < m)
    return pairing_of(cost, rows[real], columns[real])


def _padded(cost: Floats, k: int) -> Floats:
    """A square of costs all of whose pairings hold exactly `k` real pairs; the added ones cost nothing."""
    n, m = cost.shape
    out = np.zeros((n + m - k, m + n - k))
    out[:n, :m] = cost
    out[n:, m:] = np.inf
    return out


def smallest_worst(cost: Floats, count: int | None = None) -> float:
    """The smallest largest cost that `count` pairs (None: as many as can be) must hold.

    Raises
    ------
    ValueError
        As `best_sum`.

    Notes
    -----
    From a pairing whose worst pair is near the smallest, the dearest pair is given up and its row paired anew by a
    chain of moves of which every pair is cheaper. Where there is no such chain no pairing is better, for two pairings
    differ by chains of moves (C. Berge, 1957; memory). A search over thresholds with largest matchings gives the same
    and is slower.
    """
    cost = _checked(cost)
    finite = np.isfinite(cost)
    can = min(cost.shape) if finite.all() else most_pairs(finite)
    k = can if count is None else count
    if not 0 <= k <= can:
        raise ValueError(f"{k} pairs asked for; {can} can be made of {cost.shape[0]} and {cost.shape[1]}")
    return _worst_of(cost, k)


def _worst_of(cost: Floats, k: int) -> float:
    if k == 0:
        return 0.0
    if k < min(cost.shape):
        free = float(cost[np.isfinite(cost)].min())
        padded = _padded(cost, k)
        padded[padded == 0.0] = min(free, 0.0)
        padded[: cost.shape[0], : cost.shape[1]] = cost
        cost = padded
    elif cost.shape[0] > cost.shape[1]:
        cost = cost.T
    rows, columns = _near_worst(cost)
    row_of = np.full(cost.shape[1], -1)
    row_of[columns] = rows
    while True:
        held = np.flatnonzero(row_of >= 0)
        own = cost[row_of[held], held]
        dearest = held[int(own.argmax())]
        row, limit = int(row_of[dearest]), float(own.max())
        row_of[dearest] = -1
        if not _move(cost, row_of, row, limit):
            return limit


def _near_worst(cost: Floats) -> tuple[Ints, Ints]:
    """A pairing of all rows whose worst pair is near the smallest: of smallest sum of fourth powers of what each costs
    above that which some row must pay."""
    from scipy.optimize import linear_sum_assignment

    least = float(cost.min(axis=1).max())
    above = np.maximum(cost - least, 0.0)
    scale = float(above[np.isfinite(above)].max(initial=0.0)) or 1.0
    rows, columns = linear_sum_assignment((above / scale) ** 4)
    return rows, columns


def _move(cost: Floats, row_of: Ints, row: int, limit: float) -> bool:
    """Pair one more row by pairs that cost less than `limit`, moving others along; False where no chain does."""
    before = np.full(cost.shape[1], -1)
    seen = np.zeros(cost.shape[1], dtype=np.bool_)
    front = np.array([row])
    while front.size:
        near = (cost[front] < limit) & ~seen
        fresh = np.flatnonzero(near.any(axis=0))
        before[fresh] = front[near[:, fresh].argmax(axis=0)]
        seen[fresh] = True
        free = fresh[row_of[fresh] < 0]
        if free.size:
            _hand_back(row_of, before, int(free[0]), row)
            return True
        front = row_of[fresh]
    return False


def _hand_back(row_of: Ints, before: Ints, column: int, row: int) -> None:
    """Give each column of a chain to the row before it."""
    column_of = {int(holder): place for place, holder in enumerate(row_of.tolist()) if holder >= 0}
    while True:
        taker = int(before[column])
        row_of[column] = taker
        if taker == row:
            return
        column = column_of[taker]


def worst_then_sum(cost: Floats, count: int | None = None) -> Pairing:
    """Of the pairings with the smallest worst pair, the one of smallest sum."""
    cost = _checked(cost)
    k = best_sum(cost).rows.size if count is None else count
    limit = smallest_worst(cost, k)
    return _best_of(np.where(cost <= limit, cost, np.inf), k)


def most_within(cost: Floats, allowed: Bools, count: int | None = None) -> Pairing:
    """As many pairs among the allowed as can be (`count` at most), and of those choices the one of smallest sum."""
    cost = _checked(cost)
    inside = np.where(allowed, cost, np.inf)
    can = most_pairs(np.isfinite(inside))
    return _best_of(inside, can if count is None else min(count, can))


def _checked(cost: Floats) -> Floats:
    cost = np.asarray(cost, dtype=float)
    if cost.ndim != 2:
        raise ValueError(f"costs have {cost.ndim} axes; a matrix is expected")
    if np.isnan(cost).any() or np.isneginf(cost).any():
        raise ValueError("a cost is NaN or minus infinity; forbid a pair with plus infinity")
    return cost
