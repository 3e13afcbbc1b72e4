"""Pages that only read, each against the workflow function it asks."""

from __future__ import annotations

import html
import json
import re

import pytest

from partscreen.page.field_words import fields
from partscreen.workflow import PlanOptions, make_plan, tell_types
from tests.docs.bag import FOLDER
from tests.page.bench import words_outside_figures


def text_of(answer) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def test_every_type_of_the_library_is_listed_and_linked(visitor):
    page = visitor.get("/types").text
    listed = json.loads(tell_types(as_json=True)[0])["types"]
    assert len(listed) >= 82
    assert all(f'href="/types?name={one["type"]}"' in page for one in listed)


def test_a_type_is_found_by_its_print_with_limits_and_sources(visitor):
    words = text_of(visitor.get("/types?name=C5200"))
    assert "C5200 is short for 2SC5200" in words
    assert "Fairchild" in words
    assert "IC=5 mA" in words


def test_a_type_that_is_not_there_is_told_with_close_names(visitor):
    answer = visitor.get("/types?name=2SC5201<b>")
    assert answer.status_code == 404
    assert "<b>" not in answer.text
    assert "2SC5200" in answer.text


def test_one_reading_gives_a_first_answer(visitor):
    answer = visitor.get("/check", params={"type": "2SC5200", "readings": "hFE=20 @ IC=7 A, VCE=5 V"})
    assert "rejected" in text_of(answer)
    assert "below the minimum of 35" in text_of(answer)
    wrong = visitor.get("/check", params={"type": "2SC5200", "readings": "gain of <i>24"})
    assert wrong.status_code == 422
    assert "<i>24" not in wrong.text


def test_a_plan_is_that_of_the_plan_function(visitor):
    answer = visitor.get("/plan?lot_size=50&tolerable=10%25&confidence=95%25")
    expected = make_plan(PlanOptions(lot_size=50, tolerable="10%", confidence="95%"))
    assert expected.sentence in text_of(answer)
    assert answer.text.count("<figure>") == 1


def test_sentences_name_the_fields_of_the_page_not_options_of_commands(visitor):
    words = text_of(visitor.get("/plan?lot_size=50"))
    assert "“Bad parts the readings find”" in words
    assert "--power" not in words.split("How we know")[0]
    assert "Parts in the lot : 0 cannot be" in text_of(visitor.get("/plan?lot_size=0&tolerable=10%25"))
    assert fields("say so with --idle, --idle-time or a--idle") == (
        "say so with “Idle current a device”, --idle-time (command line) or a--idle"
    )


@pytest.mark.parametrize("query", ["lot_size=x", "lot_size=50&tolerable=2", "lot_size=10&sample=5&found=9"])
def test_a_plan_that_cannot_be_is_told(visitor, query):
    answer = visitor.get(f"/plan?{query}")
    assert answer.status_code == 422
    assert "→" in answer.text


def test_the_bench_book_is_read_once_something_is_recorded(visitor):
    assert "there is no book here yet" in visitor.get("/book").text
    assert "there is no book here yet" in visitor.get("/suppliers").text
    tray = visitor.bring(("bag.csv", (FOLDER / "bag.csv").read_bytes())).url.path
    told = {"type0": "2SC5200", "supplier0": "Birch", "record": "yes", "do": "screen"}
    assert "Kept in the bench book" in visitor.settle(visitor.post(tray, told)).text
    book = visitor.get("/book")
    assert "Birch" in book.text
    lot = text_of(visitor.get("/book?lot=bag&supplier=Birch"))
    assert "T3" in lot
    assert "rejected" in lot
    assert "In 0 jobs" in text_of(visitor.get("/book/where?lot=bag&supplier=Birch"))
    assert visitor.get("/book?lot=other").status_code == 422
    suppliers = visitor.get("/suppliers")
    assert "Birch" in text_of(suppliers)
    assert words_outside_figures(suppliers).count(" unfit (95 % between ") == 1  # the share is said once


def test_a_page_that_does_not_exist_says_so(visitor):
    answer = visitor.get("/nothing")
    assert answer.status_code == 404
    assert "There is no such page." in answer.text
