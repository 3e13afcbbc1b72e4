"""Two channels of one amplifier should be alike: which two sets, and which sets belong together."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.matching.column_bound import LARGEST, Columns
from partscreen.matching.set_problem import LOOSE, SetProblem, group_problem
from partscreen.matching.settle import Settled, settle_sets

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_MOST = 4000  # sets that are held against each other (assumption: a second or so)


def between(problem: SetProblem, points: Floats, sets: Ints) -> Floats:
    """Difference of any two sets, shape (m, m): distance of the mean NPN and of the mean PNP, weighted as across."""
    k = problem.k
    out = np.zeros((sets.shape[0], sets.shape[0]))
    for rail in (sets[:, :k], sets[:, k:]):
        middle = points[rail].mean(axis=1)
        out += LOOSE * np.sqrt(np.maximum(((middle[:, None] - middle[None]) ** 2).sum(axis=2), 0.0))
    return out


def alike_channels(problem: SetProblem, points: Floats, settled: Settled) -> Settled:
    """Two sets with the smallest sum of their own costs and of what they differ by.

    points : array, shape (n, m), parts in units of the tolerances. The bound is of the sets' own costs, as the total.

    Every pair of sets whose own costs alone stay below the best found is looked at, of the `_MOST` cheapest sets.
    """
    best = settled.sets
    reached = settled.total + float(between(problem, points, best)[0, 1])
    if problem.n_columns > LARGEST:
        return settled
    columns = Columns(problem)
    cost = columns.cost.ravel()
    near = np.flatnonzero(cost <= reached - float(cost.min()))
    complete = near.size <= _MOST
    near = near[np.argsort(cost[near], kind="stable")[:_MOST]]
    sets = columns.members(near)
    own = problem.costs(sets)
    middle = [points[rail].mean(axis=1) for rail in (sets[:, : problem.k], sets[:, problem.k :])]
    for i in range(near.size):
        last = int(np.searchsorted(own, reached - own[i], side="right"))
        if last <= i + 1:
            break
        rest = slice(i + 1, last)
        far = sum(np.sqrt(((m[rest] - m[i]) ** 2).sum(axis=1)) for m in middle)
        total = own[i] + own[rest] + LOOSE * np.asarray(far)
        total[(sets[rest][:, :, None] == sets[i]).any(axis=(1, 2))] = np.inf
        j = int(total.argmin())
        if total[j] < reached - 1e-12:
            reached, best = float(total[j]), sets[[i, i + 1 + j]]
    words = f"{settled.method}; two sets chosen to be alike too" + ("" if complete else f", among the {_MOST} best")
    if complete:
        words = "exact: every two sets held against each other, their likeness counted"
    return Settled(best, problem.total(best), min(settled.bound, problem.total(best)), complete, words)


def amplifiers(problem: SetProblem, points: Floats, sets: Ints) -> list[int]:
    """A number for every set: two of one number are most alike, the channels of one amplifier; 0: alone."""
    n = sets.shape[0]
    if n < 2:
        return [0] * n
    apart = between(problem, points, sets)
    two = settle_sets(group_problem(apart, points[sets].mean(axis=(1, 2)), 2))
    out = [0] * n
    for number, (i, j) in enumerate(sorted(sorted(pair) for pair in two.sets.tolist()), 1):
        out[i] = out[j] = number
    return out
