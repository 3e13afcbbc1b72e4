"""From files to the sentence of each part, without script."""

from __future__ import annotations

import csv
import html
import io
import json
import re

import pytest

from partscreen.page.render import facing
from partscreen.results import ReadingEvidence, Screening
from partscreen.workflow import ScreenOptions, screen_files
from tests.docs.bag import FOLDER

BAG = (FOLDER / "bag.csv").read_text(encoding="utf-8")
HOSTILE = {
    "T1": "<script>alert(1)</script>",
    "T2": "@SUM(1)",
    "T3": "../../x",
    "T4": "T4\u202e",
    "T6": "a&b'c",
}


def judge(visitor, *files, **told):
    """Bring files and judge them; path of the tray and page of the result."""
    understood = visitor.bring(*files)
    assert understood.status_code == 200
    tray = understood.url.path
    answer = visitor.settle(visitor.post(tray, {"type0": "2SC5200", "supplier0": "Birch", "do": "screen", **told}))
    assert answer.status_code == 200
    return tray, answer


@pytest.fixture(scope="module")
def judged(client):
    from tests.page.visitor import Visitor

    visitor = Visitor(client)
    one = visitor.bring(("bag.csv", BAG), ("capa citance.csv", (FOLDER / "capacitance.csv").read_bytes()))
    assert "in 2 lots" in one.text  # without a lot sheet a file is a lot: the same name makes them one
    tray = one.url.path
    joined = visitor.settle(visitor.post(tray, {"lot0": "bag", "lot1": "bag", "type0": "2SC5200", "do": "read"}))
    assert "6 parts in 1 lot" in text_of(joined)
    answer = visitor.settle(visitor.post(tray, {"supplier0": "Birch", "do": "screen"}))
    return visitor, tray, answer


def text_of(answer) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", answer.text)))


def test_the_page_says_how_each_column_was_read_and_what_is_missing(visitor):
    words = text_of(visitor.bring(("bag.csv", BAG)))
    assert "6 parts in 1 lot" in words
    assert "IB [mA]0.72105 · 3.5983" in words
    assert "IB, base current" in words
    assert "nothing says the type" in words


def test_every_part_has_one_sentence_and_it_is_that_of_the_result(judged):
    _, _, answer = judged
    words = text_of(answer)
    files = [FOLDER / "bag.csv", FOLDER / "capacitance.csv"]
    expected = screen_files(files, ScreenOptions(lots=FOLDER / "lots.csv"), figures=False).screening
    assert len(expected.lots[0].parts) == 6
    for part in expected.lots[0].parts:
        assert re.sub(r"\s+", " ", part.reasons[0].sentence) in words


@pytest.mark.parametrize("place", [1, 3, 5])
def test_a_part_has_its_figures_limits_and_the_way_on(judged, place):
    visitor, tray, _ = judged
    answer = visitor.get(f"{tray}/lot/1/part/{place}")
    assert answer.status_code == 200
    words = text_of(answer)
    assert "Limits of the type" in words
    assert "How we know" in words
    if place == 5:  # open: nothing to draw, nothing to weigh
        assert "Open at base or emitter" in words
        return
    assert "Speaks for the marking" in words
    assert "Speaks against the marking" in words
    assert answer.text.count("<figure>") >= 3


def test_a_lot_has_figures_that_carry_no_style_of_their_own(judged):
    visitor, tray, _ = judged
    answer = visitor.get(f"{tray}/lot/1")
    assert answer.text.count("<figure>") >= 3
    assert "style=" not in answer.text  # the policy of the page would not allow it
    assert "<style" not in answer.text


def test_parts_and_lots_that_are_not_there_are_not_found(judged):
    visitor, tray, _ = judged
    for path in ("/lot/0", "/lot/9", "/lot/1/part/0", "/lot/1/part/99"):
        assert visitor.get(tray + path).status_code == 404
    assert visitor.get("/tray/none").status_code == 404


def test_downloads_are_the_result_itself(judged):
    visitor, tray, _ = judged
    answer = visitor.get(f"{tray}/result.json")
    screening = Screening.model_validate_json(answer.content)
    table = visitor.get(f"{tray}/parts.csv")
    rows = list(csv.DictReader(io.StringIO(table.content.decode("utf-8-sig"))))
    assert [row["part"] for row in rows] == [part.part for lot in screening.lots for part in lot.parts]
    ready = visitor.settle(visitor.get(f"{tray}/report.html"))
    assert "The report is ready" in ready.text
    report = visitor.get(f"{tray}/report.html")
    assert "<!DOCTYPE html>" in report.text[:200]
    for one in (answer, table, report):
        assert one.headers["content-disposition"].startswith("attachment")  # never opened as a page of ours


def test_no_page_of_a_result_uses_words_that_only_a_maker_could_prove(judged):
    visitor, tray, answer = judged
    pages = [answer, *(visitor.get(tray + path) for path in ("", "/lot/1", "/lot/1/part/3", "/match"))]
    for page in pages:
        assert not re.search(r"\b(genuine|fake|counterfeit)\b", text_of(page), re.IGNORECASE)


def test_parts_of_a_result_are_matched_as_asked(judged):
    visitor, tray, _ = judged
    answer = visitor.settle(visitor.get(f"{tray}/match?kind=groups&k=2&held=yes&hfe=30&vbe=50"))
    assert "hFE differs by" in text_of(answer)
    assert answer.text.count("<figure>") >= 2
    assert "PAGE_NUMBER" in visitor.get(f"{tray}/match?kind=groups&k=x").text


