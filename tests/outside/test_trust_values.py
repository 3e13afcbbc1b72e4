"""Trust in the limiting case against published and tabulated figures.

With one supplier, decisive evidence and every share as likely beforehand, k unfit of n parts leave Beta(1 + k, 1 + n -
k). The exact (Clopper-Pearson) limits of one part more are quantiles of the same distribution: upper limit of k of n +
1, lower limit of k + 1 of n + 1.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import comb

from partscreen.lots.likelihood import cells, laid_out, ln_likelihood, posterior
from partscreen.lots.trust_model import (
    Assumptions,
    Groups,
    Population,
    gathered,
    grids,
    pair_terms,
    supplier_posterior,
    supplier_terms,
    through_types,
)

# Clopper-Pearson limits of scipy's own tests (scipy/stats/tests/test_morestats.py; 3/50, 0/10, 10/10 made with R 3.6.2)
PUBLISHED = [
    (20, 100, 0.975, "upper", 0.2918426891),
    (20, 100, 0.975, "lower", 0.1266555521),
    (20, 100, 0.95, "upper", 0.2772002497),
    (20, 100, 0.95, "lower", 0.1366613252),
    (3, 50, 0.995, "upper", 0.202706269),
    (3, 50, 0.995, "lower", 0.006872485),
    (3, 50, 0.99, "upper", 0.1872093),
    (3, 50, 0.99, "lower", 0.008860761),
    (0, 10, 0.975, "upper", 0.3084971),
    (0, 10, 0.95, "upper", 0.2588656),
    (10, 10, 0.975, "lower", 0.6915029),
    (10, 10, 0.95, "lower", 0.7411344),
]


def decisive(unfit, n):
    return [20.0] * unfit + [-20.0] * (n - unfit)


@pytest.fixture(scope="module")
def fine():
    """One supplier whose types are all alike, lots of one part, fine cells."""
    return grids(Assumptions(type_spreads=(1e9,), lot_cells=200, mean_cells=900))


def quantile_of_supplier(of, unfit, n, chance):
    evidence = [[e] for e in decisive(unfit, n)]
    groups = Groups(np.zeros(n, dtype=np.int64), np.zeros(1, dtype=np.int64), np.ones(n), 1)
    ln = ln_likelihood(laid_out(evidence, [0] * n), of.shares.middle)
    terms = supplier_terms(gathered(through_types(of, pair_terms(of, ln, groups)), groups))
    even = Population(of.means.beta(1.0, 1.0)[None], np.ones(1), np.zeros(1, dtype=np.int64), np.ones(1), np.ones(1))
    return float(of.means.quantile(supplier_posterior(terms, even), chance)[0])


@pytest.mark.parametrize(("unfit", "n", "level", "side", "limit"), PUBLISHED)
def test_one_supplier_with_decisive_evidence_agrees_with_published_exact_limits(fine, unfit, n, level, side, limit):
    k, chance = (unfit, level) if side == "upper" else (unfit - 1, 1.0 - level)
    assert quantile_of_supplier(fine, k, n - 1, chance) == pytest.approx(limit, rel=3e-3)


@pytest.mark.parametrize(("unfit", "n", "level", "side", "limit"), PUBLISHED)
def test_one_lot_with_decisive_evidence_agrees_with_published_exact_limits(unfit, n, level, side, limit):
    grid = cells(2000)
    k, chance = (unfit, level) if side == "upper" else (unfit - 1, 1.0 - level)
    ln = ln_likelihood(laid_out([decisive(k, n - 1)], [0]), grid.middle)
    assert float(grid.quantile(posterior(ln, grid.beta(1.0, 1.0)), chance)[0]) == pytest.approx(limit, rel=3e-4)


def test_three_unfit_of_twenty_after_beta_1_19_give_the_beta_binomial_figures():
    """Derived: Beta(1, 19) and 3 of 20 give Beta(4, 36)."""
    grid = cells(2000)
    ln = ln_likelihood(laid_out([decisive(3, 20)], [0]), grid.middle)
    mass = posterior(ln, grid.beta(1.0, 19.0))
    assert float((mass @ grid.middle)[0]) == pytest.approx(0.1, rel=1e-4)
    assert float(grid.quantile(mass, 0.025)[0]) == pytest.approx(0.028660, rel=2e-4)
    assert float(grid.quantile(mass, 0.975)[0]) == pytest.approx(0.208702, rel=2e-4)
    assert float(grid.chance_above(mass, 0.10)[0]) == pytest.approx(0.443719, rel=1e-3)
    assert float((mass @ (1.0 - grid.middle) ** 10)[0]) == pytest.approx(0.388203, rel=1e-4)


def test_parts_certain_count_like_decisive_evidence():
    grid = cells(2000)
    ln = ln_likelihood(laid_out([decisive(0, 17)], [3]), grid.middle)
    mass = posterior(ln, grid.beta(1.0, 19.0))
    assert float(grid.quantile(mass, 0.975)[0]) == pytest.approx(0.208702, rel=2e-4)


def test_every_count_of_ten_is_as_likely_before_anything_is_known():
    """Derived: under Beta(1, 1) each count of unfit parts among 10 has the probability 1/11."""
    grid = cells(2000)
    even = grid.beta(1.0, 1.0)
    ln = ln_likelihood(laid_out([decisive(k, 10) for k in range(11)], [0] * 11), grid.middle)
    # Decisive evidence of e^20 stands for "seen as unfit" up to that factor.
    chance = np.exp(ln) @ even / np.exp(20.0 * np.arange(11)) * comb(10, np.arange(11))
    assert np.allclose(chance, 1 / 11, rtol=3e-3)


@pytest.mark.parametrize(("a", "b", "chance", "limit"), [(0.5, 0.5, 0.975, 0.116639), (1.0, 1.0, 0.95, 0.132946)])
def test_none_unfit_of_twenty_gives_the_tabulated_upper_limits(a, b, chance, limit):
    """Derived: Jeffreys 0 of 20, 97.5 % point 0.116639; uniform prior 0 of 20, 95 % point 0.132946."""
    grid = cells(2000)
    ln = ln_likelihood(laid_out([decisive(0, 20)], [0]), grid.middle)
    assert float(grid.quantile(posterior(ln, grid.beta(a, b)), chance)[0]) == pytest.approx(limit, rel=3e-4)
