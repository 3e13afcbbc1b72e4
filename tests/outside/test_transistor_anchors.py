"""The device model against published worked examples and anchors.

Sources: `check_values.md` of the collected facts, by section; each names its own origin (a textbook, a data sheet, or
a figure derived there with ngspice 39). The origin is repeated beside each test.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from partscreen.device import Card, gain_at, saturation_at
from partscreen.device.temperature import K_OVER_Q, thermal_voltage, vbe_slope
from partscreen.device.thermal import (
    derated_power,
    diffusion_length,
    early_rise,
    log_gain_slope,
)

T27 = 300.15


def temp_of(vt: float) -> float:
    """The temperature at which kT/q is the round figure a textbook uses. [K]"""
    return vt / K_OVER_Q


# --- Section 2.2, derived from the Gummel-Poon equations (Xyce Reference Guide; ngspice bjtload.c) ---


def test_gain_is_half_its_ideal_value_at_the_knee_current() -> None:
    knee = np.array([[0.1, 5.0, 30.0]])
    assert gain_at(Card(is_=1e-12, bf=100.0, ikf=knee), knee, np.nan, T27).hfe == pytest.approx(50.0, rel=1e-6)


def test_gain_with_leakage_follows_the_closed_form() -> None:
    ic = np.geomspace(1e-6, 20.0, 40)
    found = gain_at(Card(is_=1e-12, bf=100.0, ikf=5.0, ise=1e-10, ne=2.0), ic, np.nan, T27).hfe
    closed = (1.0 + ic / 5.0) / 100.0 + (1e-10 / ic) * (ic * (1.0 + ic / 5.0) / 1e-12) ** 0.5
    closed -= 1e-10 / ic  # the -1 term of the leakage diode, dropped in the closed form
    assert found == pytest.approx(1.0 / closed, rel=2e-6)


def test_gain_slopes_against_current_are_those_of_theory() -> None:
    low = gain_at(Card(is_=1e-14, bf=1e6, ise=1e-9, ne=2.0), np.array([1e-7, 1e-6]), np.nan, T27).hfe
    assert np.diff(np.log10(low)) == pytest.approx(0.5, abs=0.01)  # 1 - NF/NE
    high = gain_at(Card(is_=1e-12, bf=100.0, ikf=0.01), np.array([10.0, 100.0]), np.nan, T27).hfe
    assert np.diff(np.log10(high)) == pytest.approx(-1.0, abs=0.01)


def test_early_effect_moves_the_half_gain_current() -> None:
    # Half-gain current IKF/q1, counted from BF/q1.
    card = Card(is_=1e-12, bf=100.0, ikf=5.0, vaf=50.0)
    point = gain_at(card, 5.0 * 1.2, 10.0 + 0.77, T27)
    vbc = float(point.vbe) - 10.77
    q1 = 1.0 / (1.0 - vbc / 50.0)
    assert gain_at(card, 5.0 / q1, 10.77, T27).hfe == pytest.approx(50.0 / q1, rel=2e-3)


# --- Section 2.3, forward Gummel table, ngspice 39 (derived) ---

GUMMEL = np.array(
    [
        [0.40, 5.2041262e-06, 99.999896, 18.581719],
        [0.45, 3.5965720e-05, 99.999281, 37.492559],
        [0.50, 2.4855005e-04, 99.995029, 61.187421],
        [0.55, 1.7172355e-03, 99.965667, 80.535109],
        [0.60, 1.1843907e-02, 99.763682, 91.377327],
        [0.65, 8.0743727e-02, 98.410789, 95.091042],
        [0.70, 5.1416214e-01, 90.675607, 89.487226],
        [0.75, 2.5836997, 65.930880, 65.599502],
        [0.80, 9.4023099, 34.716653, 34.650072],
        [0.85, 28.193788, 15.063059, 15.052057],
        [0.90, 77.961224, 6.0269120, 6.0252368],
    ]
)


@pytest.mark.parametrize(("leak", "column"), [({}, 2), ({"ise": 1e-10, "ne": 2.0}, 3)])
def test_gummel_table_is_reproduced(leak: dict[str, float], column: int) -> None:
    card = Card(is_=1e-12, bf=100.0, ikf=5.0, br=2.0, **leak)
    found = gain_at(card, GUMMEL[:, 1], np.nan, T27)
    assert found.hfe == pytest.approx(GUMMEL[:, column], rel=1e-5)
    assert found.vbe == pytest.approx(GUMMEL[:, 0], abs=2e-6)  # 2e-5 in current, all from k/q


# --- Section 2.4, temperature laws of ngspice bjttemp.c; VBE at IB = 1 mA checked there against ngspice to 1e-5 V ---

TEMPERATURE = np.array(
    [
        [0.0, 1.083667e-14, 86.8149, 0.699365, 0.702693, -1.7497, 54.199],
        [25.0, 7.349639e-13, 99.0022, 0.658407, 0.658665, -1.7723, 59.159],
        [27.0, 1.000000e-12, 100.0, 0.655118, 0.655118, -1.7740, 59.556],
        [50.0, 2.646888e-11, 111.7117, 0.617177, 0.614093, -1.7931, 64.120],
        [77.0, 7.280450e-10, 126.0009, 0.572369, 0.565395, -1.8139, 69.477],
        [100.0, 8.507328e-09, 138.6174, 0.533985, 0.523485, -1.8303, 74.041],
        [127.0, 1.077387e-07, 153.9312, 0.488693, 0.473820, -1.8484, 79.398],
    ]
)


@pytest.mark.parametrize("row", TEMPERATURE, ids=lambda row: f"{row[0]:.0f} degC")
def test_temperature_table_is_reproduced(row: np.ndarray[Any, np.dtype[np.float64]]) -> None:
    kelvin = row[0] + 273.15
    card = Card(is_=1e-12, bf=100.0, xti=3.0, eg=1.11, xtb=1.5)
    warm = card.at(kelvin)
    assert warm.is_ == pytest.approx(row[1], rel=2e-5)
    assert warm.bf == pytest.approx(row[2], rel=1e-5)
    at_base_current = gain_at(card, 1e-3 * row[2], np.nan, kelvin)
    assert at_base_current.ib == pytest.approx(1e-3, rel=1e-5)
    assert at_base_current.vbe == pytest.approx(row[3], abs=1e-5)
    vbe = float(gain_at(card, 0.1, np.nan, kelvin).vbe)
    assert vbe == pytest.approx(row[4], abs=1e-5)
    assert 1e3 * vbe_slope(vbe, kelvin, 1.11, 3.0) == pytest.approx(row[5], abs=2e-4)
    steps = gain_at(card, 0.1, np.nan, np.array([kelvin - 0.5, kelvin + 0.5])).vbe
    assert 1e3 * np.diff(steps) == pytest.approx(row[5], abs=2e-3)
    decade = gain_at(card, np.array([0.1, 1.0]), np.nan, kelvin).vbe
    assert 1e3 * np.diff(decade) == pytest.approx(row[6], abs=2e-3)


def test_gain_rises_half_a_percent_per_kelvin() -> None:
    # Section 2.4 (derived): XTB 1.5 near 300 K.
    assert log_gain_slope(300.0, 1.5) == pytest.approx(0.005)
    pair = gain_at(Card(bf=100.0, xtb=1.5), 0.1, np.nan, np.array([299.5, 300.5])).hfe
    assert np.diff(np.log(pair)) == pytest.approx(0.005, rel=0.01)


# --- Section 2.5, saturation voltage ---


def ebers_moll(alpha_f: float, alpha_r: float) -> Card:
    return Card(is_=1e-15, bf=alpha_f / (1.0 - alpha_f), br=alpha_r / (1.0 - alpha_r))


def test_saturation_voltage_of_neamen() -> None:
    # D. Neamen, Semiconductor Physics and Devices, ch. 12, Example 12.12: 0.121 V.
    found = saturation_at(ebers_moll(0.99, 0.20), 1e-3, 50e-6, temp_of(0.0259)).vce
    assert round(float(found), 3) == 0.121
    assert found == pytest.approx(0.12091, abs=1e-5)
    # Same source, exercise; answer derived.
    exercise = saturation_at(ebers_moll(0.992, 0.05), 0.5e-3, 50e-6, temp_of(0.0259)).vce
    assert exercise == pytest.approx(0.1407, abs=5e-5)


def test_offset_voltage_of_jaeger_and_blalock() -> None:
    # Problem 5.58: at IC = 0 VT ln(1/alpha): 17.3 mV for 0.5, 0.251 mV for 0.99, VT 25 mV.
    for alpha, millivolts in ((0.5, 17.3), (0.99, 0.251)):
        found = saturation_at(ebers_moll(0.99, alpha), 1e-9, 1e-3, temp_of(0.025)).vce
        assert 1e3 * found == pytest.approx(millivolts, rel=3e-3)


def test_saturation_voltage_of_sedra_and_smith() -> None:
    # Problem 6.21: beta 100, ISC/IS 100; answers derived with VT 25 mV.
    for forced, millivolts in ((50.0, 230.8), (10.0, 177.7), (5.0, 161.2), (1.0, 132.7)):
        found = saturation_at(Card(is_=1e-15, bf=100.0, br=0.01), 1e-3, 1e-3 / forced, temp_of(0.025)).vce
        assert 1e3 * found == pytest.approx(millivolts, abs=0.15)


def test_saturation_voltages_of_a_worked_exercise() -> None:
    # tutorsglobe 51664574 (task); derived with VT 25 mV: 17.83 mV and 0.7240 V. The card holds at that temperature.
    kelvin = temp_of(0.025)
    found = saturation_at(Card(is_=1e-15, bf=50.0, br=2.0, tnom=kelvin), 1e-3, 1e-3, kelvin)
    assert 1e3 * found.vce == pytest.approx(17.83, abs=0.006)
    assert found.vbe == pytest.approx(0.7240, abs=6e-4)


def test_saturation_voltages_of_the_simulator() -> None:
    # ngspice 39 (derived): IS 1e-12, BF 100, BR 2, 27 degC.
    card = Card(is_=1e-12, bf=100.0, br=2.0)
    found = saturation_at(card, np.array([1.0, 5.0]), 0.1, T27)
    assert 1e3 * found.vce == pytest.approx([51.1391, 102.6913], abs=2e-4)
    assert found.vbe == pytest.approx([0.720696, 0.757045], abs=2e-6)
    ohmic = saturation_at(Card(is_=1e-12, bf=100.0, br=2.0, rc=0.05, re=0.02, rb=0.5), 1.0, 0.1, T27)
    assert 1e3 * ohmic.vce == pytest.approx(123.1391, abs=2e-4)
    assert ohmic.vbe == pytest.approx(0.792696, abs=2e-6)


# --- Section 2.6, Neamen ch. 12 ---


def test_recombination_factor_of_neamen() -> None:
    # Jr0 1.2e-7, Js0 1.804e-9 A/cm2, VT 0.0259: 0.99574 at 0.50 V (printed), 0.99976 at 0.65 V (derived).
    kelvin = temp_of(0.0259)
    # With BF = 1 the base current is ideal current plus recombination, and the gain is the recombination factor.
    card = Card(is_=1.804e-9, ise=1.2e-7, ne=2.0, bf=1.0, tnom=kelvin)
    for vbe, factor in ((0.50, 0.99574), (0.65, 0.99976)):
        point = gain_at(card, 1.804e-9 * np.expm1(vbe / 0.0259), np.nan, kelvin)
        assert point.vbe == pytest.approx(vbe, abs=1e-6)
        assert point.hfe == pytest.approx(factor, abs=1e-5)


def test_base_voltage_takes_twice_the_decade_in_high_injection() -> None:
    # One decade per 2 VT ln 10, about 119 mV at 27 degC.
    decade = gain_at(Card(is_=1e-12, ikf=1e-3), np.array([10.0, 100.0]), np.nan, T27).vbe
    assert 1e3 * np.diff(decade) == pytest.approx(119.0, abs=0.5)


def test_early_voltage_of_neamen() -> None:
    # 3.195 -> 3.469 A/cm2 as VCB goes 2 -> 10 V with VBE 0.60 V: VA 90.7 V, counted on VCE; ours counts on VCB: VA +
    # VBE.
    card = Card(is_=1e-10, vaf=90.7 + 0.60)
    low = gain_at(card, 3.195, np.nan, T27).vbe  # VBE without the Early effect
    first, second = (gain_at(card, ic, vcb + float(low), T27).vbe for ic, vcb in ((3.195, 2.0), (3.469, 10.0)))
    # Equal VBE at both points; 1 % in VA moves them apart by 20 uV.
    assert second - first == pytest.approx(0.0, abs=5e-6)


# --- Section 2.7, quasi-saturation (Kull), ngspice 39 (derived) ---


def test_plain_gummel_poon_follows_the_column_without_quasi_saturation() -> None:
    # IS 1e-12, BF 100, BR 2, IKF 10, IB 20 mA. Quasi-saturation itself is not in the model: with it 0.2754 A flow at
    # 0.1 V.
    card = Card(is_=1e-12, bf=100.0, br=2.0, ikf=10.0)
    assert saturation_at(card, 0.867702, 0.02, T27).vce == pytest.approx(0.1, abs=1e-5)
    assert gain_at(card, 1.708204, 2.6, T27).ib == pytest.approx(0.02, rel=1e-5)
    assert saturation_at(card, 0.275356, 0.02, T27).vce < 0.08


# --- Section 8.5, power derating ---


def derating_slope(power: float, top: float) -> float:
    """What a kelvin more at the case takes off the permitted power. [W/K]"""
    return float(derated_power(power, 320.0, top) - derated_power(power, 321.0, top))


def test_derating_slopes_of_data_sheets() -> None:
    # Printed: 2N3055 RthJC 1.52; NTE388/68 1.43 W/degC; 2N389 0.486; NTE331/332 RthJC 1.4.
    assert 1.0 / derating_slope(115.0, 473.15) == pytest.approx(1.52, abs=0.005)
    assert derating_slope(250.0, 473.15) == pytest.approx(1.43, abs=0.005)
    assert derating_slope(85.0, 473.15) == pytest.approx(0.486, abs=5e-4)
    assert 1.0 / derating_slope(90.0, 423.15) == pytest.approx(1.4, rel=0.01)


def test_derated_power_runs_from_full_to_none() -> None:
    power = derated_power(150.0, np.array([263.15, 298.15, 360.65, 423.15, 440.0]), 423.15)
    assert power == pytest.approx([150.0, 150.0, 75.0, 0.0, 0.0])


# --- Section 11, self-heating and thermometers ---


def test_early_rise_of_a_pulse() -> None:
    # Die 25 mm2, 40 W, 300 us: 2.0 K; diffusion length about 0.16 mm; half-wave of the mains taken as it stands 5.3
    # to 5.8 times as much.
    rise = float(early_rise(40.0, 25e-6, 300e-6))
    assert rise == pytest.approx(2.0, abs=0.05)
    assert diffusion_length(300e-6) == pytest.approx(0.16e-3, abs=0.01e-3)
    assert early_rise(40.0, 25e-6, np.array([8.3e-3, 10e-3])) / rise == pytest.approx([5.3, 5.8], abs=0.05)
    assert early_rise(40.0, 50e-6, 300e-6) == pytest.approx(rise / 2.0)


def test_a_rise_of_ten_kelvin_moves_base_voltage_and_gain_as_stated() -> None:
    # 10 K means -18 mV in VBE and +5 % in hFE (XTB 1.5); at 0.1 A, as in the table of section 2.4.
    card = Card(is_=1e-12, bf=100.0, xtb=1.5)
    cold, hot = (gain_at(card, 0.1, 5.0, kelvin) for kelvin in (300.15, 310.15))
    assert 1e3 * (hot.vbe - cold.vbe) == pytest.approx(-18.0, abs=0.5)
    assert 1e2 * (hot.hfe / cold.hfe - 1.0) == pytest.approx(5.0, abs=0.2)


def test_k_factors() -> None:
    # VBE 0.50 V and 0.65 V, 300.15 K, EG 1.11, XTI 3: -2.291 and -1.791 mV/K.
    assert 1e3 * vbe_slope(np.array([0.50, 0.65]), T27, 1.11, 3.0) == pytest.approx([-2.291, -1.791], abs=6e-4)


def test_two_current_thermometer() -> None:
    # Ratio 10 at 27 degC 59.556 mV, ratio 16 71.713 mV (principle: TI application note SBOA433); 0.1984 mV/K for
    # ratio 10.
    assert 1e3 * thermal_voltage(T27) * np.log([10.0, 16.0]) == pytest.approx([59.556, 71.713], abs=1e-3)
    assert 1e3 * thermal_voltage(1.0) * np.log(10.0) == pytest.approx(0.1984, abs=5e-5)
