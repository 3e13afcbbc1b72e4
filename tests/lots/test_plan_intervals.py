"""Intervals cover as often as they say, and the belief is the exact one."""

import numpy as np
import pytest
from scipy.stats import binom, hypergeom

from partscreen.lots.intervals import clopper_pearson, most_bad_in_lot, upper_limit, wilson
from partscreen.lots.operating_curve import apparent_share
from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.lots.share import clean_or_bad
from tests.lots.plan_lots import STRICT, WEAK

SHARES = np.linspace(0.0, 1.0, 201)


def coverage(interval, n, readings):
    """Chance that the interval holds the share, at every share."""
    found = np.arange(n + 1)
    ends = np.array([interval(int(k)) for k in found])
    chance = binom.pmf(found, n, apparent_share(SHARES, readings)[:, None])
    inside = (ends[:, 0] <= SHARES[:, None] + 1e-12) & (ends[:, 1] >= SHARES[:, None] - 1e-12)
    return (chance * inside).sum(axis=1)


@pytest.mark.parametrize("readings", [PERFECT, WEAK, STRICT], ids=["perfect", "weak", "strict"])
@pytest.mark.parametrize("n", [5, 22, 60])
def test_exact_interval_never_covers_less_than_it_says(n, readings):
    assert coverage(lambda k: clopper_pearson(k, n, readings=readings), n, readings).min() >= 0.95 - 1e-9
    assert coverage(lambda k: (0.0, upper_limit(k, n, readings=readings)), n, readings).min() >= 0.95 - 1e-9


def test_score_interval_covers_about_as_often_as_it_says_on_average():
    # R. G. Newcombe (Statistics in Medicine 17, 1998) and others: on average, not at every share.
    found = coverage(lambda k: wilson(k, 22), 22, PERFECT)
    assert 0.93 < found[1:-1].mean() < 0.97
    assert found.min() < 0.95


@pytest.mark.parametrize(("lot_size", "n"), [(10, 4), (50, 22), (120, 30)])
def test_limit_in_whole_parts_of_a_lot_never_covers_less_than_it_says(lot_size, n):
    for bad in range(lot_size + 1):
        found = np.arange(max(0, n + bad - lot_size), min(n, bad) + 1)
        high = np.array([most_bad_in_lot(int(k), n, lot_size) for k in found])
        assert hypergeom.pmf(found, lot_size, bad, n)[high >= bad].sum() >= 0.95 - 1e-9


def test_limit_in_whole_parts_agrees_with_the_sample_size():
    from partscreen.lots.zero_acceptance import least_bad, sample_size

    for lot_size in (10, 50, 200):
        for tolerable in (0.05, 0.1, 0.2):
            n = sample_size(tolerable, 0.95, lot_size=lot_size)
            assert most_bad_in_lot(0, n, lot_size) < least_bad(lot_size, tolerable)
            if n > 1:
                assert most_bad_in_lot(0, n - 1, lot_size) >= least_bad(lot_size, tolerable)


@pytest.mark.parametrize("prior_share", [0.02, 0.1, 0.5])
def test_belief_before_reading_has_the_stated_mean_and_is_u_shaped(prior_share):
    belief = clean_or_bad(prior_share)
    assert belief.mean == pytest.approx(prior_share, abs=1e-12)
    assert belief.counts(30) @ np.arange(31) == pytest.approx(30 * prior_share, rel=1e-9)
    counts = belief.counts(30)
    assert counts[0] > counts[5] < counts[30]
    assert counts.sum() == pytest.approx(1.0, abs=1e-9)


def test_nodes_integrate_the_beta_binomial():
    belief = clean_or_bad(0.1)
    share, weight = belief.nodes(80)
    k = np.arange(51)[:, None]
    assert binom.pmf(k, 50, share) @ weight == pytest.approx(belief.counts(50), abs=1e-9)


@pytest.mark.parametrize("readings", [PERFECT, WEAK, STRICT], ids=["perfect", "weak", "strict"])
@pytest.mark.parametrize(("found", "tested"), [(0, 22), (1, 10), (7, 12)])
def test_belief_after_reading_is_that_of_direct_integration(found, tested, readings):
    belief = clean_or_bad(0.1)
    after = belief.after(found, tested, readings)
    share, weight = belief.nodes(150)
    likelihood = binom.pmf(found, tested, apparent_share(share, readings)) * weight
    assert after.mean == pytest.approx(float(likelihood @ share / likelihood.sum()), rel=1e-7, abs=1e-12)
    next_all_good = float(likelihood @ (1 - share) ** 10 / likelihood.sum())
    assert after.counts(10)[0] == pytest.approx(next_all_good, rel=1e-7)


def test_believed_interval_covers_as_often_as_it_says_over_lots_drawn_from_the_belief():
    rng = np.random.default_rng(21)
    belief, n, lots = clean_or_bad(0.1), 22, 20_000
    which = rng.choice(2, lots, p=belief.weight)
    share = rng.beta(belief.a[which], belief.b[which])
    found = rng.binomial(n, apparent_share(share, WEAK))
    high = np.array([belief.after(k, n, WEAK).quantile(0.95) for k in range(n + 1)])
    covered = (share <= high[found] + 1e-12).mean()
    assert abs(covered - 0.95) < 4 * np.sqrt(0.95 * 0.05 / lots)


@pytest.mark.parametrize(
    "wrong",
    [{"power": 1.2}, {"false_alarm": -0.1}, {"power": 0.1, "false_alarm": 0.1}, {"held_if_good": 1.0}],
)
def test_readings_that_cannot_be_are_refused(wrong):
    with pytest.raises(ValueError):
        ReadingsPower(**wrong)
