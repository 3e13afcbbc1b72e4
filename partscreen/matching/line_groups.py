"""Groups of k parts by one number (VBE): exact, by dynamic programming along the sorted numbers.

The spread of a group is its largest number minus its smallest. Two groups that overlap can swap parts until they do
not, and neither sum nor largest of the spreads grows; and a part left over inside a group can take the place of its
end. So groups are runs of neighbours, and parts left over lie between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class LineGroups:
    """Members of each group, shape (n_groups, k), by ascending number; sum of the spreads and the largest."""

    members: Ints
    total: float
    worst: float


def groups_on_line(values: Floats, k: int, n_groups: int | None = None, *, aim: str = "sum") -> LineGroups:
    """Groups of `k` with the smallest sum of spreads, the smallest largest spread, or that and then the sum.

    Parameters
    ----------
    values : array, shape (n,)
    k : int, at least 2
    n_groups : int, optional
        None: as many as the parts give.
    aim : "sum", "worst" or "worst-then-sum"

    Raises
    ------
    ValueError
        Too few parts, NaN among the numbers, or an aim that is none of these.
    """
    values = np.asarray(values, dtype=float)
    n = values.size
    groups = n // k if n_groups is None and k else n_groups or 0
    if k < 2 or groups < 1 or groups * k > n:
        raise ValueError(f"{groups} groups of {k} need {max(groups, 1) * k} parts; there are {n}")
    if not np.isfinite(values).all():
        raise ValueError("a number is NaN or infinite; leave that part out")
    if aim not in ("sum", "worst", "worst-then-sum"):
        raise ValueError(f"aim is {aim!r}; sum, worst or worst-then-sum is expected")
    order = np.argsort(values, kind="stable")
    line = values[order]
    spread = line[k - 1 :] - line[: n - k + 1]  # of the run that begins at each part
    limit = np.inf if aim == "sum" else _smallest_limit(spread, k, groups)
    starts = _cheapest_starts(np.where(spread <= limit, spread, np.inf), k, groups)
    members = order[starts[:, None] + np.arange(k)]
    chosen = spread[starts]
    return LineGroups(members, float(np.sum(np.sort(chosen))), float(chosen.max()))


def most_groups_on_line(values: Floats, k: int, limit: float) -> LineGroups:
    """As many groups of `k` with a spread of at most `limit` as can be, and of these the smallest sum."""
    values = np.asarray(values, dtype=float)
    line = np.sort(values)
    spread = line[k - 1 :] - line[: max(values.size - k + 1, 0)]
    count = _runs_within(spread, k, limit)
    if not count:
        return LineGroups(np.zeros((0, k), dtype=np.int64), 0.0, 0.0)
    order = np.argsort(values, kind="stable")
    starts = _cheapest_starts(np.where(spread <= limit, spread, np.inf), k, count)
    chosen = spread[starts]
    return LineGroups(order[starts[:, None] + np.arange(k)], float(np.sum(np.sort(chosen))), float(chosen.max()))


def _runs_within(spread: Floats, k: int, limit: float) -> int:
    """Most runs that do not overlap and stay within the limit: taking the earliest that ends is best."""
    count = place = 0
    while place < spread.size:
        if spread[place] <= limit:
            count += 1
            place += k
        else:
            place += 1
    return count


def _smallest_limit(spread: Floats, k: int, groups: int) -> float:
    levels = np.unique(spread)
    low, high = 0, levels.size - 1
    while low < high:
        middle = (low + high) // 2
        if _runs_within(spread, k, levels[middle]) >= groups:
            high = middle
        else:
            low = middle + 1
    return float(levels[low])


def _cheapest_starts(spread: Floats, k: int, groups: int) -> Ints:
    """Begins of `groups` runs of smallest sum; best[i, g]: of g runs among the first i parts."""
    n = spread.size + k - 1
    best = np.full((n + 1, groups + 1), np.inf)
    best[:, 0] = 0.0
    taken = np.zeros((n + 1, groups + 1), dtype=np.bool_)
    for i in range(k, n + 1):
        closed = best[i - k, :-1] + spread[i - k]
        taken[i, 1:] = closed < best[i - 1, 1:]
        best[i, 1:] = np.where(taken[i, 1:], closed, best[i - 1, 1:])
    starts, i, g = [], n, groups
    while g:
        if taken[i, g]:
            i -= k
            g -= 1
            starts.append(i)
        else:
            i -= 1
    return np.array(starts[::-1], dtype=np.int64)
