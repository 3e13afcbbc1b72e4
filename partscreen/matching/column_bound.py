"""A proven lower bound of the total of sets, by column generation over every possible set.

The linear programme "each part in at most one set, so many sets" is solved over few sets, every other set is priced
with its dual values, and the cheapest are added. Any duals give a bound: their sum, plus so many times the cheapest
reduced cost over all sets. Inequalities on three parts (of three parts at most one set holds two; the subset rows of
the literature: M. Jepsen, B. Petersen, S. Spoorendonk, D. Pisinger, Operations Research 56 (2008) 497-511; memory)
lift the bound towards the best whole-numbered choice.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from partscreen.matching.set_problem import SetProblem

Floats = npt.NDArray[np.float64]
Reals = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

LARGEST = 30_000_000
"""Possible sets up to which all can be priced (120 MB in single precision)."""
_PER_ITEM = 8  # sets added a round for each part
_CUTS = 60  # inequalities added a round
_KEEP = 12_000  # sets kept in the small programme


@dataclass(slots=True)
class Bound:
    """Bound found so far, the duals that give it, and the sets near it (ready for a whole-numbered choice)."""

    value: float
    duals: Floats
    cut_duals: Floats
    cuts: Ints  # (n_cuts, 3)
    seconds: float = 0.0
    rounds: int = 0
    reduced: Reals = field(default_factory=lambda: np.zeros((0, 0)))


class Columns:
    """All possible sets of a problem, to be priced again and again."""

    def __init__(self, problem: SetProblem) -> None:
        self.problem = problem
        self.first, self.second = problem.halves
        self.cost = problem.column_costs
        self.width = self.second.shape[0]

    def members(self, columns: Ints) -> Ints:
        """Items of sets by number, shape (m, size)."""
        a, b = np.divmod(columns, self.width)
        return np.hstack([self.first[a], self.second[b]])

    def number(self, sets: Ints) -> Ints:
        """Numbers of sets of items."""
        k = self.problem.k
        rows = _rank(np.sort(sets[:, :k], axis=1), self.problem.n_a)
        if not self.problem.n_b:
            return rows
        return rows * np.int64(self.width) + _rank(np.sort(sets[:, k:], axis=1) - self.problem.n_a, self.problem.n_b)

    def reduced(self, duals: Floats, cuts: Ints, cut_duals: Floats) -> Reals:
        """Cost of every set less what its parts and inequalities pay."""
        row = duals[self.first].sum(axis=1)
        column = duals[self.second].sum(axis=1) if self.second.shape[1] else np.zeros(1)
        mixed = []
        for cut, price in zip(cuts, cut_duals, strict=True):
            if price == 0.0:
                continue
            first = cut < self.problem.n_a
            if first.all():
                row = row + price * (self._holds(self.first, cut) >= 2)
            elif not first.any():
                column = column + price * (self._holds(self.second, cut) >= 2)
            else:
                mixed.append((cut, price))
        kind = self.cost.dtype.type
        out = self.cost - row[:, None].astype(kind)
        out -= column.astype(kind)
        for cut, price in mixed:
            first = cut < self.problem.n_a
            rows, columns = self._holds(self.first, cut[first]), self._holds(self.second, cut[~first])
            for have in np.unique(rows):
                need = np.flatnonzero(columns >= 2 - have)
                if need.size == columns.size:
                    out[rows == have] -= kind(price)
                elif need.size:
                    out[np.ix_(np.flatnonzero(rows == have), need)] -= kind(price)
        return np.asarray(out)

    def _holds(self, half: Ints, items: Ints) -> Ints:
        mark = np.zeros(self.problem.n, dtype=np.int64)
        mark[items] = 1
        return np.asarray(mark[half].sum(axis=1))


def _rank(choice: Ints, n: int) -> Ints:
    """Place of ascending choices in the order of `itertools.combinations`."""
    from scipy.special import comb

    k = choice.shape[1]
    after = sum(comb(n - 1 - choice[:, j], k - j) for j in range(k))
    return np.asarray(comb(n, k) - 1 - np.round(after), dtype=np.int64)


def lower_bound(
    problem: SetProblem,
    incumbent: Ints,
    *,
    seconds: float = 60.0,
    gap: float = 0.0,
    columns: Columns | None = None,
) -> Bound:
    """Bound the total from below.

    Parameters
    ----------
    problem : SetProblem, with at most `LARGEST` possible sets
    incumbent : array, shape (n_sets, size)
        A choice; the search for a bound ends where its total is within `gap` (a share) of the bound.
    seconds : processor time after which the best bound so far is given

    Raises
    ------
    ValueError
        More possible sets than can be priced.
    """
    if problem.n_columns > LARGEST:
        raise ValueError(f"{problem.n_columns} possible sets; up to {LARGEST} can be priced")
    begin = time.process_time()
    every = columns or Columns(problem)
    goal = problem.total(incumbent) / (1.0 + gap)
    chosen = np.unique(np.concatenate([every.number(incumbent), _neighbours(every, incumbent)]))
    none = np.zeros((0, 3), dtype=np.int64)
    cuts, best = none, Bound(-np.inf, np.zeros(problem.n), np.zeros(0), none)
    centre = _guess(problem, incumbent)
    width = 0.3 * problem.total(incumbent) / problem.n_sets / problem.size
    for round_ in range(10_000):
        best.rounds, best.seconds = round_, time.process_time() - begin
        small = _small_programme(problem, every, chosen, cuts, centre, width)
        if small is None:
            break
        reduced = every.reduced(small.duals, cuts, small.cut_duals)
        cheapest = float(reduced.min())
        value = float(small.duals.sum() + small.cut_duals.sum()) + problem.n_sets * (cheapest - problem.rounding)
        if value > best.value:
            best = Bound(value, small.duals, small.cut_duals, cuts, best.seconds, round_, reduced)
            centre = small.duals
        if best.value >= goal or time.process_time() - begin > seconds:
            break
        level = small.level
        fresh = np.setdiff1d(_cheap(every, reduced, level - problem.rounding), chosen)
        if fresh.size:
            chosen = _thinned(np.concatenate([chosen, fresh]), reduced, level, small, chosen)
            continue
        if small.boxed:
            width *= 3.0
            continue
        more = _violated(problem, every, chosen, small.share, cuts)
        if not more.size:
            break
        cuts = np.concatenate([cuts, more])
        width = max(0.1 * float(np.mean(np.abs(centre))), 1e-6)
    best.seconds = time.process_time() - begin
    return best


@dataclass(frozen=True, slots=True)
class _Small:
    """Solution of the small programme: share of each chosen set, duals of items and inequalities, dual of the count."""

    share: Floats
    duals: Floats
    cut_duals: Floats
    level: float
    boxed: bool


def _small_programme(
    problem: SetProblem, every: Columns, chosen: Ints, cuts: Ints, centre: Floats, width: float
) -> _Small | None:
    """The linear programme over the chosen sets, its duals held near `centre` by paying for more than `width`.

    None: no answer came.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csc_array, eye_array, hstack, vstack

    members = every.members(chosen)
    m, n, size = chosen.size, problem.n, problem.size
    cover = csc_array((np.ones(m * size), members.ravel(), np.arange(0, m * size + 1, size)), shape=(n, m))
    spare = np.array([problem.spare(i) for i in range(n)])
    ease = eye_array(n, format="csc")
    unused = ease[:, np.flatnonzero(spare)]
    upper, lower = centre + width, centre - width
    parts = hstack([cover, unused, ease, -ease], format="csc")
    cost = np.concatenate([every.cost.ravel()[chosen].astype(float), np.zeros(unused.shape[1]), upper, -lower])
    count = np.zeros((1, cost.size))
    count[0, :m] = 1.0
    equal: Any = vstack([parts, csc_array(count)], format="csc")
    over: Any = None
    if cuts.shape[0]:
        held = csc_array(_coefficients(problem, members, cuts).T)
        over = hstack([held, csc_array((cuts.shape[0], cost.size - m))], format="csc")
    right = np.concatenate([np.ones(n), [float(problem.n_sets)]])
    methods: tuple[Literal["highs-ds", "highs-ipm"], ...] = ("highs-ds", "highs-ipm")
    for method in methods:  # the simplex now and then ends with no answer; the other way finds it
        found = linprog(
            cost, A_ub=over, b_ub=np.ones(cuts.shape[0]) if cuts.shape[0] else None, A_eq=equal, b_eq=right,
            method=method,
        )  # fmt: skip
        if found.status == 0:
            break
    else:
        return None
    assert found.x is not None
    duals = np.asarray(found.eqlin.marginals[:n])
    cut_duals = np.minimum(np.asarray(found.ineqlin.marginals), 0.0) if cuts.shape[0] else np.zeros(0)
    eased = found.x[m + unused.shape[1] :]
    return _Small(found.x[:m], np.where(spare, np.minimum(duals, 0.0), duals), cut_duals,
                  float(found.eqlin.marginals[n]), bool(eased.max() > 1e-7))  # fmt: skip


