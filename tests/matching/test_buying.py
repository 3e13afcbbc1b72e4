"""How many parts to buy."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.stats import nbinom

from partscreen.errors import UnusableInput
from partscreen.matching.buying import Supply, count_matched, enough_parts, parts_to_buy
from partscreen.matching.distance import Tolerance
from partscreen.matching.options import MatchOptions
from tests.matching.bags import COMPLEMENT, bag, stock_of

WIDE, USUAL = Tolerance(1e6, 1e3), Tolerance(10.0, 0.020)


def supply(n, seed=0, spread=(0.1, 0.008)):
    rng = np.random.default_rng(seed)
    return Supply(np.column_stack([spread[0] * rng.standard_normal(n), spread[1] * rng.standard_normal(n)]))


def test_without_a_tolerance_it_is_the_negative_binomial_of_accepted_parts():
    """Nine purchases in ten hold 6 good parts of share 0.755 ((40 + 0.5) / (40 + 13 + 1)): known in closed form."""
    found = enough_parts((supply(20), None), (40.0, 13.0), 2, 3, "groups", WIDE)
    exact = 6 + nbinom.ppf(0.9, 6, 40.5 / 54)
    assert abs(found.value - exact) <= 1  # 300 simulated purchases
    assert found.low <= exact <= found.high


def test_parts_that_are_all_alike_and_all_good_need_no_spare():
    tight = supply(30, spread=(1e-4, 1e-6))
    found = enough_parts((tight, tight), (1000.0, 0.0), 4, 1, "pairs", USUAL)
    assert found.value == 4


def test_number_from_a_bag_agrees_with_that_of_the_whole_population():
    """Purchases simulated from a bag of 25 against purchases from the true spread itself."""
    bag_of, truth = supply(25, 4), supply(1000, 5)
    from_bag = enough_parts((bag_of, None), (50.0, 0.0), 2, 4, "groups", USUAL)
    exact = enough_parts((truth, None), (50.0, 0.0), 2, 4, "groups", USUAL, again=1)
    assert from_bag.low <= exact.value <= from_bag.high


def test_tighter_tolerance_and_more_sets_need_more_parts():
    a, b = supply(20, 1), supply(20, 2)
    counts = [
        enough_parts((a, b), (20.0, 0.0), wanted, 1, "pairs", tolerance, again=2).value
        for wanted, tolerance in ((2, USUAL), (6, USUAL), (6, Tolerance(2.0, 0.005)))
    ]
    assert counts == sorted(counts)
    assert counts[0] < counts[2]


def test_what_cannot_be_had_is_none_not_a_number():
    apart = Supply(np.column_stack([np.linspace(0, 100, 12), np.zeros(12)]))
    far = Supply(apart.rows + np.array([1000.0, 0.0]))
    assert enough_parts((apart, far), (12.0, 0.0), 1, 1, "pairs", USUAL, again=1).value is None


@pytest.mark.parametrize("seed", range(5))
def test_counted_groups_are_groups_and_never_more_than_there_are(seed):
    rows = supply(8, seed, (0.15, 0.015)).rows
    inside = {
        pair
        for pair in combinations(range(8), 2)
        if abs(rows[pair[0], 0] - rows[pair[1], 0]) <= USUAL.ln_hfe
        and abs(rows[pair[0], 1] - rows[pair[1], 1]) <= USUAL.vbe
    }
    from tests.matching.test_line_groups import every_choice

    def fits(group):
        return all(tuple(sorted(pair)) in inside for pair in combinations(group, 2))

    most = max(
        count for count in range(3) if any(all(map(fits, choice)) for choice in every_choice(list(range(8)), 3, count))
    )
    assert count_matched(rows, None, 3, "groups", USUAL) <= most


def test_a_drawn_supply_keeps_mean_and_spread():
    parts = supply(15, 3)
    drawn = parts.drawn(20_000, np.random.default_rng(1))
    assert drawn.mean(axis=0) == pytest.approx(parts.rows.mean(axis=0), abs=0.003)
    assert drawn.std(axis=0) == pytest.approx(parts.rows.std(axis=0), rel=0.03)
    assert np.unique(drawn[:, 0]).size > 19_000


def test_from_a_stock_the_words_say_what_the_number_rests_on():
    options = MatchOptions(kind="pairs", buy_for=3)
    found = parts_to_buy(stock_of(bag(12, 10)), options, COMPLEMENT.get)
    assert found.parts.low <= found.parts.value <= found.parts.high
    assert "spread of 12 parts of 2SC5200" in found.spread_from
    with pytest.raises(UnusableInput, match="tell no spread"):
        parts_to_buy(stock_of(bag(12, 3)), options, COMPLEMENT.get)


def test_few_parts_take_the_spread_of_the_type():
    from partscreen.matching.population import drawn_parts
    from partscreen.reference import Library
    from partscreen.reference.population import population_for

    library = Library.load()

    def points(name, usage, count):
        return drawn_parts(population_for(library.find(name).type), usage, count)

    found = parts_to_buy(stock_of(bag(12, 3)), MatchOptions(kind="pairs", buy_for=1), COMPLEMENT.get, points)
    assert "within-lot spread of 2SA1943 in the library" in found.spread_from
    assert found.parts.value is not None
