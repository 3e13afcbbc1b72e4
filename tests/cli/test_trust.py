"""`partscreen trust`: from a bench book, from saved results, and with input that cannot be used."""

from __future__ import annotations

import json
from datetime import date

import pytest
from typer.testing import CliRunner

from partscreen.book.store import Book
from partscreen.cli.app import app
from partscreen.results.trust import Trust
from partscreen.workflow import Asked, Signed, TrustOptions, record_fitted, record_outcome, weigh_suppliers
from partscreen.workflow.after.trust import records_of_book, records_of_results
from tests.book.domain_runs import judged, record_bag

ON = Signed(by="bench", on="2026-01-10")


def run(*words):
    return CliRunner().invoke(app, ["trust", *words], prog_name="partscreen")


@pytest.fixture(scope="module")
def result_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("saved") / "result.json"
    path.write_text(judged("Birch")[0].json_text(), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def book_file(tmp_path_factory):
    """The worked bag from two suppliers; a part of one fitted, and failed at first power-up."""
    path = str(tmp_path_factory.mktemp("book") / "book.sqlite")
    with Book.open(path) as book:
        record_bag(book, "Birch")
        record_bag(book, "Cedar")
    sold = Asked(part="T2", lot="bag", supplier="Birch")
    record_fitted(sold, "J1", "Q1", channel="left", signed=ON, where=path)
    job = Asked(part="T2", lot="bag", supplier="Birch", job="J1")
    record_outcome("failed_first_power_up", job, days=None, cause="not-known", note=None, signed=ON, where=path)
    return path


def test_book_gives_lots_with_evidence_and_outcomes_of_both_suppliers(book_file):
    records, outcomes, left_out = records_of_book(book_file)
    assert [r.supplier for r in records] == ["Birch", "Cedar"]
    assert left_out == []
    lot = judged("Birch")[0].screening.lots[0]
    told = {p.part: p.evidence for p in lot.parts if p.evidence is not None}
    assert records[0].n_read == sum(p.disposition is not None for p in lot.parts)
    assert all(records[0].evidence[p] == pytest.approx(told[p]) for p in records[0].evidence)
    assert records[0].when is not None
    assert [(o.part, o.what, o.event) for o in outcomes] == [("T2", "failed_first_power_up", "J1|left|2026-01-10")]


def test_failure_in_service_parts_two_suppliers_of_the_same_bag(book_file):
    found = {s.supplier: s for s in weigh_suppliers(TrustOptions(book=book_file, as_of="2026-06-01")).suppliers}
    assert found["Birch"].share_unfit.value > found["Cedar"].share_unfit.value
    assert found["Birch"].outcomes == 1
    assert found["Birch"].advice == "not_enough_known"


def test_saved_result_says_the_same_of_the_lot_as_the_book(result_file, book_file):
    (saved,), _ = records_of_results([result_file])
    (kept, _), _, _ = records_of_book(book_file)
    assert saved.certain == kept.certain
    assert dict(saved.evidence) == pytest.approx(dict(kept.evidence))
    assert saved.bulk == kept.bulk


def test_json_is_the_result_and_nothing_else(result_file):
    ran = run("--from", str(result_file), "--json")
    assert ran.exit_code == 0
    data = json.loads(ran.stdout)
    assert data["schema"] == "partscreen.trust/1"
    assert Trust.model_validate(data).suppliers[0].supplier == "Birch"
    assert "not for publication" in data["notice"]


def test_text_says_private_first_and_what_is_not_enough(result_file):
    ran = run("--from", str(result_file))
    assert ran.exit_code == 0
    assert ran.stdout.startswith("Private, not for publication")
    assert "Not enough is known to place this supplier." in ran.stdout


def test_figure_is_written_from_a_book(book_file, tmp_path):
    path = tmp_path / "trust.svg"
    ran = run("--book", book_file, "--figure", str(path), "--as-of", date.today().isoformat())
    assert ran.exit_code == 0, ran.stderr
    text = path.read_text(encoding="utf-8")
    assert text.startswith("<svg ")
    assert "Birch" in text
    assert "Private, not for publication" in text


def test_figure_without_dates_ends_with_3_and_says_why(result_file, tmp_path):
    ran = run("--from", str(result_file), "--figure", str(tmp_path / "trust.svg"))
    assert ran.exit_code == 3
    assert "no lot has a date" in ran.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--half-life", "0"), "no half-life"),
        (("--tolerable", "10"), "no share of unfit parts"),
        (("--as-of", "31.1.2026"), "no date"),
        (("--from", "nowhere.json"), "cannot be read"),
        (("--book", "nowhere.sqlite"), "nowhere.sqlite"),
    ],
)
def test_what_cannot_be_used_ends_with_3_and_says_how_to_put_it_right(words, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = run(*words)
    assert ran.exit_code == 3
    assert ran.stdout == ""
    assert told in ran.stderr
    assert "->" in ran.stderr


def test_every_wrong_setting_is_told_at_once():
    ran = run("--half-life", "-1", "--tolerable", "2", "--as-of", "soon")
    assert ran.exit_code == 3
    assert all(word in ran.stderr for word in ("--half-life", "--tolerable", "--as-of"))


def test_file_that_is_no_result_is_told_by_its_name(tmp_path):
    path = tmp_path / "other.json"
    path.write_text('{"schema": "something/1"}', encoding="utf-8")
    ran = run("--from", str(path))
    assert ran.exit_code == 3
    assert "other.json" in ran.stderr
    assert "no result of partscreen screen" in ran.stderr
