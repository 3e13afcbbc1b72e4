"""What a matched set should read: by the VBE differences of the match, and by the parts' own curves."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.results.matching import MatchedPart, MatchedSet
from partscreen.stage.power_up_split import expected_drops, split_idle
from tests.stage.stages import library, stage
from tests.stage.test_power_up import bag


def matched(npn=(2.0, -2.0), pnp=(0.0, 0.0), **changes):
    def places(letter, of, lot, shifts):
        return [
            MatchedPart(position=f"{letter}{i}", part=f"{lot}-{i:02d}", lot="lot", type=of, vbe_from_mean_mv=v)
            for i, v in enumerate(shifts, 1)
        ]

    where = [*places("N", "2SC5200", "A1", npn), *places("P", "2SA1943", "A2", pnp)]
    values = {
        "parts": [p.part for p in where], "places": where, "hfe_difference_percent": 1.0, "vbe_difference_mv": 4.0,
        "within_tolerance": True, "alike_within_measurement": False, "one_session": True, "distance": 0.1,
    }  # fmt: skip
    return MatchedSet(**{**values, **changes})


@pytest.mark.parametrize(
    ("total", "ohms", "wanted"),
    [(0.1, 0.22, (0.063, 0.037)), (0.1, 0.47, (0.060, 0.040)), (5.0, 0.22, (2.54, 2.46))],
)
def test_twenty_millivolts_split_a_current_as_the_derived_figures_say(total, ohms, wanted):
    # Derived (research on users, 3e): 20 mV, 100 mA idle: 63/37 mA with 0.22 ohm, 60/40 with 0.47; 5 A: 2.54/2.46.
    found = split_idle(np.array([0.0, 0.020]), np.array([ohms, ohms]), total)
    assert found == pytest.approx(wanted, abs=0.005 * total)
    assert found.sum() == pytest.approx(total, rel=1e-9)


def test_every_device_stands_at_one_voltage():
    rng = np.random.default_rng(5)
    vbe, ohms = rng.normal(0.0, 0.01, 6), rng.uniform(0.1, 0.5, 6)
    found = split_idle(vbe, ohms, 0.4, 0.027)
    assert np.ptp(0.027 * np.log(found) + vbe + found * ohms) < 1e-9


def test_without_results_the_differences_of_the_match_serve_and_the_words_say_so():
    found = expected_drops(matched(), stage(), library())
    high, low = found.drops["lot", "A1-02"], found.drops["lot", "A1-01"]
    assert high > low
    assert high + low == pytest.approx(2 * stage().bias.target, rel=1e-9)
    assert "VBE differences of the match" in found.basis


def test_with_results_the_parts_own_curves_serve():
    found = expected_drops(matched(), stage(), library(), bag((-0.002, 0.002)))
    assert "own curves" in found.basis
    assert found.drops["lot", "A1-02"] > found.drops["lot", "A1-01"]


@pytest.mark.parametrize(
    ("changes", "found", "why"),
    [
        ({"bias": {"target": None}}, matched(), "bias.target"),
        ({"emitter_resistors": None}, matched(), "emitter_resistors.marked"),
        ({"stage": {"devices_per_rail": 3}}, matched(), "3 place(s) on a rail"),
        ({}, matched(npn=(None, None)), "no VBE differences"),
        ({"stage": {"npn": "MJL21194", "pnp": "MJL21193"}}, matched(), "not in the stage"),
    ],
)
def test_what_cannot_be_told_says_why(changes, found, why):
    told = expected_drops(found, stage(**changes), library())
    assert told.drops == {}
    assert why in told.why


def test_a_group_of_one_polarity_has_expected_readings_too():
    found = expected_drops(matched(pnp=()), stage(), library())
    assert set(found.drops) == {("lot", "A1-01"), ("lot", "A1-02")}
