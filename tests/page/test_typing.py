"""Readings typed in on the page, without script: kept line by line, checked as at the terminal, judged at the end."""

from __future__ import annotations

import csv
import html
import io
import re
import time

import numpy as np
import pytest
from starlette.testclient import TestClient

from partscreen.page.app import build_app
from partscreen.page.settings import PageSettings
from partscreen.results import Screening
from tests.page.visitor import BASE, Visitor

ASK = "C_BE [nF] @ VEB=0 V\nC_CB [pF] @ VCB=10 V, f=1 MHz\nhFE @ IC=1 A, VCE=5 V"


def text_of(answer) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", answer.text)))


class Bench:
    """One window on a sitting: sends what its form holds."""

    def __init__(self, visitor: Visitor, answer) -> None:
        self.visitor, self.shown, self.path = visitor, answer, answer.url.path

    @classmethod
    def begin(cls, visitor: Visitor, lot: str, **more) -> Bench:
        answer = visitor.post("/typing", {"lot": lot, "type": "2SC5200", "ask": ASK, **more})
        assert answer.status_code == 200, text_of(answer)
        assert re.match(r"/typing/[a-z0-9_-]+$", answer.url.path)
        return cls(visitor, answer)

    def hidden(self) -> dict[str, str]:
        pairs = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', self.shown.text)
        return {name: html.unescape(value) for name, value in pairs if name != "form_token"}

    def send(self, line: str = "", **more) -> str:
        self.shown = self.visitor.post(self.path, {**self.hidden(), "line": line, **more})
        return text_of(self.shown)

    def fields(self, *cells: str, **more) -> str:
        told = {**self.hidden(), **{f"cell{i}": cell for i, cell in enumerate(cells)}, **more}
        self.shown = self.visitor.post(f"{self.path}/fields", told)
        return text_of(self.shown)

    def look(self, query: str = "") -> str:
        self.shown = self.visitor.get(self.path + query)
        return text_of(self.shown)

    @property
    def asked(self) -> str:
        """The part whose line is asked for."""
        return re.search(r'name="part" value="([^"]*)"', self.shown.text)[1]

    @property
    def field(self) -> str:
        """What stands in the line."""
        return html.unescape(re.search(r'id="line" name="line" value="([^"]*)"', self.shown.text)[1])

    def rows(self) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.visitor.get(f"{self.path}/readings.csv").text)))


def test_twenty_parts_typed_by_hand_are_kept_at_once_and_become_a_judged_lot(visitor):
    bench = Bench.begin(visitor, "A20", supplier="Birch")
    rng = np.random.default_rng(20)
    took = []
    for n in range(1, 21):
        assert bench.asked == f"A20-T{n:04d}"
        line = f"{1.9 * rng.normal(1, 0.02):.3f} {190 * rng.normal(1, 0.02):.1f} {95 * rng.normal(1, 0.05):.0f}"
        begun = time.monotonic()
        words = bench.send(line)
        took.append(time.monotonic() - begun)
        assert f"kept A20-T{n:04d}" in words
        assert 'name="line" value="" ' in bench.shown.text
        assert " autofocus" in bench.shown.text
    assert np.median(took) < 0.25
    assert len(bench.rows()) == 20
    result = visitor.settle(visitor.post(f"{bench.path}/end"))
    assert result.status_code == 200
    assert "Lot A20, 20 parts marked 2SC5200, supplier Birch" in text_of(result)
    tray = result.url.path.removesuffix("/result")
    screening = Screening.model_validate_json(visitor.get(f"{tray}/result.json").content)
    assert [part.part for part in screening.lots[0].parts] == [f"A20-T{n:04d}" for n in range(1, 21)]
    assert "20 parts in 1 lot" in text_of(visitor.settle(visitor.get(tray)))


def test_the_engine_answers_about_a_part_a_moment_later(visitor):
    bench = Bench.begin(visitor, "ANS")
    bench.send("1,92 190 95")
    for _ in range(300):
        told = visitor.get(f"{bench.path}/answer").json()
        if told["ended"]:
            break
        time.sleep(0.1)
    assert told["part"] == "ANS-T0001"
    assert told["word"] == "hold"
    assert "times likelier" in told["first"]
    words = bench.look()
    assert told["first"] in words
    assert "Next: " + told["following"] in words
    bench.send("undo")
    assert visitor.get(f"{bench.path}/answer").json() == {"ended": True, "part": ""}


