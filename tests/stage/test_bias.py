"""Idle current, its readings, emitter resistors."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.stage.bias import (
    FAR_BELOW,
    TOO_RICH,
    check_crossover,
    check_readings,
    check_resistors,
    flattest,
    gain_curves,
)
from partscreen.stage.crossover import least_ripple_idle
from tests.stage.stages import part, side, stage

UP, DOWN = side("2SC5200"), side("2SA1943")


def crossover_of(**changes):
    one = stage(**changes)
    return check_crossover(one, UP, DOWN, flattest(one, UP, DOWN))


def test_flattest_bias_lies_below_the_26_mv_by_the_internal_resistance():
    found = flattest(stage(), UP, DOWN)
    assert 0.018 < found.volts < 0.026
    assert found.internal > 0.01
    assert found.idle == pytest.approx(found.volts / 0.2205)


def test_flattest_bias_of_parts_with_less_base_resistance_share_rises_with_gain():
    low, high = (
        flattest(stage(), side("2SC5200", part("A", "2SC5200", gain=g)), side("2SA1943", part("B", "2SA1943", gain=g)))
        for g in (0.4, 1.5)
    )
    assert low.internal > high.internal
    assert low.volts < high.volts
    assert high.basis == "the parts' fitted curves"


@pytest.mark.parametrize(
    ("target", "result", "words"),
    [
        ("4 mV", "ok", "no fault"),
        ("15 mV", "ok", "below the flattest"),
        ("22 mV", "ok", "at the flattest"),
        ("35 mV", "ok", "above the flattest"),
        ("60 mV", "marginal", "far above"),
    ],
)
def test_target_against_the_flattest_crossover(target, result, words):
    found = crossover_of(bias={"target": target})
    assert found.result == result
    assert words in found.sentence


def test_no_target_is_not_known_and_tells_the_flattest():
    found = crossover_of(bias={"target": None})
    assert found.result == "not_known"
    assert found.limit is not None
    assert "flattest at" in found.sentence
    assert crossover_of(emitter_resistors=None).result == "not_known"


def test_idle_reading_of_four_millivolt_is_told_and_not_called_wrong():
    """Fact of the trade (common practice, no source): 4 mV across 0.22 ohm is 18 mA, far below the flattest."""
    one = stage(bias={"target": None, "tolerance": None, "readings": {"X": "4 mV"}})
    (found,) = check_readings(one, flattest(one, UP, DOWN))
    assert found.result == "not_known"
    assert "4 mV across 0.22 ohm is 18.2 mA" in found.sentence
    assert "far below the flattest crossover" in found.sentence
    assert "no fault" in found.sentence


def test_readings_are_held_against_the_users_own_target():
    one = stage(bias={"readings": {"RE1": "14 mV", "RE2": "25 mV"}})
    close, off = check_readings(one, None)
    assert (close.result, off.result) == ("ok", "not_ok")
    assert close.figures["current"] == pytest.approx(14e-3 / 0.221)  # the measured resistor of that place


def test_gain_curves_of_chosen_and_flattest_bias_are_drawn():
    one = stage()
    chosen, flat = gain_curves(one, flattest(one, UP, DOWN))
    assert (chosen.name, flat.name) == ("chosen bias", "flattest")
    assert chosen.bias == 0.015
    assert 0.9 < min(chosen.gain) < max(flat.gain) < 1.0
    assert np.all(np.diff(chosen.current) > 0)


def test_least_ripple_is_least():
    one = stage()
    found = flattest(one, UP, DOWN)
    from partscreen.stage.crossover import crossover, ripple

    best = least_ripple_idle(found.upper, found.lower, 8.0, found.reach, 2 * found.idle)
    at = [ripple(crossover(found.upper, found.lower, s * best, 8.0, found.reach)) for s in (0.8, 0.97, 1.0, 1.03, 1.2)]
    assert at[2] <= min(at) * 1.0001


def test_bands_of_bias_words_do_not_alarm_at_the_flattest_bias():
    """False alarms of FAR_BELOW and TOO_RICH: a bias set to the flattest figure with 10 % reading error (a 0.1 mV count
    and a warm resistor are well inside) is never called far off."""
    rng = np.random.default_rng(8)
    ratio = 1.0 + 0.10 * rng.normal(size=10_000)
    assert np.mean((ratio < FAR_BELOW) | (ratio > TOO_RICH)) < 1e-3


@pytest.mark.parametrize(
    ("ohms", "tolerance", "result"),
    [
        ("0.225 ohm", "5 %", "ok"),
        ("0.24 ohm", "5 %", "not_ok"),
        ("0.24 ohm", None, "not_known"),
        ("0.33 ohm", None, "not_ok"),
    ],
)
def test_measured_resistors_against_the_mark(ohms, tolerance, result):
    one = stage(emitter_resistors={"measured": {"RE1": ohms}, "tolerance": tolerance})
    (found,) = check_resistors(one)
    assert found.result == result


def test_discoloured_resistor_is_replaced_with_the_output_pair():
    """Fact of the trade (common practice, no source)."""
    found = check_resistors(stage(emitter_resistors={"discoloured": ["RE3"]}))[-1]
    assert (found.code, found.about, found.result) == ("EMITTER_RESISTOR_COLOUR", "RE3", "not_ok")
    assert "output pair" in found.sentence


def test_unmeasured_resistors_are_not_known():
    (found,) = check_resistors(stage(emitter_resistors={"measured": None}))
    assert found.result == "not_known"
    assert "four wires" in found.sentence
