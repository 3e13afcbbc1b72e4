"""The power-up card's content: figures of this stage and these parts, and nothing guessed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partscreen.device.mapping import card_from_theta
from partscreen.device.parallel import Cooling, share_current
from partscreen.device.parameters import INDEX
from partscreen.errors import UnusableInput
from partscreen.reference.population import population_for
from partscreen.stage.devices import KnownPart
from partscreen.stage.power_up import Fitting, power_up
from partscreen.stage.power_up_words import ASK, Times
from tests.stage.stages import library, part, stage

VT = 0.02569  # kT/q at 25 degC [V]


def shifted(name: str, of: str, volts: float, *, std: float | None = None) -> KnownPart:
    """The typical part with its VBE lower by `volts` at equal current; `std`: of its VBE curve [V]."""
    one = part(name, of)
    theta = np.array(one.fit.theta)
    theta[INDEX["is"]] += volts / VT
    curves = one.curves
    if std is not None:
        curves = curves.model_copy(update={"vbe_std": [std] * len(curves.ic)})
    return replace(one, fit=one.fit.model_copy(update={"theta": theta.tolist()}), curves=curves)


def bag(npn=(0.0, 0.004), pnp=(0.0, 0.0), **more):
    return [
        *(shifted(f"A1-{i:02d}", "2SC5200", v, **more) for i, v in enumerate(npn, 1)),
        *(shifted(f"A2-{i:02d}", "2SA1943", v, **more) for i, v in enumerate(pnp, 1)),
    ]


def card(parts=(), fitting=None, times=None, **changes):
    return power_up(stage(**changes), library(), parts, fitting=fitting, times=times)


def words(made):
    """Everything the card says, in one text."""
    cells = [bit for check in made.checks for bit in (check.what, check.go_on, check.stop)]
    done = [bit for step in made.steps for bit in (step.title, step.words)]
    facts = [" ".join(pair) for pair in made.facts]
    return "\n".join([*made.cautions, *facts, *cells, *done, *made.expected_words, *made.stops])


def test_a_sound_stage_forbids_nothing_and_every_place_has_its_part_and_its_reading():
    made = card(bag())
    assert made.stop == []
    assert [p.part for p in made.places] == ["A1-01", "A1-02", "A2-01", "A2-02"]
    assert all(p.cold is not None and p.cold < p.warm for p in made.places)


def test_mean_of_a_side_is_the_target_and_the_part_of_lower_vbe_reads_more():
    npn = card(bag()).places[:2]
    assert sum(p.warm for p in npn) / 2 == pytest.approx(stage().bias.target, rel=1e-6)
    assert npn[1].warm > npn[0].warm


def test_allowed_range_is_target_and_tolerance_of_the_stage_file():
    # 15 mV, 30 % (docs/examples/stage.toml)
    place = card(bag()).places[0]
    assert (place.low, place.high) == (pytest.approx(10.5e-3), pytest.approx(19.5e-3))


def test_uncertainty_of_the_expected_reading_agrees_with_simulation():
    # Readings of VBE with 2 mV each: parts drawn anew around the same truth give drops that scatter as the card says.
    cool = {"cooling": {"insulator": "0 degC/W", "heat_sink": "0.01 degC/W"}, "emitter_resistors": {"measured": None}}
    cool["emitter_resistors"]["tolerance"] = "0.0001 %"
    told = card(bag((0.0, 0.0, 0.0), (0.0,) * 3, std=2e-3), stage={"devices_per_rail": 3}, **cool).places[0].std
    population = population_for(library().type("2SC5200"))
    ohms, drops = stage().emitter_ohms, []
    spread = np.hypot(2e-3, 2e-3)  # of the reading, and of 1 K between places at 2 mV/K
    for shifts in np.random.default_rng(3).normal(0.0, spread, (80, 3)):
        theta = np.tile(population.centre, (3, 1))
        theta[:, INDEX["is"]] += shifts / VT
        one = card_from_theta(theta, population.constants)
        drops.append(share_current(one, 3 * 15e-3 / ohms, 42.0, np.full(3, ohms), Cooling(308.0)).drop)
    assert told == pytest.approx(np.std(drops, axis=0, ddof=1).mean(), rel=0.2)


def test_resistors_measured_in_place_make_the_expected_reading_surer():
    place = {"npn_resistors": ["RE1", "RE2"], "pnp_resistors": ["RE3", "RE4"]}
    loose = card(bag(), emitter_resistors={"measured": None, "tolerance": "10 %"}).places[0]
    sure = card(bag(), stage=place).places[0]
    assert sure.std < loose.std
    assert (sure.resistor, sure.ohms, sure.ohms_from) == ("RE1", 0.221, "measured")
    assert loose.ohms_from == "marked"
    assert card(bag()).places[0].ohms_from == "mean of the measured"


def test_one_device_a_rail_reads_what_is_set():
    made = card(bag((0.0,), (0.0,)), stage={"devices_per_rail": 1}, cooling={"devices_on_heat_sink": 2})
    assert [p.warm for p in made.places] == [stage().bias.target] * 2
    assert all(p.std is None for p in made.places)
    assert "reads what is set" in words(made)


def test_more_parts_than_places_are_put_nowhere_unless_named():
    made = card(bag((0.0, 0.004, 0.008)))
    assert [p.part for p in made.places] == [None, None, "A2-01", "A2-02"]
    assert made.places[0].warm is None
    assert "some parts are not known" in words(made)
    named = card(bag((0.0, 0.004, 0.008)), stage={"npn_parts": ["A1-03", "A1-01"]})
    assert [p.part for p in named.places[:2]] == ["A1-03", "A1-01"]


def test_a_match_puts_its_parts_into_the_places_in_its_order():
    fitting = Fitting(("lot/A1-03", "lot/A1-01"), ("lot/A2-02", "lot/A2-01"), "set 1")
    made = card(bag((0.0, 0.004, 0.008)), fitting)
    assert [p.part for p in made.places] == ["A1-03", "A1-01", "A2-02", "A2-01"]
    assert made.channel == "set 1"
    with pytest.raises(ValueError, match=r"1 NPN and 2 PNP for 2 place\(s\)"):
        card(bag(), Fitting(("lot/A1-01",), ("lot/A2-01", "lot/A2-02")))


def test_a_part_that_was_not_accepted_is_named_and_stops_the_card():
    with pytest.raises(UnusableInput, match="A1-09 is not among the accepted parts"):
        card(bag(), stage={"npn_parts": ["A1-09", "A1-01"]})


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"fuses": [{"place": "positive rail", "found": "T 8 A", "specified": "T 5 A"}]}, "above the specified rating"),
        ({"emitter_resistors": {"discoloured": ["RE2"]}}, "carried overcurrent"),
        ({"rails": {"unloaded": "130 V", "loaded": "120 V"}}, "2SC5200"),
    ],
)
def test_a_stage_that_is_not_ok_is_not_to_be_powered_up(changes, says):
    made = card(bag(), **changes)
    assert any(says in sentence for sentence in made.stop)


def test_an_earlier_reading_off_the_target_is_to_be_set_anew_and_forbids_nothing():
    made = card(bag(), bias={"readings": {"RE1": "4 mV"}})
    assert made.stop == []
    assert len(made.look_at) == 1
    assert "RE1" in made.look_at[0]


def test_what_no_file_tells_is_not_known_and_never_guessed():
    tables = ("rails", "load", "programme", "emitter_resistors", "cooling", "drive", "bias", "fuses")
    bare = dict.fromkeys(tables)
    made = card(**bare)
    text = words(made)
    assert text.count(ASK) >= 8
    assert all(p.warm is p.cold is p.low is p.ohms is None for p in made.places)
    assert "safe area dc" in made.not_known
    assert not any(char.isdigit() and f"{char} mV" in text.replace("0 mV", "") for char in "123456789")


def test_limit_of_dc_at_the_output_comes_from_the_stage_file_alone():
    assert "At most 30.0 mV either way" in words(card(bag(), bias={"offset": "30 mV"}))
    step = next(s for s in card(bag()).steps if s.title == "DC at the output")
    assert step.words == f"Limit {ASK}."


def test_figures_of_the_steps_are_those_of_the_stage():
    # 60 W into 8 ohm: 21.9 V rms and 3.87 A peak (sqrt(P R) and sqrt(2 P/R), derived).
    text = words(card(bag()))
    assert "21.9 V rms, 3.87 A peak" in text
    assert "0.209 to 0.231 Ω" in text
    two = 2 * 15e-3 / stage().emitter_ohms * 1e3
    assert f"draw {two:.3g} mA a rail" in text
    assert "T 5 A, found T 5 A" in text


def test_warm_up_and_soak_are_settable_and_their_default_says_what_it_rests_on():
    titles = [step.title for step in card().steps]
    assert "Warm-up, 15 to 20 min (common practice, no source)" in titles
    assert f"Soak; for how long is {ASK}" in titles
    titles = [step.title for step in card(times=Times("20 min", "2 h")).steps]
    assert "Warm-up, 20 min" in titles
    assert "Soak, 2 h" in titles


@pytest.mark.parametrize("good", ["20 min", "15 to 20 min", "15-20 min", "90 s", "2 h", "1,5 h"])
def test_times_people_write_are_taken(good):
    assert Times(good, good).checked().soak == good


@pytest.mark.parametrize("bad", ["", "soon", "20", "0 min", "20 to 15 min", "20 min\n20 min", "-5 min", "99999 min"])
def test_what_is_no_time_is_told_with_both_options_at_once(bad):
    with pytest.raises(UnusableInput) as caught:
        Times(bad, bad).checked()
    assert [p.column or p.file for p in caught.value.problems] == ["--warm-up", "--soak"]


@pytest.mark.parametrize(
    "changes",
    [
        {"cooling": {"heat_sink": "50 degC/W"}, "emitter_resistors": {"measured": None}},
        {"emitter_resistors": {"marked": "1 kohm", "measured": None}},
        {"emitter_resistors": {"marked": "0.001 ohm", "measured": None}, "bias": {"target": "500 mV"}},
    ],
    ids=["a junction at hundreds of degrees", "microamperes of idle current", "hundreds of amperes of idle current"],
)
def test_a_stage_beyond_the_device_model_gets_a_card_that_does_not_know(changes):
    made = card(bag(), **changes)
    assert made.stop or made.not_known
    assert all(place.cold is None or place.cold < place.warm for place in made.places)
