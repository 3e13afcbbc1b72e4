"""Groups and channel sets against every choice there is; bounds below every choice."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import cdist

from partscreen.matching.column_bound import Columns, _coefficients, lower_bound
from partscreen.matching.search import search_sets
from partscreen.matching.set_problem import LOOSE, SetProblem, group_problem, rail_problem
from partscreen.matching.settle import assignment_bound, settle_sets
from partscreen.matching.two_channels import alike_channels, amplifiers, between
from tests.matching.test_line_groups import every_choice


def group_case(n, k, groups=None, seed=0):
    x = np.random.default_rng(seed).normal(size=(n, 3))
    return group_problem(cdist(x, x), x[:, 0], k, groups), x


def rail_case(n, m, k, sets=None, seed=0):
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=(n, 3)), rng.normal(size=(m, 3))
    return rail_problem(cdist(a, a), cdist(b, b), cdist(a, b), (a[:, 0], b[:, 0]), k, sets), np.vstack([a, b])


def every_sets(problem: SetProblem):
    """Every choice of channel sets or groups, as arrays of items."""
    k, count = problem.k, problem.n_sets
    firsts = every_choice(list(range(problem.n_a)), k, count)
    if not problem.n_b:
        return [np.array(choice) for choice in firsts]
    seconds = list(every_choice(list(range(problem.n_a, problem.n)), k, count))
    from itertools import permutations

    return [
        np.array([(*x, *y) for x, y in zip(first, order, strict=True)])
        for first in firsts
        for second in seconds
        for order in permutations(second)
    ]


SMALL = [
    group_case(6, 2), group_case(7, 2, 2, 1), group_case(8, 2, None, 2), group_case(6, 3, None, 3),
    group_case(8, 3, 2, 4), group_case(8, 4, None, 5), rail_case(4, 4, 2), rail_case(5, 4, 2, None, 1),
    rail_case(5, 5, 2, 1, 2), rail_case(4, 6, 2, 2, 3), rail_case(4, 4, 1, 3, 4), rail_case(3, 4, 3, 1, 5),
]  # fmt: skip


@pytest.mark.parametrize("case", range(len(SMALL)))
def test_settled_sets_are_the_best_of_all_and_bounds_stay_below(case):
    problem, _ = SMALL[case]
    best = min(problem.total(sets) for sets in every_sets(problem))
    found = settle_sets(problem)
    assert found.exact
    assert found.total == pytest.approx(best, abs=1e-9)
    assert np.unique(found.sets).size == found.sets.size == problem.n_sets * problem.size
    assert assignment_bound(problem) <= best + 1e-9
    assert lower_bound(problem, search_sets(problem)).value <= best + 1e-9


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([2, 3]))
def test_settled_groups_are_the_best_of_all_whatever_the_parts(seed, k):
    problem, _ = group_case(6, k, None, seed)
    best = min(problem.total(sets) for sets in every_sets(problem))
    assert settle_sets(problem).total == pytest.approx(best, abs=1e-9)


def test_cost_of_a_channel_set_is_both_rails_and_a_fifth_of_the_mean_across():
    problem, x = rail_case(2, 2, 2)
    far = cdist(x, x)
    cost = far[0, 1] + far[2, 3] + LOOSE * far[:2, 2:].mean()
    assert problem.costs(np.array([[0, 1, 2, 3]]))[0] == pytest.approx(cost)


@pytest.mark.parametrize(("make", "size"), [(lambda: group_case(9, 3), 3), (lambda: rail_case(6, 5, 2), 4)])
def test_numbers_of_columns_and_their_costs_agree_with_the_sets(make, size):
    problem, _ = make()
    columns = Columns(problem)
    every = np.arange(problem.n_columns)
    members = columns.members(every)
    assert members.shape == (problem.n_columns, size)
    assert columns.number(members).tolist() == every.tolist()
    assert np.allclose(columns.cost.ravel(), problem.costs(members), atol=1e-12)


def test_every_inequality_is_priced_on_just_the_sets_that_hold_two_of_its_parts():
    """A price forgotten on some sets gave bounds that were too low: triples of all four mixtures."""
    problem, _ = rail_case(6, 6, 2)
    columns = Columns(problem)
    members = columns.members(np.arange(problem.n_columns))
    for cut in ([0, 1, 2], [0, 1, 7], [0, 7, 8], [6, 7, 8]):
        cuts = np.array([cut])
        reduced = columns.reduced(np.zeros(problem.n), cuts, np.array([-1.0]))
        held = _coefficients(problem, members, cuts)[:, 0]
        assert np.allclose(reduced.ravel() - columns.cost.ravel(), held)


def test_inequalities_on_three_parts_lift_the_bound_to_the_best_choice():
    """Two far clusters of three: plain shares of one half cost nothing; a whole choice must bridge them."""
    x = np.array([[0.0], [0.1], [0.2], [50.0], [50.1], [50.2]])
    problem = group_problem(cdist(x, x), x[:, 0], 2)
    best = min(problem.total(sets) for sets in every_sets(problem))
    bound = lower_bound(problem, search_sets(problem))
    assert bound.cuts.shape[0] > 0
    assert bound.value == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_order_of_the_parts_does_not_change_the_total(seed):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(30, 3))
    order = rng.permutation(30)
    one, two = (group_problem(cdist(p, p), p[:, 0], 3) for p in (x, x[order]))
    assert settle_sets(one).total == pytest.approx(settle_sets(two).total, rel=1e-9)
    assert one.total(search_sets(one)) == pytest.approx(two.total(search_sets(two)), rel=1e-9)


def test_large_sets_tell_a_bound_that_is_below_and_a_gap():
    problem, _ = rail_case(40, 40, 2, None, 8)
    found = settle_sets(problem)
    assert not found.exact
    assert found.bound < found.total
    assert 0.0 < found.gap < 0.5
    proven = settle_sets(problem, prove=20.0, gap=0.01)
    assert found.bound <= proven.bound <= proven.total <= found.total + 1e-9
    assert proven.gap <= 0.01


@pytest.mark.parametrize("seed", range(4))
def test_two_channels_are_the_best_two_sets_with_their_likeness_counted(seed):
    problem, points = rail_case(5, 5, 2, 2, seed)

    def cost(sets):
        return problem.total(sets) + float(between(problem, points, np.asarray(sets))[0, 1])

    found = alike_channels(problem, points, settle_sets(problem))
    assert cost(found.sets) == pytest.approx(min(cost(sets) for sets in every_sets(problem)), abs=1e-9)
    assert found.exact


def test_sets_are_made_into_amplifiers_of_two_like_channels():
    problem, points = rail_case(8, 8, 2, 4, 1)
    sets = settle_sets(problem).sets
    number = amplifiers(problem, points, sets)
    assert sorted(number) == [1, 1, 2, 2]
    apart = between(problem, points, sets)
    made = sum(apart[i, j] for i, j in combinations(range(4), 2) if number[i] == number[j])
    others = [apart[0, j] + apart[tuple(k for k in range(1, 4) if k != j)] for j in range(1, 4)]
    assert made == pytest.approx(min(others))
    assert amplifiers(*rail_case(2, 2, 2), sets[:1]) == [0]


@pytest.mark.parametrize(("n", "k", "sets"), [(3, 4, None), (8, 2, 5), (4, 2, 0), (4, 0, 1)])
def test_more_sets_than_parts_are_refused(n, k, sets):
    with pytest.raises(ValueError, match=r"parts; there are|above 0"):
        group_problem(np.zeros((n, n)), np.zeros(n), k, sets)
