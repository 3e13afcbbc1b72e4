"""The bench book: open, append, read. Nothing in it is ever changed; a correction is a new entry."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Self

from sqlalchemy import Connection, Engine

from partscreen.book import backup, verify
from partscreen.book.blobs import Blob, clear_blob, get_blob, known_blobs
from partscreen.book.chain import Head, now
from partscreen.book.drafts import Draft, prepare, write
from partscreen.book.engine import make_engine, open_sqlite, reading, writing
from partscreen.book.errors import BookError, explained, fault
from partscreen.book.keys import ERASED, content_column
from partscreen.book.migrate import NEWEST, upgrade, version_of
from partscreen.book.rows import PAGE, Entry, by_content, head_of, one_entry, page_query, pages
from partscreen.book.urls import Place, find_place

__all__ = ["Blob", "Book", "BookError", "Draft", "Entry", "Head"]

_NO_BLOBS: Mapping[str, Blob] = MappingProxyType({})


class Book:
    """An append-only, hash-chained record in an SQLite file or a PostgreSQL database. Make one with `Book.open`."""

    def __init__(self, place: Place, engine: Engine) -> None:
        self.place = place
        self._engine = engine

    def __repr__(self) -> str:
        return f"Book({self.place.shown!r})"

    @classmethod
    def open(cls, where: str | Path | None = None, *, create: bool = True) -> Self:
        """Open the book at a path or URL, make it where there is none, and bring an older one to this version.

        Without `where` the variable PARTSCREEN_BOOK is asked, then the platform's data folder.

        Raises
        ------
        UnusableInput
            The place cannot be understood.
        BookError
            BOOK_MISSING (and `create` is false), NOT_A_BOOK, BOOK_NEWER, BOOK_CORRUPT, BOOK_UNREACHABLE,
            BOOK_PASSWORD, BOOK_NO_DATABASE, BOOK_READ_ONLY, BOOK_CANNOT_OPEN and the like.
        """
        place = find_place(where)
        book = cls(place, make_engine(place))
        try:
            with explained(place):
                _make_file(place, create=create)
                with reading(book._engine) as connection:
                    version = version_of(connection, place)
                if version is None and not create:
                    raise _missing(place)
                if version != NEWEST:
                    with writing(book._engine) as connection:
                        _bring_up(connection, place)
        except BaseException:
            book.close()
            raise
        return book

    def close(self) -> None:
        """Give back every connection."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def append(self, drafts: Sequence[Draft], blobs: Mapping[str, Blob] = _NO_BLOBS) -> list[Entry]:
        """Write entries, and the blobs they keep (by sha256), in one transaction; all of them or none.

        When it returns, they are on disk. A draft whose kind and content key are already in the book is not written
        again: the entry found is returned, `known`.

        Raises
        ------
        BookError
            A body or blob that cannot be written (all are listed), or a book that takes no writes; nothing was
            recorded then.
        """
        ready = prepare(drafts, blobs)
        with explained(self.place), writing(self._engine) as connection:
            return write(connection, ready, blobs, now())

    def entries(
        self,
        *,
        kind: str | None = None,
        part: str | None = None,
        lot: str | None = None,
        supplier: str | None = None,
        type: str | None = None,
        job: str | None = None,
        session: str | None = None,
        supersedes: int | None = None,
        after: int = 0,
        newest_first: bool = False,
        limit: int | None = None,
    ) -> Iterator[Entry]:
        """Entries that have all the keys given, in the order of writing or newest first; read page by page.

        `after` leaves out entries up to that number. Entries appended while reading may or may not come along.
        """
        given = {
            "kind": kind,
            "part": part,
            "lot": lot,
            "supplier": supplier,
            "type": type,
            "job": job,
            "session": session,
            "supersedes": supersedes,
        }
        wanted = {name: value for name, value in given.items() if value is not None}
        before: int | None = None
        left = limit
        while left is None or left > 0:
            size = PAGE if left is None else min(PAGE, left)
            query = page_query(wanted, after=after, before=before, newest_first=newest_first).limit(size)
            with explained(self.place), reading(self._engine) as connection:
                page = list(pages(connection, query))
            yield from page
            if len(page) < size:
                return
            left = None if left is None else left - len(page)
            after, before = (after, page[-1].seq) if newest_first else (page[-1].seq, None)

    def entry(self, seq: int) -> Entry:
        """The entry of this number.

        Raises
        ------
        BookError
            ENTRY_UNKNOWN: there is none.
        """
        with explained(self.place), reading(self._engine) as connection:
            found = one_entry(connection, seq)
        if found is None:
            raise fault(self.place, "ENTRY_UNKNOWN", f"there is no entry {seq}", "see `partscreen book show`")
        return found

    def find(self, kind: str, content_key: str) -> Entry | None:
        """The entry of this kind and content key, if it was written."""
        column = str(content_column(kind, content_key))
        with explained(self.place), reading(self._engine) as connection:
            return by_content(connection, [column]).get(column)

    def head(self) -> Head:
        """Number and hash of the newest entry; (0, 64 zeros) for an empty book. This hash stands on reports."""
        with explained(self.place), reading(self._engine) as connection:
            return head_of(connection)

    def verify(self, head: str | None = None) -> verify.Verification:
        """Recompute every hash, key and blob; with a printed `head` (16 digits or more), look for it in the chain."""
        return verify.verify(self._engine, self.place, head)

    def blob(self, sha256: str) -> Blob | None:
        """The file or photo of this hash; None where the book never held it or it was erased."""
        with explained(self.place), reading(self._engine) as connection:
            return get_blob(connection, sha256)

    def erase_blob(self, sha256: str, why: str) -> Entry:
        """Take the content of a file or photo away and write a tombstone that says why.

        Raises
        ------
        BookError
            BLOB_UNKNOWN: the book does not hold it, or it was erased before.
        """
        ready = prepare([Draft(ERASED, {"schema": 1, "sha256": sha256, "why": why})], _NO_BLOBS)
        with explained(self.place), writing(self._engine) as connection:
            held = known_blobs(connection, [sha256]).get(sha256)
            if held is None or not held[2]:
                what = f"the file or photo {sha256} " + ("was erased before" if held else "is not in the book")
                raise fault(self.place, "BLOB_UNKNOWN", what, "see `partscreen book show` for those it holds")
            clear_blob(connection, sha256)
            return write(connection, ready, _NO_BLOBS, now())[0]

    def backup(self, path: str | Path) -> Head:
        """Write a copy of the book, with the same entries and hashes, to a new SQLite file; returns the copy's head.

        Raises
        ------
        BookError
            BOOK_EXISTS: there is something at `path`; it is not overwritten.
        """
        return backup.backup(self._engine, self.place, Path(path))

    @classmethod
    def restore(
        cls, path: str | Path, where: str | Path | None = None, *, look: Callable[[Book], None] | None = None
    ) -> Self:
        """Verify the copy at `path` and make a book of it at `where`, which must be empty or not there.

        `look`: looks into the copy once it is verified; what it raises refuses the copy.

        Raises
        ------
        BookError
            BOOK_EXISTS: there is a book already. BACKUP_DAMAGED: the copy does not verify.
        """
        backup.restore(Path(path), find_place(where), cls.open, look)
        return cls.open(where, create=False)


def _make_file(place: Place, *, create: bool) -> None:
    if place.path is None or place.path.exists():
        if place.path is not None and place.path.is_dir():
            raise fault(
                place, "BOOK_CANNOT_OPEN", "this is a folder", "name a file in it, for example bench_book.sqlite"
            )
        return
    if not create:
        raise _missing(place)
    if place.own_folder:
        place.path.parent.mkdir(parents=True, exist_ok=True)
    elif not place.path.parent.is_dir():
        raise fault(place, "BOOK_CANNOT_OPEN", "its folder does not exist", "make the folder, or name another place")
    with closing(open_sqlite(place.path, "rwc")):
        pass


def _bring_up(connection: Connection, place: Place) -> None:
    if version_of(connection, place) != NEWEST:  # another process may have been quicker
        if connection.dialect.name == "postgresql":
            encoding = connection.exec_driver_sql("SHOW server_encoding").scalar()
            if encoding != "UTF8":
                raise fault(place, "BOOK_ENCODING", f"the database is {encoding}", "create it with encoding UTF8")
        upgrade(connection)


def _missing(place: Place) -> BookError:
    return fault(
        place, "BOOK_MISSING", "there is no book here yet", "record something first, or name another place (--book)"
    )
