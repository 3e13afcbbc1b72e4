"""The engine's small formulas against closed forms and numerical integration."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import betaln
from scipy.stats import beta, multivariate_normal

from partscreen.reference import Library
from partscreen.reference.population import population_for
from partscreen.screening.evidence.combine import _quantile
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.joined import join, side_by_side
from partscreen.screening.evidence.linear import AREA
from partscreen.screening.evidence.lot import (
    ALIKE,
    Alternatives,
    Mode,
    Share,
    _Alike,
    _mixed,
    alternatives_of,
    back,
    fit_mode,
    posterior,
    prior_weights,
    share_priors,
)
from partscreen.screening.evidence.quadratic import Quadratic, information, integrate, inverse, ln_sum
from partscreen.screening.evidence.reach import powers, reach
from partscreen.screening.evidence.settle import settle
from partscreen.screening.evidence.shared_misfit import OWN_SHARE, share_misfit
from partscreen.screening.evidence.weigh_lots import knowledge_from
from tests.screening.lots import observe

POPULATION = population_for(Library.load().find("2SC5200").type)
KNOWN = knowledge_from(
    POPULATION.centre, POPULATION.centre_covariance, POPULATION.between, POPULATION.within,
    temperature_std=0.5, gain_std=0.003, lead_std=1e-4,
)  # fmt: skip
CONSTANTS = POPULATION.constants


@pytest.fixture(scope="module")
def lot():
    rng = np.random.default_rng(5)
    theta = rng.multivariate_normal(POPULATION.centre, POPULATION.within, size=5, method="eigh")
    o = observe(theta, CONSTANTS, rng)
    return o, settle(o, CONSTANTS, KNOWN, share_priors(0.1)[1]).readings


@pytest.mark.parametrize("prior", [0.01, 0.1, 0.4])
def test_bad_lots_and_the_shares_of_their_rests_are_those_of_one_beta_distribution(prior):
    # Beta(s, 1 - s), cut at a half, by numerical integration
    a, b = prior, 1.0 - prior

    def moment(power, low, high):
        """By substitution of x^a, which takes the pole at 0 away, or of (1 - x)^b, that at 1."""

        def from_0(u):
            return (1 - u ** (1 / a)) ** (b - 1) * u ** (power / a) / a

        def from_1(v):
            return (1 - v ** (1 / b)) ** (a - 1 + power) / b

        density, top = (from_0, high**a) if low == 0.0 else (from_1, (1 - low) ** b)
        return quad(density, 0.0, top, epsabs=1e-13)[0] / np.exp(betaln(a, b))

    bad_lot, good, rest = share_priors(prior)
    assert bad_lot == pytest.approx(moment(0, 0.5, 1.0), rel=1e-6)
    assert good.a / (good.a + good.b) == pytest.approx(moment(1, 0.0, 0.5) / (1 - bad_lot), rel=1e-6)
    assert rest.a / (rest.a + rest.b) == pytest.approx(1 - moment(1, 0.5, 1.0) / bad_lot, rel=1e-6)
    assert (good.a + good.b, rest.a + rest.b) == (pytest.approx(1.0), pytest.approx(1.0))
    assert (1 - bad_lot) * good.a + bad_lot * (1 - rest.a) == pytest.approx(prior)


def test_weights_of_explanations_are_the_chain_rule_of_their_likelihood():
    prior, theme = np.array([0.1, 0.2, 0.3, 0.25, 0.15]), np.array([0, 0, 1, 1, 2])
    alike = _Alike(prior, theme)
    assert alike.learnt(np.zeros(5)) == pytest.approx(prior)
    counts, ln_p = np.zeros(5), 0.0
    for found in (1, 1, 3, 0, 1, 4):
        weights = alike.learnt(counts)
        assert weights.sum() == pytest.approx(1.0)
        ln_p += log(weights[found])
        counts[found] += 1
    assert alike.ln_likelihood(counts) == pytest.approx(ln_p)
    # By hand after one part of explanation 1: theme 0 has (4 x 0.3 + 1) / 5, within it (4 x 2/3 + 1) / 5.
    one = alike.learnt(np.array([0.0, 1, 0, 0, 0]))
    assert one[1] == pytest.approx((ALIKE * 0.3 + 1) / (ALIKE + 1) * (ALIKE * 2 / 3 + 1) / (ALIKE + 1))
    assert _Alike(np.array([0.0, 1.0]), np.array([0, 0])).learnt(np.array([3.0, 0.0]))[0] == 0.0


def test_share_of_a_lot_integrated_out_is_the_beta_binomial_chance_of_its_order():
    belongs, rest = np.log([0.3, 0.4, 0.5]), np.log([[0.1, 0.2], [0.2, 0.3], [0.6, 0.7]])
    weight = np.array([1.0, 1.0, 0.0])
    members = np.array([[0.0, 0.0], [0.0, 0.0], [0.0, 1.0]])
    got = _mixed(belongs, rest, weight, members, Share(0.2, 0.8))
    # sound (0.8 / 1), sound (1.8 / 2), bad (0.2 / 3)
    assert got == pytest.approx(log(0.3 * 0.4 * 0.7 * (0.8 / 1) * (1.8 / 2) * (0.2 / 3)))
    # Divided memberships: the bound of the mixture, sum w (ln p - ln w).
    got = _mixed(belongs[:1], rest[:1], np.array([0.5]), np.array([[0.25, 0.25]]), Share(0.2, 0.8))
    bound = 0.5 * log(0.3 / 0.5) + 0.25 * log(0.1 / 0.25) + 0.25 * log(0.2 / 0.25)
    assert got == pytest.approx(bound + betaln(0.7, 1.3) - betaln(0.2, 0.8))


def test_centre_of_a_lot_is_the_gaussian_posterior_of_the_parts_that_count():
    covariance, origin = np.diag([4.0, 1.0]), np.array([10.0, -3.0])
    mode = Mode("m", "marked", np.array([11.0, -3.0]), covariance, 0.0)
    m = np.stack([np.diag([1.0, 2.0]), np.diag([3.0, 1.0])])
    main = Quadratic(np.zeros(2), np.array([[0.5, 1.0], [-1.0, 0.0]]), m, origin)
    centre, precision = posterior(mode, inverse(covariance), main, np.array([1.0, 0.5]))
    assert precision == pytest.approx(np.diag([0.25 + 1 + 1.5, 1 + 2 + 0.5]))
    assert centre == pytest.approx(origin + np.array([(0.25 * 1 + 0.5 - 0.5) / 2.75, 1.0 / 3.5]))


def test_quadratic_is_worked_out_from_its_origin():
    bend = np.array([[[2.0, 0.5], [0.5, 1.0]]])
    form = Quadratic(np.array([1.0]), np.array([[2.0, -1.0]]), bend, np.array([1.0, 1.0]))
    assert form.at(np.array([2.0, 3.0])).tolist() == [[1.0 + 2.0 - 2.0 - 0.5 * (2.0 + 2 * 0.5 * 2 + 4.0)]]


def test_sum_of_exponentials_bears_what_is_impossible():
    assert ln_sum(np.log([[0.25, 0.5], [1e-200, 1e-200]])) == pytest.approx([log(0.75), log(2e-200)])
    assert ln_sum(np.array([[1000.0, 1000.0]])) == pytest.approx([1000.0 + log(2)])
    assert ln_sum(np.full((1, 3), -np.inf)).tolist() == [-np.inf]


def test_alternatives_are_shifts_of_their_own_forms(lot):
    _, readings = lot
    info = information(readings, KNOWN.centre)
    groups = families(KNOWN.within, KNOWN.device_between)
    found = alternatives_of(info, groups)
    centre = KNOWN.centre + 0.03
    plain = [integrate(info, g.spread).at(centre + g.shifts) for g in groups]
    assert found.at(centre) == pytest.approx(np.concatenate(plain, axis=1), rel=1e-9)


def test_explanations_of_the_rest_weigh_one_together_and_half_of_it_is_as_marked_in_an_unfit_lot():
    groups = families(KNOWN.within, KNOWN.device_between)
    marked = Mode("as marked", "marked", KNOWN.centre, KNOWN.lot_covariance, 0.0)
    smaller = replace(marked, kind="die", ln_area=log(0.5))
    larger = replace(marked, kind="die", ln_area=log(2.0))
    other = replace(marked, kind="type")
    for mode in (marked, smaller, larger, other):
        assert prior_weights(groups, mode).sum() == pytest.approx(1.0)
    assert prior_weights(groups, smaller)[-2:].tolist() == [0.25, 0.25]
    assert prior_weights(groups, larger)[-2:].tolist() == [0.5, 0.0]
    assert prior_weights(groups, other)[-2:].tolist() == [0.5, 0.0]
    assert back(smaller) == pytest.approx(log(2.0) * AREA)


def test_lot_without_anything_odd_has_the_plain_gaussian_likelihood_of_all_its_readings():
    # Three parts far from every alternative: what is left is the marginal density of readings with one common centre,
    # and the chance that none of three is of the rest.
    groups = families(KNOWN.within, KNOWN.device_between)
    q, n = KNOWN.centre.size, 3
    mode = Mode("as marked", "marked", np.zeros(q), np.eye(q) * 4.0, log(0.3))
    rng = np.random.default_rng(4)
    z = rng.normal(0.0, 1.0, (n, q))
    # each part read directly with unit variance: c = ln N(z; 0, 1), u = z, M = 1
    c = -0.5 * (z**2).sum(axis=1) - 0.5 * q * np.log(2 * np.pi)
    main = Quadratic(c, z, np.tile(np.eye(q), (n, 1, 1)), np.zeros(q))
    far = replace(main, c=c - 2000.0)
    shape = sum(g.shifts.shape[0] for g in groups)
    alternatives = alternatives_of_nothing(groups, far, n, shape, q)
    best = fit_mode(mode, main, alternatives, np.full(n, -3000.0), None, Share(0.2, 0.8))[0]
    cov = np.kron(np.ones((n, n)), np.eye(q) * 4.0) + np.eye(n * q)
    plain = multivariate_normal(np.zeros(n * q), cov).logpdf(z.ravel())
    none_odd = log(0.8 / 1 * 1.8 / 2 * 2.8 / 3)
    assert best.ln_likelihood == pytest.approx(plain + none_odd + log(0.3), abs=1e-6)
    assert best.centre == pytest.approx(z.sum(axis=0) / (n + 0.25), abs=1e-9)
    assert best.weight == pytest.approx(1.0)
    assert best.share == pytest.approx(0.2 / 4)


def alternatives_of_nothing(groups, far, n, shape, q):
    count = np.array([g.shifts.shape[0] for g in groups])
    level = np.full((n, shape), -3000.0)
    return Alternatives(
        list(groups), [far for _ in groups], level, np.zeros((n, shape, q)), np.zeros((len(groups), n, q, q)), count
    )


def test_quantile_of_a_mixture_of_betas():
    one = _quantile(np.array([1.0]), np.array([2.0]), np.array([5.0]), 0.975)
    assert one == pytest.approx(beta.ppf(0.975, 2, 5), rel=1e-12)
    p, a, b = np.array([0.3, 0.7]), np.array([1.0, 4.0]), np.array([9.0, 2.0])
    mixed = _quantile(p, a, b, 0.2)
    assert 0.3 * beta.cdf(mixed, 1, 9) + 0.7 * beta.cdf(mixed, 4, 2) == pytest.approx(0.2, rel=1e-10)


def test_what_a_lot_has_in_common_is_taken_off_each_part_by_the_others(lot):
    _, readings = lot
    n = readings.residual.shape[0]
    model = np.full(readings.std.shape, 0.02)
    std = np.full(readings.std.shape, 0.01)
    residual = np.zeros(readings.residual.shape) + np.arange(n)[:, None] * 0.01
    bare = replace(readings, std=std, misfit=model, residual=residual)
    weight = np.array([1.0, 1.0, 1.0, 1.0, 0.0])
    got = share_misfit(bare, weight)
    own = 0.01**2 + (OWN_SHARE * 0.02) ** 2
    column = int(np.flatnonzero(readings.present.all(axis=0))[0])
    # By hand for the first part: the others that count read 0.01, 0.02, 0.03, with the prior's 1 / 0.02^2 about 0.
    common = (0.06 / own) / (3 / own + 1 / 0.02**2)
    assert got.residual[0, column] == pytest.approx(0.0 - common)
    assert got.std[0, column] == pytest.approx(np.sqrt(own + 1 / (3 / own + 1 / 0.02**2)))
    # The last counts for nothing itself: all four others are taken off it.
    common = (0.06 / own) / (4 / own + 1 / 0.02**2)
    assert got.residual[4, column] == pytest.approx(0.04 - common)
    assert share_misfit(replace(bare, misfit=model * 0), weight).residual is residual


def test_power_and_reach_are_those_of_a_normal_evidence(lot):
    _, readings = lot
    groups = families(KNOWN.within, KNOWN.device_between)
    names, power = powers(readings, KNOWN.within, groups)
    assert power.shape == (readings.residual.shape[0], len(names))
    assert ((power >= 0) & (power <= 1)).all()
    # At the area that `reach` names, D^2/2 - 5.5 = 1.28 D: nine in ten.
    edge = reach(readings, KNOWN.within)
    at_edge = replace(groups[0], shifts=log(edge[0]) * AREA[None], names=("edge",))
    assert powers(readings, KNOWN.within, (at_edge,))[1][0, 0] == pytest.approx(0.9, abs=1e-6)
    blind = replace(readings, jacobian=readings.jacobian * 0)
    assert reach(blind, KNOWN.within).tolist() == [0.0] * 5
    assert (powers(blind, KNOWN.within, groups)[1] == 0.0).all()


def test_lots_laid_side_by_side_keep_their_parts_and_their_sessions(lot):
    o, _ = lot
    joined = join([o, o, o])
    assert joined.family.tolist() == [0] * 5 + [1] * 5 + [2] * 5
    assert joined.rows_of(1).tolist() == [5, 6, 7, 8, 9]
    sessions = np.unique(o.session).size
    assert joined.first == (0, sessions, 2 * sessions)
    local = np.unique(o.session, return_inverse=True)[1]
    assert joined.observations.session[5:10].tolist() == (local + sessions).tolist()
    shared = np.arange(3 * sessions * 3, dtype=float).reshape(-1, 3)
    assert joined.sessions_out(shared, 1)[np.unique(o.session)].tolist() == shared[sessions : 2 * sessions].tolist()
    assert side_by_side([o, o, o], CONSTANTS) == [[0, 1, 2]]


def test_lots_are_laid_together_up_to_as_many_parts_as_memory_bears(lot, monkeypatch):
    o, _ = lot
    monkeypatch.setattr("partscreen.screening.evidence.joined.TOGETHER", 10)
    assert side_by_side([o] * 5, CONSTANTS) == [[0, 1], [2, 3], [4]]
    monkeypatch.setattr("partscreen.screening.evidence.joined.TOGETHER", 4)
    assert side_by_side([o] * 2, CONSTANTS) == [[0], [1]]
