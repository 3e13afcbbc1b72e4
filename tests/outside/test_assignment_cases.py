"""Assignment cases with published optima. The matrices are facts from the named public sources; totals are checked, not
indices, for ties may be broken either way."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.matching.pairs import best_sum, smallest_worst
from partscreen.matching.ranked import ranked_pairings

INF = np.inf
SPARSE_TESTS = "scipy/scipy, scipy/sparse/csgraph/tests/test_matching.py, commit 3dbf660a"
OPTIMISATION_GUIDE = "developers.google.com/optimization/assignment"
CASES = [
    ([[400, 150, 400], [400, 450, 600], [300, 225, 300]], 850, SPARSE_TESTS),
    ([[400, 150, 400, 1], [400, 450, 600, 2], [300, 225, 300, 3]], 452, SPARSE_TESTS),
    ([[10, 10, 8], [9, 8, 1], [9, 7, 4]], 18, SPARSE_TESTS),
    ([[10, 10, 8, 11], [9, 8, 1, 1], [9, 7, 4, 10]], 15, SPARSE_TESTS),
    ([[10, INF, INF], [INF, INF, 1], [INF, 7, INF]], 18, SPARSE_TESTS),
    ([[90, 76, 75, 70], [35, 85, 55, 65], [125, 95, 90, 105], [45, 110, 95, 115]], 265, OPTIMISATION_GUIDE),
    (
        [[90, 80, 75, 70], [35, 85, 55, 65], [125, 95, 90, 95], [45, 110, 95, 115], [50, 100, 90, 100]],
        265,
        OPTIMISATION_GUIDE,
    ),
    ([[2, 7, 7, 1], [7, 7, 2, 9], [7, 3, 8, 8], [2, 2, 10, 2]], 8, "cran/lpSolve, man/lp.assign.Rd, commit 900e7e7a"),
    ([[5, 3, 2], [1, 5, 4], [4, 2, 4]], 5, "cran/clue, man/solve_LSAP.Rd, commit e4f1519b (matrix; optimum derived)"),
]


@pytest.mark.parametrize(("matrix", "optimum", "source"), CASES, ids=[str(i) for i in range(len(CASES))])
def test_best_sum_is_the_published_optimum(matrix, optimum, source):
    assert best_sum(np.array(matrix, dtype=float)).total == optimum, source


@pytest.mark.parametrize(("matrix", "optimum", "source"), CASES, ids=[str(i) for i in range(len(CASES))])
def test_first_of_the_ranked_pairings_is_the_published_optimum(matrix, optimum, source):
    assert ranked_pairings(np.array(matrix, dtype=float), 1)[0].total == optimum, source


def test_largest_total_of_the_clue_example():
    """cran/clue, man/solve_LSAP.Rd, commit e4f1519b: the largest sum is 14 (derived)."""
    matrix = np.array([[5, 3, 2], [1, 5, 4], [4, 2, 4]], dtype=float)
    assert -best_sum(-matrix).total == 14


def test_last_of_all_ranked_pairings_is_the_largest_total():
    """The same example: its six pairings, ranked, end with 14."""
    totals = [p.total for p in ranked_pairings(np.array([[5, 3, 2], [1, 5, 4], [4, 2, 4]], dtype=float), 10)]
    assert totals == sorted(totals)
    assert (len(totals), totals[0], totals[-1]) == (6, 5, 14)


def test_smallest_worst_of_the_case_with_forbidden_pairs():
    """scipy's case has one feasible pairing: 10, 1 and 7."""
    assert smallest_worst(np.array([[10, INF, INF], [INF, INF, 1], [INF, 7, INF]])) == 10


@pytest.mark.parametrize("a", [100.0, 91.0])
def test_ten_percent_of_hfe_is_the_trade_figure_of_a_matched_pair(a):
    """NTE159 data sheet, note 1 (component data sheet, dtsheet.com 512794): hFE within 10 % of each other."""
    from partscreen.matching.distance import Tolerance

    ratio = abs(np.log(a / 100.0))
    assert ratio <= Tolerance().ln_hfe
    assert np.log(111.0 / 100.0) > Tolerance().ln_hfe
