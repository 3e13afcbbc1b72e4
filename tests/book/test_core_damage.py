"""Damage that one check alone sees, books longer than a page, and bodies at the edge of what JSON holds."""

from __future__ import annotations

import json
import sqlite3
from collections import UserDict
from contextlib import closing
from types import MappingProxyType

import pytest

from partscreen.book import verify as verifying
from partscreen.book.canonical import canonical_bytes, parse, parse_whole
from partscreen.book.chain import entry_hash, now
from partscreen.book.store import Blob, Book, Draft
from tests.book.core_books import PHOTO, behind_its_back, filled, part_draft

OTHER = Blob(b"\x89PNG another invented picture", "image/png")


def photo_draft(photo: Blob) -> Draft:
    use = {"sha256": photo.sha256, "size": len(photo.content), "media_type": photo.media_type}
    return Draft("observation", {"schema": 1, "blobs": [use]})


def told(book: Book) -> list[tuple[int, str]]:
    return [(finding.seq, finding.what) for finding in book.verify().findings]


@pytest.fixture
def file_book(tmp_path):
    with Book.open(tmp_path / "book.sqlite") as made:
        filled(made)
        yield made


def test_damage_that_no_entry_shows_is_found_by_the_check_of_the_database_itself(file_book):
    with closing(sqlite3.connect(file_book.place.path, isolation_level=None)) as raw:
        raw.execute("PRAGMA writable_schema = ON")
        raw.execute("DELETE FROM sqlite_master WHERE type = 'index' AND name = 'entry_supplier'")
    found = told(file_book)
    assert found
    assert {seq for seq, _ in found} == {0}  # of the book as a whole: no entry is to blame
    assert all(what.startswith("the file is damaged: ") for _, what in found)
    assert not file_book.verify().ok


@pytest.mark.parametrize(
    ("made", "what"),
    [
        ("DROP TRIGGER entry_no_change", "the guard entry_no_change against changes is gone from the database"),
        ("DROP TRIGGER blob_once; CREATE TRIGGER blob_once AFTER INSERT ON blob BEGIN SELECT 1; END",
         "the guard blob_once against changes is another one than the book made"),
        ("CREATE TRIGGER helper AFTER INSERT ON entry BEGIN SELECT 1; END",
         "the database does something by itself that the book never asked for: the trigger 'helper'"),
    ],
)  # fmt: skip
def test_a_guard_that_is_not_as_the_book_made_it_is_told_of_the_book_as_a_whole(file_book, made, what):
    with closing(sqlite3.connect(file_book.place.path)) as raw:
        raw.executescript(made)
    assert told(file_book) == [(0, what)]


def test_a_whole_book_has_nothing_told_of_it_and_ends_at_its_head(book):
    written = filled(book)
    checked = book.verify()
    assert (checked.ok, checked.findings, checked.more_findings) == (True, (), 0)
    assert (checked.entries, checked.head) == (len(written), book.head())
    assert (checked.head.seq, checked.head.hash) == (written[-1].seq, written[-1].hash)
    assert (checked.head_asked, checked.head_found) == (None, None)
    assert [book.verify(entry.hash).head_found for entry in written] == [entry.seq for entry in written]


@pytest.mark.parametrize("page", [1, 3, 16, 17])
def test_a_book_longer_than_a_page_is_read_to_its_end_and_every_entry_once(book, monkeypatch, page):
    monkeypatch.setattr(verifying, "_PAGE", page)
    written = filled(book)
    book.append([photo_draft(OTHER)], {OTHER.sha256: OTHER})
    assert book.verify().entries == len(written) + 1 == 17
    assert told(book) == []
    with behind_its_back(book) as run:
        for seq in (1, 3, 16):
            run("UPDATE entry SET lot = 'other' WHERE seq = ?", seq)
        run("UPDATE blob SET content = ?", b"x")
    found = told(book)
    assert [seq for seq, what in found if "search key lot" in what] == [1, 3, 16]
    changed = [what for seq, what in found if seq == 0]
    assert sorted(what.split()[4] for what in changed) == sorted([PHOTO.sha256, OTHER.sha256])


def test_a_changed_size_or_content_of_a_photo_is_told_of_the_photo_itself(book):
    filled(book)
    with behind_its_back(book) as run:
        run("UPDATE blob SET size = size + 1")
    assert (0, f"the file or photo {PHOTO.sha256} was changed: its content no longer gives its hash and size") in told(
        book
    )
    same_size = bytes(reversed(PHOTO.content))
    with behind_its_back(book) as run:
        run("UPDATE blob SET size = ?, content = ?", len(same_size), same_size)
    assert [seq for seq, _ in told(book)] == [0]


