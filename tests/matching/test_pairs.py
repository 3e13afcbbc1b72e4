"""Pairings against every pairing there is."""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from partscreen.matching.pairs import best_sum, most_pairs, most_within, smallest_worst, worst_then_sum
from partscreen.matching.ranked import ranked_pairings


def every_pairing(n, m, count):
    for rows in combinations(range(n), count):
        for columns in permutations(range(m), count):
            yield list(rows), list(columns)


@st.composite
def matrices(draw, most=5):
    n, m = draw(st.integers(1, most)), draw(st.integers(1, most))
    whole = arrays(np.int64, (n, m), elements=st.integers(0, 20))
    return draw(whole).astype(float)


def totals(cost, count):
    return [(sum(cost[r, c]), max(cost[r, c])) for r, c in every_pairing(*cost.shape, count) if count]


@settings(max_examples=60, deadline=None)
@given(matrices(), st.data())
def test_best_sum_is_the_smallest_of_all_pairings_of_that_many(cost, data):
    count = data.draw(st.integers(1, min(cost.shape)))
    found = best_sum(cost, count)
    assert len(set(found.rows)) == len(set(found.columns)) == count
    assert found.total == min(total for total, _ in totals(cost, count))


@settings(max_examples=60, deadline=None)
@given(matrices(), st.data())
def test_smallest_worst_and_then_the_sum_are_those_of_all_pairings(cost, data):
    count = data.draw(st.integers(1, min(cost.shape)))
    every = totals(cost, count)
    worst = min(w for _, w in every)
    assert smallest_worst(cost, count) == worst
    found = worst_then_sum(cost, count)
    assert found.worst == worst
    assert found.total == min(total for total, w in every if w == worst)


@settings(max_examples=60, deadline=None)
@given(matrices(), st.integers(0, 20))
def test_most_pairs_within_a_tolerance_are_those_of_all_pairings(cost, limit):
    allowed = cost <= limit
    counts = [
        c for c in range(min(cost.shape) + 1) if any(allowed[r, k].all() for r, k in every_pairing(*cost.shape, c))
    ]
    found = most_within(cost, allowed)
    assert found.rows.size == most_pairs(allowed) == max(counts)
    inside = [
        sum(cost[r, c]) for r, c in every_pairing(*cost.shape, max(counts)) if max(counts) and allowed[r, c].all()
    ]
    assert found.total == min(inside, default=0.0)


@settings(max_examples=40, deadline=None)
@given(matrices(4), st.integers(1, 30))
def test_ranked_pairings_are_the_first_of_all_sorted(cost, k):
    count = min(cost.shape)
    every = sorted({(tuple(zip(r, c, strict=True))): sum(cost[r, c]) for r, c in _distinct(cost)}.values())
    found = ranked_pairings(cost, k)
    assert [p.total for p in found] == every[:k]
    seen = {tuple(zip(p.rows.tolist(), p.columns.tolist(), strict=True)) for p in found}
    assert len(seen) == len(found)
    assert all(p.rows.size == count for p in found)


def _distinct(cost):
    count = min(cost.shape)
    yield from every_pairing(*cost.shape, count)


@settings(max_examples=40, deadline=None)
@given(matrices(), st.randoms(use_true_random=False))
def test_order_of_rows_and_columns_changes_no_total(cost, random):
    rows, columns = list(range(cost.shape[0])), list(range(cost.shape[1]))
    random.shuffle(rows)
    random.shuffle(columns)
    other = cost[np.ix_(rows, columns)] + 0.1
    cost = cost + 0.1
    for aim in (best_sum, worst_then_sum):
        assert aim(cost).total == aim(other).total
    assert smallest_worst(cost) == smallest_worst(other)
    assert [p.total for p in ranked_pairings(cost, 3)] == pytest.approx([p.total for p in ranked_pairings(other, 3)])


def test_forbidden_pairs_are_never_made_and_leave_parts_over():
    cost = np.array([[np.inf, np.inf], [1.0, np.inf]])
    assert best_sum(cost).rows.tolist() == [1]
    assert best_sum(np.full((2, 2), np.inf)).rows.size == 0
    with pytest.raises(ValueError, match="1 can be made of 2 and 2"):
        best_sum(cost, 2)


def test_costs_that_are_no_numbers_are_refused():
    with pytest.raises(ValueError, match="NaN"):
        best_sum(np.array([[np.nan]]))
    with pytest.raises(ValueError, match="NaN"):
        ranked_pairings(np.array([[np.nan]]), 1)
    with pytest.raises(ValueError, match="at least 1"):
        ranked_pairings(np.array([[1.0]]), 0)


@pytest.mark.parametrize("seed", range(6))
def test_smallest_worst_is_that_of_a_search_over_thresholds(seed):
    """An independent way: the smallest threshold at which the largest matching (scipy) holds every row."""
    rng = np.random.default_rng(seed)
    n, m = int(rng.integers(20, 60)), int(rng.integers(20, 60))
    a, b = rng.normal(size=(n, 2)), rng.normal(0.3, 1.4, size=(m, 2))
    cost = np.sqrt(((a[:, None] - b) ** 2).sum(axis=2))
    for count in (min(n, m), 3 * min(n, m) // 4):
        levels = np.unique(cost)
        low, high = 0, levels.size - 1
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if most_pairs(cost <= levels[middle]) >= count else (middle + 1, high)
        assert smallest_worst(cost, count) == levels[low]