def test_bad_lines_are_told_where_what_and_how_and_stay_in_the_field(visitor):
    bench = Bench.begin(visitor, "BAD")
    words = bench.send("1,92 190")
    assert "2 figures, but 3 are asked for" in words
    assert "write - for each that was not measured" in words
    assert "Nothing was kept" in words
    assert bench.field == "1,92 190"
    assert "is no figure" in bench.send("abc 190 95")
    assert "impossible" in bench.send("1.9kF 190 95")
    assert "asked for" in bench.send("VBE=0.6 1.9 190 95")
    assert "two readings" in bench.send("1,234 190 95") or "has one reading" in text_of(bench.shown)
    assert bench.rows() == []


def test_slips_and_repeats_are_asked_about_and_answered_by_buttons_or_words(visitor):
    bench = Bench.begin(visitor, "ASK")
    for line in ("1.92 190 95", "1.85 187 92", "1.90 188 96"):
        bench.send(line)
    words = bench.send("188 1.95 97")
    assert "exchanged they fit" in words
    assert "Yes: C_BE 1.95 nF, C_CB 188 pF, hFE at 1 A 97" in words
    assert "kept ASK-T0004: C_BE 1.95 nF" in bench.send(say="yes")
    assert "Is it 1.89 nF?" in bench.send("0.00189 184 94")
    words = bench.send("7")  # no line at all: the question stays open
    assert "1 figure, but 3 are asked for" in words
    assert "Is it 1.89 nF?" in words
    assert bench.field == "7"
    assert "kept ASK-T0005: C_BE 1.89 nF" in bench.send("yes")
    bench.send("0.00187 184 94")
    words = bench.send("1.86 184 93")
    assert "kept ASK-T0006: C_BE 1.86 nF" in words
    assert "in place of the line that was asked about: 0.00187 184 94" in words
    bench.send("undo")
    assert "Was its line typed twice?" in bench.send("1.89 184 94")
    assert "The line is forgotten" in bench.send(say="drop")
    assert "ASK-T0002 is in already" in bench.send("T2: 1.86 186 92")
    assert "kept ASK-T0002" in bench.send(say="keep")
    assert bench.rows()[1]["C_BE [nF] @ VEB=0 V"] == "1.86"


def test_a_line_is_put_right_and_taken_back(visitor):
    bench = Bench.begin(visitor, "COR")
    for line in ("1.92 190 95", "1.85 187 92", "1.90 188 96"):
        bench.send(line)
    bench.look("?right=COR-T0002")
    assert bench.field == "1.85 187 92"
    assert bench.asked == "COR-T0002"
    assert "kept COR-T0002: C_BE 1.87 nF" in bench.send("1.87 187 92")  # chosen to be put right: not asked again
    assert [row["C_CB [pF] @ VCB=10 V, f=1 MHz"] for row in bench.rows()] == ["190", "187", "188"]
    assert "taken back: COR-T0002" in bench.send(say="undo")
    assert bench.rows()[1]["C_BE [nF] @ VEB=0 V"] == "1.85"
    assert "COR-T0004 is left out" in bench.send(say="skip")
    assert bench.asked == "COR-T0005"


def test_a_part_read_from_its_sticker_is_the_next_one(visitor):
    bench = Bench.begin(visitor, "SCAN")
    assert "The next line is of SCAN-T0012" in bench.send("SCAN-T0012")
    assert bench.asked == "SCAN-T0012"
    assert "kept SCAN-T0012" in bench.send("1.92 190 95")
    assert bench.asked == "SCAN-T0001"


def test_reloading_going_away_and_a_second_window_lose_nothing(visitor):
    bench = Bench.begin(visitor, "WIN")
    bench.send("1.92 190 95")
    assert "kept WIN-T0001" in bench.look()  # a reload sends nothing again
    other = Bench(visitor, visitor.get(bench.path))
    assert other.asked == "WIN-T0002"
    assert "kept WIN-T0002" in bench.send("1.85 187 92")
    words = other.send("1.80 180 90")  # typed where T0002 was asked for: it is never kept for T0003
    assert "WIN-T0002 is in already" in words
    assert len(bench.rows()) == 2
    late = bench.send("1.70 175 88")  # the first window does not know of the question: its line comes back
    assert "Another window has a question open about WIN-T0002" in late
    assert bench.field == "1.70 175 88"
    assert "forgotten" in other.send(say="drop")
    assert "no longer open" in bench.visitor.post(bench.path, {**bench.hidden(), "asked": "x", "say": "yes"}).text
    bench.look()
    assert "kept WIN-T0003" in bench.send("1.70 175 88")


def test_a_form_that_is_sent_twice_is_kept_once(visitor):
    bench = Bench.begin(visitor, "TWO")
    told = {**bench.hidden(), "line": "1.92 190 95"}
    visitor.post(bench.path, told)
    assert "came twice and is done once" in text_of(visitor.post(bench.path, told))
    assert len(bench.rows()) == 1
    bench.look()
    bench.send("1.85 187 92")
    undo = {**bench.hidden(), "say": "undo"}
    visitor.post(bench.path, undo)
    visitor.post(bench.path, undo)
    assert len(bench.rows()) == 1


