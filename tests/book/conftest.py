"""Every test that asks for `where` or `book` runs twice: on an SQLite file and in a PostgreSQL schema."""

from __future__ import annotations

import pytest

from partscreen.book.store import Book
from tests.book.servers import BOTH, fresh_schema


@pytest.fixture(params=BOTH)
def where(request, tmp_path):
    """The place of a book that does not exist yet: a path or a URL."""
    if request.param == "sqlite":
        yield str(tmp_path / "book.sqlite")
    else:
        with fresh_schema() as url:
            yield url


@pytest.fixture
def book(where):
    """A new, empty book."""
    with Book.open(where) as made:
        yield made
