"""Poor or contradictory readings: a judgement that says what it rests on, never a confident number from the prior."""

from dataclasses import replace

import numpy as np
import pytest

from partscreen.reference.population_spreads import load_spreads
from partscreen.screening.evidence.weigh_lots import knowledge_from, learn_from_known_good, weigh_observations
from partscreen.screening.lot.alike import assumed_population
from partscreen.screening.lot.halves import halves_of
from partscreen.screening.outliers.parts import find_outliers, outlier_reason
from tests.screening.simulated_parts import CONSTANTS, base_theta, draw, read, smaller, spread

WITHIN, BETWEEN, EDITION = (spread(kind) for kind in ("within", "between", "edition"))
SESSION = {"temperature_std": 0.5, "gain_std": 0.005, "lead_std": 1e-3}
KNOWN = knowledge_from(base_theta(), 0.25 * EDITION, BETWEEN, WITHIN, **SESSION)


def lot(seed, n, area=1.0, **how):
    rng = np.random.default_rng(seed)
    theta = base_theta() + draw(rng, 0.25 * EDITION + BETWEEN, 1) + draw(rng, WITHIN, n)
    return read(smaller(theta, area), rng, **how)


def test_a_part_whose_readings_contradict_each_other_is_held_and_its_neighbours_are_not_touched():
    observations = lot(1, 10)
    before = weigh_observations(observations, CONSTANTS, KNOWN)
    hfe = observations.hfe.copy()
    hfe[0, ::2] *= 1.5  # every other point read half again as high: two parts, or a loose lead
    found = weigh_observations(replace(observations, hfe=hfe), CONSTANTS, KNOWN)
    outliers = find_outliers(found.readings, found.weighed, KNOWN)
    assert outliers.flagged.tolist() == [True] + [False] * 9
    assert outliers.misfit_flag[0]
    assert "read it again" in outlier_reason(outliers, 0).sentence
    assert found.weighed.evidence[1:] == pytest.approx(before.weighed.evidence[1:], abs=1.0)


def test_a_part_without_any_reading_gets_no_evidence_and_spoils_nothing():
    observations = lot(2, 6)
    blank = {
        name: np.concatenate((getattr(observations, name)[:1] * np.nan, getattr(observations, name)[1:]))
        for name in ("hfe", "vbe", "vce_sat", "cap")
    }
    found = weigh_observations(replace(observations, **blank), CONSTANTS, KNOWN)
    assert np.isfinite(found.weighed.evidence).all()
    assert abs(found.weighed.evidence[0]) < 0.7
    assert found.reach[0] == 0.0
    assert (found.reach[1:] > 0.5).all()
    outliers = find_outliers(found.readings, found.weighed, KNOWN)
    assert not outliers.flagged.any()


@pytest.mark.parametrize(
    "how",
    [
        {"points": 1, "saturation": 0, "capacitance": False},
        {"points": 0, "saturation": 1, "capacitance": False},
    ],
    ids=["hFE and VBE at 10 mA", "one VCE(sat)"],
)
def test_one_reading_of_one_part_is_never_a_confident_answer(how):
    for area in (1.0, 0.5):
        found = weigh_observations(lot(3, 1, area, **how), CONSTANTS, KNOWN)
        assert abs(found.weighed.evidence[0]) < 1.5
        assert found.reach_absolute[0] < 0.5


def test_known_good_parts_that_are_one_part_still_teach_and_two_teach_more():
    reaches = []
    for parts in (0, 1, 2, 6):
        known = KNOWN
        if parts:
            known = learn_from_known_good(KNOWN, [(lot(4, parts), True, None)], CONSTANTS).known
        found = weigh_observations(lot(5, 6), CONSTANTS, known)
        assert np.isfinite(found.weighed.evidence).all()
        reaches.append(float(np.median(found.reach_absolute)))
    assert reaches[0] < reaches[1] < reaches[2] < reaches[3]
    assert reaches[1] < 0.75


def test_a_type_of_which_only_ratings_are_known_leaves_a_whole_lot_of_another_die_open():
    spreads = load_spreads()
    mean, covariance = spreads.rating_prior(15.0, 230.0)
    known = knowledge_from(mean, covariance + EDITION, BETWEEN, WITHIN, **SESSION)
    for area in (1.0, 0.5):
        rng = np.random.default_rng(6)
        theta = base_theta() + draw(rng, WITHIN, 8)
        found = weigh_observations(read(smaller(theta, area), rng), CONSTANTS, known)
        assert found.reach_absolute.max() < 0.2
        assert found.reach.min() > 0.6
        assert found.weighed.evidence.max() < 3.0


def divided(seed, larger, n=12, known=None, constants=CONSTANTS):
    """A lot of which the first `larger` parts are sound and the others have half the die area."""
    rng = np.random.default_rng(seed)
    theta = base_theta() + draw(rng, WITHIN, n)
    theta[larger:] = smaller(theta[larger:], 0.5)
    found = weigh_observations(read(theta, rng), constants, known)
    return halves_of(found.readings, found.weighed, found.area, known)


def test_in_a_lot_of_unknown_type_in_two_halves_neither_half_is_known_to_be_right():
    assumed = assumed_population("NPN", 1.0)
    known = knowledge_from(assumed.centre, assumed.centre_covariance, assumed.between, assumed.within, **SESSION)
    known = replace(known, bulk_is_type=True)  # as screening asks where it knows nothing of the type
    for seed in range(3):
        halves = divided(seed, 6, known=known, constants=assumed.constants)
        assert halves.undecided
        assert halves.smaller_share == 0.5
        assert "which one is right is not known" in halves.reason().sentence
    # A clear majority is the lot's main population, reference or not.
    assert not divided(3, 9, known=known, constants=assumed.constants).undecided


def test_known_good_parts_say_which_half_is_right():
    known = learn_from_known_good(KNOWN, [(lot(8, 4), True, None)], CONSTANTS).known
    known = replace(known, centre=np.append(base_theta(), [0.0, 0.0, 0.0]))
    for seed in range(3):
        halves = divided(seed, 6, known=known)
        assert not halves.undecided
        assert halves.unfit.tolist() == [False] * 6 + [True] * 6
        assert halves.area_ratio == pytest.approx(0.5, abs=0.08)


def test_a_lot_of_one_kind_has_no_halves():
    found = weigh_observations(lot(9, 8), CONSTANTS, KNOWN)
    assert halves_of(found.readings, found.weighed, found.area, KNOWN) is None
