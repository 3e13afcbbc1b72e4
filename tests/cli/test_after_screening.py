"""What comes after screening, by command: a match as table and figures, its parts in a stage, stock, past lots."""

from __future__ import annotations

import csv
import json

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.lots.plan_answer import follow
from partscreen.lots.switching import PastLot
from partscreen.report.stock_table import STOCK_COLUMNS
from partscreen.simulate.scenario import demo_files
from tests.report.papers_read import FROZEN

RESULTS = (str(FROZEN / "A1.json"), str(FROZEN / "A2.json"))
STAGE = str(demo_files().stage)


def run(*words):
    return CliRunner().invoke(app, [*map(str, words)])


@pytest.fixture(scope="module")
def match(tmp_path_factory):
    folder = tmp_path_factory.mktemp("match")
    done = run(
        "match", *RESULTS, "--sets", 2, "--per-rail", 3, "--json", folder / "m.json", "--table", folder / "m.csv",
        "--figures", folder / "figures",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    return folder


def test_a_match_is_written_as_table_with_a_row_a_part_and_as_figures_of_each_set(match):
    found = json.loads((match / "m.json").read_text())
    with (match / "m.csv").open(newline="", encoding="utf-8-sig") as source:
        rows = list(csv.DictReader(source))
    placed = [(place["lot"], place["part"]) for one in found["sets"] for place in one["places"]]
    left = [(one["lot"], one["part"]) for one in found["unmatched"]]
    assert [(row["lot"], row["part"]) for row in rows] == placed + left
    assert {row["why_not_placed"] != "" for row in rows[len(placed) :]} == {True}
    drawn = sorted(path.name for path in (match / "figures").iterdir())
    assert drawn == sorted(f"set_{n:03d}_{what}.{form}" for n in (1, 2) for what in ("hfe", "vbe")
                           for form in ("svg", "png", "pdf"))  # fmt: skip


def test_parts_of_a_match_go_into_the_places_of_a_stage(match):
    found = json.loads((match / "m.json").read_text())
    for number, one in enumerate(found["sets"], 1):
        done = run("stage", STAGE, *RESULTS, "--match", match / "m.json", "--set", number, "--json", "-")
        assert done.exit_code in (0, 4, 5), done.output
        sharing = json.loads(done.stdout)["sharing"]
        names = [place["part"] for side in sharing for place in side["places"]]
        assert [name.rpartition("/")[2] for name in names] == [place["part"] for place in one["places"]]


def test_a_match_without_results_or_a_set_without_match_is_refused(match):
    assert "a match holds no curves" in run("stage", STAGE, "--match", match / "m.json").output
    done = run("stage", STAGE, *RESULTS, "--set", 1)
    assert done.exit_code == 3
    assert "a set needs a match" in done.output


def test_the_stock_table_of_a_saved_result_has_a_row_a_lot(tmp_path):
    out = tmp_path / "stock.csv"
    done = run("paper", "stock", RESULTS[0], "--on", "2026-03-31", "--out", out)
    assert done.exit_code == 0, done.output
    with out.open(newline="", encoding="utf-8") as source:
        header, *rows = csv.reader(source)
    assert tuple(header) == STOCK_COLUMNS
    assert [row[:2] for row in rows] == [["2026-03-31", "A1"]]


def test_of_a_lot_that_was_read_the_first_parts_are_the_sample_of_its_plan():
    good, bad = (False,), (True,)
    past = [PastLot(200, 0, "A", good * 49 + bad + bad * 150), PastLot(200, 0, "B", bad + good * 199)]
    steps = follow(past, 1.0, "II", "normal", False).steps
    assert [(step.plan.n, step.lot.found) for step in steps] == [(50, 1), (50, 1)]


def test_a_lot_of_which_fewer_parts_were_read_than_its_plan_asks_is_left_out_and_told():
    past = [PastLot(200, 0, "A", (False,) * 12), PastLot(200, 0, "B", (False,) * 50)]
    found = follow(past, 1.0, "II", "normal", False)
    assert [step.lot.name for step in found.steps] == ["B"]
    assert found.too_few == (("A", 12, 50),)


def test_past_lots_of_a_book_that_is_not_there_are_told(tmp_path):
    done = run("plan", "--lot-size", 50, "--aql", "1.0", "--history-of", "Birch", "--book", tmp_path / "none.db")
    assert done.exit_code == 3
    assert "there is no book here yet" in done.output
    done = run("plan", "--lot-size", 50, "--aql", "1.0", "--book", tmp_path / "none.db")
    assert done.exit_code == 2
    assert "--history-of" in done.output
