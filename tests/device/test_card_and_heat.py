"""Cards, junction capacitance, and moving readings between temperatures."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from partscreen.device import Card, card_from_spice, gain_at, junction_capacitance, saturation_at
from partscreen.device.thermal import shift_to_temperature


def test_absent_figures_take_the_simulators_defaults() -> None:
    card = card_from_spice({"is": 1e-12, "vaf": 0.0, "irb": 0.0, "nkf": 1.9, "tf": 1e-9})
    assert card.bf == 100.0
    assert card.ne == 1.5
    assert card.nc == 2.0
    assert np.isinf(card.vaf)  # zero stands for infinity
    assert np.isinf(card.irb)
    assert card.nkf == 1.0  # the simulator knows no more
    assert card.tnom == 300.15


def test_reverse_emission_follows_the_forward_one_unless_told() -> None:
    figures = {"is": 1e-12, "nf": 1.06, "nr": 1.5}
    assert card_from_spice(figures).nr == 1.06
    assert card_from_spice(figures, nr_is_nf=False).nr == 1.5


def test_saturation_voltage_is_positive_at_low_current_only_with_equal_emission_coefficients() -> None:
    figures = {"is": 1e-12, "nf": 0.99, "nr": 1.5, "bf": 100.0, "br": 2.0}
    kept = saturation_at(card_from_spice(figures, nr_is_nf=False), 1e-3, 1e-4, 300.15).vce
    assert kept < 0.0
    assert saturation_at(card_from_spice(figures), 1e-3, 1e-4, 300.15).vce > 0.0


def test_many_parts_and_points_broadcast() -> None:
    card = Card(is_=np.array([[1e-12], [2e-12], [4e-12]]), ikf=5.0, rb=1.0, irb=np.array([[np.inf], [0.1], [1.0]]))
    ic = np.geomspace(0.01, 5.0, 7)
    many = gain_at(card, ic, 5.0, 300.0)
    assert many.hfe.shape == many.vbe.shape == many.reached.shape == (3, 7)
    one = gain_at(Card(is_=2e-12, ikf=5.0, rb=1.0, irb=0.1), ic, 5.0, 300.0)
    assert many.vbe[1] == pytest.approx(one.vbe, abs=1e-9)


def test_capacitance_law_is_smooth_where_it_is_continued() -> None:
    near = junction_capacitance(1e-9, -0.5 * 0.75 + np.array([-1e-6, 0.0, 1e-6]), 0.75, 0.33)
    assert np.diff(near)[0] == pytest.approx(np.diff(near)[1], rel=1e-4)
    assert junction_capacitance(1e-9, 0.0, 0.75, 0.33) == pytest.approx(1e-9)
    assert np.all(np.diff(junction_capacitance(1e-9, np.linspace(-1.0, 50.0, 200), 0.75, 0.33)) < 0.0)


def test_shift_to_another_temperature_agrees_with_simulation() -> None:
    rng = np.random.default_rng(7)
    vbe, temp, slope = (rng.normal(m, s, 200_000) for m, s in [(0.6, 1e-3), (350.0, 2.0), (-2e-3, 1e-4)])
    simulated = vbe + slope * (298.15 - temp)
    value, std = shift_to_temperature([[0.6]], 1e-3, 350.0, 2.0, -2e-3, 1e-4, reference_temp=298.15)
    assert value.shape == std.shape == (1, 1)
    assert value[0, 0] == pytest.approx(simulated.mean(), abs=5e-5)
    assert std[0, 0] == pytest.approx(simulated.std(), rel=0.01)


def test_a_temperature_that_is_not_kelvin_is_refused() -> None:
    with pytest.raises(ValueError, match="kelvin expected"):
        shift_to_temperature(0.6, 1e-3, 300.0, 1.0, -2e-3, 0.0, reference_temp=-5.0)


def test_the_room_loads_no_heavy_package() -> None:
    heavy = ("scipy", "pandas", "matplotlib", "sklearn", "pint")
    code = f"import sys, partscreen.device; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
