"""Verify finds every change, cut and rewrite, and is silent about a book nobody touched."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from partscreen.book.canonical import canonical_bytes
from partscreen.book.chain import GENESIS, entry_hash
from partscreen.book.keys import KEY_COLUMNS
from partscreen.book.store import Book, BookError, Draft
from tests.book.core_books import PHOTO, behind_its_back, filled, part_draft

COLUMNS = {"kind": "kit", "recorded_at": "2020-01-01T00:00:00.000000Z", "prev_hash": "1" * 64, "hash": "2" * 64}
COLUMNS |= dict.fromkeys(KEY_COLUMNS, "other") | {"supersedes": 2}


def said(book: Book, head: str | None = None) -> str:
    told = book.verify(head)
    assert told.ok == (not told.findings)
    return "\n".join(f"{finding.seq}: {finding.what}" for finding in told.findings)


@pytest.mark.parametrize("column", sorted(COLUMNS))
def test_a_change_of_any_column_of_any_entry_is_found(book, column):
    written = filled(book)
    for seq in (1, 7, 16):
        with behind_its_back(book) as run:
            ((before,),) = run(f"SELECT {column} FROM entry WHERE seq = ?", seq)
            run(f"UPDATE entry SET {column} = ? WHERE seq = ?", COLUMNS[column], seq)
        assert f"{seq}: " in said(book), (column, seq)
        with behind_its_back(book) as run:
            run(f"UPDATE entry SET {column} = ? WHERE seq = ?", before, seq)
    assert said(book, written[-1].hash) == ""


def test_a_key_column_made_empty_is_found(book):
    filled(book)
    with behind_its_back(book) as run:
        run("UPDATE entry SET lot = NULL WHERE seq = 5")
    assert "5: its search key lot is None, its body says 'A1'" in said(book)


def test_a_change_of_any_byte_of_a_body_is_found(book):
    filled(book)
    rng = random.Random(11)
    with behind_its_back(book) as run:
        bodies = {seq: bytes(body) for seq, body in run("SELECT seq, body FROM entry")}
    tried = [(seq, at) for seq in (1, 13, 16) for at in range(len(bodies[seq]))]
    for seq, at in rng.sample(tried, 60 if book.place.path is not None else 30):
        changed = bytearray(bodies[seq])
        changed[at] ^= rng.randrange(1, 256)
        with behind_its_back(book) as run:
            run("UPDATE entry SET body = ? WHERE seq = ?", bytes(changed), seq)
        assert f"{seq}: was changed" in said(book)
        with behind_its_back(book) as run:
            run("UPDATE entry SET body = ? WHERE seq = ?", bodies[seq], seq)
    assert said(book) == ""


def test_the_same_content_in_other_bytes_is_found(book):
    book.append([Draft("kit", {"a": 1.5, "b": 2})])
    with behind_its_back(book) as run:
        run("UPDATE entry SET body = ? WHERE seq = 1", b'{"b":2, "a":1.5}')
    assert "1: was changed" in said(book)


def test_a_body_stored_as_text_instead_of_bytes_still_verifies_by_its_bytes(tmp_path):
    with Book.open(tmp_path / "book.sqlite") as book:
        filled(book)
        with behind_its_back(book) as run:
            run("UPDATE entry SET body = CAST(body AS TEXT) WHERE seq = 2")
        assert said(book) == ""


@pytest.mark.parametrize("gone", ["seq = 1", "seq = 7", "seq BETWEEN 5 AND 9"])
def test_an_entry_cut_out_of_the_middle_or_the_beginning_is_found(book, gone):
    filled(book)
    with behind_its_back(book) as run:
        run(f"DELETE FROM entry WHERE {gone}")
    assert "entries between are missing" in said(book)


def test_a_gap_closed_by_renumbering_is_found(book):
    filled(book)
    with behind_its_back(book) as run:
        run("DELETE FROM entry WHERE seq = 16")
        run("DELETE FROM entry WHERE seq = 14")
        run("UPDATE entry SET seq = 14 WHERE seq = 15")
    assert "14: does not continue" in said(book)


def test_two_entries_that_changed_places_are_found(book):
    filled(book)
    with behind_its_back(book) as run:
        run("UPDATE entry SET seq = 100 WHERE seq = 4")
        run("UPDATE entry SET seq = 4 WHERE seq = 5")
        run("UPDATE entry SET seq = 5 WHERE seq = 100")
    assert "4: does not continue" in said(book)


def test_a_cut_tail_is_found_against_the_printed_head_and_only_against_it(book):
    written = filled(book)
    with behind_its_back(book) as run:
        run("DELETE FROM entry WHERE seq > 14")
    assert said(book) == ""
    assert "the end was cut off" in said(book, written[-1].hash)
    assert said(book, written[13].hash) == ""
    assert book.verify(written[9].hash).head_found == 10


def test_a_chain_written_anew_is_found_against_the_printed_head(book):
    written = filled(book)
    with behind_its_back(book) as run:
        last, rows = GENESIS, run("SELECT seq, kind, recorded_at, body FROM entry ORDER BY seq")
        for seq, kind, recorded_at, body in rows:
            new = bytes(body).replace(b'"hfe":100.5', b'"hfe":180.5')
            digest = entry_hash(last, kind, recorded_at, new)
            run("UPDATE entry SET body = ?, prev_hash = ?, hash = ? WHERE seq = ?", new, last, digest, seq)
            last = digest
    assert said(book) == ""
    for entry in written:
        assert "written anew" in said(book, entry.hash)


def test_a_forged_entry_put_at_the_end_is_found_unless_it_is_well_made(book):
    filled(book)
    with behind_its_back(book) as run:
        run(
            "INSERT INTO entry (seq, kind, recorded_at, body, prev_hash, hash) VALUES (17, 'lot', ?, ?, ?, ?)",
            "yesterday",
            canonical_bytes({"lot": "A1"}),
            book.head().hash,
            "3" * 64,
        )
    told = said(book)
    assert "17: was changed" in told
    assert "none that the book writes" in told
    assert "search key lot" in told


def test_a_head_may_be_typed_from_paper_in_part_with_spaces_and_capitals(book):
    written = filled(book)
    typed = f"{written[6].hash[:8]} {written[6].hash[8:20]}".upper()
    assert book.verify(typed).head_found == 7
    assert book.verify("0" * 16).head_found == 0
    for wrong in ("abc", "z" * 64, "1" * 65, ""):
        with pytest.raises(BookError) as caught:
            book.verify(wrong)
        assert caught.value.problems[0].code == "HEAD_FORM"


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("DELETE FROM blob", "15: the file or photo {sha} is missing"),
        ("UPDATE blob SET content = NULL", "no entry says it was erased"),
        ("UPDATE blob SET content = 'x'", "was changed: its content no longer gives its hash and size"),
        ("UPDATE blob SET size = 3", "15: the file or photo {sha} has 3 bytes"),
        ("UPDATE blob SET media_type = 'image/png'", "15: the file or photo {sha} is image/png"),
    ],
)
def test_a_missing_or_changed_blob_is_found(book, statement, found):
    filled(book)
    with behind_its_back(book) as run:
        run(statement)
    assert found.format(sha=PHOTO.sha256) in said(book)


def test_a_changed_byte_of_a_photo_is_found(book):
    filled(book)
    changed = bytearray(PHOTO.content)
    changed[5000] ^= 1
    with behind_its_back(book) as run:
        run("UPDATE blob SET content = ?", bytes(changed))
    assert "was changed: its content" in said(book)


@pytest.mark.parametrize("guard", ["entry_no_change", "entry_no_delete", "entry_in_order", "blob_only_erase"])
def test_a_guard_taken_from_the_database_is_found(book, guard):
    filled(book)
    with behind_its_back(book) as run:
        if book.place.path is None:
            run(f"DROP TRIGGER {guard} ON {guard.split('_')[0]}")
    if book.place.path is not None:
        with closing(sqlite3.connect(book.place.path)) as raw:
            raw.execute(f"DROP TRIGGER {guard}")
    assert f"the guard {guard} against changes is gone" in said(book)


@pytest.mark.parametrize(
    ("made", "told"),
    [
        ("DROP TRIGGER entry_no_change; CREATE TRIGGER entry_no_change BEFORE UPDATE ON entry BEGIN SELECT 1; END",
         "the guard entry_no_change against changes is another one"),
        ("CREATE TRIGGER helper AFTER INSERT ON entry BEGIN DELETE FROM meta; END",
         "the database does something by itself that the book never asked for: the trigger 'helper'"),
    ],
)  # fmt: skip
def test_a_trigger_that_the_book_never_made_is_found_and_such_a_copy_is_not_restored(tmp_path, made, told):
    place = tmp_path / "book.sqlite"
    with Book.open(place) as book:
        filled(book)
    with closing(sqlite3.connect(place)) as raw:
        raw.executescript(made)
    with Book.open(place) as book:
        assert told in said(book)
    with pytest.raises(BookError, match="does not verify"):
        Book.restore(place, tmp_path / "other.sqlite")
    assert not (tmp_path / "other.sqlite").exists()


def test_a_byte_changed_anywhere_in_the_file_is_found_or_changes_no_entry(tmp_path):
    path = tmp_path / "book.sqlite"
    with Book.open(path) as book:
        written = filled(book)
    good = path.read_bytes()
    rng, told, unharmed = random.Random(5), 0, 0
    for _ in range(80):
        changed = bytearray(good)
        at = rng.randrange(len(changed))
        changed[at] ^= 1 << rng.randrange(8)
        path.write_bytes(changed)
        try:
            with Book.open(path, create=False) as book:
                if not book.verify(written[-1].hash).ok:
                    told += 1
                    continue
                assert list(book.entries()) == written, at
                assert book.blob(PHOTO.sha256) == PHOTO, at
                unharmed += 1
        except BookError:
            told += 1
    assert told > 8
    assert unharmed > 8  # most of a small file is empty space: a check that cried at everything would fail here


def test_many_findings_are_counted_and_the_first_are_kept(book):
    book.append([part_draft(i) for i in range(300)])
    with behind_its_back(book) as run:
        run("UPDATE entry SET lot = 'other'")
    told = book.verify()
    assert len(told.findings) == 200
    assert told.more_findings == 100
    assert not told.ok
    assert told.entries == 300


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["part", "lot", "fitted"]),
            st.dictionaries(
                st.text(st.characters(exclude_categories=["Cs"])), st.floats(allow_nan=False, allow_infinity=False)
            ),
            st.none()
            | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=20),
        ),
        max_size=20,
    )
)
def test_a_book_nobody_touched_is_never_called_changed(tmp_path_factory, drafts):
    with Book.open(tmp_path_factory.mktemp("clean") / "book.sqlite") as book:
        made = [Draft(kind, {"figures": figures, "lot": lot}) for kind, figures, lot in drafts]
        book.append(made)
        told = book.verify(book.head().hash)
        assert told.ok
        assert told.entries == len(made)
