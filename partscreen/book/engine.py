"""Connections and transactions: where SQLite and PostgreSQL differ. Above this file there is one code path.

SQLite keeps a rollback journal, not a write-ahead log: an idle book is then one single file, which people copy, and it
works in a folder that may not be written and on a network drive. `synchronous = EXTRA` also syncs the folder after the
journal is gone, so an acknowledged entry survives a power cut. Source: sqlite.org/pragma.html, "synchronous".
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.pool import NullPool

from partscreen.book.urls import Place

IDLE_SECONDS = 600  # after which PostgreSQL gives up on a client that holds the lock and went silent; assumption
BUSY_SECONDS = 60  # how long a writer waits for the others; assumption: longer than any one recording takes
CONNECT_SECONDS = 10  # assumption: a server on a local network answers sooner
_LOCK = 0x50534242  # key of PostgreSQL's advisory lock
_SQLITE_PRAGMAS = (
    "PRAGMA synchronous = EXTRA",
    "PRAGMA trusted_schema = OFF",
    "PRAGMA cell_size_check = ON",
    "PRAGMA secure_delete = ON",  # an erased photo is overwritten, not only unlinked
    "PRAGMA cache_size = -16000",  # KiB
)


def make_engine(place: Place) -> Engine:
    """An engine for the place; nothing is opened yet."""
    return _sqlite_engine(place.path) if place.path is not None else _postgres_engine(str(place.url))


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A short transaction that sees one state of the book."""
    with engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction no other writer of the book runs beside; committed to disk when the block ends."""
    with engine.connect().execution_options(book_writes=True) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        yield connection


def open_sqlite(path: Path, mode: str) -> sqlite3.Connection:
    """A plain connection; `mode` is SQLite's ro, rw or rwc. Only rwc makes a missing file."""
    # Path.absolute, not resolve: the message of an error names the file as the user did.
    connection = sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?mode={mode}",
        uri=True,
        timeout=BUSY_SECONDS,
        isolation_level=None,
        check_same_thread=False,
    )
    for pragma in _SQLITE_PRAGMAS:
        connection.execute(pragma)
    return connection


def _sqlite_engine(path: Path) -> Engine:
    # A connection a transaction: cheap here, and safe after a fork and when the file was moved meanwhile.
    engine = create_engine(
        "sqlite://", creator=lambda: open_sqlite(path, "rw"), poolclass=NullPool, hide_parameters=True
    )

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # BEGIN IMMEDIATE takes the write lock at once: two writers wait for each other instead of failing half-way.
        writes = connection.get_execution_options().get("book_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _postgres_engine(url: str) -> Engine:
    engine = create_engine(
        url,
        hide_parameters=True,
        pool_pre_ping=True,
        pool_size=1,
        # No statement is kept prepared: its plan, made while the book is empty, would be kept as well.
        connect_args={
            "connect_timeout": CONNECT_SECONDS,
            "application_name": "partscreen",
            "prepare_threshold": None,
        },
    )

    @event.listens_for(engine, "connect")
    def _settings(connection: Any, _record: object) -> None:
        connection.execute("SET synchronous_commit = on")
        connection.execute(f"SET lock_timeout = '{BUSY_SECONDS}s'")
        connection.execute(f"SET idle_in_transaction_session_timeout = '{IDLE_SECONDS}s'")
        connection.execute("SET client_encoding = 'UTF8'")
        connection.commit()

    return engine
