"""Chi-square of a part's own fit, once spreads, the model's error and the centre are learned from known-good lots.

Lots made by ngspice with nothing but the Gummel-Poon model; two known-good lots of eight teach, two lots of forty,
read in sittings of their own, are fitted. With the packaged spreads no sound part ever falls below the 1 % level: the
packaged error of the model (7 % of hFE, 6 mV of VBE) is far more than these parts need.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from benchmarks.honesty.bags import make_bag, observations, read
from benchmarks.honesty.pools import KITS
from benchmarks.honesty.sample import small_study
from benchmarks.honesty.study import whole_study
from partscreen.device.fit import fit_parts
from partscreen.reference.learned_file import spreads_of
from partscreen.reference.population import population_for
from partscreen.screening.learn.of_lots import MeasuredLot, learn_from_lots
from partscreen.screening.model_error import misfit_for, widened
from tests.facts import needs_facts
from tests.outside.ngspice import needs_ngspice

KIT = KITS.index(1.0)
TEACHERS, JUDGED = ("K honest", "K2 honest"), ("A honest", "B honest")


def measured_lots(study, seed, worlds=None):
    out = []
    for world in worlds or study.worlds:
        pool, rng = study.pool(world), np.random.default_rng([seed, *world.name.encode()])
        for group in TEACHERS:
            readings = read(pool, pool.rows(group), KIT, rng)
            lot = MeasuredLot(
                world.reference, f"{world.name} {group}", True, observations([readings]), np.ones(readings.n)
            )
            out.append(lot)
    return out


def chi_square_p(study, spreads, seed):
    """By world, of all sound parts of the lots that were not learned from."""
    out = {}
    for world in study.worlds:
        pool, rng = study.pool(world), np.random.default_rng([seed, 1, *world.name.encode()])
        population = population_for(world.reference, spreads=spreads) if spreads else world.population()
        prior = population.part_prior()
        found = []
        for group in JUDGED:
            bag = make_bag(world, pool, "judged", pool.rows(group), [], KIT, rng)
            o = observations([bag.readings])
            wide = widened(o, misfit_for(o, population), population.gradings)
            found.append(fit_parts(wide, prior.mean, prior.covariance, population.constants).p)
        out[world.name] = np.concatenate(found)
    return out


@lru_cache(maxsize=1)
def learned_on_the_sample():
    return learn_from_lots(measured_lots(small_study(), 5))


def test_without_learning_no_sound_part_falls_below_one_per_cent():
    p = np.concatenate(list(chi_square_p(small_study(), None, 5).values()))
    assert np.mean(p < 0.01) < 0.003


def test_with_learned_spreads_the_false_alarms_are_near_nominal_on_the_sample():
    learned = learned_on_the_sample()
    p = np.concatenate(
        [np.concatenate(list(chi_square_p(small_study(), spreads_of(learned), s).values())) for s in (5, 6, 7)]
    )
    assert 0.003 <= np.mean(p < 0.01) <= 0.02
    assert 0.02 <= np.mean(p < 0.05) <= 0.08
    assert 0.35 <= np.mean(p < 0.5) <= 0.65


def test_spreads_learned_on_the_sample_hold_the_generators_own():
    """`benchmarks.honesty.parts` draws with the design's spreads; 8 lots of 8 parts."""
    learned = learned_on_the_sample()
    for name in ("is", "bf", "ikf", "cje", "cjc", "area"):
        figure = learned.within[name]
        assert figure.lots >= 4
        assert figure.low <= 1.15 * figure.default
        assert figure.high >= figure.default / 1.15


def test_the_models_error_is_learned_to_be_small_where_parts_follow_the_model():
    for readings in learned_on_the_sample().readings.values():
        assert readings["hFE"].shape < 0.01
        assert readings["VBE"].shape < 0.001
        assert readings["hFE"].up_to == pytest.approx(0.067, abs=0.06)


@needs_ngspice
@needs_facts
@pytest.mark.long
def test_with_learned_spreads_the_false_alarms_are_near_nominal_on_all_worlds():
    study = whole_study()
    learned = learn_from_lots(measured_lots(study, 9))
    p = np.concatenate(list(chi_square_p(study, spreads_of(learned), 9).values()))
    assert 0.003 <= np.mean(p < 0.01) <= 0.02
