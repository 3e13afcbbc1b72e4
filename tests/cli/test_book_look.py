"""`partscreen book day|job|find|entry|fetch`, `show --full` and `trust --supplier`: words, JSON, bad input."""

from __future__ import annotations

import json
import shutil
from datetime import date, timedelta

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from tests.docs.bag import FOLDER
from tests.page.bench import picture

BAG = str(FOLDER / "bag.csv")
LOTS = str(FOLDER / "lots.csv")


def run(*words: str):
    return CliRunner().invoke(app, list(words), prog_name="partscreen", env={"PARTSCREEN_BOOK": ""})


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A book with the worked bag, two fitted parts and a photo, made once."""
    folder = tmp_path_factory.mktemp("kept")
    path = folder / "book.sqlite"
    run("screen", BAG, "--lots", LOTS, "--record", "--book", str(path))
    old = (date.today() - timedelta(days=50)).isoformat()
    for part, channel in (("T1", "left"), ("T2", "right")):
        told = run(
            "book", "fitted", "--part", part, "--job", "hall", "--channel", channel, "--position", "Q1", "--on", old,
            "--book", str(path),
        )  # fmt: skip
        assert told.exit_code == 0, told.stderr
    photo = folder / "top.jpg"
    photo.write_bytes(picture())
    run("book", "observe", "ink comes off", "--part", "T3", "--photo", str(photo), "--book", str(path))
    return path


@pytest.fixture
def ask(kept, tmp_path):
    book = shutil.copyfile(kept, tmp_path / "book.sqlite")
    return lambda *words: run("book", *words, "--book", str(book))


def test_day_tells_what_is_overdue_first(ask):
    told = ask("day").stdout
    assert told.splitlines()[0] == "Overdue: job hall: outcome of 2 parts not told, fitted 50 days ago"
    assert "Lot bag, supplier Birch: return" in told
    assert "Open: job hall: 2 parts in it" in ask("day", "--after", "60").stdout
    assert json.loads(ask("day", "--json").stdout)["jobs"][0]["overdue"] is True


def test_job_is_told_with_its_places_and_siblings(ask):
    told = ask("job", "hall").stdout
    assert "channel left, position Q1: part T1 of lot bag, supplier Birch, 50 days" in told
    assert "left in the drawer: T3, T4, T5, T6" in told
    assert "job hall: 2 parts in it" in ask("job").stdout
    missing = ask("job", "halls")
    assert missing.exit_code == 3
    assert "close names: hall" in missing.stderr


def test_bias_where_two_channels_share_a_position_asks_for_the_channel(ask):
    twice = ask("bias", "Q1=11 mV", "--job", "hall")
    assert twice.exit_code == 3
    assert "name the channel too: left Q1, right Q1" in twice.stderr
    told = ask("bias", "left Q1=11 mV", "right Q1=10.8 mV", "--job", "hall")
    assert told.stdout.count("bias at Q1") == 2
    assert "part T2 of lot bag, supplier Birch: bias at Q1" in told.stdout


def test_find_names_what_is_called_so_and_else_what_is_close(ask):
    assert ask("find", "t3").stdout.startswith("part T3 of lot bag, supplier Birch\n")
    assert "job hall" in ask("find", "hal").stdout
    assert "nothing is named 'zzzz'" in ask("find", "zzzz").stdout


def test_entry_shows_fields_as_correct_takes_them(ask):
    number = json.loads(ask("show", "--job", "hall", "--json").stdout)["history"][0]["entry"]
    told = ask("entry", str(number)).stdout
    assert "  position=Q1" in told
    assert "nobody typed it" in ask("entry", "6").stdout
    assert ask("entry", "999").exit_code == 3


def test_photo_comes_out_of_the_book_as_it_went_in(ask, tmp_path):
    line = json.loads(ask("show", "--part", "T3", "--json").stdout)["history"][-1]
    out = tmp_path / "copy.jpg"
    assert ask("fetch", line["values"]["blobs"][0]["sha256"][:12], "--out", str(out)).exit_code == 0
    assert out.read_bytes() == picture()
    again = ask("fetch", line["values"]["blobs"][0]["sha256"][:12], "--out", str(out))
    assert again.exit_code == 3
    assert ask("fetch", "0123456789", "--out", str(tmp_path / "x")).exit_code == 3


def test_full_names_readings_with_their_rows_and_files_with_their_hashes(ask):
    part = ask("show", "--part", "T1", "--full").stdout
    assert "gain sweep: IC 7 A, IB 94.891 mA" in part
    assert "bag.csv, row 8" in part
    lot = ask("show", "--lot", "bag", "--full").stdout
    assert "readings bag.csv:" in lot
    assert ask("show", "--full").exit_code == 3


def test_trust_of_one_supplier_and_of_none_that_is_known(kept):
    told = run("trust", "--supplier", "Birch", "--book", str(kept), "--json")
    assert [one["supplier"] for one in json.loads(told.stdout)["suppliers"]] == ["Birch"]
    other = run("trust", "--supplier", "Elm", "--book", str(kept))
    assert other.exit_code == 3
    assert "known are Birch" in other.stderr
