"""The k best pairings of a matrix, best first.

References
----------
K. G. Murty, An algorithm for ranking all the assignments in order of increasing cost, Operations Research 16 (1968)
682-687 (memory). Each pairing found splits what is left into parts that forbid one of its pairs and keep those before.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.matching.pairs import Pairing, pairing_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


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


@dataclass(frozen=True, slots=True)
class _Branch:
    """Pairings that keep the first `fixed` rows where `columns` has them and leave out `forbidden` columns of the row
    after them. `columns` is the best of them where `solved`, else that of the branch it came from."""

    columns: Ints
    fixed: int
    forbidden: frozenset[int]
    solved: bool


def _ranked(cost: Floats) -> Iterator[Pairing]:
    """All pairings, best first. Rows are the shorter side, so each is in every pairing.

    A branch waits with a bound of its best pairing and is solved only when its turn comes: most never are.
    """
    first = _solve(cost)
    if first is None:
        return
    every = np.arange(cost.shape[0])
    safe = 1e-12 * float(np.abs(cost[np.isfinite(cost)]).sum())
    heap: list[tuple[float, int, _Branch]] = [(first[0], 0, _Branch(first[1], 0, frozenset(), True))]
    count = 1
    while heap:
        _, _, branch = heapq.heappop(heap)
        if not branch.solved:
            found = _solve(_allowed(cost, branch))
            if found is not None:
                solved = _Branch(found[1], branch.fixed, branch.forbidden, True)
                heapq.heappush(heap, (found[0], count, solved))
                count += 1
            continue
        best = pairing_of(cost, every, branch.columns)
        yield best
        more = _cheapest_changes(cost, branch)
        for row in range(branch.fixed, cost.shape[0]):
            taken = frozenset([int(branch.columns[row])])
            forbidden = branch.forbidden | taken if row == branch.fixed else taken
            if np.isfinite(more[row - branch.fixed]):
                bound = best.total + float(more[row - branch.fixed]) - safe
                heapq.heappush(heap, (bound, count, _Branch(branch.columns, row, forbidden, False)))
                count += 1


def _allowed(cost: Floats, branch: _Branch) -> Floats:
    """The costs with what a branch leaves out forbidden."""
    out = cost.copy()
    for row in range(branch.fixed):
        column = branch.columns[row]
        kept = out[row, column]
        out[row] = np.inf
        out[:, column] = np.inf
        out[row, column] = kept
    out[branch.fixed, sorted(branch.forbidden)] = np.inf
    return out


def _cheapest_changes(cost: Floats, branch: _Branch) -> Floats:
    """What it costs at least to give each row from `fixed` on another column: the shortest cycle of moves through it.

    A move takes a row to the column of another row, or to one that is free; the shortest chains of moves by Floyd and
    Warshall. Rows later kept where they are only make it dearer, so these are bounds.
    """
    n, m = cost.shape
    columns, fixed = branch.columns, branch.fixed
    free = np.setdiff1d(np.arange(m), columns)
    held = np.concatenate([columns[fixed:], free])
    real = n - fixed
    move = np.zeros((held.size, held.size))  # rows beyond the real ones hold the free columns, at no cost
    own = cost[np.arange(fixed, n), columns[fixed:]]
    move[:real] = cost[fixed:, held] - own[:, None]
    barred = np.isin(held, sorted(branch.forbidden))
    barred[0] = False
    move[0, barred] = np.inf
    chain = move.copy()
    for k in range(held.size):
        np.minimum(chain, chain[:, k, None] + chain[k], out=chain)
    round_trip = chain + move.T
    np.fill_diagonal(round_trip, np.inf)
    return np.asarray(np.maximum(round_trip[:real].min(axis=1, initial=np.inf), 0.0))


def _solve(cost: Floats) -> tuple[float, Ints] | None:
    from scipy.optimize import linear_sum_assignment

    try:
        rows, columns = linear_sum_assignment(cost)
    except ValueError:  # every pairing holds a forbidden pair
        return None
    return float(cost[rows, columns].sum()), columns.astype(np.int64)
