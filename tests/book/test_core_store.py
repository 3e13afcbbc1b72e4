"""Open, append, read, on both databases."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partscreen.book.canonical import canonical_bytes, parse
from partscreen.book.chain import GENESIS, entry_hash
from partscreen.book.keys import keys_of
from partscreen.book.store import Blob, Book, BookError, Draft, Head
from tests.book.core_books import PHOTO, behind_its_back, filled, part_draft, plain
from tests.book.servers import BOTH, fresh_schema, needs_postgres

TEXT = st.text(st.characters(exclude_categories=["Cs"]))  # lone surrogates are no characters
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
)


def numbers(entries) -> list[int]:
    return [entry.seq for entry in entries]


def codes(caught) -> list[str]:
    return [problem.code for problem in caught.value.problems]


@needs_postgres
def test_the_tests_of_the_book_run_on_postgresql_as_well():
    """Skipped, it says that the half of these tests that needs a server was left out."""
    assert BOTH == ["sqlite", "postgres"]
    with fresh_schema() as url, Book.open(url) as book:
        assert book.place.path is None


def test_an_empty_book_has_the_head_of_64_zeros(book):
    assert book.head() == Head(0, GENESIS)
    assert list(book.entries()) == []
    assert book.verify().ok


def test_what_is_appended_is_there_for_the_next_to_open(book, where):
    written = filled(book)
    book.close()
    with Book.open(where, create=False) as again:
        assert list(again.entries()) == written
        assert again.head() == Head(written[-1].seq, written[-1].hash)
        assert again.entry(3) == written[2]
        assert again.blob(PHOTO.sha256) == PHOTO


def test_each_hash_covers_the_one_before_and_the_stored_bytes(book):
    written = filled(book)
    with behind_its_back(book) as run:
        bodies = [bytes(body) for (body,) in run("SELECT body FROM entry ORDER BY seq")]
    last = GENESIS
    for entry, body in zip(written, bodies, strict=True):
        assert entry.prev_hash == last
        last = entry_hash(last, entry.kind, entry.recorded_at, body)
        assert entry.hash == last
        assert body == canonical_bytes(entry.body)


@given(st.dictionaries(TEXT, JSON, max_size=6))
def test_canonical_bytes_lose_nothing_and_are_the_same_again(body):
    once = canonical_bytes(body)
    assert parse(once) == body
    assert canonical_bytes(parse(once)) == once


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_comes_back_to_the_last_bit(value):
    back = parse(canonical_bytes({"x": value}))["x"]
    assert back == value
    assert math.copysign(1, back) == math.copysign(1, value)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"a": {"b": [1.0, math.nan]}}, "a.b[1] is nan"),
        ({"a": math.inf}, "a is inf"),
        ({"a": {1: 2}}, "a has the key 1"),
        ({"a": b"x"}, "a is a bytes"),
        ({"part": 7}, "part is 7"),
        ({"part": ""}, "part is ''"),
        ({"lot": "a\0b"}, "zero byte"),
        ({"job": "x" * 401}, "longer"),
        ({"supersedes": True}, "supersedes is True"),
        ({"blobs": ["abc"]}, "no sha256"),
        ({"text": "\ud800"}, "broken character"),
    ],
)
def test_a_body_that_cannot_be_kept_exactly_is_refused_with_its_place(tmp_path, body, said):
    with Book.open(tmp_path / "book.sqlite") as book:
        with pytest.raises(BookError) as caught:
            book.append([part_draft(1), Draft("part", body)])
        assert said in str(caught.value)
        assert "entry 2" in str(caught.value)
        assert book.head().seq == 0


def test_every_bad_draft_is_named_at_once_and_none_is_written(book):
    with pytest.raises(BookError) as caught:
        book.append([part_draft(1), Draft("part", {"x": math.nan}), Draft("No Kind", {}), Draft("part", {"lot": 3})])
    assert [problem.where for problem in caught.value.problems] == [
        "entry 2 (part)",
        "entry 3 (No Kind)",
        "entry 4 (part)",
    ]
    assert book.head().seq == 0


def test_entries_are_found_by_each_key_and_by_several(book):
    filled(book)
    book.append([part_draft(3, lot="B2"), part_draft(3, supplier="second supplier")])
    assert numbers(book.entries(part="3", lot="A1", supplier="first supplier")) == [4]
    assert numbers(book.entries(part="3", lot="A1")) == [4, 14, 18]
    assert numbers(book.entries(lot="A1", kind="fitted")) == [14]
    assert numbers(book.entries(supplier="first supplier", kind="lot")) == [13]
    assert numbers(book.entries(type="invented", kind="part", limit=2)) == [1, 2]
    assert numbers(book.entries(job="J-7")) == numbers(book.entries(session="s1")) == [14]
    assert numbers(book.entries(supersedes=3)) == [16]
    assert numbers(book.entries(kind="part", lot="nowhere")) == []


def test_two_lots_of_one_name_from_two_suppliers_live_side_by_side(book):
    book.append([part_draft(1, supplier="first supplier"), part_draft(1, supplier="second supplier")])
    assert numbers(book.entries(lot="A1", supplier="first supplier")) == [1]
    assert numbers(book.entries(lot="A1", supplier="second supplier", part="1")) == [2]


def test_reading_goes_through_pages_in_both_directions_and_keeps_limits(book):
    book.append([part_draft(i) for i in range(1203)])
    assert numbers(book.entries()) == list(range(1, 1204))
    assert numbers(book.entries(lot="A1", newest_first=True)) == list(range(1203, 0, -1))
    assert numbers(book.entries(after=1200)) == [1201, 1202, 1203]
    assert numbers(book.entries(after=600, newest_first=True, limit=550)) == list(range(1203, 653, -1))
    assert numbers(book.entries(limit=0)) == []


def test_a_reader_that_stops_half_way_keeps_no_writer_out(book):
    book.append([part_draft(i) for i in range(700)])
    reader = book.entries()
    next(reader)
    book.append([part_draft(700)])
    assert numbers(reader)[-1] == 701


def test_the_same_content_is_written_once_and_said_to_be_known(book):
    first = book.append([part_draft(1, content_key="file of today")])
    again = book.append([part_draft(2), part_draft(1, content_key="file of today"), part_draft(3, content_key="new")])
    assert [(entry.seq, entry.known) for entry in again] == [(2, False), (1, True), (3, False)]
    assert again[1] == first[0]
    twice = book.append([part_draft(4, content_key="twice"), part_draft(4, content_key="twice")])
    assert [(entry.seq, entry.known) for entry in twice] == [(4, False), (4, True)]
    other_kind = book.append([Draft("lot", {"lot": "A1", "content_key": "new"})])
    assert not other_kind[0].known
    assert book.find("part", "new") == again[2]
    assert book.find("kit", "new") is None
    assert book.verify().ok


def test_an_entry_that_does_not_exist_is_neither_found_nor_superseded(book):
    filled(book)
    with pytest.raises(BookError) as caught:
        book.entry(99)
    assert codes(caught) == ["ENTRY_UNKNOWN"]
    with pytest.raises(BookError) as caught:
        book.append([Draft("correction", {"supersedes": 99})])
    assert codes(caught) == ["ENTRY_UNKNOWN"]
    assert book.head().seq == 16


def test_a_blob_is_kept_once_and_only_with_an_entry_that_names_it(book):
    filled(book)
    again = Draft("observation", {"blobs": [PHOTO.sha256], "note": "the same photo"})
    book.append([again])
    book.append([again], {PHOTO.sha256: PHOTO})
    with pytest.raises(BookError, match="kept by no entry"):
        book.append([part_draft(1)], {PHOTO.sha256: PHOTO})
    with pytest.raises(BookError, match="has the content of"):
        book.append([Draft("file", {"blobs": ["0" * 64]})], {"0" * 64: PHOTO})
    with pytest.raises(BookError, match="is missing"):
        book.append([Draft("file", {"blobs": ["0" * 64]})])
    other = Blob(b"four", "text/csv")
    use = {"sha256": other.sha256, "size": 3}
    with pytest.raises(BookError, match="its entry says 3"):
        book.append([Draft("file", {"blobs": [use]})], {other.sha256: other})
    assert book.head().seq == 18
    assert book.verify().ok


def test_an_erased_photo_is_gone_from_the_disk_and_its_tombstone_stays(book):
    filled(book)
    tombstone = book.erase_blob(PHOTO.sha256, "a face was seen")
    assert tombstone.kind == "erased"
    assert tombstone.body["why"] == "a face was seen"
    assert book.blob(PHOTO.sha256) is None
    assert book.verify().ok
    if book.place.path is not None:
        assert b"invented photo" not in book.place.path.read_bytes()
    for name in (PHOTO.sha256, "0" * 64):
        with pytest.raises(BookError) as caught:
            book.erase_blob(name, "again")
        assert codes(caught) == ["BLOB_UNKNOWN"]
    with pytest.raises(BookError) as caught:
        book.append([Draft("observation", {"blobs": [PHOTO.sha256]})], {PHOTO.sha256: PHOTO})
    assert codes(caught) == ["BLOB_ERASED"]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET lot = 'B' WHERE seq = 2",
        "UPDATE entry SET body = body WHERE seq = 2",
        "DELETE FROM entry WHERE seq = 16",
        "DELETE FROM entry",
        "DELETE FROM blob",
        "UPDATE blob SET media_type = 'text/plain'",
        "UPDATE blob SET content = sha256 || '' WHERE 1 = 1",
        "INSERT INTO entry (seq, kind, recorded_at, body, prev_hash, hash) VALUES (18, 'x', '', '', '', '')",
        "INSERT INTO entry (seq, kind, recorded_at, body, prev_hash, hash) VALUES (17, 'x', '', '', 'no hash', '')",
    ],
)
def test_the_database_itself_refuses_changes(book, statement):
    filled(book)
    if book.place.path is None:
        statement = statement.replace("sha256 || ''", "convert_to(sha256, 'UTF8')")
    with pytest.raises(Exception, match="append-only"):
        plain(book, statement)
    assert book.verify().ok


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT OR REPLACE INTO entry SELECT * FROM entry WHERE seq = 5",
        "INSERT OR REPLACE INTO entry (seq, kind, recorded_at, body, prev_hash, hash, content_key) "
        "SELECT 17, 'x', '', '', hash, '', 'part:part 3' FROM entry WHERE seq = 16",
        "INSERT OR REPLACE INTO blob SELECT sha256, 3, 'abc', 'text/plain' FROM blob",
        "UPDATE OR REPLACE entry SET seq = 3 WHERE seq = 4",
    ],
)
def test_sqlites_replace_is_no_way_round_the_guards(tmp_path, statement):
    with Book.open(tmp_path / "book.sqlite") as book:
        filled(book)
        with pytest.raises(Exception, match="append-only"):
            plain(book, statement)
        assert book.verify().ok


def test_keys_depend_on_kind_and_body_alone():
    body = {"part": "1", "lot": "A", "supersedes": 3, "content_key": "k", "other": 1}
    assert keys_of("part", body) == keys_of("part", dict(reversed(body.items())))
    assert keys_of("part", body).content_key == "part:k"
    assert keys_of("lot", {}).as_tuple() == (None,) * 8
