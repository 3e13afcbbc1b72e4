"""Sets of `match` in the book: every part names the others of its set."""

import pytest

from partscreen.book.entries import MatchKept
from partscreen.book.facts import Facts
from partscreen.book.show import show_part
from partscreen.book.store import Book
from partscreen.errors import UnusableInput
from partscreen.results.matching import MatchedPart, MatchedSet, Matching
from partscreen.workflow import record_matches
from tests.book.domain_runs import part, record_bag


def matching(*pairs):
    sets = [
        MatchedSet(
            parts=[one, two],
            places=[
                MatchedPart(position=f"N{i}", part=name, lot="bag", type="2SC5200")
                for i, name in enumerate((one, two), 1)
            ],
            hfe_difference_percent=2.0,
            vbe_difference_mv=1.0,
            within_tolerance=True,
            alike_within_measurement=True,
            one_session=True,
            distance=0.1,
        )
        for one, two in pairs
    ]
    return Matching(
        version="0", kind="groups", aim="sum", settings={}, currents=[], sets=sets, total=0.1, method="exact"
    )  # fmt: skip


@pytest.fixture
def place(tmp_path):
    path = tmp_path / "book.sqlite"
    with Book.open(path) as book:
        record_bag(book)
    return str(path)


def result(folder, *pairs):
    path = folder / "hall.json"
    path.write_text(matching(*pairs).model_dump_json(by_alias=True), encoding="utf-8")
    return path


def test_every_part_names_the_others_of_its_set_and_once_is_enough(place, tmp_path):
    told = record_matches(result(tmp_path, ("T1", "T2"), ("T4", "T6")), where=place)
    assert len(told.written) == 4
    again = record_matches(result(tmp_path, ("T1", "T2"), ("T4", "T6")), where=place)
    assert (len(again.written), len(again.known)) == (0, 4)
    with Book.open(place) as book:
        facts = Facts(book)
        kept = facts.latest("match", part="T4").of(MatchKept)
        assert (kept.set, kept.position, kept.beside) == ("hall 2", "N1", [("Birch", "bag", "T6")])
        assert kept.figures["vbe_difference_mv"] == 1.0
        assert "in set hall 2, place N1, with T6" in show_part(facts, part(facts, "T4")).history[-1].sentence


def test_parts_that_are_not_in_the_book_are_told_all_at_once_and_nothing_is_written(place, tmp_path):
    with pytest.raises(UnusableInput, match="2 problem") as told:
        record_matches(result(tmp_path, ("T1", "T8"), ("T9", "T6")), where=place)
    assert {problem.part for problem in told.value.problems} == {"T8", "T9"}
    with Book.open(place) as book:
        assert Facts(book).find("match") == []


def test_file_that_is_no_result_of_match_is_refused(place, tmp_path):
    other = tmp_path / "other.json"
    other.write_text("{}", encoding="utf-8")
    with pytest.raises(UnusableInput, match=r"no result of `partscreen match`.*\n.*match --json"):
        record_matches(other, where=place)
    with pytest.raises(UnusableInput, match="holds no set"):
        record_matches(result(tmp_path), where=place)
    with pytest.raises(UnusableInput, match="cannot be read"):
        record_matches(tmp_path / "absent.json", where=place)