def test_an_answer_is_never_taken_for_another_question_about_the_same_line(visitor):
    bench = Bench.begin(visitor, "QQ")
    for line in ("1.92 190 95", "1.85 187 92", "1.90 188 96"):
        bench.send(line)
    assert "QQ-T0002 is in already" in bench.send("T2: 0.00189 184 94")
    yes = {**bench.hidden(), "say": "keep"}
    assert "Is it 1.89 nF?" in text_of(visitor.post(bench.path, yes))  # keep leads to the next question
    twice = text_of(visitor.post(bench.path, yes))
    assert "Is it 1.89 nF?" in twice
    assert "kept QQ-T0002" not in twice
    bench.look()
    assert "kept QQ-T0002: C_BE 1.89 nF" in bench.send(say="yes")


def test_leaving_a_part_out_means_the_part_that_the_window_shows(visitor):
    bench = Bench.begin(visitor, "SK")
    other = Bench(visitor, visitor.get(bench.path))
    bench.send("1.92 190 95")
    assert "SK-T0001 is in already" in other.send(say="skip")
    assert bench.asked == "SK-T0002"


def test_a_disk_that_refuses_a_line_is_told_and_the_line_comes_back(visitor, monkeypatch):
    bench = Bench.begin(visitor, "FULL")
    bench.send("1.92 190 95")

    def refuse(_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("partscreen.readings.typed.journal.os.fsync", refuse)
        words = bench.send("1.85 187 92")
        assert bench.shown.status_code == 507
        assert "No space left on device" in words
        assert bench.field == "1.85 187 92"
    bench.look()
    words = bench.send("1.85 187 92")
    assert "kept FULL-T0002" in words or "Was its line typed twice?" in words
    assert bench.rows()[0]["hFE @ IC=1 A, VCE=5 V"] == "95"


def test_lines_after_a_long_break_are_of_another_session_though_the_page_stayed_open(visitor, monkeypatch):
    bench = Bench.begin(visitor, "LONG")
    bench.send("1.92 190 95")
    monkeypatch.setattr("partscreen.readings.typed.journal.SAME_SITTING", -1.0)
    bench.send("1.85 187 92")
    assert [row["session"] for row in bench.rows()] == ["LONG sitting 1", "LONG sitting 2"]


def test_a_stopped_server_loses_nothing_that_was_sent(tmp_path):
    settings = PageSettings(book=str(tmp_path / "book.db"), folder=tmp_path)
    with TestClient(build_app(settings), base_url=BASE) as client:
        bench = Bench.begin(Visitor(client), "STOP")
        for line in ("1.92 190 95", "1.85 187 92", "1.90 188 96"):
            bench.send(line)
        assert "exchanged they fit" in bench.send("188 1.95 97")
        old = bench.hidden()
        token = bench.visitor.token
    with TestClient(build_app(settings), base_url=BASE) as client:
        visitor = Visitor(client)
        assert "Lot STOP" in text_of(visitor.get("/typing"))
        stale = client.post(bench.path, data={"form_token": token, **old, "line": "1.95 188 97"})
        assert stale.status_code == 403
        assert "PAGE_STALE" in stale.text
        assert 'value="1.95 188 97"' in stale.text
        again = Bench(visitor, visitor.get(bench.path))
        words = text_of(again.shown)
        assert "3 lines kept" in words or "being asked about when the page stopped" in words
        assert "exchanged they fit" in words
        assert "kept STOP-T0004: C_BE 1.95 nF" in again.send(say="yes")
        assert len(again.rows()) == 4


def test_fields_of_a_part_are_filled_in_order_and_an_empty_one_is_asked_for(visitor):
    bench = Bench.begin(visitor, "FLD")
    bench.look("?form=fields")
    names = re.findall(r'<input type="text"[^>]* name="(\w+)"', bench.shown.text)
    assert names == ["name", "cell0", "cell1", "cell2"]
    assert re.search(r'name="cell0"[^>]* autofocus', bench.shown.text)
    words = bench.fields("1,92", "", "", name="FLD-T0001")  # Enter in the first field
    assert "C_CB is empty" in words
    assert re.search(r'name="cell1"[^>]* autofocus', bench.shown.text)
    assert 'name="cell0" value="1,92"' in bench.shown.text
    assert bench.rows() == []
    words = bench.fields("1,92", "190", "-", name="FLD-T0001")
    assert "kept FLD-T0001: C_BE 1.92 nF, C_CB 190 pF" in words
    words = bench.fields("1,92", "abc", "1.9 2.0")
    assert "C_CB: 'abc' is no figure" in words
    assert "'1.9 2.0' is not one figure" in words
    assert re.search(r'name="cell1"[^>]* aria-invalid="true"[^>]* autofocus', bench.shown.text)
    assert len(bench.rows()) == 1
    assert "'C_CB=5' is not one figure" in bench.fields("C_CB=5", "T7: 190", "95")
    bench.fields("1,92", "abc", "95")
    assert 'name="cell1" value="abc"' in bench.shown.text
    assert "kept FLD-T0007" in bench.fields("1.93 nF", "191", "95", name="FLD-T0007")
    bench.look("?right=FLD-T0007&form=fields")
    assert 'name="cell0" value="1.93 nF"' in bench.shown.text
    assert "kept FLD-T0007: C_BE 1.94 nF" in bench.fields("1.94 nF", "191", "95")


@pytest.mark.parametrize("lot", ["<script>alert(1)</script>", "../../x", "=cmd()", "A\u202eB", "", " ", "x" * 60])
def test_a_name_that_a_file_or_a_page_would_obey_is_refused_and_shown_as_text(visitor, lot):
    answer = visitor.post("/typing", {"lot": lot, "type": "2SC5200", "ask": ASK})
    assert answer.status_code == 422
    assert "LOT_NAME" in answer.text
    assert "<script>alert" not in answer.text
    assert "\u202e" not in answer.text
    assert "--lot" not in answer.text


def test_hostile_words_in_a_line_or_a_form_are_text(visitor):
    bench = Bench.begin(visitor, "HOST", supplier="<i>=cmd()</i>", maker='"><script>alert(1)</script>')
    bench.send("<script>alert(1)</script> 190 95")
    assert "<script>alert" not in bench.shown.text
    bench.send("<img/src=x>: 1.92 190 95")
    assert "<img/src" not in bench.shown.text
    bench.look("?right=%3Cscript%3E&form=%3Cb%3E")
    assert "<script>" not in bench.shown.text
    result = visitor.settle(visitor.post(f"{bench.path}/end"))
    assert "<i>=cmd" not in result.text
    for name in ("none", "..%2f..%2fetc", "%00"):
        assert visitor.get(f"/typing/{name}").status_code == 404


def test_settings_that_cannot_be_are_told_beside_the_form_which_comes_back_as_typed(visitor):
    told = {"lot": "A1", "type": "2SC5200", "ask": "nonsense", "count": "many", "temperature_c": "warm"}
    answer = visitor.post("/typing", told)
    assert answer.status_code == 422
    assert answer.text.count("PAGE_NUMBER") == 2
    assert 'value="many"' in answer.text
    bad = visitor.post("/typing", {**told, "count": "20", "temperature_c": "25"})
    assert "UNKNOWN_QUANTITY" in bad.text
    assert "nonsense" in bad.text


def test_a_lot_sheet_offers_its_bags_and_fills_the_form(visitor):
    sheet = "lot,type,supplier,count,gain_group\nB1,2SC5200,Birch,5,O\n,2SA1943,Elm,3,\n"
    answer = visitor.post("/typing/sheet", files={"sheet": ("lots.csv", sheet)})
    assert "LOT_SHEET_NO_NAME" in answer.text
    link = html.unescape(re.search(r'href="(/typing\?[^"]+)"', answer.text)[1])
    form = visitor.get(link).text
    assert 'name="lot" value="B1"' in form
    assert 'name="supplier" value="Birch"' in form
    assert 'name="count" value="5"' in form


def test_an_empty_sitting_cannot_be_ended_and_one_is_taken_away_only_when_asked_again(visitor):
    bench = Bench.begin(visitor, "GONE")
    assert "no part is in yet" in bench.send("end")
    bench.look()
    bench.send("1.92 190 95")
    asked = visitor.get(f"{bench.path}/drop")
    assert "1 line would be gone for good" in text_of(asked)
    visitor.post(f"{bench.path}/drop")
    assert visitor.get(bench.path).status_code == 404


def test_the_same_sitting_cannot_be_written_by_two_programs(visitor, tmp_path):
    from partscreen.errors import UnusableInput
    from partscreen.workflow import begin_sitting, resume_sitting
    from partscreen.workflow.typed.live_sitting import LotTold

    name = begin_sitting(LotTold("L1", "2SC5200", ask=tuple(ASK.split("\n"))), tmp_path)
    first = resume_sitting(name, tmp_path)
    with pytest.raises(UnusableInput, match="another type-in"):
        resume_sitting(name, tmp_path)
    first.close()
    resume_sitting(name, tmp_path).close()
