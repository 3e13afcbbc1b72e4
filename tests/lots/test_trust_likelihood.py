"""The likelihood of a lot's share of unfit parts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta

from partscreen.lots.likelihood import (
    LARGEST_EVIDENCE,
    Bulk,
    Readings,
    bulk_of,
    cells,
    laid_out,
    lean,
    ln_likelihood,
    ln_likelihood_of_lots,
    posterior,
)

GRID = cells(160)
evidence_lists = st.lists(st.lists(st.floats(-19, 19), max_size=40), min_size=1, max_size=6)


@settings(max_examples=60, deadline=None)
@given(evidence_lists, st.integers(0, 3))
def test_likelihood_is_the_product_over_parts_written_out(evidence, certain):
    found = ln_likelihood(laid_out(evidence, [certain] * len(evidence)), GRID.middle)
    s = GRID.middle
    for row, lot in zip(found, evidence, strict=True):
        plain = certain * np.log(s) + sum((np.logaddexp(np.log1p(-s), np.log(s) + e) for e in lot), np.zeros(s.size))
        assert np.allclose(row, plain, rtol=1e-9, atol=1e-9)


def test_likelihood_of_many_lots_does_not_depend_on_how_they_are_cut_into_chunks(monkeypatch):
    rng = np.random.default_rng(3)
    lots = [list(rng.normal(0, 8, n)) for n in rng.integers(0, 70, 60)]
    whole = ln_likelihood(laid_out(lots, [0] * 60), GRID.middle)
    monkeypatch.setattr("partscreen.lots.likelihood._CHUNK", 5000)
    assert np.allclose(ln_likelihood(laid_out(lots, [0] * 60), GRID.middle), whole, rtol=1e-12)


def test_likelihood_is_finite_for_evidence_of_any_size_and_flat_without_readings():
    lots = laid_out([[1e6] * 500, [-1e6] * 500, []], [500, 0, 0])
    found = ln_likelihood(lots, np.concatenate(([1e-12], GRID.middle, [1.0 - 1e-12])))
    assert np.isfinite(found).all()
    assert (found[2] == 0).all()
    assert found[0].argmax() == found.shape[1] - 1
    assert found[1].argmax() == 0


def test_part_unfit_for_certain_excludes_a_share_of_nothing():
    assert ln_likelihood(laid_out([[]], [1]), np.array([0.0, 1.0])).tolist() == [[-np.inf, 0.0]]


def test_evidence_beyond_the_largest_counts_as_the_largest():
    a, b = (ln_likelihood(laid_out([[e]], [0]), GRID.middle) for e in (LARGEST_EVIDENCE, 1e9))
    assert (a == b).all()


@pytest.mark.parametrize(
    ("evidence", "lot", "words"), [([np.nan], [0], "not a number"), ([1.0, 1.0], [1, 0], "sorted by their lot")]
)
def test_likelihood_refuses_what_it_cannot_weigh(evidence, lot, words):
    with pytest.raises(ValueError, match=words):
        ln_likelihood(Readings(np.array(evidence), np.array(lot), np.zeros(2, dtype=np.int64)), GRID.middle)


def test_cells_need_eight_and_a_small_share():
    with pytest.raises(ValueError, match="8 cells at least"):
        cells(5)


@pytest.mark.parametrize(("a", "b"), [(0.02, 0.18), (1.0, 1.0), (4.0, 36.0), (60.0, 0.5)])
def test_cell_masses_sum_to_one_and_quantiles_agree_with_the_beta_distribution(a, b):
    fine = cells(600)
    mass = fine.beta(a, b)
    assert mass.sum() == pytest.approx(1.0, abs=1e-12)
    for chance in (0.2, 0.5, 0.95):
        exact = beta.ppf(chance, a, b)
        if 1e-4 < exact < 1 - 1e-4:
            assert float(fine.quantile(mass, chance)) == pytest.approx(exact, rel=2e-3, abs=1e-6)


def test_interval_of_a_clean_lot_begins_at_nothing_and_holds_its_whole_chance():
    mass = GRID.beta(0.1, 20.9)
    low, high = GRID.ends(mass)
    assert low == 0.0
    assert float(GRID.chance_above(mass, float(high))) == pytest.approx(0.05, abs=1e-9)


def test_lean_is_the_median_of_the_side_most_parts_are_on():
    lots = laid_out([[-3.0, -2.0, -4.0, 20.0], [5.0, 6.0, -1.0], [], [0.0, 0.0], [-1.0, 4.0]], [0] * 5)
    assert lean(lots).tolist() == [-3.0, 5.5, 0.0, 0.0, 4.0]


def test_forty_parts_that_lean_on_one_reference_do_not_exclude_a_wholly_substituted_lot():
    lot = laid_out([[-3.0] * 40], [0])
    flat = GRID.beta(1.0, 1.0)
    alone = posterior(ln_likelihood(lot, GRID.middle), flat)
    shared = posterior(ln_likelihood_of_lots(lot, GRID.middle), flat)
    assert GRID.chance_above(alone, 0.5)[0] < 1e-9
    assert GRID.chance_above(shared, 0.5)[0] == pytest.approx(1 / (1 + np.exp(3.0)), rel=0.02)


@pytest.mark.parametrize(("unfit", "sign"), [(0.003, -1), (0.0773, 0), (0.9, 1), (0.0, -1), (1.0, 1)])
def test_bulk_evidence_takes_off_what_was_expected_beforehand(unfit, sign):
    """At an expected share of 0.1 the bulk is expected to be unfit in 7.7 of 100 lots."""
    found = bulk_of(unfit, 0.1).ratio
    assert abs(found) <= LARGEST_EVIDENCE
    assert np.sign(np.round(found, 1)) == sign


def test_lot_whose_bulk_is_told_clearly_counts_part_by_part():
    lot = laid_out([[-3.0] * 12], [0])
    flat = GRID.beta(1.0, 1.0)
    told = posterior(ln_likelihood_of_lots(lot, GRID.middle, [Bulk(-20.0, False)]), flat)
    assert np.allclose(told, posterior(ln_likelihood(lot, GRID.middle), flat), atol=1e-6)


def test_unfit_half_beside_a_bulk_as_marked_stays_unfit_whichever_half_is_larger():
    """The main population of a lot need not be the side most parts are on: what screening says of it decides."""
    lot = laid_out([[15.0] * 6 + [-4.0] * 6], [0])
    found = posterior(ln_likelihood_of_lots(lot, GRID.middle, [Bulk(-1.2, False)]), GRID.beta(0.1, 0.9))
    low, high = GRID.ends(found)
    assert low[0] > 0.2
    assert high[0] > 0.7


def test_bulk_that_nothing_vouches_for_may_as_well_be_the_other_way():
    lot = laid_out([[-6.0] * 12], [0])
    found = posterior(ln_likelihood_of_lots(lot, GRID.middle, [Bulk(0.0)]), GRID.beta(1.0, 1.0))
    assert GRID.chance_above(found, 0.5)[0] == pytest.approx(0.5, abs=0.01)


def test_what_happened_in_service_changes_no_sides():
    readings = laid_out([[-6.0] * 12], [0], [[4.0] + [0.0] * 11])
    plain = laid_out([[-6.0] * 12], [0])
    flat = GRID.beta(1.0, 1.0)
    means = [
        float((posterior(ln_likelihood_of_lots(r, GRID.middle), flat) @ GRID.middle)[0]) for r in (plain, readings)
    ]
    assert means[1] > means[0]