def test_erased_photos_are_no_finding_each_by_its_own_entry(book):
    filled(book)
    book.append([photo_draft(OTHER)], {OTHER.sha256: OTHER})
    book.erase_blob(PHOTO.sha256, "a face in it")
    book.erase_blob(OTHER.sha256, "another face in it")
    assert told(book) == []
    with behind_its_back(book) as run:
        run("DELETE FROM entry WHERE seq = (SELECT max(seq) FROM entry)")
    assert told(book) == [
        (0, f"the content of the file or photo {OTHER.sha256} is gone, and no entry says it was erased")
    ]


def test_several_things_wrong_with_one_entry_are_each_told(book):
    filled(book)
    with behind_its_back(book) as run:
        run("UPDATE entry SET prev_hash = ?, recorded_at = 'yesterday', supplier = NULL WHERE seq = 7", "4" * 64)
    found = [what for seq, what in told(book) if seq == 7]
    assert [what.split(":")[0] for what in found] == [
        "does not continue the entry before it", "its kind or time is none that the book writes", "was changed",
        "its search key supplier is None, its body says 'first supplier'",
    ]  # fmt: skip
    assert {seq for seq, _ in told(book)} == {7}  # its own hash stands, so the next one continues it


def test_an_entry_numbered_wrongly_is_told_with_the_number_it_follows(book):
    filled(book)
    with behind_its_back(book) as run:
        run("UPDATE entry SET seq = 20 WHERE seq = 16")
    assert told(book) == [(20, "follows entry 15: entries between are missing or its number was changed")]


def test_an_entry_whose_body_cannot_be_read_is_told_once_and_the_rest_is_checked(book):
    filled(book)
    head, when = book.head(), now()
    with behind_its_back(book) as run:
        for seq, body in ((17, b'{"lot": 1e999}'), (18, b'{"lot":"A1"}')):
            digest = entry_hash(head.hash, "lot", when, body)
            run(
                "INSERT INTO entry (seq, kind, recorded_at, body, prev_hash, hash) VALUES (?, 'lot', ?, ?, ?, ?)",
                seq, when, body, head.hash, digest,
            )  # fmt: skip
            head = type(head)(seq, digest)
    assert told(book) == [
        (17, "its body cannot be read: lot is inf; write null for a value that is not known"),
        (18, "its search key lot is None, its body says 'A1'"),
    ]


def test_findings_up_to_the_most_shown_are_all_shown(book, monkeypatch):
    monkeypatch.setattr(verifying, "MOST_FINDINGS", 4)
    book.append([part_draft(i) for i in range(6)])
    for damaged, more in ((4, 0), (5, 1), (6, 2)):
        with behind_its_back(book) as run:
            run("UPDATE entry SET lot = 'other' WHERE seq <= ?", damaged)
        checked = book.verify()
        assert ([finding.seq for finding in checked.findings], checked.more_findings) == ([1, 2, 3, 4], more)


def test_a_body_is_of_dicts_with_text_keys_at_every_depth():
    for body, place in ((MappingProxyType({"a": 1}), "the body"), ({"a": [UserDict(b=1)]}, r"a\[0\]")):
        with pytest.raises(ValueError, match=f"^{place} is a .*, not a dict"):
            canonical_bytes(body)
    with pytest.raises(ValueError, match=r"^a\[1\]\.b has the key None, which is no text"):
        canonical_bytes({"a": [0, {"b": {None: 1}}]})
    for plain in (None, True, False, 0, -3, 2**70, "", "x", -0.0, 1e308, [], {}, ()):
        assert json.loads(canonical_bytes({"a": plain})) == {"a": list(plain) if plain == () else plain}


@pytest.mark.parametrize("deep", [b'{"a":' * 200_000, b'{"a":' + b"[" * 200_000])
def test_a_body_nested_without_end_is_refused_and_not_a_crash(deep):
    for reads in (parse, parse_whole):
        with pytest.raises(ValueError, match="nested too deep"):
            reads(deep)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('{"a":[1,{"b":1e999}]}', r"^a\[1\]\.b is inf; write null"),
        ('{"a":-1e999}', "^a is -inf"),
        ('{"a":"\\ud800"}', "broken character"),
        ('{"\\udfff":1}', "broken character"),
        ('{"a":NaN}', "^the body holds NaN, which is no figure"),
        ('{"a":-Infinity}', "^the body holds -Infinity, which is no figure"),
    ],
)
def test_what_the_book_could_not_have_written_is_refused_when_read_whole(body, said):
    for form in (body, body.encode()):
        with pytest.raises(ValueError, match=said):
            parse_whole(form)


def test_the_word_infinity_in_a_text_is_a_text():
    body = {"note": "Infinity", "Infinity": ["NaN", "-Infinity"], "figure": 1.5}
    assert parse_whole(canonical_bytes(body)) == body
    assert parse(canonical_bytes(body).decode()) == body


def test_the_quick_reading_leaves_figures_without_end_to_the_whole_one():
    assert parse(b'{"a":1e999}') == {"a": float("inf")}
    assert parse_whole(b'{"a":1e308}') == {"a": 1e308}
