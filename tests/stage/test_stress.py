"""Voltage, peak current and safe area of a stage: each outcome can happen, and says why."""

from __future__ import annotations

import math

import pytest

from partscreen.stage import stress
from partscreen.stage.conditions import MAINS_TOLERANCE, burst_current, load_cases
from partscreen.stage.load_line import instantaneous_peak, load_line
from tests.stage.stages import side, stage
from tests.stage.test_safe_area import invented


def only(checks, code, about=""):
    (found,) = [check for check in checks if check.code == code and about in check.about]
    return found


@pytest.mark.parametrize(
    ("volts", "result"), [("40 V", "ok"), ("47 V", "marginal"), ("51 V", "not_ok")]
)  # TIP35C: 100 V from rail to rail
def test_voltage_is_marginal_where_only_high_mains_passes_it(volts, result):
    found = stress.check_voltage(stage(rails={"unloaded": volts, "loaded": None}), side("TIP35C"))
    assert found.result == result
    assert found.limit == 100.0
    assert found.margin == pytest.approx(1 - found.value / 100.0)


def test_voltage_counts_both_rails():
    found = stress.check_voltage(stage(rails={"unloaded": ["50 V", "-48 V"], "loaded": None}), side("2SC5200"))
    assert found.value == 98.0


def test_peak_current_is_the_burst_into_the_lowest_impedance():
    one = stage(load={"minimum_impedance": "3 ohm"})
    assert burst_current(one) == pytest.approx(42.0 / 3.0)
    assert stress.check_peak_current(one, side("2SC5200")).value == pytest.approx(7.0)


def test_above_the_rated_but_within_the_peak_current_is_marginal():
    one = stage(load={"minimum_impedance": "1.2 ohm"})
    found = stress.check_peak_current(one, side("MJL21194"))
    assert found.result == "marginal"
    assert "peak rating of 30 A" in found.sentence
    assert stress.check_peak_current(one, side("2SC5200")).result == "not_ok"


def test_missing_rails_make_every_stress_not_known():
    one = stage(rails=None)
    checks = [stress.check_voltage(one, side("2SC5200")), stress.check_peak_current(one, side("2SC5200"))]
    checks += stress.check_safe_area(one, side("2SC5200"))
    assert {check.result for check in checks} == {"not_known"}
    assert all("rails.unloaded" in check.sentence for check in checks)


def test_resistive_load_line_inside_the_dc_line_is_ok():
    found = only(stress.check_safe_area(stage(), side("2SC5200")), "SAFE_AREA_DC", "resistive")
    assert found.result == "ok"
    assert found.value < found.limit
    assert found.figures["case_temperature"] > 310


def test_load_line_beyond_the_ratings_is_not_ok():
    one = stage(rails={"unloaded": "75 V", "loaded": "70 V"}, load={"minimum_impedance": "3 ohm", "phase": "60 deg"})
    checks = stress.check_safe_area(one, side("2SC5200"))
    assert only(checks, "SAFE_AREA_DC", "reactive").result == "not_ok"
    assert only(checks, "SAFE_AREA_PULSED", "reactive").result == "not_ok"


def test_a_case_too_hot_for_any_power_is_not_ok():
    one = stage(cooling={"heat_sink": "3 degC/W"})
    found = only(stress.check_safe_area(one, side("2SC5200")), "SAFE_AREA_DC", "resistive")
    assert found.result == "not_ok"
    assert "too hot for any power" in found.sentence
    assert found.margin is None


def test_beyond_the_dc_line_but_inside_the_pulse_line_is_marginal():
    """At 200 Hz the stress beyond the dc line lasts about a millisecond; the 10 ms line of this type carries it."""
    one = stage(
        rails={"unloaded": "46 V", "loaded": "42 V"},
        load={"lowest_frequency": "200 Hz"},
        cooling={"ambient": "20 degC"},
    )
    checks = stress.check_safe_area(one, side("2SC5200"))
    assert only(checks, "SAFE_AREA_DC", "reactive").result == "marginal"
    pulsed = only(checks, "SAFE_AREA_PULSED", "reactive")
    assert pulsed.result == "marginal"
    assert "Doubtful line" in pulsed.sentence


def test_beyond_the_dc_line_with_no_frequency_stated_is_not_ok():
    one = stage(rails={"unloaded": "46 V", "loaded": "42 V"}, load={"lowest_frequency": None})
    checks = stress.check_safe_area(one, side("2SC5200"))
    assert only(checks, "SAFE_AREA_DC", "reactive").result == "not_ok"
    assert only(checks, "SAFE_AREA_PULSED", "reactive").result == "not_known"


