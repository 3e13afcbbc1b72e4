"""Output stage against published worked examples and tables; each source stands beside its check.

Derived: worked out from the equations of the circuit, checked by integration where that is not the equation itself.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from partscreen.device.temperature import K_OVER_Q
from partscreen.device.thermal import derated_power
from partscreen.quantities import ZERO_CELSIUS
from partscreen.stage.crossover import OneSide, crossover, flattest_idle, ideal_curve
from partscreen.stage.heat import second_breakdown_factor, temperatures, thermal_factor
from partscreen.stage.load_line import (
    instantaneous_peak,
    load_line,
    programme,
    sine_peaks,
    sine_power,
    worst_share,
    worst_sine,
)
from partscreen.stage.model import Cooling

BOYLESTAD = (
    "Boylestad and Nashelsky, Electronic Devices and Circuit Theory, examples 12.8 and 12.9 (stored copy, p. 720)"
)


def kelvin(celsius: float) -> float:
    return celsius + ZERO_CELSIUS


def cooling(insulator: float, sink: float, ambient: float, devices: int = 1) -> Cooling:
    return Cooling.model_validate(
        {
            "insulator": f"{insulator!r} degC/W",
            "heat_sink": f"{sink!r} degC/W",
            "ambient": f"{ambient!r} degC",
            "devices_on_heat_sink": devices,
        }
    )


def test_class_b_dissipation_is_that_of_the_handbook_example():
    """Source: BOYLESTAD, example 12.8: 30 V, 16 ohm, output 28.125 W, input 35.81 W, 5.7 W in each transistor."""
    worst = worst_sine(30.0, 30.0, 16.0, 0.0)
    assert worst.pair / 2 == pytest.approx(5.7, abs=0.005)
    assert worst.peak == pytest.approx(2 * 30 / math.pi)
    full = sine_power(30.0, 16.0, 0.0, 1.0)
    assert full + 28.125 == pytest.approx(35.81, abs=0.005)
    assert 28.125 / (full + 28.125) == pytest.approx(0.7854, abs=5e-5)


@pytest.mark.parametrize(("peak", "efficiency"), [(22.0, 0.72), (6.0, 0.196)])
def test_class_b_efficiency_is_that_of_the_handbook_example(peak, efficiency):
    """Source: BOYLESTAD, example 12.9: 24 V rail, 22 V and 6 V peak."""
    load = 4.0  # the efficiency does not depend on it
    output = peak**2 / (2 * load)
    assert output / (output + sine_power(24.0, load, 0.0, peak / 24.0)) == pytest.approx(efficiency, abs=5e-4)


def test_class_b_worst_case_of_fifty_volt_rails():
    """Derived (check values 8.1): 63.33 W both, at 31.83 V peak; 78.1 W at the worst instant in one device."""
    worst = worst_sine(50.0, 50.0, 8.0, 0.0)
    assert worst.pair == pytest.approx(63.33, abs=0.005)
    assert worst.peak == pytest.approx(31.83, abs=0.005)
    assert instantaneous_peak(50.0, 8.0, 0.0) == pytest.approx(78.125)


@pytest.mark.parametrize(
    ("power", "load", "peak"), [(20, 8, 2.2361), (50, 8, 3.5355), (100, 8, 5.0), (100, 4, 7.0711), (200, 4, 10.0)]
)
def test_peak_currents_of_sine_powers(power, load, peak):
    """Source: newsletter.onedfrk.com, 26 May 2026 (stored copy), 20 W in 8 ohm about 2.2 A; the others derived."""
    assert sine_peaks(power, load)[0] == pytest.approx(peak, abs=5e-5)


def test_hundred_watt_in_eight_ohm_needs_five_ampere_and_forty_volt():
    """Derived."""
    assert sine_peaks(100.0, 8.0) == pytest.approx((5.0, 40.0))


REACTIVE = [(0, 0.20264, 0.25), (30, 0.23399, 0.53117), (45, 0.28658, 0.70711), (60, 0.38662, 0.89907),
            (75, 0.50721, 1.09932), (90, 0.63662, 1.29904)]  # fmt: skip
"""Derived (check values 8.2): phase in degrees; worst average of both sides and worst instant of one device, in
VCC^2/|Z|. At 30 degrees the table prints 0.23398; its own formula, 2/(pi^2 cos 30 deg), is 0.233991."""


@pytest.mark.parametrize(("degrees", "average", "instant"), REACTIVE)
def test_reactive_worst_cases(degrees, average, instant):
    phase = math.radians(min(degrees, 89.9999))
    assert sine_power(1.0, 1.0, phase, worst_share(phase)) == pytest.approx(average, abs=1e-5)
    assert worst_sine(1.0, 1.0, 1.0, phase).pair == pytest.approx(average, abs=1e-5)
    assert instantaneous_peak(1.0, 1.0, phase) == pytest.approx(instant, abs=1e-5)


@pytest.mark.parametrize("degrees", [0, 20, 45, 70])
def test_drawn_load_line_holds_the_same_powers_as_the_formulas(degrees):
    """The load line integrated over its half cycle, against the derived formulas."""
    phase, devices = math.radians(degrees), 3
    line = load_line(40.0, 8.0, phase, devices)
    power = line.vce[-1] * line.ic[-1]
    assert power.max() * devices == pytest.approx(instantaneous_peak(40.0, 8.0, phase), rel=1e-4)
    average = np.trapezoid(power, dx=line.angle_step) * devices * 2  # both sides
    assert average == pytest.approx(sine_power(40.0, 8.0, phase, 1.0), rel=1e-4)


def test_sagging_rails_are_the_best_of_all_levels_tried_one_by_one():
    unloaded, loaded, load, phase = 50.0, 42.0, 6.0, math.radians(30)
    peaks = np.linspace(0.1, loaded, 4000)
    rails = unloaded - (unloaded - loaded) * peaks / loaded
    tried = [sine_power(v, load, phase, p / v) for v, p in zip(rails, peaks, strict=True)]
    found = worst_sine(unloaded, loaded, load, phase)
    assert found.pair == pytest.approx(max(tried), rel=1e-6)
    assert found.peak == pytest.approx(peaks[int(np.argmax(tried))], abs=0.03)


@pytest.mark.parametrize("crest", [1.5, 2.0, 3.1623, 6.0])
def test_programme_is_that_of_clipped_noise(crest):
    """A million draws of clipped noise against the closed form."""
    rng = np.random.default_rng(3)
    v = np.clip(rng.normal(0.0, 40.0 / crest, 1_000_000), -40.0, 40.0)
    drawn = np.mean((40.0 * np.abs(v) - v**2) / 8.0)
    assert programme(40.0, 40.0, 8.0, 0.0, crest).pair == pytest.approx(drawn, rel=3e-3)


def test_thermal_chain_of_a_teaching_sheet():
    """Source: dropdoc.ru 754049 (stored copy), TIP31: 3.125 and 13 degC/W, 25 degC; 3.9 W: case 76, junction 88 degC;
    6 W: case 103 degC."""
    low = temperatures(cooling(0.0, 13.0, 25.0), 3.9, 3.125)
    assert low.case == pytest.approx(kelvin(76), abs=0.5)
    assert low.junction == pytest.approx(kelvin(88), abs=0.5)
    assert temperatures(cooling(0.0, 13.0, 25.0), 6.0, 3.125).case == pytest.approx(kelvin(103), abs=0.5)


def test_thermal_chain_without_heat_sink():
    """Source: heat-sink tutorial, digikey.cn slide 4 (stored copy): 62 degC/W, 2.78 W, 50 degC: junction 222 degC."""
    assert temperatures(cooling(0.0, 62.0, 50.0), 2.78, 0.0).junction == pytest.approx(kelvin(222), abs=0.5)


def test_thermal_chain_of_the_handbook():
    """Memory (Boylestad): 0.5 + 0.6 + 1.5 degC/W, 40 degC, 200 degC: 61.5 W."""
    assert temperatures(cooling(0.6, 1.5, 40.0), 61.5, 0.5).junction == pytest.approx(kelvin(200), abs=0.15)


def test_total_resistance_of_twenty_gives_the_published_power():
    """Source: bissoy.com 268158 (stored copy): 20 degC/W in all, TJ 200 degC, 75 degC: 6.25 W; 25 degC derived 8.75."""
    assert temperatures(cooling(0.0, 20.0, 75.0), 6.25, 0.0).junction == pytest.approx(kelvin(200))
    assert temperatures(cooling(0.0, 20.0, 25.0), 8.75, 0.0).junction == pytest.approx(kelvin(200))


def test_a_shared_heat_sink_counts_every_device():
    one, four = (temperatures(cooling(0.5, 1.0, 25.0, n), 10.0, 1.0) for n in (1, 4))
    assert four.heat_sink - kelvin(25) == pytest.approx(4 * (one.heat_sink - kelvin(25)))
    assert four.case - four.heat_sink == pytest.approx(one.case - one.heat_sink)


DERATED = [(50, 0.894, 0.800, 0.833), (75, 0.787, 0.600, 0.667), (100, 0.681, 0.400, 0.500), (125, 0.574, 0.200, 0.333),
           (150, 0.468, 0.0, 0.167)]  # fmt: skip


@pytest.mark.parametrize(("case", "breakdown", "at_150", "at_175"), DERATED)
def test_second_breakdown_and_heat_derate_apart(case, breakdown, at_150, at_175):
    """Source of the rule: Sanken, introduction to transistors, page 9 (stored copy, beike2008.cn 15584972): current to
    zero at 260 degC. Factors derived."""
    assert second_breakdown_factor(kelvin(case)) == pytest.approx(breakdown, abs=5e-4)
    assert thermal_factor(kelvin(case), kelvin(150)) == pytest.approx(at_150, abs=5e-4)
    assert thermal_factor(kelvin(case), kelvin(175)) == pytest.approx(at_175, abs=5e-4)


def test_published_derating_of_a_fifty_watt_limit():
    """Source: revistaantenna.com.br, series part I, p. 8 (stored copy of the method): 50 W, 0.4 W/degC: 30 W at 75."""
    at_75, at_76 = (float(derated_power(50.0, kelvin(case), kelvin(150))) for case in (75, 76))
    assert at_75 - at_76 == pytest.approx(0.4)
    assert at_75 == pytest.approx(30.0)


VT = 25.865e-3
JUNCTION = VT / K_OVER_Q


@pytest.mark.parametrize(("ohms", "idle"), [(0.22, 0.1182), (0.10, 0.260), (0.33, 0.0788), (0.47, 0.0553)])
def test_flattest_crossover_of_ideal_junctions_is_the_26_mv_criterion(ohms, idle):
    """Source: audioasylum.com thread 44849, 4 May 2008 (stored copy): 0.22 ohm, 118 mA; others derived with 26 mV."""
    side = OneSide([ideal_curve(ohms, 0.026 / K_OVER_Q, 20.0)])
    assert flattest_idle(side, side, 16 * 0.026 / ohms) == pytest.approx(idle, rel=2e-3)


RATIOS = [(10e-3, 1.793, 1.793), (20e-3, 1.147, 1.264), (25.9e-3, 0.999, 1.202), (30e-3, 0.931, 1.177),
          (50e-3, 0.759, 1.117)]  # fmt: skip


@pytest.mark.parametrize(("drop", "at_idle", "largest"), RATIOS)
def test_output_resistance_of_the_two_transistor_model(drop, at_idle, largest):
    """Derived (check values 8.3): RE 0.22 ohm, kT/q 25.865 mV; output resistance over RE at idle and largest to 2 A."""
    side = OneSide([ideal_curve(0.22, JUNCTION, 20.0)])
    found = crossover(side, side, drop / 0.22, 8.0, 2.0)
    middle = int(np.argmin(np.abs(found.current)))
    assert found.resistance[middle] / 0.22 == pytest.approx(at_idle, abs=6e-4)
    assert found.resistance.max() / 0.22 == pytest.approx(largest, abs=6e-4)


def test_internal_resistance_is_taken_off_the_flattest_drop():
    """Derived (check values 8.3): 0.22 ohm outside, 0.05 ohm inside: 21.1 mV outside."""
    side = OneSide([ideal_curve(0.27, JUNCTION, 20.0)])
    assert flattest_idle(side, side, 1.5) * 0.22 == pytest.approx(0.0211, abs=5e-5)


def test_four_millivolt_across_a_fifth_of_an_ohm_is_eighteen_milliampere():
    """Fact of the trade (common practice, no source): 4 mV across 0.22 ohm is 18 mA, far below the flattest."""
    reading = 4e-3 / 0.22
    assert reading == pytest.approx(0.018, abs=2e-4)
    side = OneSide([ideal_curve(0.22, JUNCTION, 20.0)])
    assert flattest_idle(side, side, 1.9) > 6 * reading


def test_offset_between_two_devices_splits_the_current_as_worked_out():
    """Derived (users, section 3e): 20 mV offset, 0.22 ohm: 100 mA as 63/37, 5 A as 2.54/2.46."""
    weaker = 1e-12 * math.exp(-0.020 / (K_OVER_Q * 300.0))
    both = [ideal_curve(0.22, 300.0, 20.0, saturation) for saturation in (1e-12, weaker)]
    pair = OneSide(both)
    for total, share, digits in ((0.1, 0.063, 5e-4), (5.0, 2.54, 5e-3)):
        shares = pair.shares(pair.voltage_at(total))
        assert shares.sum() == pytest.approx(total)
        assert shares[0] == pytest.approx(share, abs=digits)