def test_hostile_part_names_are_text_on_every_page_and_no_formula_in_the_table(visitor):
    hostile = BAG
    for name, other in HOSTILE.items():
        hostile = re.sub(rf"^{name},", lambda _: f'"{other}",', hostile, flags=re.MULTILINE)  # noqa: B023
    tray, answer = judge(visitor, ("<b>bag.csv", hostile), supplier0="<i>=cmd()")
    pages = [
        answer,
        *(visitor.get(f"{tray}{path}") for path in ("", "/columns", "/lot/1", "/match?kind=groups&k=2&held=yes")),
    ]
    pages += [visitor.get(f"{tray}/lot/1/part/{i}") for i in range(1, 7)]
    for page in pages:
        assert page.status_code == 200
        assert "<script>alert" not in page.text
        assert "<b>bag" not in page.text
        assert "<i>=cmd" not in page.text
        assert "\u202e" not in page.text
    assert "<script>alert(1)</script>" in html.unescape(pages[0].text)
    for cell in (cell for row in csv.reader(io.StringIO(visitor.get(f"{tray}/parts.csv").text)) for cell in row):
        assert not cell.startswith(("=", "@", "+"))
    visitor.settle(visitor.get(f"{tray}/report"))
    report = visitor.get(f"{tray}/report.html")
    assert "What was not tested" in report.text
    assert "<script>alert" not in report.text


STRANGE = re.sub(
    r"part,sweep,IC \[A\],IB \[mA\],VCE \[V\],VBE \[V\],case temp \[degC\]",
    "stueck,kurve,strom,basisstrom,spg,bspg,warm",
    BAG,
)


def test_columns_nobody_knows_are_put_right_by_hand_saved_and_judged(visitor):
    answer = visitor.bring(("strange.csv", STRANGE))
    assert "No part was found" in answer.text
    tray = answer.url.path
    page = visitor.get(f"{tray}/columns")
    assert "basisstrom" in page.text
    assert "0.72105" in page.text
    empty = visitor.post(f"{tray}/columns", {"do": "save"})
    assert empty.status_code == 422
    assert "MAP_EMPTY" in empty.text
    roles = ("part", "sweep", "ic", "ib", "vce", "vbe", "case_temp")
    units = ("", "", "A", "mA", "V", "V", "degC")
    told = {f"role{i}": role for i, role in enumerate(roles)} | {f"unit{i}": unit for i, unit in enumerate(units)}
    wrong = visitor.post(f"{tray}/columns", {**told, "unit3": "V", "role5": "vce", "do": "save"})
    assert wrong.status_code == 422
    read = visitor.settle(visitor.post(f"{tray}/columns", {**told, "do": "save"}))
    assert "6 parts in 1 lot" in text_of(read)
    saved = visitor.get(f"{tray}/columns.toml")
    again = visitor.settle(
        visitor.post("/bring", files=[("files", ("strange.csv", STRANGE)), ("columns", ("map.toml", saved.content))])
    )
    assert "6 parts in 1 lot" in text_of(again)
    result = visitor.settle(visitor.post(again.url.path, {"type0": "2SC5200", "do": "screen"}))
    assert "23.2, below the minimum of 35" in text_of(result)


def test_a_value_for_every_row_and_a_decimal_comma_are_taken_from_the_form(visitor):
    rows = "part;IC [A];IB [mA];VBE [V]\n" + "".join(f"T1;{i};{10 * i};0,6{i}\n" for i in range(1, 6))
    tray = visitor.bring(("no_vce.csv", rows)).url.path
    told = {"role0": "part", "role1": "ic", "role2": "ib", "role3": "vbe", "unit1": "A", "unit2": "mA", "unit3": "V"}
    more = {"fixed0": "vce", "value0": "5,0", "fixed_unit0": "V", "decimal": ",", "do": "save"}
    read = visitor.settle(visitor.post(f"{tray}/columns", told | more))
    assert re.search(r"VCE, collector-emitter voltage\s*= 5", text_of(read))
    dropped = visitor.settle(visitor.post(f"{tray}/columns", {"do": "drop"}))
    assert "A column map is in use" not in dropped.text


def test_settings_that_are_no_numbers_are_told_and_impossible_ones_refused(visitor):
    tray = visitor.bring(("bag.csv", BAG)).url.path
    told = visitor.post(tray, {"temperature_c": "warm", "do": "screen"})
    assert told.status_code == 422
    assert "PAGE_NUMBER" in told.text
    hot = visitor.settle(visitor.post(tray, {"temperature_c": "900", "do": "screen"}))
    assert hot.status_code == 422
    assert "TEMPERATURE" in hot.text


def test_evidence_stands_on_the_side_it_speaks_for_strongest_first():
    told = [("hFE", 3.0), ("VBE", -1.0), ("C_CB", 5.0), ("C_BE", -0.1)]
    sides = facing([ReadingEvidence(reading=name, evidence=value) for name, value in told])
    assert [name for name, _ in sides.speaks_against] == ["C_CB", "hFE"]
    assert sides.speaks_for == (("VBE", "about 2.7 times"),)
    assert sides.little == ("C_BE",)


def test_the_progress_is_told_as_json(judged):
    visitor, tray, _ = judged
    assert json.loads(visitor.get(f"{tray}/progress").content)["ended"] is True