@pytest.mark.parametrize("name", ["MJ15003", "MJL21194", "MJE15032"])
def test_a_type_without_dc_line_is_not_known_with_what_is_known_beside_it(name):
    checks = stress.check_safe_area(stage(), side(name))
    dc = [check for check in checks if check.code == "SAFE_AREA_DC"]
    assert {check.result for check in dc} == {"not_known"}
    assert all("lines are known for" in check.sentence for check in dc)
    assert [check for check in checks if check.code == "SAFE_AREA_PULSED"]


def test_a_type_without_any_safe_area_is_not_known_and_never_ok():
    checks = stress.check_safe_area(stage(), side("TTC5200"))
    assert {check.result for check in checks} == {"not_known"}
    assert all("no safe area is known" in check.sentence for check in checks)


def test_a_load_line_beyond_the_end_of_a_one_second_line_is_not_known():
    """The corners of MJ15003 end at 100 V; with 60 V rails and 80 degrees the load line goes beyond."""
    load = {"resistance": "200 ohm", "minimum_impedance": "180 ohm", "phase": "80 deg"}
    low = stage(rails={"unloaded": "60 V", "loaded": "55 V"}, load=load)
    found = only(stress.check_safe_area(low, side("MJ15003")), "SAFE_AREA_PULSED", "reactive")
    assert found.result == "not_known"
    assert "drawn to 100 V only" in found.sentence


def test_unknown_cooling_leaves_the_safe_area_not_known_but_a_cold_failure_stays_one():
    cold = stage(cooling=None)
    found = only(stress.check_safe_area(cold, side("2SC5200")), "SAFE_AREA_DC", "resistive")
    assert found.result == "not_known"
    assert "a hot case permits less" in found.sentence
    beyond = stage(cooling=None, rails={"unloaded": "90 V", "loaded": "80 V"}, load={"minimum_impedance": "2 ohm"})
    found = only(stress.check_safe_area(beyond, side("2SC5200")), "SAFE_AREA_DC", "reactive")
    assert found.result == "not_ok"


def test_no_phase_angle_makes_the_reactive_load_not_known():
    checks = stress.check_safe_area(stage(load={"phase": None, "minimum_impedance": None}), side("2SC5200"))
    assert only(checks, "SAFE_AREA_DC", "reactive load").result == "not_known"


def test_a_doubtful_line_is_never_ok():
    """The dc line of BD249C is printed above its rated power."""
    one = stage(rails={"unloaded": "20 V", "loaded": "18 V"})
    found = only(stress.check_safe_area(one, side("BD249C")), "SAFE_AREA_DC", "resistive")
    assert found.result == "marginal"
    assert "Doubtful line" in found.sentence


@pytest.mark.parametrize("degrees", [0, 25, 45, 70, 85])
def test_against_a_line_of_constant_power_the_use_is_the_worst_instant(degrees):
    """An invented safe area of 100 W everywhere, against the derived closed form of the worst instant."""
    everywhere = invented(soa=[("dc", [[0.1, 1000], [100, 1]])], ratings={"IC": 1000})
    phase = math.radians(degrees)
    found = stress.use_of(load_line(40.0, 8.0, phase, 2), everywhere, None, stress.COLD)
    assert found.use == pytest.approx(instantaneous_peak(40.0, 8.0, phase) / 2 / 100, rel=1e-3)
    assert found.vce * found.ic == pytest.approx(found.use * 100, rel=1e-6)


def test_load_cases_are_those_of_the_load():
    names = [case.name for case in load_cases(stage())]
    assert names == ["resistive load 8 ohm", "reactive load 6.4 ohm at 35 deg"]
    dip = [case.name for case in load_cases(stage(load={"phase": None}))]
    assert dip == ["resistive load 8 ohm", "impedance dip 6.4 ohm"]


def test_a_stage_with_a_tenth_in_hand_is_never_called_marginal_for_its_mains():
    """False alarms of MAINS_TOLERANCE: ratings just above a tenth beyond every voltage are ok, just below marginal."""
    for share, result in ((1.001, "ok"), (0.999, "marginal")):
        volts = 100.0 / MAINS_TOLERANCE / 2 / share
        one = stage(rails={"unloaded": f"{volts!r} V", "loaded": None})
        assert stress.check_voltage(one, side("TIP35C")).result == result
