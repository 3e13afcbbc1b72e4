"""Groups along a line against every way to make groups."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partscreen.matching.line_groups import groups_on_line, most_groups_on_line


def every_choice(items, k, groups):
    """All sets of `groups` groups of `k` of the items."""
    if groups == 0:
        yield []
        return
    for position in range(len(items) - groups * k + 1):
        first, rest = items[position], items[position + 1 :]
        for others in combinations(rest, k - 1):
            left = [i for i in rest if i not in others]
            for more in every_choice(left, k, groups - 1):
                yield [(first, *others), *more]


lines = st.lists(st.integers(0, 30), min_size=4, max_size=8)


@settings(max_examples=60, deadline=None)
@given(lines, st.sampled_from([2, 3]), st.data())
def test_groups_on_a_line_are_the_best_of_all_groups(values, k, data):
    line = np.array(values, float)
    groups = data.draw(st.integers(1, len(values) // k))
    spreads = [[np.ptp(line[list(g)]) for g in choice] for choice in every_choice(list(range(len(values))), k, groups)]
    found = groups_on_line(line, k, groups)
    assert np.unique(found.members).size == groups * k
    assert found.total == min(sum(s) for s in spreads)
    worst = min(max(s) for s in spreads)
    assert groups_on_line(line, k, groups, aim="worst").worst == worst
    both = groups_on_line(line, k, groups, aim="worst-then-sum")
    assert (both.worst, both.total) == (worst, min(sum(s) for s in spreads if max(s) == worst))


@settings(max_examples=60, deadline=None)
@given(lines, st.sampled_from([2, 3]), st.integers(0, 12))
def test_most_groups_within_a_limit_are_the_most_of_all(values, k, limit):
    line = np.array(values, float)
    found = most_groups_on_line(line, k, limit)
    best = 0
    for groups in range(1, len(values) // k + 1):
        inside = [
            sum(np.ptp(line[list(g)]) for g in choice)
            for choice in every_choice(list(range(len(values))), k, groups)
            if all(np.ptp(line[list(g)]) <= limit for g in choice)
        ]
        if inside:
            best, total = groups, min(inside)
    assert found.members.shape[0] == best
    if best:
        assert found.total == total


def test_order_of_the_parts_changes_neither_sum_nor_worst():
    rng = np.random.default_rng(3)
    line = rng.normal(size=41)
    other = rng.permutation(line)
    for aim in ("sum", "worst", "worst-then-sum"):
        one, two = (groups_on_line(v, 4, aim=aim) for v in (line, other))
        assert (one.total, one.worst) == (two.total, two.worst)


def test_too_few_parts_and_numbers_that_are_none_are_refused():
    with pytest.raises(ValueError, match="need 4 parts; there are 3"):
        groups_on_line(np.arange(3.0), 4)
    with pytest.raises(ValueError, match="NaN"):
        groups_on_line(np.array([1.0, np.nan]), 2)
    with pytest.raises(ValueError, match="aim"):
        groups_on_line(np.arange(4.0), 2, aim="best")
