"""The best sets that can be found, and how good they are known to be."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.matching.column_bound import LARGEST, Bound, Columns, lower_bound
from partscreen.matching.search import search_sets
from partscreen.matching.set_problem import SetProblem

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FEW = 300_000
"""Possible sets up to which the best choice is always sought exactly (assumption: some seconds)."""
_SECONDS = 15.0  # for that
_WHOLE = 150_000  # sets near the bound that are given to the whole-numbered programme
_PROVEN = 1e-9  # relative; a choice this near its bound is the best


@dataclass(frozen=True, slots=True)
class Settled:
    """Sets, shape (n_sets, size); their total; a total that no choice can be below; how both were found."""

    sets: Ints
    total: float
    bound: float
    exact: bool
    method: str

    @property
    def gap(self) -> float:
        """By how much of the bound the total may be too large, at most."""
        return self.total / self.bound - 1.0 if self.bound > 0.0 else (0.0 if self.exact else float("inf"))


def settle_sets(problem: SetProblem, *, prove: float = 0.0, gap: float = 0.0) -> Settled:
    """Sets of smallest total.

    Parameters
    ----------
    problem : SetProblem
    prove : seconds of processor time that may be spent on a bound, where there are many possible sets
    gap : share of the bound by which the total may be larger; then the bound suffices

    Notes
    -----
    A search gives a choice at once. Where there are few possible sets, or time is given, column generation bounds it,
    and the sets that could still be part of a better choice go to HiGHS as a whole-numbered programme. Else a bound by
    assignments is given.
    """
    sets = search_sets(problem)
    total, few = problem.total(sets), problem.n_columns <= FEW
    seconds = max(_SECONDS if few else 0.0, prove)
    if seconds <= 0.0 or problem.n_columns > LARGEST:
        bound = assignment_bound(problem)
        words = "search by assignments; bound by assignments"
        if seconds > 0.0:
            words += f" ({problem.n_columns:.3g} possible sets are too many for column generation)"
        return _settled(problem, sets, bound, words, False)
    begin = time.process_time()
    columns = Columns(problem)
    share = 0.95 if gap > 0.0 else 0.85  # the rest is for the whole-numbered programme, which a gap rarely needs
    found = lower_bound(problem, sets, seconds=share * seconds, gap=gap, columns=columns)
    bound, method = max(found.value, assignment_bound(problem)), "search by assignments; bound by column generation"
    if total - bound > max(gap * bound, _PROVEN * total) + _slack(problem):
        better, whole_bound = _whole(problem, columns, found, sets, seconds - (time.process_time() - begin))
        sets, bound = (sets, bound) if better is None else (better, max(bound, whole_bound))
        method += " and a whole-numbered programme (HiGHS)"
    return _settled(problem, sets, bound, method, bound >= problem.total(sets) - _slack(problem))


def _slack(problem: SetProblem) -> float:
    """Rounding of the bound: a choice this near it cannot be told from the best."""
    return 2.5 * problem.rounding * problem.n_sets


def _settled(problem: SetProblem, sets: Ints, bound: float, method: str, exact: bool) -> Settled:
    total = problem.total(sets)
    order = np.argsort(problem.costs(np.sort(sets, axis=1)), kind="stable")
    bound = total if exact else min(bound, total)
    words = f"exact: {method}" if exact else method
    return Settled(sets[order], total, bound, exact, words)


def _whole(
    problem: SetProblem, columns: Columns, found: Bound, sets: Ints, seconds: float
) -> tuple[Ints | None, float]:
    """The best choice among sets that could be part of one better than `sets`, and a bound; None: not found in time."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csc_array

    if not found.reduced.size or seconds < 1.0:
        return None, -np.inf
    room = problem.total(sets) - found.value
    near = np.flatnonzero(found.reduced.ravel() <= float(found.reduced.min()) + room + 1e-4)
    if near.size > _WHOLE:
        return None, -np.inf
    near = np.union1d(near, columns.number(sets))
    members = columns.members(near)
    size, m = problem.size, near.size
    cover = csc_array((np.ones(m * size), members.ravel(), np.arange(0, m * size + 1, size)), shape=(problem.n, m))
    spare = np.array([problem.spare(i) for i in range(problem.n)])
    cost = problem.costs(members)
    limits = [
        LinearConstraint(cover, np.where(spare, 0.0, 1.0), 1.0),
        LinearConstraint(np.ones((1, m)), problem.n_sets, problem.n_sets),
    ]
    answer = milp(
        cost, constraints=limits, bounds=Bounds(0, 1), integrality=np.ones(m, dtype=np.int64),
        options={"time_limit": seconds, "mip_rel_gap": _PROVEN},
    )  # fmt: skip
    if answer.x is None:
        return None, -np.inf
    chosen = members[answer.x > 0.5]
    better = chosen if problem.total(chosen) < problem.total(sets) else sets
    # sets left out of this programme are in no better choice, so its bound holds up to the total at hand
    told = float(answer.mip_dual_bound) if answer.mip_dual_bound is not None else -np.inf
    return better, min(told, problem.total(better))


def assignment_bound(problem: SetProblem) -> float:
    """A total no choice can be below, at once.

    In a set of k every part has k - 1 partners of its kind, so all pairs of a kind cost at least (k - 1) / 2 times the
    cheapest assignment of parts to partners; and k times the cheapest assignment across. With parts left over, the
    cheapest so many assignments count.
    """
    from partscreen.matching.pairs import best_sum

    n, k, used = problem.n_a, problem.k, problem.k * problem.n_sets
    bound = 0.0
    kinds = [slice(0, n)] + ([slice(n, problem.n)] if problem.n_b else [])
    for kind in kinds:
        if k > 1:
            own = problem.weight[kind, kind].copy()
            np.fill_diagonal(own, np.inf)
            bound += 0.5 * (k - 1) * best_sum(own, used).total
    if problem.n_b:
        bound += k * best_sum(problem.weight[:n, n:], used).total
    return bound
