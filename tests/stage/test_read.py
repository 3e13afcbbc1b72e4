"""A stage file: every figure carries its unit, every problem is told at once, nothing is assumed."""

from __future__ import annotations

import math

import pytest

from partscreen.errors import UnusableInput
from partscreen.stage.read import load_stage
from partscreen.stage.texts import read_figure, read_fuse
from tests.stage.stages import EXAMPLE, stage


def problems_of(tmp_path, text):
    path = tmp_path / "stage.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnusableInput) as caught:
        load_stage(path)
    return caught.value.problems


HEAD = '[stage]\nnpn = "2SC5200"\npnp = "2SA1943"\ndevices_per_rail = 2\n'


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("46 V", "V", 46.0),
        ("0,22 ohm", "ohm", 0.22),
        ("0.022 ohm", "ohm", 0.022),
        ("1.515 ohm", "ohm", 1.515),
        ("220 mΩ", "ohm", 0.22),
        ("150mA", "A", 0.15),
        ("40 °C", "K", 313.15),
        ("0.7 K/W", "K/W", 0.7),
        ("0.7 degC/W", "K/W", 0.7),
        ("45 deg", "rad", math.pi / 4),
        ("5 %", "1", 0.05),
    ],
)
def test_a_figure_with_its_unit_becomes_si(text, unit, value):
    assert read_figure(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit"),
    [(46, "V"), ("46", "V"), ("46 A", "V"), ("1,515 ohm", "ohm"), ("n/a", "V"), ("", "V"), ("5 W", "K/W"), ("MA", "A")],
)
def test_a_figure_without_a_fitting_unit_is_refused(text, unit):
    with pytest.raises(ValueError, match=r".") as caught:
        read_figure(text, unit)
    assert len(str(caught.value)) > 10


def test_fuse_prints_give_rating_and_time_class():
    assert read_fuse("T5A") == (5.0, "T")
    assert read_fuse("F 6.3 A") == (6.3, "F")
    assert read_fuse("630 mA") == (0.63, None)


def test_what_is_not_stated_stays_unknown(tmp_path):
    path = tmp_path / "bare.toml"
    path.write_text(HEAD, encoding="utf-8")
    bare = load_stage(path)
    assert bare.rails.unloaded is None
    assert bare.load.phase is None
    assert bare.cooling.ambient is None
    assert bare.emitter_ohms is None
    assert bare.idle_current is None


def test_every_problem_of_a_file_is_told_at_once(tmp_path):
    text = (
        HEAD + '[rails]\nloaded = "50 V"\nunloaded = "44 V"\n[load]\nresistance = "-8 ohm"\nminimum = "4 ohm"\n'
        '[cooling]\nambient = "400 degC"\nheat_sink = 0.5\n[[fuses]]\nplace = "rail"\nfound = "five"\n'
        '[emitter_resistors]\nmarked = "0 ohm"\n'
    )
    found = problems_of(tmp_path, text)
    places = {p.column for p in found}
    assert {
        "rails",
        "load.resistance",
        "load.minimum",
        "cooling.ambient",
        "cooling.heat_sink",
        "fuses.1",
        "emitter_resistors.marked",
    } <= places
    assert all(p.what and p.fix and p.file.endswith("stage.toml") for p in found)


def test_negative_resistance_is_named(tmp_path):
    (found,) = problems_of(tmp_path, HEAD + '[load]\nresistance = "-8 ohm"\n')
    assert "'-8 ohm'" in found.what
    assert "above zero" in found.what


def test_rails_in_the_wrong_order_are_named(tmp_path):
    (exchanged,) = problems_of(tmp_path, HEAD + '[rails]\nloaded = "50 V"\nunloaded = "44 V"\n')
    assert "50 V loaded and 44 V unloaded" in exchanged.what
    (signs,) = problems_of(tmp_path, HEAD + '[rails]\nunloaded = ["-44 V", "44 V"]\n')
    assert "wrong order" in signs.what
    (negative,) = problems_of(tmp_path, HEAD + '[rails]\nunloaded = "-44 V"\n')
    assert "magnitude" in negative.what


def test_rails_may_differ():
    pair = stage(rails={"unloaded": ["50 V", "-48 V"], "loaded": ["44 V", "-43 V"]}).rails.unloaded
    assert (pair.highest, pair.lowest, pair.total) == (50.0, 48.0, 98.0)


def test_minimum_impedance_above_the_nominal_one_is_refused(tmp_path):
    (found,) = problems_of(tmp_path, HEAD + '[load]\nresistance = "4 ohm"\nminimum_impedance = "6 ohm"\n')
    assert "exchanged" in found.what + found.fix


@pytest.mark.parametrize("said", ['"999999 dB"', '"1e300 dB"', "1" + "0" * 400, "nan", "0.5"])
def test_a_crest_factor_beyond_any_programme_is_refused(tmp_path, said):
    (problem,) = problems_of(tmp_path, HEAD + f"[programme]\ncrest_factor = {said}\n")
    assert "crest factor" in problem.what


def test_parts_for_places_are_one_a_place(tmp_path):
    (few,) = problems_of(tmp_path, HEAD + 'npn_parts = ["A"]\n')
    assert "1 part(s) for 2 place(s)" in few.what
    (twice,) = problems_of(tmp_path, HEAD + 'npn_parts = ["A", "A"]\n')
    assert "twice" in twice.what


def test_a_purely_reactive_load_is_refused(tmp_path):
    (found,) = problems_of(tmp_path, HEAD + '[load]\nresistance = "8 ohm"\nphase = "90 deg"\n')
    assert "below 90 deg" in found.what


@pytest.mark.parametrize(("content", "code"), [(b"\xff\xfe\x00", "NOT_TEXT"), (b"[stage\n", "NOT_TOML")])
def test_what_is_no_toml_is_said(tmp_path, content, code):
    path = tmp_path / "stage.toml"
    path.write_bytes(content)
    with pytest.raises(UnusableInput) as caught:
        load_stage(path)
    assert [p.code for p in caught.value.problems] == [code]


def test_missing_file_is_said(tmp_path):
    with pytest.raises(UnusableInput) as caught:
        load_stage(tmp_path / "none.toml")
    assert caught.value.problems[0].code == "NO_FILE"


def test_the_worked_example_is_a_stage():
    assert load_stage(EXAMPLE).stage.devices_per_rail == 2


def test_measured_emitter_resistors_count_before_the_marked_one():
    assert stage().emitter_ohms == pytest.approx(0.2205)
    assert stage(emitter_resistors={"measured": None}).emitter_ohms == 0.22
