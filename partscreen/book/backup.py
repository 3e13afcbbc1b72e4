"""Copies of a book: always one SQLite file with the same entries and hashes, from and to either database."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, Table, func, select

from partscreen.book.chain import Head
from partscreen.book.engine import make_engine, open_sqlite, reading, writing
from partscreen.book.errors import BookError, explained, fault
from partscreen.book.migrate import upgrade
from partscreen.book.rows import head_of
from partscreen.book.schema import blob, entry
from partscreen.book.urls import Place
from partscreen.errors import UnusableInput

if TYPE_CHECKING:
    from partscreen.book.store import Book

_ROWS = 1000


def backup(engine: Engine, place: Place, path: Path) -> Head:
    """Copy the book to a new file, while others may go on writing."""
    target = Place(str(path), path=path)
    _refuse_existing(target)
    with _new_file(target) as fresh, explained(place):
        if place.path is not None:
            _copy_file(place.path, fresh)
        else:
            copy = make_engine(Place(str(path), path=fresh))
            with _snapshot(engine) as source, writing(copy) as sink:
                upgrade(sink)
                _copy_rows(source, sink)
        with reading(make_engine(Place(str(path), path=fresh))) as connection:
            return head_of(connection)


def restore(
    path: Path, target: Place, opened: Callable[..., Book], look: Callable[[Book], None] | None = None
) -> None:  # fmt: skip
    """Verify the copy at `path`, let `look` refuse it, and bring its entries to `target`, an empty or missing book."""
    source = Place(str(path), path=path)
    if not path.is_file():
        raise fault(
            source, "BOOK_MISSING", "there is no backup here", "name the file that `partscreen book backup` wrote"
        )
    if target.path is not None:
        _refuse_existing(target)
        if target.own_folder:
            target.path.parent.mkdir(parents=True, exist_ok=True)
        with _new_file(target) as fresh:
            _checked_copy(source, fresh, opened, look)
        return
    with tempfile.TemporaryDirectory() as folder:  # the backup may be of an older version: its copy is brought up
        fresh = Path(folder) / "copy.sqlite"
        _checked_copy(source, fresh, opened, look)
        copy = make_engine(Place(str(path), path=fresh))
        with opened(target.url) as book, explained(target), reading(copy) as rows, writing(book._engine) as sink:
            if sink.scalar(select(func.count()).select_from(entry)):
                raise _exists(target)
            _copy_rows(rows, sink)


def _checked_copy(
    source: Place, fresh: Path, opened: Callable[..., Book], look: Callable[[Book], None] | None
) -> None:  # fmt: skip
    with explained(source):
        _copy_file(Path(str(source.path)), fresh)
    try:
        with opened(fresh, create=False) as book:
            told = book.verify()
            if look is not None and told.ok:
                look(book)
    except UnusableInput as error:  # a person knows the copy, and never saw the file beside the target
        raise BookError([replace(problem, file=str(source)) for problem in error.problems]) from None
    if not told.ok:
        raise fault(
            source,
            "BACKUP_DAMAGED",
            f"this copy does not verify: {told.findings[0].what}",
            "restore another copy; nothing was written",
        )


def _copy_file(source: Path, target: Path) -> None:
    """SQLite's online backup: a state between two transactions, whoever writes meanwhile."""
    # Not read-only: a journal that a killed writer left must be rolled back first.
    with closing(open_sqlite(source, "rw")) as old, closing(open_sqlite(target, "rwc")) as new:
        old.backup(new, pages=-1)
    target.chmod(stat.S_IMODE(source.stat().st_mode) | stat.S_IRUSR | stat.S_IWUSR)


@contextmanager
def _snapshot(engine: Engine) -> Iterator[Connection]:
    with engine.connect().execution_options(isolation_level="REPEATABLE READ") as connection, connection.begin():
        yield connection


def _copy_rows(source: Connection, sink: Connection) -> None:
    for table, order, at_once in ((blob, blob.c.sha256, 1), (entry, entry.c.seq, _ROWS)):
        _copy_table(source, sink, table, order, at_once)


def _copy_table(source: Connection, sink: Connection, table: Table, order: Any, at_once: int) -> None:
    rows = source.execution_options(yield_per=at_once).execute(select(table).order_by(order))
    for part in rows.mappings().partitions(at_once):
        sink.execute(table.insert(), [dict(row) for row in part])


@contextmanager
def _new_file(target: Place) -> Iterator[Path]:
    """A file beside the target that becomes the target when the block ends well, and vanishes otherwise."""
    path = Path(str(target.path))
    if not path.parent.is_dir():
        raise fault(target, "BOOK_CANNOT_OPEN", "its folder does not exist", "make the folder, or name another place")
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        what = error.strerror or "the folder takes no file"
        raise fault(target, "BOOK_READ_ONLY", what, "give yourself the right to write the folder") from None
    os.close(handle)
    fresh = Path(name)
    try:
        yield fresh
        _publish(fresh, target)
    finally:
        for left in (fresh, Path(f"{name}-journal")):
            left.unlink(missing_ok=True)


def _publish(fresh: Path, target: Place) -> None:
    """Give the finished file its name without ever overwriting another."""
    path = Path(str(target.path))
    with open(fresh, "rb") as file:
        os.fsync(file.fileno())
    try:
        os.link(fresh, path)
    except FileExistsError:
        raise _exists(target) from None
    except OSError:  # a file system without hard links
        _refuse_existing(target)
        fresh.rename(path)
    if hasattr(os, "O_DIRECTORY"):
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _refuse_existing(target: Place) -> None:
    if target.path is not None and target.path.exists():
        raise _exists(target)


def _exists(target: Place) -> Exception:
    return fault(target, "BOOK_EXISTS", "there is something here already; it was not touched", "name a new place")
