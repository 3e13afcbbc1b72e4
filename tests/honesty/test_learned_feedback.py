"""Judged lots teach the spreads they are then judged by: round after round, with the engine's own probabilities."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
import pytest

from benchmarks.honesty.bags import make_bag, observations
from benchmarks.honesty.judge import weigh
from benchmarks.honesty.pools import KITS
from benchmarks.honesty.sample import small_study
from benchmarks.honesty.worlds import World
from partscreen.reference.learned_file import spreads_of
from partscreen.reference.population import population_for
from partscreen.screening.learn.of_lots import MeasuredLot, learn_from_lots

KIT = KITS.index(1.0)
ROUNDS = 4
NAMES = ("is", "bf", "ikf", "leak", "rc", "cje", "cjc", "area")


def mixed_bags(study):
    """Forty parts a bag, a tenth of them dies of 0.7 of the area; two bags a type."""
    out = []
    for world in study.worlds:
        pool, rng = study.pool(world), np.random.default_rng([3, *world.name.encode()])
        for sitting in "AB":
            rows = np.concatenate((pool.rows(f"{sitting} honest", 0, 36), pool.rows(f"{sitting} area 0.7", 0, 4)))
            out.append(make_bag(world, pool, sitting, rows, [], KIT, rng))
    return out


def one_round(bags, spreads):
    """Learned from all parts of the bags, weighed by what is known so far; mean weight of sound and of small dies."""
    with patch.object(World, "population", lambda self: population_for(self.reference, spreads=spreads)):
        weights = [1.0 - weigh(bag).evidence.weighed.probability_unfit for bag in bags]
    lots = [
        MeasuredLot(bag.world.reference, f"{bag.world.name} {bag.label}", False, observations([bag.readings]), weight)
        for bag, weight in zip(bags, weights, strict=True)
    ]
    honest, weight = np.concatenate([bag.honest for bag in bags]), np.concatenate(weights)
    return learn_from_lots(lots), float(weight[honest].mean()), float(weight[~honest].mean())


@pytest.mark.long
def test_judged_lots_fed_back_round_after_round_do_not_drift():
    bags, spreads, path = mixed_bags(small_study()), None, []
    for _ in range(ROUNDS):
        learned, sound, small = one_round(bags, spreads)
        spreads = spreads_of(learned)
        assert sound > 0.9
        assert small < 0.1
        path.append([np.log(learned.within[name].value / learned.within[name].default) for name in NAMES])
        print(np.round(np.exp(path[-1]), 3), round(sound, 4), round(small, 4))
    path = np.array(path)
    assert np.abs(path[-1].mean()) <= 0.1  # the generator draws with the defaults
    assert np.abs(path[-1] - path[0]).max() <= 0.06
    assert np.abs(path[-1] - path[-2]).max() <= 0.02
    assert not learned.centres  # judged lots never move a centre
