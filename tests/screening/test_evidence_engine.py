"""The evidence engine: its algebra against plain Gaussian formulas, and what it makes of simulated lots."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from partscreen.device.parameters import AREA_DIRECTION, INDEX, N_PARAMETERS
from partscreen.reference import Library
from partscreen.reference.population import population_for
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import learn
from partscreen.screening.evidence.linear import N_COORDINATES, ORDER
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.evidence.quadratic import information, integrate
from partscreen.screening.evidence.settle import settle
from partscreen.screening.evidence.weigh import cumulative_log_likelihood, factor
from partscreen.screening.evidence.weigh_lots import knowledge_from, learn_from_known_good, weigh_observations
from tests.screening.lots import observe

POPULATION = population_for(Library.load().find("2SC5200").type)
KNOWN = knowledge_from(
    POPULATION.centre,
    POPULATION.centre_covariance,
    POPULATION.between,
    POPULATION.within,
    temperature_std=0.5,
    gain_std=0.003,
    lead_std=1e-4,
)
CONSTANTS = POPULATION.constants


def draw(covariance, rng, n=None):
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.clip(values, 0, None))
    return rng.standard_normal((n or 1, covariance.shape[0])) @ root.T


def theta_of(n, rng, centre=None, area=None, **shifts):
    lot = (POPULATION.centre if centre is None else centre) + draw(POPULATION.between, rng)
    theta = lot + draw(POPULATION.within, rng, n)
    if area is not None:
        theta = theta + np.log(area)[:, None] * AREA_DIRECTION
    for name, value in shifts.items():
        theta[:, INDEX[name]] += value
    return theta


@pytest.fixture(scope="module")
def settled():
    rng = np.random.default_rng(5)
    o = observe(theta_of(12, rng), CONSTANTS, rng)
    return o, settle(o, CONSTANTS, KNOWN, share_priors(0.1)[1]).readings


def test_quadratic_form_and_reading_by_reading_form_give_the_plain_gaussian_density(settled):
    _, readings = settled
    spread = KNOWN.within
    centres = np.stack([KNOWN.centre, KNOWN.centre + 0.1])
    form = integrate(information(readings, KNOWN.centre), spread).at(centres)
    chain = cumulative_log_likelihood(readings, centres, factor(readings, spread))[:, :, -1]
    for part in range(3):
        rows = readings.present[part]
        jac = readings.jacobian[part][rows]
        covariance = jac @ spread @ jac.T + np.diag(readings.std[part][rows] ** 2)
        for h, centre in enumerate(centres):
            gap = readings.residual[part][rows] - jac @ (centre - readings.point[part])
            plain = multivariate_normal(np.zeros(rows.sum()), covariance).logpdf(gap)
            assert form[part, h] == pytest.approx(plain, rel=1e-7, abs=1e-5)
            assert chain[part, h] == pytest.approx(plain, rel=1e-7, abs=1e-5)


def test_expected_share_of_unfit_parts_is_the_one_stated():
    for share in (0.02, 0.1, 0.3):
        bad_lot, good, bad = share_priors(share)
        in_bad = bad.b / (bad.a + bad.b)
        expected = (1 - bad_lot) * good.a / (good.a + good.b) + bad_lot * in_bad
        assert expected == pytest.approx(share, rel=1e-9)


def test_learning_from_a_known_good_lot_is_gaussian_conditioning():
    rng = np.random.default_rng(1)
    found, covariance = KNOWN.centre + 0.2 * rng.standard_normal(N_COORDINATES), 0.3 * KNOWN.lot_covariance
    learnt = learn(KNOWN, found, covariance, same_session=False)
    # The likelihood that turns the prior of the lot's centre into N(found, covariance), applied to the type's centre.
    prior = np.linalg.inv(KNOWN.lot_covariance)
    precision = np.linalg.inv(covariance) - prior
    seen = np.linalg.solve(precision, np.linalg.solve(covariance, found) - prior @ KNOWN.centre)
    noise = np.linalg.inv(precision) + KNOWN.between
    n = N_PARAMETERS
    total = (KNOWN.centre_covariance + noise)[:n, :n]
    gain = np.linalg.solve(total, KNOWN.centre_covariance[:n, :n]).T
    assert learnt.centre[:n] == pytest.approx(KNOWN.centre[:n] + gain @ (seen - KNOWN.centre)[:n], abs=1e-6)
    assert np.all(np.diag(learnt.centre_covariance)[:n] <= np.diag(KNOWN.centre_covariance)[:n] + 1e-12)
    assert np.array_equal(learnt.between, KNOWN.between)


def test_half_size_dies_in_a_lot_are_found_and_their_area_is_told():
    rng = np.random.default_rng(11)
    area = np.where(np.arange(20) < 4, 0.5, 1.0)
    found = weigh_observations(observe(theta_of(20, rng, area=area), CONSTANTS, rng), CONSTANTS, KNOWN)
    assert np.all(found.weighed.evidence[:4] > 3)
    assert np.all(found.weighed.evidence[4:] < 3)
    assert np.all(found.weighed.probability_of_substitution[:4] > 0.9)
    assert np.abs(found.area.ln[:4] - np.log(0.5)).max() < 0.3
    assert found.weighed.share[1] < 0.2 < found.weighed.share[2]


def test_a_lot_wholly_of_small_dies_is_seen_the_surer_against_known_good_parts():
    rng = np.random.default_rng(12)
    centre = POPULATION.centre + draw(POPULATION.centre_covariance, rng)[0]
    good = observe(theta_of(8, rng, centre), CONSTANTS, rng)
    small = observe(theta_of(20, rng, centre, area=np.full(20, 0.5)), CONSTANTS, rng)
    taught = learn_from_known_good(KNOWN, [(good, False, None)], CONSTANTS)
    assert taught.parts == 8
    assert weigh_observations(small, CONSTANTS, taught.known).weighed.main_unfit > 0.99
    assert np.all(weigh_observations(small, CONSTANTS, taught.known).weighed.evidence > 0)
    sheet = weigh_observations(small, CONSTANTS, KNOWN).weighed
    known_good = weigh_observations(small, CONSTANTS, taught.known).weighed
    assert known_good.main_unfit > sheet.main_unfit
    assert np.median(known_good.evidence) > np.median(sheet.evidence) + 3


@pytest.mark.parametrize("kept", [("C_BE",), ("hFE", "VBE"), ("C_CB", "C_BE"), ORDER])
def test_any_subset_of_readings_gives_terms_that_sum_to_the_evidence(kept):
    rng = np.random.default_rng(13)
    o = observe(theta_of(6, rng), CONSTANTS, rng, ic_max=0.2)
    gone = {
        "hFE": {"hfe": np.full_like(o.hfe, np.nan)},
        "VBE": {"vbe": np.full_like(o.vbe, np.nan)},
        "VCE(sat)": {"vce_sat": np.full_like(o.vce_sat, np.nan)},
        "C_CB": {"cap": np.where(o.cap_junction == 1, np.nan, o.cap)},
        "C_BE": {"cap": np.where(o.cap_junction == 0, np.nan, o.cap)},
    }
    for name in set(ORDER) - set(kept):
        change = gone[name]
        if "cap" in change:
            change = {"cap": np.where(np.isnan(change["cap"]), np.nan, o.cap)}
        o = replace(o, **change)
    found = weigh_observations(o, CONSTANTS, KNOWN)
    assert found.weighed.by_reading.sum(axis=1) == pytest.approx(found.weighed.evidence, abs=1e-9)
    assert np.isfinite(found.weighed.evidence).all()
    assert [name for name, read in zip(ORDER, found.read[0], strict=True) if read] == [n for n in ORDER if n in kept]
    assert np.all((found.reach > 0) | (len(kept) == 1))
    assert np.all(found.weighed.evidence < 3)


def test_more_readings_reach_further():
    rng = np.random.default_rng(14)
    theta = theta_of(10, rng)
    rng = np.random.default_rng(15)
    full = weigh_observations(observe(theta, CONSTANTS, rng), CONSTANTS, KNOWN)
    bare = observe(theta, CONSTANTS, np.random.default_rng(15))
    bare = replace(bare, cap=np.full_like(bare.cap, np.nan))
    without = weigh_observations(bare, CONSTANTS, KNOWN)
    assert np.all(full.reach > without.reach)
    assert np.all(full.area.sd < without.area.sd)


def test_reach_is_the_area_at_which_nine_in_ten_parts_speak_against_the_marking():
    rng = np.random.default_rng(16)
    o = observe(theta_of(40, rng), CONSTANTS, rng)
    reach = float(np.median(weigh_observations(o, CONSTANTS, KNOWN).reach))
    hit = total = 0
    for seed in range(12):
        rng = np.random.default_rng(100 + seed)
        area = np.where(np.arange(40) < 6, reach, 1.0)
        found = weigh_observations(observe(theta_of(40, rng, area=area), CONSTANTS, rng), CONSTANTS, KNOWN)
        hit, total = hit + int((found.weighed.evidence[:6] > 0).sum()), total + 6
    assert 0.79 <= hit / total <= 0.97  # nine in ten of 72 parts: 99 % binomial band 0.79 to 0.97


def test_order_of_parts_changes_nothing():
    rng = np.random.default_rng(17)
    theta = theta_of(9, rng, area=np.where(np.arange(9) < 2, 0.6, 1.0))
    o = observe(theta, CONSTANTS, rng)
    turned = np.arange(9)[::-1]
    per_part = {f: getattr(o, f)[turned] for f in o.__dataclass_fields__ if not f.startswith("session_")}
    one, other = (weigh_observations(x, CONSTANTS, KNOWN).weighed.evidence for x in (o, replace(o, **per_part)))
    assert other[turned] == pytest.approx(one, abs=0.05)


def test_a_leaking_part_is_told_from_a_small_one():
    rng = np.random.default_rng(18)
    leak = np.where(np.arange(16) == 0, np.log(20.0), 0.0)
    found = weigh_observations(observe(theta_of(16, rng, leak=leak), CONSTANTS, rng), CONSTANTS, KNOWN)
    best = found.weighed.names[int(found.weighed.probability[0].argmax())]
    assert found.weighed.evidence[0] > 3
    assert best.startswith("base-emitter leak")
    assert families(KNOWN.within, KNOWN.device_between)
