"""The k best pairings of a matrix, best first.

References
----------
K. G. Murty, An algorithm for ranking all the assignments in order of increasing cost, Operations Research 16 (1968)
682-687 (memory). Each pairing found splits what is left into parts that forbid one of its pairs and keep those before.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from partscreen.matching.pairs import Pairing, pairing_of

Floats = npt.NDArray[np.float64]


def ranked_pairings(cost: Floats, k: int) -> list[Pairing]:
    """The `k` pairings of smallest sum that use every row of the shorter side; fewer where there are fewer.

    Parameters
    ----------
    cost : array, shape (n, m); infinity forbids a pair
    k : int

    Raises
    ------
    ValueError
        k below 1, or NaN among the costs.
    """
    if k < 1:
        raise ValueError(f"{k} pairings asked for; at least 1 is expected")
    cost = np.asarray(cost, dtype=float)
    if np.isnan(cost).any():
        raise ValueError("a cost is NaN; forbid a pair with infinity")
    if cost.shape[0] > cost.shape[1]:
        return [pairing_of(cost, p.columns, p.rows) for p in ranked_pairings(cost.T, k)]
    return [found for found, _ in zip(_ranked(cost), range(k), strict=False)]


def _ranked(cost: Floats) -> Iterator[Pairing]:
    """All pairings, best first. Rows are the shorter side, so each is in every pairing."""
    first = _solve(cost)
    if first is None:
        return
    heap: list[tuple[float, int, Floats, npt.NDArray[np.int64], int]] = [(*first[:1], 0, cost, first[1], 0)]
    count = 1
    while heap:
        _, _, allowed, columns, fixed = heapq.heappop(heap)
        yield pairing_of(cost, np.arange(cost.shape[0]), columns)
        for row in range(fixed, cost.shape[0]):
            # rows before `row` keep their columns, this one must take another
            branch = allowed.copy()
            branch[row, columns[row]] = np.inf
            found = _solve(branch)
            if found is not None:
                heapq.heappush(heap, (found[0], count, branch, found[1], row))
                count += 1
            kept = allowed[row, columns[row]]
            allowed = allowed.copy()
            allowed[row] = np.inf
            allowed[:, columns[row]] = np.inf
            allowed[row, columns[row]] = kept


def _solve(cost: Floats) -> tuple[float, npt.NDArray[np.int64]] | None:
    from scipy.optimize import linear_sum_assignment

    try:
        rows, columns = linear_sum_assignment(cost)
    except ValueError:  # every pairing holds a forbidden pair
        return None
    return float(cost[rows, columns].sum()), columns.astype(np.int64)
