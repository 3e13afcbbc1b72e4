"""A file holds values the book never writes: what cannot be read is named, and proves nothing."""

from __future__ import annotations

import pytest

from partscreen.book.keys import ERASED
from partscreen.book.store import Book, BookError
from tests.book.core_books import PHOTO, behind_its_back, filled


@pytest.fixture
def file_book(tmp_path):
    with Book.open(tmp_path / "book.sqlite") as made:
        filled(made)
        yield made


@pytest.mark.parametrize(
    ("statement", "where"),
    [
        ("UPDATE entry SET body = 1.5 WHERE seq = 4", "entry 4"),
        ("UPDATE entry SET kind = X'01' WHERE seq = 2", "entry 2"),
        ("UPDATE entry SET recorded_at = X'01' WHERE seq = 3", "entry 3"),
        ("UPDATE entry SET prev_hash = X'01' WHERE seq = 5", "entry 5"),
        ("UPDATE entry SET hash = X'01' WHERE seq = 16", "entry 16"),
        ("UPDATE blob SET size = 'long'", "a file or photo"),
        ("UPDATE blob SET media_type = X'01'", "a file or photo"),
    ],
)
def test_a_value_of_another_kind_than_the_book_writes_is_named_with_its_entry(file_book, statement, where):
    with behind_its_back(file_book) as run:
        run(statement)
    with pytest.raises(BookError) as caught:
        file_book.verify()
    (problem,) = caught.value.problems
    assert problem.code == "BOOK_CORRUPT"
    assert f"{where} holds another kind of value" in problem.what
    assert "restore the last backup" in problem.fix


def test_a_tombstone_that_cannot_be_read_does_not_say_that_a_photo_was_erased(file_book):
    file_book.erase_blob(PHOTO.sha256, "a face in it")
    assert file_book.verify().ok
    with behind_its_back(file_book) as run:
        run("UPDATE entry SET body = X'7B' WHERE kind = ?", ERASED)
        assert run("SELECT changes()") == [(1,)]
    told = [finding.what for finding in file_book.verify().findings]
    assert any(f"the content of the file or photo {PHOTO.sha256} is gone" in what for what in told)


def test_a_tombstone_of_another_photo_does_not_excuse_this_one(file_book):
    file_book.erase_blob(PHOTO.sha256, "a face in it")
    with behind_its_back(file_book) as run:
        run("UPDATE blob SET sha256 = ?", "0" * 64)
    told = [finding.what for finding in file_book.verify().findings]
    assert any(f"{'0' * 64} is gone, and no entry says it was erased" in what for what in told)
