"""Gain near crossover against ngspice, an independent circuit simulator: the whole stage with its emitter resistors.

Cards: complementary pairs among the published ones (`model_cards.toml`), NR = NF as its head asks. The circuit has
ideal bias sources; the simulator's gain is the slope of its own transfer curve.
"""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

import numpy as np
import pytest

from partscreen.device import card_from_spice
from partscreen.quantities import ZERO_CELSIUS
from partscreen.stage.crossover import OneSide, conducting_resistance, crossover, curve_from_card, flattest_idle
from tests.facts import MODEL_CARDS, needs_facts
from tests.outside.ngspice import Floats, model_line, needs_ngspice, run

pytestmark = [needs_facts, needs_ngspice]

RAIL, LOAD, REACH = 40.0, 8.0, 1.8
CAPACITANCE = ("cje", "vje", "mje", "cjc", "vjc", "mjc", "xcjc", "fc", "tf", "xtf", "vtf", "itf", "ptf", "tr")
STAGES = [
    ("BDW51C", "BDW52C", 0.22, 1),
    ("BDW51C", "BDW52C", 0.22, 2),
    ("BDX77", "BDX78", 0.10, 1),
    ("BD709", "BD710", 0.47, 1),
    ("KT819A", "KT818A", 0.33, 3),
    ("2SD2012", "2SB1375", 0.22, 1),
]


@cache
def published() -> dict[str, dict[str, Any]]:
    with MODEL_CARDS.open("rb") as file:
        return dict(tomllib.load(file)["types"])


def model_of(name: str, label: str) -> str:
    entry = published()[name]
    figures = {key: value for key, value in entry["gp"].items() if key not in CAPACITANCE}
    return model_line(label, figures, entry["polarity"], nr=figures.get("nf", 1.0))


def sides_of(npn: str, pnp: str, ohms: float, n: int, celsius: float) -> tuple[OneSide, OneSide]:
    kelvin = celsius + ZERO_CELSIUS
    return tuple(
        OneSide([curve_from_card(card_from_spice(published()[name]["gp"]), ohms, RAIL, kelvin, 4.0, n * LOAD)] * n)
        for name in (npn, pnp)
    )  # type: ignore[return-value]


def simulated(npn: str, pnp: str, ohms: float, n: int, spread: float, celsius: float) -> tuple[Floats, Floats]:
    """Output current and gain of the circuit at a bias voltage between the bases."""
    elements = [
        model_of(npn, "mn"), model_of(pnp, "mp"), f"Vp vp 0 {RAIL}", f"Vn vn 0 {-RAIL}", "Vin in 0 0",
        f"Vu up in {spread / 2!r}", f"Vd down in {-spread / 2!r}", f"RL out 0 {LOAD}",
    ]  # fmt: skip
    for k in range(n):
        elements += [f"Q1{k} vp up a{k} 0 mn", f"Q2{k} vn down b{k} 0 mp"]
        elements += [f"R1{k} a{k} out {ohms}", f"R2{k} b{k} out {ohms}"]
    found = run(elements, [f"set temp={celsius}", "dc Vin -16 16 0.01"])[0]
    return found["v(out)"] / LOAD, np.gradient(found["v(out)"], found["v(in)"])


@pytest.mark.parametrize("celsius", [27.0, 75.0])
@pytest.mark.parametrize(("npn", "pnp", "ohms", "n"), STAGES)
def test_gain_and_output_resistance_agree_with_the_simulator_within_one_percent(npn, pnp, ohms, n, celsius):
    upper, lower = sides_of(npn, pnp, ohms, n, celsius)
    at = np.linspace(-REACH, REACH, 361)
    for share in (0.2, 1.0, 2.5):
        idle = share * n * 0.026 / ohms
        ours = crossover(upper, lower, idle, LOAD, 1.1 * REACH)
        current, gain = simulated(npn, pnp, ohms, n, ours.spread, celsius)
        predicted, theirs = np.interp(at, ours.current, ours.gain), np.interp(at, current, gain)
        assert np.abs(predicted / theirs - 1.0).max() < 0.001  # ten times closer than asked for
        # The gain hides the output resistance behind the load; it is held to one percent itself.
        resistance = LOAD * (1.0 / np.array([predicted, theirs]) - 1.0)
        assert np.abs(resistance[0] / resistance[1] - 1.0).max() < 0.01


@pytest.mark.parametrize(("npn", "pnp", "ohms", "n"), STAGES[:4])
def test_at_the_flattest_bias_the_simulator_finds_equal_resistance_at_idle_and_conducting(npn, pnp, ohms, n):
    """The simulator's output resistance at idle against what a conducting side settles to."""
    upper, lower = sides_of(npn, pnp, ohms, n, 27.0)
    idle = flattest_idle(upper, lower, REACH)
    spread = upper.voltage_at(idle) + lower.voltage_at(idle)
    current, gain = simulated(npn, pnp, ohms, n, spread, 27.0)
    at_idle = LOAD * (1.0 / float(np.interp(0.0, current, gain)) - 1.0)
    settled = 0.5 * (conducting_resistance(upper, REACH) + conducting_resistance(lower, REACH))
    assert at_idle == pytest.approx(settled, rel=0.02)
    ends = LOAD * (1.0 / np.interp([-REACH, REACH], current, gain) - 1.0) - 0.02585 / REACH
    assert float(np.mean(ends)) == pytest.approx(settled, rel=0.02)
