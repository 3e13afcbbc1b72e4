"""The pair list on paper, read back. Invented sets."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.report.papers.pairs import CAUTION, InStage, pairs_data, pairs_pdf
from partscreen.results.base import Reason
from partscreen.results.matching import MatchedPart, MatchedSet, Matching, Unmatched, WorkingCurrents
from tests.report.papers_read import closed, flat, needs_poppler, pages, text_of


def one_set(number, k=2, **changes):
    places = [
        MatchedPart(
            position=f"{letter}{i}", part=f"{lot}-{10 * number + i:02d}", lot=lot, type=kind,
            vbe_from_mean_mv=(-1.0) ** i * number,
        )
        for letter, lot, kind in (("N", "A1", "2SC5200"), ("P", "A2", "2SA1943"))
        for i in range(1, k + 1)
    ]  # fmt: skip
    values = {
        "parts": [p.part for p in places], "places": places, "hfe_difference_percent": 4.7,
        "hfe_uncertainty_percent": 0.7, "vbe_difference_mv": 5.7, "vbe_uncertainty_mv": 0.5,
        "across_hfe_percent": 15.1, "across_vbe_mv": 18.3, "within_tolerance": True, "alike_within_measurement": False,
        "one_session": True, "distance": 0.5, "rank": number, "amplifier": 1,
    }  # fmt: skip
    return MatchedSet(**{**values, **changes})


def matching(*sets, kind="sets", **changes):
    values = {
        "version": "0.1.0", "kind": kind, "aim": "sum", "settings": {"tolerance_hfe": 10.0, "tolerance_vbe": 20.0},
        "currents": [WorkingCurrents(types="2SC5200 with 2SA1943", ic=[0.05], weight=[1.0], words="idle 50 mA")],
        "reasons": [Reason(code="WORTH", sentence="Matching buys little here.")], "sets": list(sets), "total": 1.0,
        "method": "exact: all ways held against each other",
        "unmatched": [Unmatched(part=part, lot=lot, why="left over") for part, lot in (("A1-99", "A1"), ("7", "A2"))],
    }  # fmt: skip
    return Matching(**{**values, **changes})


def lines(pdf, folder):
    return [flat(line).strip() for line in text_of(pdf, folder, "-layout").splitlines()]


@needs_poppler
def test_every_part_stands_in_its_place_with_its_figures_and_a_line_to_write_on(tmp_path):
    found = matching(one_set(1), one_set(2))
    rows = lines(pairs_pdf(found), tmp_path)
    for one in found.sets:
        for place in one.places:
            told = f"{place.vbe_from_mean_mv:+.1f}".replace("-", "−")
            assert f"{place.position} {place.part} {place.lot} {place.type} {told}" in rows
    text = " ".join(rows)
    assert "position" in text
    assert "expected, mV" not in text


@needs_poppler
def test_caution_and_what_matching_buys_stand_above_the_first_set(tmp_path):
    text = closed(text_of(pairs_pdf(matching(one_set(1))), tmp_path))
    first = text.index("Channelset1")
    assert text.index(closed(CAUTION)) < text.index("Matchingbuyslittlehere.") < first


@needs_poppler
def test_differences_stand_with_expanded_uncertainty_and_tolerance(tmp_path):
    text = flat(text_of(pairs_pdf(matching(one_set(1), one_set(2, within_tolerance=False))), tmp_path))
    assert "hFE differs by 4.7 ± 1.4 %, VBE by 5.7 ± 1.0 mV" in text
    assert "NPN to PNP: hFE by up to 15.1 %" in text
    assert "2 channel sets, 1 within tolerance of 10 % hFE and 20 mV VBE." in text
    assert "rank 2, outside tolerance" in text


@needs_poppler
def test_sets_alike_within_measurement_are_not_ranked_and_other_sessions_are_marked(tmp_path):
    alike = one_set(1, rank=None, alike_within_measurement=True, one_session=False)
    text = flat(text_of(pairs_pdf(matching(alike)), tmp_path))
    assert "alike, within tolerance *" in text
    assert "the readings cannot rank these" in text
    assert "read in different sessions" in text


@needs_poppler
def test_expected_readings_of_a_stage_stand_beside_the_parts_and_say_what_they_rest_on(tmp_path):
    found = matching(one_set(1))
    drops = {(p.lot, p.part): 0.0105 + 0.0011 * i for i, p in enumerate(found.sets[0].places)}
    pdf = pairs_pdf(found, InStage("hall", drops, "the parts' own curves"))
    rows = lines(pdf, tmp_path)
    for place in found.sets[0].places:
        (row,) = [row for row in rows if row.startswith(f"{place.position} {place.part}")]
        assert row.endswith(f"{drops[place.lot, place.part] * 1e3:.1f}")
    assert "by the parts' own curves" in " ".join(rows).replace("’", "'")


@needs_poppler
def test_a_set_without_expected_readings_says_why(tmp_path):
    found = matching(one_set(1), one_set(2))
    stage = InStage("hall", {}, "", {1: "the stage file does not state bias.target", 2: "the same"})
    text = flat(text_of(pairs_pdf(found, stage), tmp_path))
    assert "Expected readings are not known." in text
    assert "Expected readings not known: the stage file does not state bias.target." in text
    assert text.count("not known") == 1 + 2 + 8  # once above, once a set, once a part


@needs_poppler
def test_parts_left_over_are_named_with_their_lot_where_the_name_does_not_tell_it(tmp_path):
    text = flat(text_of(pairs_pdf(matching(one_set(1))), tmp_path))
    assert "Not placed: left over: A1-99, A2/7." in text


@needs_poppler
def test_sixty_sets_lose_no_part_and_no_set_is_cut_by_the_end_of_a_page(tmp_path):
    found = matching(*(one_set(i, k=1) for i in range(1, 61)), kind="pairs")
    sheets = text_of(pairs_pdf(found), tmp_path, "-layout").split("\f")
    assert len(sheets) > 3
    for number, one in enumerate(found.sets, 1):
        (home,) = [sheet for sheet in sheets if f"Pair {number}," in sheet]
        assert all(f" {place.part} " in home for place in one.places)


@needs_poppler
def test_no_set_at_all_is_said(tmp_path):
    text = flat(text_of(pairs_pdf(matching(kind="pairs")), tmp_path))
    assert "No pair is within tolerance." in text


@needs_poppler
@pytest.mark.parametrize("name", ['#import "x.typ" \\ $x$ <a>', "\u202egnitirw", "W" * 300, "a\nb\tc", "部品一号"])
def test_hostile_names_stay_text_and_on_the_paper(name, tmp_path):
    one = one_set(1)
    hostile = one.model_copy(update={"places": [p.model_copy(update={"part": name}) for p in one.places]})
    pdf = pairs_pdf(matching(hostile))
    text = text_of(pdf, tmp_path)
    assert "\u202e" not in text
    if "#import" in name:
        assert closed(name) in closed(text)
    for page in pages(pdf, tmp_path, 60):
        assert np.all(page[:, -12:] == 255)


def test_equal_input_gives_equal_bytes():
    assert pairs_pdf(matching(one_set(1))) == pairs_pdf(matching(one_set(1)))


def test_a_pair_has_no_difference_from_a_mean():
    one = one_set(1, k=1)
    bare = one.model_copy(update={"places": [p.model_copy(update={"vbe_from_mean_mv": None}) for p in one.places]})
    rows = pairs_data(matching(bare, kind="pairs"))["sets"][0]["rows"]
    assert [row[4] for row in rows] == ["–", "–"]
