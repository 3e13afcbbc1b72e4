"""Old readings judged again: from the raw files of the book, with corrected cells, beside what was there."""

import shutil

import pytest

from partscreen.book.entries import PartKept
from partscreen.book.facts import Facts
from partscreen.book.standing import standing_of
from partscreen.book.store import Book
from partscreen.errors import UnusableInput
from partscreen.workflow import (
    Asked,
    Signed,
    correct_reading,
    record_screening,
    rescreen,
    screen_files,
)
from tests.book.domain_runs import FILES, options, part, slipped_bag


@pytest.fixture
def place(tmp_path):
    return str(tmp_path / "book.sqlite")


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """A book with the bag in it, one base current of T1 typed ten times too large; made once."""
    folder = tmp_path_factory.mktemp("slipped")
    files = [slipped_bag(folder), FILES[1]]
    place = str(folder / "book.sqlite")
    record_screening(screen_files(files, options(), figures=False), files, options(), place)
    return place


@pytest.fixture
def slipped(template, place):
    """A copy of it, to write into."""
    return shutil.copyfile(template, place)


def disposition(place, name="T1"):
    with Book.open(place) as book:
        facts = Facts(book)
        return standing_of(facts, part(facts, name)).disposition


def correct(place, value="94.891", row=8, column="IB [mA]", file="bag.csv"):
    return correct_reading(
        file, row, column, value, sheet=None, reason="the point was lost", signed=Signed(), where=place
    )


def test_corrected_reading_changes_the_judgement_and_nothing_is_overwritten(slipped):
    assert disposition(slipped) == "reject"
    with Book.open(slipped) as book:
        before = [(entry.seq, entry.hash) for entry in book.entries()]
    told = correct(slipped)
    (line,) = told.written
    assert (line.part, line.lot, line.supplier) == ("T1", "bag", "Birch")
    assert "'948.91' is to read '94.891'" in line.sentence
    assert disposition(slipped) == "reject"  # a correction alone judges nothing
    again = rescreen(Asked(lot="bag"), where=slipped)
    (lot,) = again.lots
    moved = {one.part: (one.before, one.after) for one in lot.parts if one.changed}
    assert moved["T1"] == ("reject", "accept")
    assert lot.corrections == [line.entry]
    assert not lot.library_changed
    assert disposition(slipped) == "accept"
    with Book.open(slipped) as book:
        assert [(entry.seq, entry.hash) for entry in book.entries()][: len(before)] == before
        facts = Facts(book)
        assert [f.of(PartKept).result.disposition for f in facts.find("part", part="T1")] == ["reject", "accept"]
        assert book.verify().ok


def test_judged_again_with_nothing_new_writes_nothing(slipped):
    first = rescreen(Asked(lot="bag"), where=slipped)
    assert first.lots[0].already
    assert not first.written
    assert not any(one.changed for one in first.lots[0].parts)
    assert rescreen(Asked(), every=True, where=slipped).head == first.head


def test_cell_corrected_twice_reads_as_last_told(slipped):
    correct(slipped, value="94")
    told = correct(slipped)
    assert "'94' is to read '94.891'" in told.written[0].sentence
    with pytest.raises(UnusableInput, match=r"reads '94.891' already"):
        correct(slipped)
    assert rescreen(Asked(lot="bag"), where=slipped).lots[0].corrections == [told.written[0].entry]


def test_other_library_is_a_new_judgement_and_says_so(slipped, tmp_path, monkeypatch):
    import partscreen.book.versions as versions

    monkeypatch.setattr(versions, "library_hash", lambda library: "f" * 64)
    told = rescreen(Asked(supplier="Birch"), where=slipped)
    assert told.lots[0].library_changed
    assert [line.kind for line in told.written] == ["screening"]
    assert "old readings judged again" in told.written[0].sentence


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"row": 2}, "no row 2 with readings.*\n.*3 to 56"),
        ({"column": "IE"}, "no column 'IE'.*\n.*IB \\[mA\\]"),
        ({"file": "cage.csv"}, "no file 'cage.csv'.*\n.*bag.csv"),
    ],
)
def test_cell_that_is_not_there_is_told_with_what_is(slipped, asked, said):
    with pytest.raises(UnusableInput, match=said):
        correct(slipped, **asked)


def test_what_is_not_in_the_book_cannot_be_judged_again(slipped):
    with pytest.raises(UnusableInput, match="which lots"):
        rescreen(Asked(), where=slipped)
    with pytest.raises(UnusableInput, match="close names: bag"):
        rescreen(Asked(lot="bagg"), where=slipped)
    with pytest.raises(UnusableInput, match="no such lot"):
        rescreen(Asked(supplier="Cedar"), where=slipped)


def test_file_name_that_leads_out_of_its_folder_does_not(tmp_path, place):
    """A name in the book is other people's text: it names a file, never a place."""
    from dataclasses import replace

    from partscreen.workflow.book.record import keep
    from tests.book.domain_runs import bag_run

    run = bag_run()
    raw = tuple(replace(one, name=f"../../{one.name}") for one in run.files)
    with Book.open(place) as book:
        keep(book, Facts(book), replace(run, files=raw))
    before = sorted(tmp_path.parent.rglob("bag.csv"))
    told = rescreen(Asked(lot="bag"), where=place)
    assert not told.not_done
    assert sorted(tmp_path.parent.rglob("bag.csv")) == before
