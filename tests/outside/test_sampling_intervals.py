"""Intervals of a share against published figures."""

import numpy as np
import pytest

from partscreen.lots.intervals import clopper_pearson, lower_limit, upper_limit, wilson
from partscreen.lots.share import ShareBelief

# scipy, scipy/stats/tests/test_morestats.py, commit 3dbf660a (second to fourth computed with R 3.6.2)
TWO_SIDED = [
    (20, 100, 0.95, 0.1266555521, 0.2918426891),
    (3, 50, 0.99, 0.006872485, 0.202706269),
    (0, 10, 0.95, 0.0, 0.3084971),
    (10, 10, 0.95, 0.6915029, 1.0),
]
DERIVED = [
    (0, 5, 0.95, 0.0, 0.521824), (0, 20, 0.95, 0.0, 0.168433), (0, 30, 0.95, 0.0, 0.115703),
    (1, 20, 0.95, 0.001265, 0.248733), (2, 10, 0.95, 0.025211, 0.556095), (3, 10, 0.95, 0.066740, 0.652453),
]  # fmt: skip


@pytest.mark.parametrize(("found", "tested", "confidence", "low", "high"), TWO_SIDED + DERIVED)
def test_exact_two_sided_interval(found, tested, confidence, low, high):
    assert clopper_pearson(found, tested, confidence) == pytest.approx((low, high), abs=6e-7)


def test_exact_one_sided_limits():
    # Same source as TWO_SIDED.
    assert upper_limit(20, 100) == pytest.approx(0.2772002497, abs=1e-9)
    assert lower_limit(20, 100) == pytest.approx(0.1366613252, abs=1e-9)
    assert upper_limit(3, 50, 0.99) == pytest.approx(0.1872093, abs=1e-7)
    assert lower_limit(3, 50, 0.99) == pytest.approx(0.008860761, abs=1e-8)
    assert upper_limit(0, 10) == pytest.approx(0.2588656, abs=1e-7)
    assert lower_limit(10, 10) == pytest.approx(0.7411344, abs=1e-7)


def test_one_sided_limit_of_none_found():
    # Derived: 1 - 0.05^(1/n).
    for n, high in {5: 0.4507, 10: 0.2589, 20: 0.1391, 30: 0.0950, 59: 0.0495}.items():
        assert upper_limit(0, n) == pytest.approx(high, abs=5.1e-5)


def test_wilson_interval():
    # Same source as TWO_SIDED.
    assert wilson(3, 10) == pytest.approx((0.1077913, 0.6032219), abs=1e-7)
    assert wilson(3, 10, continuity=True) == pytest.approx((0.08094782, 0.64632928), abs=1e-7)
    assert wilson(0, 10) == pytest.approx((0.0, 0.2775328), abs=1e-7)
    assert wilson(10, 10) == pytest.approx((0.7224672, 1.0), abs=1e-7)


def beta(a, b):
    return ShareBelief(np.array([1.0]), np.array([float(a)]), np.array([float(b)]))


def test_beta_binomial():
    # Derived from the beta and beta-binomial distributions.
    assert beta(1, 1).counts(10) == pytest.approx(np.full(11, 1 / 11), abs=1e-12)
    after = beta(1, 19).after(3, 20)
    assert (after.a[0], after.b[0]) == (4, 36)
    assert after.mean == pytest.approx(0.1, abs=1e-12)
    assert (after.quantile(0.025), after.quantile(0.975)) == pytest.approx((0.028660, 0.208702), abs=6e-7)
    assert 1 - after.chance_below(0.10) == pytest.approx(0.443719, abs=6e-7)
    assert after.counts(10)[0] == pytest.approx(0.388203, abs=6e-7)
    assert beta(0.5, 0.5).after(0, 20).quantile(0.975) == pytest.approx(0.116639, abs=6e-7)
    assert beta(1, 1).after(0, 20).quantile(0.95) == pytest.approx(0.132946, abs=6e-7)
