"""Spreads learned from the bench book, and what a run is then judged by."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np
import pytest
from typer.testing import CliRunner

from partscreen.book.facts import Facts
from partscreen.book.store import Book
from partscreen.cli.app import app
from partscreen.errors import UnusableInput
from partscreen.reference.learned_file import load_learned
from partscreen.reference.population import population_for as packaged
from partscreen.simulate.scenario import copy_demo_files
from partscreen.workflow import ScreenOptions, learn_from_book, screen_files
from partscreen.workflow.book.record import keep, raw_files, run_of
from partscreen.workflow.judge import learned as home
from partscreen.workflow.judge.learned import populations_of

KNOWN, JUDGED = "K1", "A1"


@lru_cache(maxsize=1)
def demo(folder):
    """Two lots of the invented scenario, known-good and judged, as screened."""
    files = copy_demo_files(folder)
    some = [p for p in files.readings if p.name in ("K1.csv", "A1.csv", "capacitance.csv")]
    options = ScreenOptions(lots=files.lots, kit=files.kit)
    return some, options, screen_files(some, options, figures=False)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    folder = tmp_path_factory.mktemp("learned")
    some, options, outcome = demo(folder)
    place = str(folder / "book.sqlite")
    with Book.open(place) as book:
        keep(book, Facts(book), run_of(outcome, raw_files(outcome, some, options), options))
    return place, some, options, outcome


def test_the_book_teaches_from_known_good_and_judged_lots(recorded):
    learned = learn_from_book(recorded[0])
    assert learned is not None
    assert learned.types == ("2SC5200",)
    assert learned.lots == 2
    assert {name: (c.lots, c.parts) for name, c in learned.centres.items()} == {"2SC5200": (1, 6)}  # known-good alone
    for name in ("bf", "is", "ikf"):
        figure = learned.within[name]
        assert figure.lots == 2
        assert 0.8 * figure.default <= figure.value <= 1.6 * figure.default


def test_lots_of_the_run_itself_are_left_out(recorded):
    place, _, _, outcome = recorded
    lots = {lot.lot: (lot.supplier, lot.lot) for lot in outcome.screening.lots}
    learned = learn_from_book(place, without=[lots[KNOWN]])
    assert learned is not None
    assert learned.lots == 1
    assert not learned.centres  # no known-good lot is left
    assert learn_from_book(place, without=list(lots.values())) is None


def test_a_book_of_few_lots_is_not_learned_from_unasked(recorded):
    place, _, _, outcome = recorded
    chosen = ScreenOptions(learn_from=place)
    source, told = populations_of(chosen, outcome.batch.lots)
    assert source is packaged
    assert told is None
    missing = populations_of(ScreenOptions(learn_from=f"{place}.nowhere"), outcome.batch.lots)
    assert missing == (packaged, None)


def test_a_book_of_enough_lots_is_learned_from_when_a_run_is_recorded(recorded, monkeypatch):
    place, some, options, _ = recorded
    monkeypatch.setattr(home, "ENOUGH_LOTS", 1)
    judged = [p for p in some if p.name == "A1.csv"]
    again = screen_files(judged, ScreenOptions(lots=options.lots, kit=options.kit, learn_from=place), figures=False)
    assert re.fullmatch(r"learned from \d+ parts of 1 lots of the book", again.screening.settings["spreads"])


def chi_square_p(outcome):
    lots = [lot for lot in outcome.screening.lots if lot.lot in (KNOWN, JUDGED)]
    return [part.fit.chi_square.p for lot in lots for part in lot.parts if part.fit]


def test_what_is_learned_goes_by_a_file_into_the_next_run(recorded, tmp_path):
    place, some, options, before = recorded
    file = tmp_path / "mine.toml"
    assert learn_from_book(place, out=file) is not None
    after = screen_files(some, ScreenOptions(lots=options.lots, kit=options.kit, spreads=file), figures=False)
    assert after.screening.settings["spreads"].startswith("mine.toml (")
    assert before.screening.settings["spreads"] is None
    usual, learned = chi_square_p(before), chi_square_p(after)
    assert np.median(usual) > 0.99  # the packaged error of the model is far more than these parts need
    assert np.median(learned) < np.median(usual)
    assert {lot.lot: lot.judgement for lot in after.screening.lots} == {
        lot.lot: lot.judgement for lot in before.screening.lots
    }


def test_the_command_says_what_it_learned_and_writes_the_file(recorded, tmp_path):
    file = tmp_path / "mine.toml"
    done = CliRunner().invoke(app, ["book", "learn", "--book", recorded[0], "--out", str(file)])
    assert done.exit_code == 0, done.output
    assert "Learned from" in done.stdout
    assert "centre of 2SC5200: from 6 parts of 1 known-good lots" in done.stdout
    assert load_learned(file).type_centres["2SC5200"].lots == 1


def test_a_file_of_spreads_that_cannot_be_used_stops_with_what_and_how(recorded, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text('format = "something else"\n', encoding="utf-8")
    done = CliRunner().invoke(app, ["screen", str(recorded[1][0]), "--type", "2SC5200", "--spreads", str(file)])
    assert done.exit_code == 3
    assert "mine.toml" in done.output
    assert "->" in done.output


def test_a_folder_that_cannot_be_written_is_told(recorded, tmp_path):
    with pytest.raises(UnusableInput, match="cannot be written"):
        learn_from_book(recorded[0], out=tmp_path / "no" / "such" / "folder.toml")


def test_a_book_without_lots_teaches_nothing_and_says_so(tmp_path):
    place = str(tmp_path / "empty.sqlite")
    Book.open(place).close()
    done = CliRunner().invoke(app, ["book", "learn", "--book", place, "--out", str(tmp_path / "x.toml")])
    assert done.exit_code == 3
    assert "nothing to learn from" in done.output
