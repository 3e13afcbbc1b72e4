"""Dissipation, junction temperature, heat of the emitter resistors."""

from __future__ import annotations

import pytest

from partscreen.quantities import ZERO_CELSIUS
from partscreen.stage.conditions import MAINS_TOLERANCE, device_power, load_cases, outcome, sustained
from partscreen.stage.warming import HALF_LOAD, check_heat, check_resistor_heat
from tests.stage.stages import side, stage


def of(checks, code, *words):
    (found,) = [c for c in checks if c.code == code and all(w in c.about for w in words)]
    return found


def test_one_device_takes_its_share_of_class_b_and_its_idle_power():
    one = stage()
    case = load_cases(one)[0]
    expected = sustained(one, case, "sine").pair / 4 + 42.0 * 0.015 / 0.2205
    assert device_power(one, case, "sine") == pytest.approx(expected)


def test_junction_temperature_follows_the_chain():
    one = stage()
    found = of(check_heat(one, side("2SC5200")), "JUNCTION_TEMPERATURE", "resistive", "sine")
    power = device_power(one, load_cases(one)[0], "sine")
    assert found.value == pytest.approx(ZERO_CELSIUS + 35 + power * (4 * 0.5 + 0.4 + 0.83))
    assert found.limit == pytest.approx(ZERO_CELSIUS + 150)
    assert found.result == "ok"


@pytest.mark.parametrize(("sink", "result"), [("0.5", "ok"), ("1.75", "marginal"), ("3", "not_ok")])
def test_heat_sinks_too_small_are_found(sink, result):
    checks = check_heat(stage(cooling={"heat_sink": f"{sink} degC/W"}), side("2SC5200"))
    assert of(checks, "JUNCTION_TEMPERATURE", "resistive", "sine").result == result
    assert of(checks, "DISSIPATION", "resistive", "sine").result == result


def test_dissipation_and_junction_temperature_agree():
    """A power permitted at the case temperature is a junction below its limit: two faces of one fact."""
    for sink in (0.3, 0.8, 1.2, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.3):
        checks = check_heat(stage(cooling={"heat_sink": f"{sink} degC/W"}), side("2SC5200"))
        for load in ("resistive", "reactive"):
            for signal in ("sine", "programme"):
                pair = [of(checks, code, load, signal).result for code in ("DISSIPATION", "JUNCTION_TEMPERATURE")]
                assert pair[0] == pair[1], (sink, load, signal)


def test_programme_is_cooler_than_the_worst_sine_and_needs_a_crest_factor():
    checks = check_heat(stage(), side("2SC5200"))
    sine, programme = (of(checks, "DISSIPATION", "reactive", signal) for signal in ("sine", "programme"))
    assert programme.value < sine.value
    without = check_heat(stage(programme=None), side("2SC5200"))
    assert of(without, "DISSIPATION", "programme").result == "not_known"


def test_missing_cooling_leaves_the_power_told_and_the_result_not_known():
    checks = check_heat(stage(cooling={"insulator": None}), side("2SC5200"))
    found = of(checks, "DISSIPATION", "resistive", "sine")
    assert found.result == "not_known"
    assert found.value is not None
    assert "cooling.insulator" in found.sentence
    assert of(checks, "JUNCTION_TEMPERATURE", "resistive", "sine").result == "not_known"


def test_no_load_is_not_known():
    (found,) = check_heat(stage(load=None), side("2SC5200"))
    assert found.result == "not_known"


def test_a_worked_out_thermal_resistance_is_named():
    found = of(check_heat(stage(), side("TTC5200")), "JUNCTION_TEMPERATURE", "resistive", "sine")
    assert "derived from PC and TJ" in found.sentence


@pytest.mark.parametrize(("watts", "result"), [("5 W", "ok"), ("0.8 W", "marginal"), ("0.3 W", "not_ok")])
def test_emitter_resistor_heat(watts, result):
    found = check_resistor_heat(stage(emitter_resistors={"power": watts}))
    rms = 38.0 / 6.4 / 2 / 2
    assert found.value == pytest.approx(rms**2 * 0.2205)
    assert found.result == result
    assert HALF_LOAD == 0.5


def test_emitter_resistor_heat_without_wattage_is_not_known():
    found = check_resistor_heat(stage(emitter_resistors={"power": None}))
    assert found.result == "not_known"
    assert found.value is not None
    assert "emitter_resistors.power" in found.sentence


def test_outcomes_have_their_order():
    assert [outcome(v, 10.0, v * MAINS_TOLERANCE) for v in (9.0, 9.5, 10.5)] == ["ok", "marginal", "not_ok"]
