"""What settings without a false-alarm test of their own do to sound parts (simulated: lots made by ngspice from the
committed sample, and lots of the toolkit's own model where it says so)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from benchmarks.honesty.bags import Bag
from benchmarks.honesty.cases import bags
from benchmarks.honesty.judge import weigh
from benchmarks.honesty.run import BY_NAME
from benchmarks.honesty.sample import small_study
from partscreen.reference import Library
from partscreen.reference.population import population_for
from partscreen.screening.disposition import DEFAULT_COST, HOLD_COST, WRONG_REJECT_COST, Rule
from partscreen.screening.evidence import engine, lot, settle, spreads
from partscreen.screening.evidence.engine import weigh_lot
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.evidence.weigh_lots import knowledge_from
from partscreen.screening.lot.words import has_reference
from partscreen.screening.weighing import BULK_EVIDENCE, LONE_EVIDENCE, WeighedLot
from tests.screening.lots import observe


def sample_bags(case: str) -> Iterator[Bag]:
    study = small_study()
    for world in study.worlds:
        yield from bags(BY_NAME[case], study, world.name)


@pytest.fixture(scope="module")
def clean() -> list[WeighedLot]:
    """Eight sound lots of 40 of four types, no known-good parts."""
    return [weigh(bag) for bag in sample_bags("clean")]


@pytest.fixture(scope="module")
def two_wafers() -> list[WeighedLot]:
    return [weigh(bag) for bag in sample_bags("wafers")]


def evidence_of(lots: list[WeighedLot]) -> np.ndarray:
    return np.concatenate([weigh_lot(found.evidence.readings, found.known).evidence for found in lots])


def test_taking_unfit_parts_of_a_lot_for_alike_speaks_against_few_sound_parts(clean, monkeypatch):
    alike = evidence_of(clean)
    assert (alike > 0.0).mean() <= 0.025
    assert (alike > 3.0).mean() <= 0.005
    monkeypatch.setattr(lot, "ALIKE", 1e6)  # as good as unlike
    assert (alike > 0.0).mean() <= (evidence_of(clean) > 0.0).mean() + 0.01


def test_lots_put_together_of_two_are_expected_and_fewer_of_their_parts_are_spoken_against(
    two_wafers, clean, monkeypatch
):
    expected, whole = evidence_of(two_wafers), evidence_of(clean)
    monkeypatch.setattr(engine, "SHARES", (1.0 - 1e-12, 1e-12))
    assert (expected > 0.0).mean() <= (evidence_of(two_wafers) > 0.0).mean()
    assert (expected > 3.0).sum() <= np.ceil(0.005 * expected.size)  # of so few parts one is always allowed
    assert (whole > 0.0).mean() <= (evidence_of(clean) > 0.0).mean() + 0.01
    assert sum(spreads.SHARES) == pytest.approx(1.0)


def test_a_sound_part_alone_gets_no_evidence_that_rejects_it_by_the_sheets(clean):
    """By Markov's inequality evidence of 7 comes to at most one sound part in 1,100, if the stated priors hold."""
    alone = [
        weigh_lot(found.evidence.readings.pick(np.array([i])), found.known).evidence[0]
        for found in clean
        for i in range(0, found.evidence.weighed.evidence.size, 4)
    ]
    assert len(alone) >= 80
    assert max(alone) < LONE_EVIDENCE


def test_no_sound_lot_that_has_a_reference_is_called_another_die(clean, two_wafers):
    for found in [*clean, *two_wafers]:
        if has_reference(found):
            assert found.evidence.weighed.main_unfit < 0.5


