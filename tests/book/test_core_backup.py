"""A copy holds the same entries and hashes, comes from either database and goes back to either."""

from __future__ import annotations

import itertools
import threading

import pytest

from partscreen.book.store import Book, BookError
from tests.book.core_books import PHOTO, behind_its_back, filled, part_draft
from tests.book.servers import BOTH, fresh_schema


@pytest.fixture(params=BOTH)
def elsewhere(request, tmp_path):
    """A second empty place, so that every pair of databases is tried."""
    if request.param == "sqlite":
        yield str(tmp_path / "restored.sqlite")
    else:
        with fresh_schema() as url:
            yield url


def bytes_of(book: Book) -> list[tuple]:
    with behind_its_back(book) as run:
        rows = run("SELECT * FROM entry ORDER BY seq") + run("SELECT * FROM blob ORDER BY sha256")
    return [tuple(bytes(v) if isinstance(v, memoryview) else v for v in row) for row in rows]


def code(caught) -> str:
    return caught.value.problems[0].code


def test_a_restored_copy_holds_the_same_bytes_and_goes_on_with_the_chain(book, elsewhere, tmp_path):
    filled(book, 1500)
    head = book.backup(tmp_path / "copy.sqlite")
    assert head == book.head()
    with Book.restore(tmp_path / "copy.sqlite", elsewhere) as again:
        assert bytes_of(again) == bytes_of(book)
        assert again.blob(PHOTO.sha256) == PHOTO
        assert again.verify(head.hash).ok
        assert again.append([part_draft(1)])[0].prev_hash == head.hash
        assert book.head() == head


def test_an_erased_photo_stays_erased_in_the_copy(book, elsewhere, tmp_path):
    filled(book)
    book.erase_blob(PHOTO.sha256, "a face")
    book.backup(tmp_path / "copy.sqlite")
    assert b"invented photo" not in (tmp_path / "copy.sqlite").read_bytes()
    with Book.restore(tmp_path / "copy.sqlite", elsewhere) as again:
        assert again.blob(PHOTO.sha256) is None
        assert again.verify().ok


def test_nothing_is_ever_overwritten(book, elsewhere, tmp_path):
    filled(book)
    book.backup(tmp_path / "copy.sqlite")
    before = (tmp_path / "copy.sqlite").read_bytes()
    with pytest.raises(BookError) as caught:
        book.backup(tmp_path / "copy.sqlite")
    assert code(caught) == "BOOK_EXISTS"
    assert (tmp_path / "copy.sqlite").read_bytes() == before
    with Book.open(elsewhere) as other:
        other.append([part_draft(7)])
        with pytest.raises(BookError) as caught:
            Book.restore(tmp_path / "copy.sqlite", elsewhere)
        assert code(caught) == "BOOK_EXISTS"
        assert other.head().seq == 1
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_damaged_copy_is_not_restored(book, elsewhere, tmp_path):
    filled(book)
    book.backup(tmp_path / "copy.sqlite")
    with Book.open(tmp_path / "copy.sqlite") as copy, behind_its_back(copy) as run:
        run("UPDATE entry SET lot = 'other' WHERE seq = 4")
    with pytest.raises(BookError) as caught:
        Book.restore(tmp_path / "copy.sqlite", elsewhere)
    assert code(caught) == "BACKUP_DAMAGED"
    (tmp_path / "text.sqlite").write_text("no book\n" * 1000)
    for name, expected in (("text.sqlite", "NOT_A_BOOK"), ("missing.sqlite", "BOOK_MISSING")):
        with pytest.raises(BookError) as caught:
            Book.restore(tmp_path / name, elsewhere)
        assert code(caught) == expected
    with Book.open(elsewhere) as other:
        assert other.head().seq == 0


def test_a_copy_made_while_others_write_is_a_whole_book(book, where, tmp_path):
    filled(book)
    stop = threading.Event()

    def write() -> None:
        with Book.open(where) as mine:
            for i in itertools.count():
                if stop.is_set():
                    return
                mine.append([part_draft(i), part_draft(i)])

    writer = threading.Thread(target=write)
    writer.start()
    try:
        heads = [book.backup(tmp_path / f"copy{i}.sqlite") for i in range(4)]
    finally:
        stop.set()
        writer.join()
    for i, head in enumerate(heads):
        assert (head.seq - 16) % 2 == 0  # both entries of a transaction or none
        with Book.open(tmp_path / f"copy{i}.sqlite") as copy:
            assert copy.verify(head.hash).ok
            assert copy.head() == head
        assert book.verify(head.hash).ok


def test_a_folder_that_is_missing_is_told(book, tmp_path):
    with pytest.raises(BookError) as caught:
        book.backup(tmp_path / "nowhere" / "copy.sqlite")
    assert code(caught) == "BOOK_CANNOT_OPEN"
