"""Invented entries, and hands that change a book behind its back."""

from __future__ import annotations

import sqlite3
from contextlib import closing, contextmanager

from partscreen.book.store import Blob, Book, Draft

PHOTO = Blob(b"\xff\xd8 invented photo " + bytes(range(256)) * 40, "image/jpeg")


def part_draft(n: int, lot: str = "A1", supplier: str = "first supplier", **more) -> Draft:
    body = {"schema": 1, "part": str(n), "lot": lot, "supplier": supplier, "type": "invented", "hfe": 100.5 + n / 7}
    return Draft("part", body | more)


def filled(book: Book, n: int = 12) -> list:
    """A book of n parts, a lot, a kit, a photo and a fitted part."""
    written = book.append([part_draft(i, content_key=f"part {i}") for i in range(n)])
    written += book.append(
        [Draft("lot", {"schema": 1, "lot": "A1", "supplier": "first supplier", "note": "µA, Ω, 名"})]
    )
    written += book.append([Draft("fitted", {"schema": 1, "lot": "A1", "part": "3", "job": "J-7", "session": "s1"})])
    use = {"sha256": PHOTO.sha256, "size": len(PHOTO.content), "media_type": PHOTO.media_type}
    written += book.append([Draft("observation", {"schema": 1, "blobs": [use]})], {PHOTO.sha256: PHOTO})
    written += book.append([Draft("correction", {"schema": 1, "supersedes": 3, "why": "typing error"})])
    return written


@contextmanager
def behind_its_back(book: Book, *, guards_back: bool = True):
    """A function that runs a statement with the guards off, as somebody with the database's password could.

    Placeholders are `?`. The guards stand again afterwards, so that only the content tells.
    """
    if book.place.path is not None:
        with closing(sqlite3.connect(book.place.path, isolation_level=None)) as raw:
            raw.execute("PRAGMA synchronous = OFF")  # no power cut is meant here
            guards = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
            for name, _ in guards:
                raw.execute(f"DROP TRIGGER {name}")
            yield lambda statement, *values: raw.execute(statement, values).fetchall()
            for _, made in guards if guards_back else []:
                raw.execute(made)
        return
    import psycopg

    with psycopg.connect(_libpq(book)) as server:
        server.execute("SET session_replication_role = replica")

        def run(statement: str, *values):
            done = server.execute(statement.replace("?", "%s"), values or None)
            return done.fetchall() if done.description else []

        yield run


def plain(book: Book, statement: str, *values) -> None:
    """Run a statement with the guards standing."""
    if book.place.path is not None:
        with closing(sqlite3.connect(book.place.path, isolation_level=None)) as raw:
            raw.execute(statement, values)
        return
    import psycopg

    with psycopg.connect(_libpq(book)) as server:
        server.execute(statement.replace("?", "%s"), values or None)


def _libpq(book: Book) -> str:
    return book.place.url.replace("+psycopg", "").replace(" ", "%20").replace("=-csearch_path=", "=-csearch_path%3D")
