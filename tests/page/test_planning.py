"""Every question of the plan on the page, each against the workflow function."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest

from partscreen.page.after.planning import plan_options
from partscreen.workflow import PlanOptions, ScreenOptions, make_plan, record_screening, screen_files
from tests.docs.bag import FOLDER
from tests.page.given import text_of, typed_on

PAST = Path(__file__).resolve().parents[2] / "docs" / "examples" / "past_lots.csv"
COST = {"lot_size": "50", "price": "4,2", "minutes": "3", "minute_value": "0.5", "harm": "200"}


@pytest.mark.parametrize(
    ("asked", "options"),
    [
        ({"lot_size": "100", "good": "1%", "bad": "10%"}, PlanOptions(lot_size=100, good="1%", bad="10%")),
        (
            {"sequential": "yes", "good": "2%", "bad": "20%", "so_far": "pphpfp"},
            PlanOptions(sequential=True, good="2%", bad="20%", so_far="pphpfp"),
        ),
        (COST, PlanOptions(lot_size=50, price=4.2, minutes=3.0, minute_value=0.5, harm=200.0)),
        (
            {**COST, "destroy_minutes": "2", "refund": "50%", "return_cost": "9", "power": "97,5%"},
            PlanOptions(lot_size=50, price=4.2, minutes=3.0, minute_value=0.5, harm=200.0, destroy_minutes=2.0,
                        refund="50%", return_cost=9.0, power="97.5%"),
        ),
        ({"lot_size": "50", "draw": "yes", "seed": "7"}, PlanOptions(lot_size=50, draw=True, seed=7)),
        (
            {"lot_size": "500", "aql": "1", "level": "I", "severity": "tightened"},
            PlanOptions(lot_size=500, aql="1", level="I", severity="tightened"),
        ),
        (
            {"lot_size": "50", "power": "90%", "held": "10%", "held_counts": "against"},
            PlanOptions(lot_size=50, power="90%", held="10%", held_counts="against"),
        ),
    ],
)  # fmt: skip
def test_the_answer_is_that_of_the_workflow_function(visitor, asked, options):
    assert plan_options(asked) == options
    found = make_plan(options)
    words = text_of(visitor.get("/plan", params=asked))
    assert re.sub(r"--[a-z-]+", "", found.sentence)[:60] in words
    assert all(one.sentence in words for one in found.costs)
    if found.drawn is not None:
        assert ", ".join(map(str, found.drawn.pieces)) in words


def test_a_table_of_past_lots_leads_to_the_severity_of_the_next(visitor):
    asked = {"question": "table", "lot_size": "200", "aql": "1.0"}
    answer = visitor.post("/plan", asked, files=[("history", (PAST.name, PAST.read_bytes()))])
    own = make_plan(PlanOptions(lot_size=200, aql="1.0", history=PAST))
    assert own.sentence in text_of(answer)
    assert "The next lot: tightened." in text_of(answer)
    assert answer.text.count('<th scope="row"><bdi>A') == 5
    link = html.unescape(re.search(r'href="(/plan/figures[^"]+)"', answer.text)[1])
    assert "operating-curve.zip" in visitor.settle(visitor.get(link)).text


def test_a_table_that_cannot_be_read_is_told_and_the_form_keeps_its_text(visitor):
    asked = {"question": "table", "lot_size": "200", "aql": "1.0"}
    answer = visitor.post("/plan", asked, files=[("history", ("past.csv", b"lot;size\nA;20"))])
    assert answer.status_code == 422
    assert "NO_COLUMN" in answer.text
    assert "past.csv" in text_of(answer)
    assert "/tmp" not in answer.text
    assert typed_on(answer)["lot_size"] == "200"
    both = visitor.post("/plan", {**asked, "severity": "reduced", "history_of": "Birch"})
    assert both.status_code == 422
    assert "follows from the past lots" in text_of(both)
    assert not re.search(r"(?<![\w-])--[a-z]", text_of(both).split("Ask again")[0])


def test_the_suppliers_lots_in_the_bench_book_are_past_lots(tmp_path):
    where = str(tmp_path / "book.db")
    files = [FOLDER / "bag.csv", FOLDER / "capacitance.csv"]
    options = ScreenOptions(lots=FOLDER / "lots.csv")
    outcome = screen_files(files, options, figures=False)
    record_screening(outcome, files, options, where)
    (lot,) = outcome.screening.lots
    found = make_plan(PlanOptions(lot_size=50, aql="4.0", history_of=lot.supplier, book=where))
    (step,) = found.history
    assert step.lot == lot.lot
    assert step.lot_size == max(int(lot.sheet.get("count") or 0), lot.n_parts)
    first = lot.parts[: step.sample_size]
    assert step.found == sum(part.disposition == "reject" for part in first)
    fewer = make_plan(PlanOptions(lot_size=50, aql="0.4", history_of=lot.supplier, book=where))
    told = [text for text in fewer.remarks if text.startswith("Not counted")]
    assert (fewer.history == []) == bool(told)