def _coefficients(problem: SetProblem, members: Ints, cuts: Ints) -> Floats:
    """Whether each set holds two of the three parts of each inequality; shape (m, n_cuts)."""
    mark = np.zeros((members.shape[0], problem.n), dtype=np.int8)
    np.put_along_axis(mark, members, 1, axis=1)
    out = mark[:, cuts[:, 0]] + mark[:, cuts[:, 1]] + mark[:, cuts[:, 2]] >= 2
    return out.astype(float)


def _guess(problem: SetProblem, incumbent: Ints) -> Floats:
    """First duals: half of what a part costs in its set; parts left over pay nothing."""
    out = np.zeros(problem.n)
    for slot in range(problem.size):
        out[incumbent[:, slot]] = 0.5 * problem.weight[incumbent[:, slot][:, None], incumbent].sum(axis=1)
    if any(problem.spare(i) for i in (0, problem.n - 1)):
        out -= out.max()
    return out


def _neighbours(every: Columns, incumbent: Ints) -> Ints:
    """Sets with one member of the choice changed, the cheapest of them."""
    problem = every.problem
    out = []
    for slot in range(problem.size):
        kind = np.arange(problem.n_a) if slot < problem.k else np.arange(problem.n_a, problem.n)
        sets = np.repeat(incumbent, kind.size, axis=0)
        sets[:, slot] = np.tile(kind, incumbent.shape[0])
        ordered = np.sort(sets, axis=1)
        sets = sets[(np.diff(ordered, axis=1) > 0).all(axis=1)]
        order = np.argsort(problem.costs(sets), kind="stable")[: 40 * incumbent.shape[0]]
        out.append(every.number(sets[order]))
    return np.concatenate(out)


