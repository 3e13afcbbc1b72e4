"""The hierarchical model: calibrated on its own worlds, measured on worlds it did not assume."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chisquare

from partscreen.lots.likelihood import laid_out, ln_likelihood
from partscreen.lots.risk_by_type import pair_posterior
from partscreen.lots.trust_fit import fit_suppliers, next_lot_above, population_share, smaller
from partscreen.lots.trust_model import Groups, grids
from partscreen.lots.trust_words import SURE
from tests.lots.trust_worlds import (
    assumed_world,
    chosen,
    one_bad_bag,
    one_part_lots,
    one_reference,
    rank_of,
    rank_of_mean,
    right_order,
    suppliers_that_change,
    two_kinds_of_suppliers,
    weigh,
)

N_WORLDS = 300


@pytest.fixture(scope="module")
def of():
    return grids()


@pytest.fixture(scope="module")
def calibration(of):
    """Ranks of the truth in its posterior, over worlds drawn from the model itself."""
    return simulate(of, N_WORLDS, seed=5)


def simulate(of, n_worlds, seed):
    rng = np.random.default_rng(seed)
    supplier, pair, mean, covered, above = [], [], [], [], []
    for _ in range(n_worlds):
        world = assumed_world(rng, of)
        fit = weigh(of, world)
        supplier.append(rank_of(rng, of.means, fit.posterior[0], world.truth[0]))
        pair.append(rank_of(rng, of.means, pair_posterior(fit)[0], world.pair_truth[0]))
        mean.append(rank_of_mean(fit.people, world.mean))
        low, high = fit.ends()
        covered += ((world.truth >= low) & (world.truth <= high)).tolist()
        above.append((float(smaller(fit, np.array([0]), np.array([1]))[0]), world.truth[0] < world.truth[1]))
    return {"supplier": supplier, "pair": pair, "mean": mean, "covered": covered, "order": above}


@pytest.mark.parametrize("what", ["supplier", "pair", "mean"])
def test_ranks_of_the_truth_are_uniform(calibration, what):
    """Simulation-based calibration (S. Talts et al. 2018, arXiv 1804.06788; memory): a model that computes its own
    posterior right has uniform ranks."""
    counts = np.histogram(calibration[what], 10, (0.0, 1.0))[0]
    assert chisquare(counts).pvalue > 0.01


def test_intervals_cover_95_percent_on_worlds_that_were_assumed(calibration):
    assert 0.93 <= np.mean(calibration["covered"]) <= 0.97


def test_pairwise_probabilities_say_how_often_the_order_is_right(calibration):
    said, came = (np.array(x, dtype=float) for x in zip(*calibration["order"], strict=True))
    for low, high in ((0.0, 0.35), (0.35, 0.65), (0.65, 1.0)):
        here = (said >= low) & (said <= high)
        error = np.sqrt(max(said[here].mean() * (1 - said[here].mean()), 0.05) / here.sum())
        assert abs(said[here].mean() - came[here].mean()) < 3 * error


@pytest.mark.long
def test_ranks_and_coverage_over_three_thousand_worlds(of):
    found = simulate(of, 3000, seed=77)
    for what in ("supplier", "pair", "mean"):
        assert chisquare(np.histogram(found[what], 20, (0.0, 1.0))[0]).pvalue > 0.001
    assert 0.94 <= np.mean(found["covered"]) <= 0.96


def measured(of, make, n=60, seed=11, robust=True):
    """Coverage; share of pairs in the right order by model and by naive share; share bought from by both."""
    rng = np.random.default_rng(seed)
    covered, model, naive, total, bought, naively = [], 0.0, 0.0, 0, [], []
    for _ in range(n):
        world = make(rng)
        fit = weigh(of, world, robust=robust)
        low, high = fit.ends()
        covered += ((world.truth >= low) & (world.truth <= high)).tolist()
        right, pairs = right_order(fit.expected, world.truth)
        model, naive, total = model + right, naive + right_order(world.naive, world.truth)[0], total + pairs
        bought.append(chosen(rng, fit.expected, world.truth))
        naively.append(chosen(rng, world.naive, world.truth))
    return np.mean(covered), model / max(total, 1), naive / max(total, 1), np.mean(bought), np.mean(naively)


def test_two_kinds_of_suppliers_are_ordered_better_than_by_naive_share(of):
    covered, model, naive, bought, naively = measured(of, two_kinds_of_suppliers)
    assert model > naive
    assert model > 0.94
    assert bought <= naively
    assert 0.90 <= covered <= 0.99


def test_lots_of_one_part_are_ordered_better_than_by_naive_share(of):
    covered, model, naive, bought, naively = measured(of, one_part_lots)
    assert model > naive
    assert bought < naively
    assert 0.90 <= covered <= 0.99


def test_bulk_counted_once_keeps_intervals_honest_where_parts_lean_on_one_reference(of):
    once = measured(of, lambda rng: one_reference(rng, of), n=40)
    part_by_part = measured(of, lambda rng: one_reference(rng, of), n=40, robust=False)
    assert once[0] > 0.9
    assert once[0] > part_by_part[0] + 0.15
    assert once[1] > once[2]


def test_forgetting_finds_the_suppliers_that_changed(of):
    kept = measured(of, suppliers_that_change)
    faded = measured(of, lambda rng: suppliers_that_change(rng, half_life=2.0))
    assert faded[1] > kept[1] + 0.1
    assert faded[1] > faded[2] + 0.1
    assert faded[3] < kept[3]


def test_one_bad_bag_among_fifty_does_not_part_a_supplier_from_its_likes(of):
    """False alarms: where all suppliers are alike, hardly any pair is told apart with 95 %."""
    rng, alarms, asked = np.random.default_rng(4), 0, 0
    for _ in range(15):
        fit = weigh(of, one_bad_bag(rng), robust=True)
        a, b = np.triu_indices(12, 1)
        chance = smaller(fit, a, b)
        alarms, asked = alarms + int(((chance < 0.025) | (chance > 0.975)).sum()), asked + chance.size
    assert alarms / asked < 0.05


def decisive(of, lots, pairs=None):
    """Lots given as (supplier, unfit, parts), read decisively."""
    evidence = [[20.0] * bad + [-20.0] * (n - bad) for _, bad, n in lots]
    supplier = np.array([s for s, _, _ in lots])
    kind = np.zeros_like(supplier) if pairs is None else np.array(pairs)
    codes, pair = np.unique(supplier * 10 + kind, return_inverse=True)
    groups = Groups(pair, codes // 10, np.ones(len(lots)), int(supplier.max()) + 1)
    return fit_suppliers(of, ln_likelihood(laid_out(evidence, [0] * len(lots)), of.shares.middle), groups)


def test_one_bad_bag_does_not_outweigh_fifty_and_one_clean_bag_is_no_trust(of):
    lots = [(0, 20, 20), *[(0, 0, 20)] * 50, (1, 20, 20), (2, 0, 20)]
    fit = decisive(of, lots)
    old, one_bad, one_clean = fit.expected
    high = fit.ends()[1]
    assert 0.01 < old < 0.06
    assert old < one_bad < 0.9
    assert high[2] > 2 * high[0]
    assert one_clean > old


def test_riskier_type_of_a_supplier_is_found_and_pooled_with_its_others(of):
    lots = [*[(0, 0, 20)] * 10, *[(0, 20, 20)] * 3, (0, 0, 20), *[(1, 0, 20)] * 12]
    kinds = [*[0] * 10, *[1] * 4, *[0] * 12]
    fit = decisive(of, lots, kinds)
    share = pair_posterior(fit) @ of.means.middle
    assert share[0] < fit.expected[0] < share[1]
    assert share[1] < 0.75  # its own lots say three in four
    alone = decisive(of, lots[10:14], [0] * 4)
    assert share[1] < alone.expected[0] + 0.1


def test_next_lot_of_a_supplier_with_clean_lots_is_likelier_fit_to_use(of):
    fit = decisive(of, [*[(0, 0, 20)] * 20, *[(1, 20, 20)] * 5, *[(1, 0, 20)] * 5])
    above = next_lot_above(fit, 0.1)
    assert above[0] < 0.05
    assert 0.3 < above[1] < 0.8


def test_lot_of_weight_nothing_says_nothing(of):
    lots = laid_out([[20.0] * 10, [-20.0] * 10], [0, 0])
    ln = ln_likelihood(lots, of.shares.middle)
    both = fit_suppliers(of, ln, Groups(np.array([0, 1]), np.array([0, 1]), np.array([0.0, 1.0]), 2))
    one = fit_suppliers(of, ln[1:], Groups(np.array([0]), np.array([0]), np.ones(1), 1))
    assert both.expected[1] == pytest.approx(one.expected[0], rel=1e-3)
    assert population_share(both)[0] == pytest.approx(population_share(one)[0], rel=1e-3)


def test_fit_is_the_same_every_time(of):
    world = assumed_world(np.random.default_rng(1), of)
    assert (weigh(of, world).posterior == weigh(of, world).posterior).all()


def test_finer_grids_change_little(of):
    from partscreen.lots.trust_model import Assumptions

    fine = grids(Assumptions(lot_cells=400, mean_cells=240))
    rng = np.random.default_rng(8)
    for _ in range(4):
        world = two_kinds_of_suppliers(rng)
        coarse, close = weigh(of, world), weigh(fine, world)
        assert np.allclose(coarse.expected, close.expected, rtol=0.03, atol=5e-4)


def test_advice_to_buy_elsewhere_is_wrong_no_oftener_than_it_says(of):
    """False alarms of the advice: of shares said to be above 0.1 with 90 %, at most one in ten is not."""
    rng, wrong, said = np.random.default_rng(31), 0, 0
    wrongly_cleared, cleared = 0, 0
    for _ in range(150):
        world = assumed_world(rng, of, 10)
        above = of.means.chance_above(weigh(of, world, robust=True).posterior, 0.1)
        wrong, said = wrong + int((world.truth[above >= SURE] <= 0.1).sum()), said + int((above >= SURE).sum())
        below = above <= 1.0 - SURE
        wrongly_cleared, cleared = wrongly_cleared + int((world.truth[below] > 0.1).sum()), cleared + int(below.sum())
    assert said > 100
    assert cleared > 100
    assert wrong / said < 0.1
    assert wrongly_cleared / cleared < 0.1
