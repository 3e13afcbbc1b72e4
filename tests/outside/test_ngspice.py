"""The forward model against ngspice, an independent circuit simulator, over every published card among the facts.

Source of the cards: `model_cards.toml` (each with its repository and commit). NR = NF, as the head of that file asks.
12 currents from 10 mA to the rated current, VCE 5 V and forced gain 10, at 27 and 75 degC, no self-heating.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from partscreen.device import Card, card_from_spice, gain_at, junction_capacitance, saturation_at
from partscreen.device.forward import GainPoint, SaturationPoint
from partscreen.device.solve import VCE_SAT_MAX
from tests.facts import MODEL_CARDS, needs_facts
from tests.outside.ngspice import Floats, model_line, needs_ngspice, run, steps

pytestmark = [needs_facts, needs_ngspice]

N_POINTS = 12
TEMPERATURES = (27.0, 75.0)
VCE = 5.0
FORCED_GAIN = 10.0
CAPACITANCE = ("cje", "vje", "mje", "cjc", "vjc", "mjc", "xcjc", "fc", "tf", "xtf", "vtf", "itf", "ptf", "tr")
DECK = 8  # cards simulated together


@cache
def published() -> dict[str, dict[str, Any]]:
    """All cards by type number."""
    with MODEL_CARDS.open("rb") as file:
        return dict(tomllib.load(file)["types"])


def currents_of(name: str) -> Floats:
    return np.geomspace(0.01, published()[name]["ic_a"], N_POINTS)


def card_of(name: str) -> Card:
    return card_from_spice(published()[name]["gp"])


def device(name: str, index: int) -> tuple[str, float]:
    """The .model line with NR = NF, and the sign of the polarity.

    Junction capacitances carry no direct current and are left out: where a card has a built-in voltage of about 0.1 V
    or less, the simulator's temperature law makes it negative at 75 degC and its capacitance, then not a number,
    stops it.
    """
    entry = published()[name]
    figures = {key: value for key, value in entry["gp"].items() if key not in CAPACITANCE}
    line = model_line(f"m{index}", figures, entry["polarity"], nr=figures.get("nf", 1.0))
    return line, 1.0 if entry["polarity"] == "npn" else -1.0


def held(values: Floats, usable: np.ndarray[Any, np.dtype[np.bool_]]) -> Floats:
    """Values where usable; the last usable one elsewhere, so that the simulator is not asked for the impossible."""
    return np.where(usable, values, values[usable][-1])


def sweep(elements: list[str], temp: float) -> dict[str, Floats]:
    return run(["Vstep step 0 0", *elements], [f"set temp={temp}", f"dc Vstep 0 {N_POINTS - 1} 1"])[0]


def forward_deck(names: list[str], temp: float, predicted: dict[str, GainPoint]) -> dict[str, tuple[Floats, Floats]]:
    """IC and VBE of each card at our base currents and VCE 5 V. The node voltages given are first guesses only."""
    elements = []
    for i, name in enumerate(names):
        model, sign = device(name, i)
        point = predicted[name]
        base = held(point.ib, point.reached)
        elements += [model, f".nodeset v(b{i})={sign * point.vbe[0]} v(c{i})={sign * VCE}", f"Q{i} c{i} b{i} 0 m{i}"]
        elements += [f"B{i} 0 b{i} I={sign}*{steps(base)}", f"V{i} c{i} 0 {VCE * sign}"]
    found = sweep(elements, temp)
    return {name: (np.abs(found[f"i(v{i})"]), np.abs(found[f"v(b{i})"])) for i, name in enumerate(names)}


def saturation_deck(
    names: list[str], temp: float, predicted: dict[str, SaturationPoint]
) -> dict[str, tuple[Floats, Floats]]:
    """VCE(sat) and VBE(sat) of each card at forced currents. The node voltages given are first guesses only."""
    elements = []
    for i, name in enumerate(names):
        model, sign = device(name, i)
        point = predicted[name]
        ic = held(currents_of(name), point.reached)
        guess = f".nodeset v(b{i})={sign * point.vbe[0]} v(c{i})={sign * point.vce[0]}"
        elements += [model, guess, f"Q{i} c{i} b{i} 0 m{i}"]
        elements += [f"Bc{i} 0 c{i} I={sign}*{steps(ic)}", f"Bb{i} 0 b{i} I={sign}*{steps(ic / FORCED_GAIN)}"]
    found = sweep(elements, temp)
    return {name: (np.abs(found[f"v(c{i})"]), np.abs(found[f"v(b{i})"])) for i, name in enumerate(names)}


def in_decks(deck: Any, names: list[str], temp: float, predicted: Any) -> dict[str, tuple[Floats, Floats]]:
    """Simulate all cards; a deck in which the simulator finds no start is run card by card."""
    result: dict[str, tuple[Floats, Floats]] = {}
    for begin in range(0, len(names), DECK):
        some = names[begin : begin + DECK]
        try:
            result |= deck(some, temp, predicted)
        except AssertionError:
            for name in some:
                result |= deck([name], temp, predicted)
    return result


@pytest.mark.parametrize("temp", TEMPERATURES)
def test_gain_and_base_voltage_agree_with_the_simulator_on_every_card(temp: float) -> None:
    names, kelvin = list(published()), temp + 273.15
    predicted = {name: gain_at(card_of(name), currents_of(name), VCE, kelvin) for name in names}
    simulated = in_decks(forward_deck, names, temp, predicted)
    assert len(simulated) == len(published()) >= 100
    unreached = 0
    for name, (ic, vbe) in simulated.items():
        reached = predicted[name].reached
        ours = gain_at(
            card_of(name), ic, VCE, kelvin
        )  # at the current the simulator found, so gains compare at equal IC
        gain = ic / held(predicted[name].ib, reached)
        assert np.all(np.abs(ours.hfe / gain - 1.0) < 1e-3), name
        assert np.all(np.abs(ours.vbe - vbe) < 1e-4), name
        unreached += int(np.count_nonzero(~reached))
    assert unreached <= 0.01 * N_POINTS * len(names)


@pytest.mark.parametrize("temp", TEMPERATURES)
def test_saturation_voltage_agrees_with_the_simulator_on_every_card(temp: float) -> None:
    names, kelvin = list(published()), temp + 273.15
    predicted = {
        name: saturation_at(card_of(name), currents_of(name), currents_of(name) / FORCED_GAIN, kelvin) for name in names
    }
    simulated = in_decks(saturation_deck, names, temp, predicted)
    assert len(simulated) == len(published())
    unreached = 0
    for name, (vce, vbe) in simulated.items():
        ok = predicted[name].reached
        assert np.all(np.abs(predicted[name].vce[ok] / vce[ok] - 1.0) < 1e-2), name
        assert np.all(np.abs(predicted[name].vbe[ok] - vbe[ok]) < 1e-4), name
        unreached += int(np.count_nonzero(~ok))
    assert unreached <= 0.01 * N_POINTS * len(names)


def test_where_saturation_is_said_to_be_out_of_reach_the_simulator_needs_more_than_5_v() -> None:
    asked = 0
    for name in published():
        ic = currents_of(name)
        point = saturation_at(card_of(name), ic, ic / FORCED_GAIN, 300.15)
        assert np.all(np.isnan(point.vce) == ~point.reached)
        for current in ic[~point.reached]:
            model, sign = device(name, 0)
            # With VCE held at our bound, the forced base current does not give the collector current asked for.
            found = run(
                [model, f"Vc c 0 {sign * VCE_SAT_MAX}", f"Ib 0 b {sign * current / FORCED_GAIN}", "Q0 c b 0 m0"], ["op"]
            )[0]
            assert np.abs(found["i(vc)"][0]) < current, name
            asked += 1
    assert asked >= 1


def test_where_a_forward_point_is_said_to_be_out_of_reach_the_simulator_cannot_be_there() -> None:
    asked = 0
    for name in published():
        ic = currents_of(name)
        point = gain_at(card_of(name), ic, VCE, 300.15)
        assert np.all(np.isnan(point.hfe) == ~point.reached)
        for current in ic[~point.reached]:
            model, sign = device(name, 0)
            found = run(
                [model, f"Vc c 0 {sign * VCE}", "Ib 0 b 0", "Q0 c b 0 m0"],
                [f"dc Ib 0 {sign * current} {sign * current / 50}"],  # up to a gain of one
            )[0]
            assert np.max(np.abs(found["i(vc)"])) < current, name
            asked += 1
    assert asked >= 1


@pytest.mark.parametrize("name", ["2N3772", "BDW52C", "MJ15002", "ZTX857"])
def test_self_heating_agrees_with_the_simulator_run_at_the_junction_temperature(name: str) -> None:
    rth, ic = 1.5, float(published()[name]["ic_a"]) / 3.0
    ours = gain_at(card_of(name), ic, VCE, 300.15, rth=rth)
    assert ours.junction_temp == pytest.approx(300.15 + rth * ic * VCE)
    model, sign = device(name, 0)
    elements = [model, f"Vc c 0 {sign * VCE}", f"Ib 0 b {sign * float(ours.ib)}", "Q0 c b 0 m0"]
    found = run(elements, [f"set temp={float(ours.junction_temp) - 273.15}", "op"])[0]
    assert np.abs(found["i(vc)"][0]) == pytest.approx(ic, rel=1e-3)
    assert np.abs(found["v(b)"][0]) == pytest.approx(float(ours.vbe), abs=1e-4)


@pytest.mark.parametrize("nkf", [0.4, 0.75])
def test_free_knee_exponent_and_base_resistance_forms_agree_with_the_simulator(nkf: float) -> None:
    gp = dict(published()["2SC5706"]["gp"]) | {"nkf": nkf, "isc": 0.0}
    for changes in ({"irb": 0.05}, {"irb": 0.0, "rbm": 0.2}, {"irb": 0.0, "rbm": gp["rb"]}):
        figures = gp | changes
        spice = {key: value for key, value in figures.items() if not (key == "irb" and value == 0.0)}
        card = replace(card_from_spice(figures), nr=figures.get("nf", 1.0))
        ic = np.geomspace(0.01, 5.0, N_POINTS)
        ours = gain_at(card, ic, VCE, 300.15)
        elements = [model_line("m0", spice, "npn", nr=spice.get("nf", 1.0)), f"B0 0 b I={steps(ours.ib)}"]
        found = sweep([*elements, f"Vc c 0 {VCE}", "Q0 c b 0 m0"], 27.0)
        assert np.abs(found["i(vc)"]) == pytest.approx(ic, rel=1e-3)
        assert found["v(b)"] == pytest.approx(ours.vbe, abs=1e-4)


@pytest.mark.parametrize("name", ["2N3772", "BDW52C", "D44VH10", "BD709"])
def test_junction_capacitances_agree_with_the_simulator(name: str) -> None:
    gp, card = published()[name]["gp"], card_of(name)
    sign = device(name, 0)[1]
    still = {key: value for key, value in gp.items() if key not in ("tf", "tr", "xcjc")}  # no diffusion charge
    for bias in (-0.2, 0.0, 0.5, 5.0, 10.0):
        elements = [model_line("m0", still, published()[name]["polarity"], rb=0.0, re=0.0, rc=0.0, rbm=0.0)]
        elements += [f"Ve e 0 dc {sign * bias} ac 1", f"Vc c 0 dc {sign * bias} ac 0", "Qe 0 0 e m0", "Qc c 0 0 m0"]
        emitter = run(elements, ["ac lin 1 1e5 1e5"])[0]["i(ve)"][0].imag
        elements[1:3] = [f"Ve e 0 dc {sign * bias} ac 0", f"Vc c 0 dc {sign * bias} ac 1"]
        collector = run(elements, ["ac lin 1 1e5 1e5"])[0]["i(vc)"][0].imag
        ours = [
            float(junction_capacitance(card.cje, bias, card.vje, card.mje, card.fc)),
            float(junction_capacitance(card.cjc, bias, card.vjc, card.mjc, card.fc)),
        ]
        assert np.abs([emitter, collector]) / (2e5 * np.pi) == pytest.approx(ours, rel=1e-4)
