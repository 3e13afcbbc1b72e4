"""Every test that asks for `where` or `book` runs twice: on an SQLite file and in a PostgreSQL schema."""

from __future__ import annotations

import pytest

from partscreen.book import engine
from partscreen.book.store import Book
from tests.book.servers import BOTH, fresh_schema

PRAGMAS = engine._SQLITE_PRAGMAS  # as the program uses them


@pytest.fixture(scope="module", autouse=True)
def no_waiting_for_the_disk():
    """A power cut is not part of these tests; waiting for a busy disk would make up most of their time.

    Processes of their own (crashes, eight writers) keep the settings of the program.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "_SQLITE_PRAGMAS", (*PRAGMAS, "PRAGMA synchronous = OFF"))
        yield


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
