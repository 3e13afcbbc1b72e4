"""What is done to weigh ten thousand parts in seconds changes no evidence by as much as 0.02."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.evidence_speed import a_lot, knowledge
from partscreen.device.prior import TypeConstants
from partscreen.screening.evidence import combine, engine, mode_likelihoods, settle
from partscreen.screening.evidence.condense import condense
from partscreen.screening.evidence.engine import expected, weigh_lot
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.linear import N_COORDINATES, ORDER, Linearised
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.evidence.mode_likelihoods import modes_alike
from partscreen.screening.evidence.quadratic import ln_sum
from partscreen.screening.evidence.weigh import cumulative_log_likelihood, factor, whiten
from partscreen.screening.evidence.weigh_lots import weigh_observations
from partscreen.screening.model_error import misfit_of

SMALL = 0.02


@pytest.fixture(scope="module")
def known():
    return knowledge("2SC5200")


def settled(known, n: int, seed: int, **shape) -> tuple[Linearised, TypeConstants]:
    observations, constants = a_lot("2SC5200", n, seed=seed, **shape)
    _, good, _ = share_priors(0.1)
    misfit = misfit_of(observations, constants.ic_rated)
    return settle.settle(observations, constants, known, good, misfit).readings, constants


@pytest.mark.parametrize(("n", "seed", "bad"), [(1, 1, 0), (5, 2, 2), (30, 3, 5), (60, 4, 27), (150, 5, 20)])
def test_dropping_silent_combinations_changes_no_evidence(known, monkeypatch, n, seed, bad):
    readings, _ = settled(known, n, seed, bad=bad)
    short = weigh_lot(readings, known)
    monkeypatch.setattr(engine, "condense", lambda readings, expected: readings)
    full = weigh_lot(readings, known)
    assert np.abs(short.evidence - full.evidence).max() < SMALL
    assert np.abs(short.by_reading - full.by_reading).max() < SMALL
    assert np.abs(short.probability - full.probability).max() < 0.002


def test_dropping_silent_combinations_keeps_the_evidence_of_parts_far_off_the_model(known, monkeypatch):
    readings, _ = settled(known, 20, 6)
    bent = readings.residual * 1.0
    rng = np.random.default_rng(6)
    bent[:5] += 10.0 * readings.std[:5] * rng.standard_normal(bent[:5].shape) * readings.present[:5]
    readings.residual[:] = bent
    short = weigh_lot(readings, known)
    monkeypatch.setattr(engine, "condense", lambda readings, expected: readings)
    full = weigh_lot(readings, known)
    assert np.abs(short.evidence - full.evidence).max() < SMALL


@pytest.mark.parametrize(("n", "seed", "bad"), [(1, 1, 0), (5, 2, 2), (30, 3, 5), (60, 4, 27), (150, 5, 20)])
def test_modes_that_share_factors_change_no_evidence(known, monkeypatch, n, seed, bad):
    readings, _ = settled(known, n, seed, bad=bad)
    shared = weigh_lot(readings, known)
    monkeypatch.setattr(mode_likelihoods, "ALIKE_WELL", 0.0)
    apart = weigh_lot(readings, known)
    assert np.abs(shared.evidence - apart.evidence).max() < SMALL
    assert np.abs(shared.by_reading - apart.by_reading).max() < SMALL
    assert np.abs(shared.probability - apart.probability).max() < 0.002


def test_modes_of_a_lot_share_factors_at_all(known):
    """Else the test above could not fail."""
    readings, _ = settled(known, 150, 5)
    seen = []

    def noted(*args, **more):
        seen.append(modes_alike(*args, **more))
        return seen[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(combine, "modes_alike", noted)
        weigh_lot(readings, known)
    (groups,) = seen
    numbers = [number for group in groups for number in group]
    assert sorted(numbers) == list(range(len(numbers)))
    assert len(groups) < 0.7 * len(numbers)


def test_condensed_readings_differ_by_one_constant_under_every_hypothesis(known):
    readings, _ = settled(known, 12, 7)
    few = condense(readings, expected(known))
    assert few.residual.shape[1] < 0.7 * readings.residual.shape[1]
    assert (np.diff(few.kind) >= 0).all()
    gap = []
    for family in families(known.within, known.device_between):
        means, spread = known.centre + family.shifts, family.spread + known.lot_covariance
        terms = [cumulative_log_likelihood(r, means, factor(r, spread)) for r in (readings, few)]
        gap.append(terms[0] - terms[1])
    together = np.concatenate(gap, axis=1)
    assert np.ptp(together, axis=1).max() < 0.01


def test_whitening_solves_the_triangular_system():
    rng = np.random.default_rng(8)
    lower = np.tril(rng.standard_normal((7, 9, 9))) + 4.0 * np.eye(9)
    vectors = rng.standard_normal((7, 9, 3))
    assert np.allclose(lower @ whiten(lower, vectors), vectors, atol=1e-12)


def test_evidence_by_reading_is_the_chain_rule(known):
    """Against densities of ever more kinds of reading, each from its own full covariance."""
    readings, _ = settled(known, 4, 9)
    cumulative = cumulative_log_likelihood(readings, known.centre[None], factor(readings, known.lot_covariance))
    for kind in range(len(ORDER)):
        rows = readings.kind <= kind
        jac, gap = readings.jacobian[:, rows], readings.residual[:, rows]
        gap = gap - np.einsum("nkq,nq->nk", jac, known.centre - readings.point)
        total = jac @ known.lot_covariance @ jac.transpose(0, 2, 1)
        total += np.eye(rows.sum()) * (readings.std[:, rows] ** 2)[:, None]
        direct = -0.5 * np.einsum("nk,nk->n", gap, np.linalg.solve(total, gap[:, :, None])[:, :, 0])
        direct -= 0.5 * np.linalg.slogdet(total)[1]
        direct -= 0.5 * np.log(2 * np.pi) * readings.present[:, rows].sum(axis=1)
        assert np.allclose(cumulative[:, 0, kind], direct, atol=1e-6)


def test_sums_of_exponentials_hold_impossible_and_extreme_terms():
    values = np.array([[-np.inf, -np.inf], [-np.inf, 3.0], [-1e5, -1e5], [700.0, 710.0]])
    assert np.allclose(ln_sum(values), np.logaddexp.reduce(values, axis=1))


def test_every_coordinate_is_expected_to_vary(known):
    assert expected(known).shape == (N_COORDINATES, N_COORDINATES)
    assert np.linalg.eigvalsh(expected(known)).min() > 0


@pytest.mark.parametrize(("seed", "bad"), [(11, 20), (12, 0)])
def test_settling_a_large_lot_by_some_of_its_parts_changes_evidence_by_less_than_a_tenth(known, monkeypatch, seed, bad):
    """More than condensing does: the lot's centre itself is found from readings made straight at slightly other points.
    Measured over six lots: 0.01 to 0.06."""
    observations, constants = a_lot("2SC5200", 200, seed=seed, bad=bad)
    misfit = misfit_of(observations, constants.ic_rated)
    by_some = weigh_observations(observations, constants, known, misfit=misfit).weighed
    monkeypatch.setattr(settle, "_by_some", lambda n: False)
    by_all = weigh_observations(observations, constants, known, misfit=misfit).weighed
    change = np.abs(by_some.evidence - by_all.evidence)
    near = np.abs(by_all.evidence) < 10.0  # where a decision could turn
    assert near.sum() > 100
    assert change[near].max() < 0.1
    assert np.median(change[near]) < SMALL
    assert np.abs(by_some.probability_unfit - by_all.probability_unfit).max() < 0.02
