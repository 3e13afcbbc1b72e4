"""Matching on the page: the same sets as the workflow function, every way, with figures, table and pair list."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

from partscreen.matching.options import MatchOptions
from partscreen.results import Screening
from partscreen.results.matching import Matching
from partscreen.simulate.scenario import copy_demo_files
from partscreen.workflow import match_results
from tests.docs.bag import FOLDER
from tests.page.given import HOSTILE, SETS, TURNED, files_of, matched, saved, text_of, typed_on
from tests.page.test_screening import BAG
from tests.report.papers_read import FROZEN, flat, needs_poppler
from tests.report.papers_read import text_of as read_back

FILES = (FROZEN / "A1.json", FROZEN / "A2.json")


def match_of(visitor, answer) -> Matching:
    return Matching.model_validate_json(files_of(visitor, answer)["match.json"])


@pytest.mark.parametrize(
    ("names", "typed", "options"),
    [
        (("A1", "A2"), {"best": "4", "ways": "2"}, MatchOptions(best=4, ways=2)),
        (("A1", "A2"), {"aim": "worst", "lots": "A1\nA2"}, MatchOptions(aim="worst", lots=("A1", "A2"))),
        (("A1",), {"kind": "groups", "k": "3", "hfe": "5,5"}, MatchOptions(kind="groups", k=3, tolerance_hfe=5.5)),
        (
            ("A1",),
            {"kind": "groups", "k": "2", "by_vbe": "yes", "aim": "worst"},
            MatchOptions(kind="groups", k=2, by_vbe=True, aim="worst"),
        ),
        (
            ("A1", "A2"),
            SETS,
            MatchOptions(kind="sets", k=3, best=2, power=150.0, load=4.0, idle=0.05, per_rail=3, emitter_resistor=0.22),
        ),
    ],
)
def test_the_sets_are_those_of_the_workflow_function(visitor, names, typed, options):
    answer = matched(visitor, names=names, **typed)
    assert answer.status_code == 200, text_of(answer)
    found = match_of(visitor, answer)
    own = match_results([FROZEN / f"{name}.json" for name in names], options)
    assert [one.parts for one in found.sets] == [one.parts for one in own.sets]
    assert found.settings == own.settings
    words = text_of(answer)
    assert all(place.part in words for one in own.sets for place in one.places)
    assert answer.text.count("<figure>") == 2 * len(own.sets)
    assert "style=" not in answer.text


def test_how_many_to_buy_is_told_on_top(visitor):
    answer = matched(visitor, **SETS, buy_for="2")
    bought = match_of(visitor, answer).to_buy
    assert f"{bought.parts.value:.0f} parts of each polarity give 2 channel sets within tolerance" in text_of(answer)


def test_two_sets_that_make_one_amplifier_say_so(visitor):
    found = match_of(visitor, matched(visitor, **SETS))
    answer = matched(visitor, **SETS)
    assert [one.amplifier for one in found.sets] == [1, 1]
    assert "Amplifier" in text_of(answer)


def test_parts_judged_here_go_together_with_those_of_a_saved_result(visitor):
    tray = visitor.bring(("bag.csv", (FOLDER / "bag.csv").read_bytes())).url.path
    visitor.settle(visitor.post(tray, {"type0": "2SC5200", "supplier0": "Birch", "do": "screen"}))
    name = tray.rpartition("/")[2]
    asked = {"kind": "pairs", "trays": name, "held": "yes", "hfe": "40", "vbe": "60"}
    answer = visitor.settle(visitor.post("/match", asked, files=saved("A2")))
    assert answer.status_code == 200, text_of(answer)
    lots = {place.lot for one in match_of(visitor, answer).sets for place in one.places}
    assert lots == {"bag", "A2"}
    assert f'value="{name}" checked' in answer.text
    alone = visitor.settle(visitor.post("/match", asked))
    assert "no PNP part to match" in text_of(alone)


def test_a_form_that_cannot_be_keeps_what_was_typed_and_the_files(visitor):
    typed = {"kind": "sets", "hfe": "ten", "per_rail": "", "lots": "A1\n<b>A2", "idle": "50"}
    answer = visitor.settle(visitor.post("/match", typed, files=saved("A1", "A2")))
    assert answer.status_code == 422
    words = text_of(answer).replace(" :", ":")
    assert "Tolerance of hFE:" in words
    assert "Devices in parallel on a rail:" in words
    assert {name: typed_on(answer)[name] for name in ("hfe", "lots", "idle")} == {
        "hfe": "ten", "lots": "A1\n<b>A2", "idle": "50",
    }  # fmt: skip
    assert "<b>A2" not in answer.text
    earlier = re.search(r'name="earlier" value="([^"]+)"', answer.text)[1]
    kept = {**SETS, "earlier": earlier, "keep_results": ["0", "1"], "lots": ""}
    assert len(match_of(visitor, visitor.settle(visitor.post("/match", kept))).sets) == 2


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"vbe": "0.02"}, "it is in millivolts"),
        ({"kind": "sets", "per_rail": "2", "aim": "worst"}, "leave “Aim” out"),
        ({"kind": "groups", "k": "1"}, "a group has 2 parts or more"),
        ({"by_vbe": "yes"}, "“groups by VBE alone” without “groups of one polarity”"),
    ],
)
def test_what_matching_refuses_is_told_in_words_of_the_page(visitor, typed, told):
    answer = matched(visitor, **typed)
    assert answer.status_code == 422
    assert told in text_of(answer)
    assert not re.search(r"(?<![\w-])--[a-z]", text_of(answer))


def test_without_a_result_nothing_is_matched(visitor):
    assert "PAGE_NO_RESULT" in visitor.post("/match", {"kind": "pairs"}).text
    wrong = visitor.settle(visitor.post("/match", {"kind": "pairs"}, files=[("results", ("x.json", b"{}"))]))
    assert wrong.status_code == 422
    assert "x.json" in text_of(wrong)
    assert "/tmp" not in wrong.text


def test_a_saved_match_is_shown_again_with_and_without_its_results(visitor):
    kept = files_of(visitor, matched(visitor, best="3"))["match.json"]
    alone = visitor.settle(visitor.post("/match", {}, files=[("saved", ("m.json", kept))]))
    assert match_of(visitor, alone) == Matching.model_validate_json(kept)
    assert "<figure>" not in alone.text
    files = [("saved", ("m.json", kept)), *saved("A1", "A2")]
    assert visitor.settle(visitor.post("/match", {}, files=files)).text.count("<figure>") == 6
    other = [("saved", ("m.json", kept)), *saved("B1")]
    assert "in none of the results" in text_of(visitor.settle(visitor.post("/match", {}, files=other)))


@needs_poppler
def test_the_pair_list_names_the_parts_and_with_a_stage_what_they_should_read(visitor, tmp_path):
    answer = matched(visitor, **SETS)
    ready = visitor.settle(visitor.post(f"{answer.url.path}/pairs"))
    (pdf,) = files_of(visitor, ready).values()
    words = flat(read_back(pdf, tmp_path))
    assert all(part in words for one in match_of(visitor, answer).sets for part in one.parts)
    stage = [("stage", ("s.toml", b"x = 1"))]
    refused = visitor.settle(visitor.post(f"{answer.url.path}/pairs", files=stage))
    assert refused.status_code == 422
    assert refused.url.path == answer.url.path


@needs_poppler
def test_hostile_names_are_text_on_page_table_and_pair_list(visitor, tmp_path):
    whole = Screening.model_validate_json((FROZEN / "A1.json").read_bytes())
    (lot,) = whole.lots
    parts = [one.model_copy(update={"part": name}) for one, name in zip(lot.parts, (HOSTILE, TURNED), strict=False)]
    changed = lot.model_copy(update={"parts": [*parts, *lot.parts[2:]], "lot": "<b>A1"})
    content = whole.model_copy(update={"lots": [changed]}).model_dump_json(by_alias=True)
    files = [("results", ("<i>A1.json", content)), *saved("A2")]
    answer = visitor.settle(visitor.post("/match", {"kind": "pairs"}, files=files))
    assert answer.status_code == 200
    for bad in ("<script>alert", "<b>A1", "<i>A1", "\u202e"):
        assert bad not in answer.text
    assert "<b>A1" in text_of(answer)
    table = files_of(visitor, answer)["match.csv"].decode("utf-8-sig")
    cells = [cell for row in csv.reader(io.StringIO(table)) for cell in row]
    assert HOSTILE in cells
    assert f"'{TURNED}" in cells
    assert not any(cell.startswith(("=", "+", "@")) for cell in cells)
    ready = visitor.settle(visitor.post(f"{answer.url.path}/pairs"))
    (pdf,) = files_of(visitor, ready).values()
    read = read_back(pdf, tmp_path)
    assert "alert(1)" in flat(read)
    assert "\u202e" not in read


def test_the_table_has_a_row_for_every_part_placed_or_not(visitor):
    answer = matched(visitor, best="4")
    rows = list(csv.DictReader(io.StringIO(files_of(visitor, answer)["match.csv"].decode("utf-8-sig"))))
    found = match_of(visitor, answer)
    assert len(rows) == 2 * 4 + len(found.unmatched)
    first = found.sets[0]
    assert float(rows[0]["hfe_difference_percent"]) == first.hfe_difference_percent
    assert rows[0]["within_tolerance"] == ("yes" if first.within_tolerance else "no")
    assert json.loads(files_of(visitor, answer)["match.json"])["schema"] == "partscreen.matching/1"


def test_lots_of_what_was_judged_are_ticked_and_the_sets_are_kept_in_the_bench_book(visitor, tmp_path):
    copy_demo_files(tmp_path)
    tray = visitor.bring(("bag.csv", BAG), ("A1.csv", (tmp_path / "A1.csv").read_bytes())).url.path
    told = {f"{field}{i}": value for i in (0, 1) for field, value in (("type", "2SC5200"), ("supplier", "Birch"))}
    visitor.settle(visitor.post(tray, {**told, "record": "yes", "do": "screen"}))
    name = tray.rpartition("/")[2]
    assert "Kept in the bench book" in visitor.get(f"{tray}/result").text
    form = visitor.get(f"/match?trays={name}").text
    assert {"bag", "A1"} <= set(re.findall(r'type="checkbox" name="lots" value="([^"]+)"', form))
    asked = {"kind": "groups", "k": "2", "trays": name, "held": "yes", "hfe": "40", "vbe": "60"}
    answer = visitor.settle(visitor.post("/match", {**asked, "lots": ["bag"]}))
    assert re.findall(r'name="lots" value="([^"]+)" checked', answer.text) == ["bag"]
    found = match_of(visitor, answer)
    assert found.sets
    assert {place.lot for one in found.sets for place in one.places} == {"bag"}
    unknown = visitor.post(f"{answer.url.path}/book", {"name": "left", "supplier": "Nobody"})
    assert unknown.status_code == 422
    assert 'value="Nobody"' in unknown.text
    kept = visitor.post(f"{answer.url.path}/book", {"name": "left"})
    assert f"{sum(len(one.places) for one in found.sets)} entries" in text_of(kept)
    part = found.sets[0].places[0].part
    assert "left 1" in text_of(visitor.get(f"/book/part?part={part}&lot=bag&supplier=Birch"))
    assert "it was there already" in text_of(visitor.post(f"{answer.url.path}/book", {"name": "left"}))
