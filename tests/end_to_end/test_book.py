"""The demo's bags into a book, parts into an amplifier, a comeback, and the way back to every sibling."""

from __future__ import annotations

import csv
import json

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.simulate.scenario import demo_files

DEMO = demo_files()
READINGS = [str(p) for p in DEMO.readings if p.name in ("K1.csv", "A1.csv", "B1.xlsx", "capacitance.csv")]


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return str(tmp_path_factory.mktemp("bench") / "book.sqlite")


def run(place, *words, code=0):
    ran = CliRunner().invoke(app, [*words, "--book", place], prog_name="partscreen")
    assert ran.exit_code == code, ran.output
    return ran


def answer(place, *words, code=0):
    return json.loads(run(place, *words, "--json", code=code).stdout)


def test_bags_are_kept_followed_into_an_amplifier_found_again_exported_and_judged_again(place, tmp_path):
    sheet = ["--lots", str(DEMO.lots), "--kit", str(DEMO.kit)]
    first = CliRunner().invoke(app, ["screen", *READINGS, *sheet, "--record", "--book", place])
    assert "recorded: entry" in first.stderr
    shown = answer(place, "book", "show")
    lots = {lot["lot"]: lot for lot in shown["lots"]}
    assert {"K1", "A1", "B1"} <= set(lots)
    assert (lots["B1"]["supplier"], lots["B1"]["accepted"]) == ("Birch", 0)
    head = shown["head"]

    again = CliRunner().invoke(app, ["screen", *READINGS, *sheet, "--record", "--book", place])
    assert again.exit_code == first.exit_code
    assert again.stderr.count("already in the book") == len(lots)
    assert answer(place, "book", "show")["head"] == head

    for i in range(1, 5):
        where = ["--job", "village hall", "--channel", "left" if i < 3 else "right", "--position", f"Q{i}"]
        run(place, "book", "fitted", "--part", f"A1-0{i}", *where)
    readings = [f"Q{i}={11 + i / 10} mV" for i in range(1, 5)]
    run(place, "book", "bias", *readings, "--job", "village hall", "--resistor", "0.22 ohm", "--ambient", "22")
    run(place, "book", "outcome", "passed-soak", "--job", "village hall")
    run(place, "book", "fitted", "--part", "A1-05", "--job", "cinema club", "--position", "Q1")
    run(place, "book", "outcome", "failed-after", "--part", "A1-02", "--days", "0", "--cause", "not-known")
    run(place, "book", "quarantine", "--lot", "B1", "--place", "red box", "--reason", "smaller dies")

    found = answer(place, "book", "where", "--lot", "A1")
    assert found["jobs"] == ["village hall", "cinema club"]
    assert {one["part"] for one in found["siblings"] if not one["out"]} == {"A1-01", "A1-03", "A1-04", "A1-05"}
    assert [one["part"] for one in found["drawer"]] == [f"A1-{i:02d}" for i in range(6, 13)]
    birch = answer(place, "book", "where", "--lot", "B1")
    assert {one["quarantine"] for one in birch["drawer"]} == {"red box"}

    run(place, "book", "export", "--out", str(tmp_path / "tables"))
    with (tmp_path / "tables" / "outcomes.csv").open(encoding="utf-8-sig", newline="") as source:
        outcomes = [(row["part"], row["what"], row["cause"]) for row in csv.DictReader(source)]
    assert outcomes[-1] == ("A1-02", "failed_after", "not_known")
    assert len(outcomes) == 5

    told = answer(place, "book", "rescreen", "--all")
    assert {lot["lot"] for lot in told["lots"]} >= {"K1", "A1", "B1"}
    assert all(lot["already"] for lot in told["lots"])
    assert not any(part["changed"] for lot in told["lots"] for part in lot["parts"])

    checked = answer(place, "book", "verify", "--head", head)
    assert checked["unchanged"]
    assert checked["head_found"] == shown["entries"]
