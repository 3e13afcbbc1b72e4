"""Good sets quickly: one member of every set is taken out and all are put back at once, in the best way.

Putting back is an assignment of members to sets, which is solved exactly; so each step looks at all orders of the taken
members (n! of them). From time to time costs are shaken and the search starts over from there; the best is kept.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.matching.line_groups import groups_on_line
from partscreen.matching.set_problem import SetProblem

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_SEED = 20261125
_STALE = 60  # steps without a gain after which costs are shaken
_SHAKEN = 4  # steps with shaken costs
_HEAT = 0.15  # of the mean cost of a set: how hard they are shaken


def search_sets(problem: SetProblem, steps: int | None = None) -> Ints:
    """Sets of small total, shape (n_sets, size): members of the first kind first.

    `steps` of the search; None: 80 for each set, 300 to 4000 (assumption: more gave nothing in trials with 100 + 100
    parts). The result does not depend on
    the order of the parts as far as their numbers in `line` differ.
    """
    order = np.lexsort((problem.weight.sum(axis=1), problem.line))
    a, b = order[order < problem.n_a], order[order >= problem.n_a]
    back = np.concatenate([a, b])
    canonical = SetProblem(
        problem.weight[np.ix_(back, back)], problem.line[back], problem.n_a, problem.n_b, problem.k, problem.n_sets
    )
    return back[_search(canonical, min(max(80 * problem.n_sets, 300), 4000) if steps is None else steps)]


def _search(problem: SetProblem, steps: int) -> Ints:
    rng = np.random.default_rng(_SEED)
    current = _start(problem)
    total = float(problem.costs(current).sum())
    best, best_total, stale, shaking = current.copy(), total, 0, 0
    heat = _HEAT * total / problem.n_sets
    for _ in range(steps):
        current = _step(problem, current, rng, heat if shaking else 0.0)
        total = float(problem.costs(current).sum())
        if shaking:
            shaking -= 1
            continue
        stale += 1
        if total < best_total * (1.0 - 1e-12):
            best, best_total, stale = current.copy(), total, 0
        elif stale > _STALE:
            current, shaking, stale = best.copy(), _SHAKEN, 0
    return best


def _start(problem: SetProblem) -> Ints:
    """Runs of neighbours by one number for either kind, put together by an assignment."""
    k, a, b = problem.k, problem.line[: problem.n_a], problem.line[problem.n_a :]
    first = _runs(a, k, problem.n_sets)
    if not problem.n_b:
        return first
    return _join(problem, first, _runs(b, k, problem.n_sets) + problem.n_a)


def _runs(line: Floats, k: int, n_sets: int) -> Ints:
    if k == 1:
        return np.argsort(line, kind="stable")[:n_sets, None]
    return groups_on_line(line, k, n_sets).members


def _join(problem: SetProblem, first: Ints, second: Ints, noise: Floats | float = 0.0) -> Ints:
    from scipy.optimize import linear_sum_assignment

    cost = problem.weight[first[:, :, None, None], second[None, None]].sum(axis=(1, 3))
    rows, columns = linear_sum_assignment(cost + noise)
    return np.hstack([first[rows], second[columns]])


def _step(problem: SetProblem, sets: Ints, rng: np.random.Generator, heat: float) -> Ints:
    from scipy.optimize import linear_sum_assignment

    n_sets, k = problem.n_sets, problem.k
    kinds = 2 if problem.n_b else 1
    move = int(rng.integers(kinds + (kinds == 2)))
    if move == 2:
        noise = heat * rng.gumbel(size=(n_sets, n_sets)) if heat else 0.0
        return _join(problem, sets[:, :k], sets[:, k:], noise)
    every = np.arange(n_sets)
    slot = move * k + rng.integers(k, size=n_sets)
    out = sets[every, slot]
    spare = np.setdiff1d(np.arange(problem.n_a) + 0 if move == 0 else np.arange(problem.n_a, problem.n), sets)
    pool = np.concatenate([out, spare])
    rest = np.array([np.delete(np.arange(problem.size), s) for s in range(problem.size)])[slot]
    kept = np.take_along_axis(sets, rest, axis=1)
    cost = problem.weight[pool[None, :, None], kept[:, None, :]].sum(axis=2)
    if heat:
        cost = cost + heat * rng.gumbel(size=cost.shape)
    rows, columns = linear_sum_assignment(cost)
    fresh = sets.copy()
    fresh[rows, slot[rows]] = pool[columns]
    return fresh