def _cheap(every: Columns, reduced: Reals, level: float) -> Ints:
    """Numbers of sets of low reduced cost, so many for every part that none is forgotten."""
    row, column = reduced.argmin(axis=1), reduced.argmin(axis=0)
    if every.width == 1:
        order = np.argsort(reduced[:, 0], kind="stable")[:20_000]
        candidates = order[reduced[order, 0] < level]
    else:
        both = np.concatenate([np.arange(row.size) * every.width + row, column * every.width + np.arange(column.size)])
        candidates = np.unique(both)
        value = reduced.ravel()[candidates]
        candidates = candidates[value < level]
        candidates = candidates[np.argsort(reduced.ravel()[candidates], kind="stable")]
    members = every.members(candidates)
    used = np.zeros(every.problem.n, dtype=np.int64)
    out = []
    for number, items in zip(candidates.tolist(), members, strict=True):
        if used[items].min() < _PER_ITEM:
            used[items] += 1
            out.append(number)
    return np.array(out, dtype=np.int64)


def _thinned(numbers: Ints, reduced: Reals, level: float, small: _Small, old: Ints) -> Ints:
    """Forget sets that are far from being of use, where there are many; those in use stay."""
    if numbers.size <= _KEEP:
        return numbers
    value = reduced.ravel()[numbers] - level
    value[np.isin(numbers, old[small.share > 1e-9])] = -np.inf
    return np.asarray(numbers[np.argsort(value, kind="stable")[: _KEEP * 2 // 3]])


def _violated(problem: SetProblem, every: Columns, chosen: Ints, share: Floats, cuts: Ints) -> Ints:
    """Triples of parts of which more than one set, counted by shares, holds two; the worst first."""
    used = np.flatnonzero(share > 1e-7)
    members, share = every.members(chosen[used]), share[used]
    mark = np.zeros((used.size, problem.n))
    np.put_along_axis(mark, members, 1.0, axis=1)
    together = (mark * share[:, None]).T @ mark
    np.fill_diagonal(together, 0.0)
    known = {tuple(cut) for cut in cuts.tolist()}
    found: list[tuple[float, tuple[int, int, int]]] = []
    for i in range(problem.n):
        near = np.flatnonzero(together[i] > 1e-7)
        near = near[near > i]
        if near.size < 2:
            continue
        a, b = (near[x] for x in np.triu_indices(near.size, 1))
        three = (mark[:, i] * share) @ (mark[:, a] * mark[:, b])
        over = together[i, a] + together[i, b] + together[a, b] - 2.0 * three - 1.0
        for place in np.flatnonzero(over > 0.02).tolist():
            triple = (i, int(a[place]), int(b[place]))
            if triple not in known:
                found.append((-float(over[place]), triple))
    return np.array([triple for _, triple in sorted(found)[:_CUTS]], dtype=np.int64).reshape(-1, 3)
