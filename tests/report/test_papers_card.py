"""The power-up card on paper, read back. Invented stages and parts."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.report.papers.card import card_data, card_pdf
from partscreen.stage.power_up import power_up
from partscreen.stage.power_up_words import ASK, CAUTIONS, STOPS, Times
from tests.report.papers_read import closed, flat, needs_poppler, pages, text_of
from tests.stage.stages import library, stage
from tests.stage.test_power_up import bag


def card(parts=(), times=None, **changes):
    return power_up(stage(**changes), library(), parts, times=times)


def of_devices(n, **more):
    """A card of n devices on each rail, each with its part."""
    shifts = tuple(0.002 * i for i in range(n))
    return card(bag(shifts, shifts), stage={"devices_per_rail": n, **more})


@needs_poppler
def test_cautions_stand_before_the_first_check_and_all_of_the_card_is_on_the_page(tmp_path):
    made = of_devices(2)
    text = closed(text_of(card_pdf([made]), tmp_path, "-raw"))
    first = text.index(closed(made.checks[0].what))
    for caution in CAUTIONS:
        assert text.index(closed(caution)) < first
    for stop in STOPS:
        assert closed(stop) in text
    for check in made.checks:
        assert closed(check.go_on) in text
    for step in made.steps:
        assert closed(step.title) in text
        assert closed(step.words) in text


@needs_poppler
def test_each_place_has_its_part_its_resistor_and_its_readings_in_millivolts(tmp_path):
    made = of_devices(2)
    lines = [flat(line) for line in text_of(card_pdf([made]), tmp_path, "-layout").splitlines()]
    for place in made.places:
        (line,) = [line for line in lines if line.strip().startswith(place.place)]
        assert place.part in line
        assert f"{place.cold * 1e3:.1f}" in line
        assert f"{place.warm * 1e3:.1f} ± {2e3 * place.std:.1f}" in line
        assert "10.5 to 19.5" in line


@needs_poppler
@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_up_to_eight_devices_stand_on_one_page(n, tmp_path):
    assert text_of(card_pdf([of_devices(n)]), tmp_path).count("\f") == 1


@needs_poppler
def test_the_longest_card_of_eight_devices_still_stands_on_one_page(tmp_path):
    # Everything that can lengthen it at once: nothing known but two wrong fuses with long names, discoloured resistors.
    fuses = [
        {"place": f"{side} rail of the left channel", "found": "T 8 A", "specified": "T 5 A", "carries": "rail"}
        for side in ("positive", "negative")
    ]
    made = card(
        rails=None, load=None, programme=None, cooling=None, drive=None, bias=None, fuses=fuses,
        stage={"devices_per_rail": 4, "name": "a long name of a stage, with a place and a year, for the head"},
        emitter_resistors={"discoloured": ["RE1", "RE2", "RE3", "RE4"], "marked": None, "measured": None},
    )  # fmt: skip
    assert len(made.stop) == 6
    text = text_of(card_pdf([made]), tmp_path)
    assert text.count("\f") == 1
    assert closed(made.stop[-1]) in closed(text)


@needs_poppler
def test_many_devices_run_on_and_keep_every_place(tmp_path):
    made = of_devices(12)
    text = closed(text_of(card_pdf([made]), tmp_path, "-layout"))
    assert all(f"{closed(place.place)}{place.part}" in text for place in made.places)


@needs_poppler
def test_a_stage_that_is_not_ok_says_do_not_power_up_before_anything_else(tmp_path):
    made = card(bag(), fuses=[{"place": "positive rail", "found": "T 8 A", "specified": "T 5 A"}])
    text = flat(text_of(card_pdf([made]), tmp_path))
    head = text.index("Do not power up:")
    assert head < text.index("Cautions first")
    assert closed("Found T 8 A, specified T 5 A") in closed(text[head:])
    assert "make the card anew: what follows holds only then" in text
    assert "nothing that forbids power" not in text


@needs_poppler
def test_what_is_not_known_is_written_out_and_no_cell_is_left_to_guess(tmp_path):
    made = card(**dict.fromkeys(("rails", "load", "emitter_resistors", "cooling", "drive", "bias", "fuses")))
    text = flat(text_of(card_pdf([made]), tmp_path))
    assert text.count(ASK) >= 8
    assert "never taken as safe" in text
    for line in text_of(card_pdf([made]), tmp_path, "-layout").splitlines():
        if line.strip().startswith(("NPN ", "PNP ")):
            assert line.count("not known") >= 4


@needs_poppler
def test_earlier_readings_off_the_target_are_named_without_forbidding(tmp_path):
    made = card(bag(), bias={"readings": {"RE1": "4 mV"}})
    text = flat(text_of(card_pdf([made]), tmp_path))
    assert "To be set anew here: RE1" in text
    assert "Do not power up" not in text


@needs_poppler
def test_several_cards_begin_a_page_each(tmp_path):
    two = [of_devices(2).model_copy(update={"channel": f"set {i}"}) for i in (1, 2)]
    sheets = text_of(card_pdf(two), tmp_path).split("\f")
    assert [f"set {i}" in sheet for i, sheet in zip((1, 2), sheets, strict=False)] == [True, True]
    assert all("Mains voltage kills" in sheet for sheet in sheets[:2])


@needs_poppler
@pytest.mark.parametrize(
    "name",
    [
        '#import "x.typ"; = heading \\ $x^2$ <a> @b',
        "\u202etxet fo gnitirw",
        "tab\there and\nnew line",
        "W" * 300,
        "日本語の増幅器 ∎",
    ],
)
def test_hostile_names_stay_text_and_stay_on_the_paper(name, tmp_path):
    made = of_devices(2).model_copy(update={"name": name})
    places = [p.model_copy(update={"part": name}) for p in made.places]
    pdf = card_pdf([made.model_copy(update={"places": places})])
    (sheet,) = text_of(pdf, tmp_path).split("\f")[:-1] if len(name) < 100 else [text_of(pdf, tmp_path)]
    assert "Mains voltage kills" in sheet
    if "#import" in name:
        assert closed(name) in closed(sheet)
    if "\u202e" in name:
        assert "\u202e" not in sheet
        assert "U+202E" in sheet
    for page in pages(pdf, tmp_path, 60):
        assert np.all(page[:, -12:] == 255)  # nothing runs over the right edge (5 mm)
        assert np.all(page[:, :12] == 255)


def test_the_same_card_gives_the_same_bytes():
    made = of_devices(2)
    assert card_pdf([made]) == card_pdf([made])


def test_no_card_is_an_error_and_no_empty_paper():
    with pytest.raises(ValueError, match="no card"):
        card_pdf([])


def test_times_of_the_user_stand_in_the_steps():
    titles = [step["title"] for step in card_data(card(times=Times("25 min", "3 h")))["steps"]]
    assert "Warm-up, 25 min" in titles
    assert "Soak, 3 h" in titles