def test_lots_twice_as_different_as_assumed_lose_fewer_sound_parts_for_being_expected(monkeypatch):
    """The toolkit's own model; the type well known, so that only the spread between lots can be wrong."""
    of, rng = population_for(Library.load().find("2SC5200").type), np.random.default_rng(12)
    assert of is not None
    known = knowledge_from(
        of.centre, 0.01 * of.centre_covariance, of.between, of.within, temperature_std=0.5, gain_std=0.003,
        lead_std=1e-4,
    )  # fmt: skip
    readings = {times: [] for times in (1.0, 2.0)}
    for times, into in readings.items():
        for _ in range(5):
            centre = rng.multivariate_normal(of.centre, 0.01 * of.centre_covariance + times**2 * of.between)
            seen = observe(rng.multivariate_normal(centre, of.within, 10), of.constants, rng)
            into.append(settle.settle(seen, of.constants, known, share_priors(0.1)[1]).readings)

    def against(times: float) -> float:
        said = np.concatenate([weigh_lot(r, known).evidence for r in readings[times]])
        return float((said > 0.0).mean())

    usual, unusual = against(1.0), against(2.0)
    monkeypatch.setattr(engine, "UNUSUAL_SHARE", 1e-9)
    assert unusual <= against(2.0)
    assert usual <= 0.1
    assert usual <= against(1.0) + 0.05


def test_the_round_a_lot_is_settled_with_explains_it_best(monkeypatch):
    tried, plain = [], settle._tried

    def kept(*args):
        found = plain(*args)
        tried.extend(found)
        return found

    monkeypatch.setattr(settle, "_tried", kept)
    found = weigh(next(sample_bags("clean")))
    assert 2 <= len(tried) <= settle.ROUNDS
    best = tried[0]
    for one in tried[1:]:
        best = one if one.gain_over(best) > 0.0 else best
    assert found.evidence.readings.residual.shape == best.settled.readings.residual.shape
    assert np.array_equal(found.evidence.readings.residual, best.settled.readings.residual)
    assert best.gain_over(tried[0]) > 0.0
    assert best.promise < tried[0].promise


@pytest.mark.parametrize("share", [0.05, 0.1, 0.2])
def test_costs_reject_few_sound_parts_of_a_calibrated_population_and_no_other_bounds_cost_less(share):
    """Probabilities drawn from the prior of a lot's bad share, each right as stated."""
    rng = np.random.default_rng(21)
    p = rng.beta(lot.CONCENTRATION * share, lot.CONCENTRATION * (1.0 - share), 400_000)
    unfit = rng.random(p.size) < p
    rule = Rule(reach=0.6)

    def cost(most: float, least: float) -> float:
        accepted, rejected = p <= most, p >= least
        held = ~accepted & ~rejected
        return float(
            (DEFAULT_COST * (accepted & unfit) + WRONG_REJECT_COST * (rejected & ~unfit) + HOLD_COST * held).mean()
        )

    rejected = p >= rule.least_probability
    assert (rejected & ~unfit).sum() / (~unfit).sum() <= 0.005
    assert (~unfit[rejected]).mean() <= HOLD_COST / WRONG_REJECT_COST
    chosen = cost(rule.most_probability, rule.least_probability)
    for most, least in ((0.025, 0.9), (0.1, 0.9), (0.05, 0.8), (0.05, 0.97)):
        assert chosen <= cost(most, least) + 2e-4


def test_a_lot_whose_bulk_is_wrongly_taken_for_another_die_loses_no_part_and_a_bad_bulk_is_still_rejected():
    """Damaged bonds pull some lots into a wrong mode; wholly small ones lie far beyond the setting."""
    wrong, bad = list(sample_bags("bond-two")), list(sample_bags("all-small"))
    for bag in wrong:
        found = weigh(bag)
        said, sound = found.evidence.weighed.evidence, np.asarray(bag.honest)
        barred = np.array([found.sheets_alone(i) or found.bulk_near(i) for i in range(said.size)])
        assert ((said >= 3.0) & sound & ~barred).sum() <= np.ceil(0.005 * sound.sum())
    for bag in bad:
        found = weigh(bag)
        assert found.evidence.weighed.main_unfit > 0.5
        assert (found.evidence.weighed.evidence >= BULK_EVIDENCE).mean() >= 0.95
