"""Does the book still say what was written? Every hash, key column and blob recomputed, page by page."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, Row, select, text

from partscreen.book.blobs import known_blobs
from partscreen.book.canonical import parse, parse_whole
from partscreen.book.chain import GENESIS, SHORTEST_HEAD, Head, entry_hash, is_kind, is_time, read_head
from partscreen.book.drafts import blob_mismatch
from partscreen.book.engine import reading
from partscreen.book.errors import explained, fault
from partscreen.book.keys import ERASED, KEY_COLUMNS, BlobUse, blobs_of, keys_of
from partscreen.book.schema import GUARDS, blob, entry
from partscreen.book.urls import Place

MOST_FINDINGS = 200  # shown; the rest are counted
_PAGE = 1000


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it was written; `seq` 0 is the book as a whole."""

    seq: int
    what: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What `verify` found. `head_found`: the number of the entry with the printed head, 0 for an empty book's head;
    None where none was given or it is not in the chain."""

    ok: bool
    entries: int
    head: Head
    findings: tuple[Finding, ...]
    head_asked: str | None = None
    head_found: int | None = None
    more_findings: int = 0


class _Findings:
    def __init__(self) -> None:
        self.kept: list[Finding] = []
        self.more = 0

    def add(self, seq: int, what: str) -> None:
        if len(self.kept) < MOST_FINDINGS:
            self.kept.append(Finding(seq, what))
        else:
            self.more += 1


def verify(engine: Engine, place: Place, head: str | None = None) -> Verification:
    """Check the whole book against itself, and against a head printed earlier.

    Raises
    ------
    BookError
        HEAD_FORM: the head given is no hash. BOOK_CORRUPT and the like: the database itself cannot be read.
    """
    asked = None if head is None else read_head(head)
    if head is not None and asked is None:
        raise fault(
            place,
            "HEAD_FORM",
            f"the head {head!r} is no hash of an entry",
            f"copy at least the first {SHORTEST_HEAD} of its digits (0-9, a-f) from the report",
        )
    out = _Findings()
    found: int | None = 0 if asked and GENESIS.startswith(asked) else None
    last, count = Head(0, GENESIS), 0
    with explained(place):
        with reading(engine) as connection:
            _database(connection, out)
            _cells(connection, place)
        for page in _entry_pages(engine):
            uses: list[tuple[int, BlobUse]] = []
            for row in page:
                _check_entry(row, last, out, uses)
                last, count = Head(int(row.seq), str(row.hash)), count + 1
                if asked and last.hash.startswith(asked):
                    found = last.seq
            with reading(engine) as connection:
                _check_uses(connection, uses, out)
        for row in _blob_rows(engine):
            _check_blob(engine, row, out)
    if asked and found is None:
        out.add(0, f"no entry has the printed head {asked}: the end was cut off or the chain was written anew")
    return Verification(not out.kept, count, last, tuple(out.kept), asked, found, out.more)


def _entry_pages(engine: Engine) -> Iterator[list[Row[Any]]]:
    after: int | None = None
    while True:
        query = select(entry).order_by(entry.c.seq).limit(_PAGE)
        if after is not None:
            query = query.where(entry.c.seq > after)
        with reading(engine) as connection:
            page = list(connection.execute(query))
        if not page:
            return
        yield page
        after = page[-1].seq


def _check_entry(row: Row[Any], last: Head, out: _Findings, uses: list[tuple[int, BlobUse]]) -> None:
    seq = int(row.seq)
    if seq != last.seq + 1:
        out.add(seq, f"follows entry {last.seq}: entries between are missing or its number was changed")
    if row.prev_hash != last.hash:
        out.add(seq, "does not continue the entry before it: an entry was changed, cut out or put in between")
    body = bytes(row.body) if isinstance(row.body, bytes | memoryview) else str(row.body).encode()
    if not is_kind(row.kind) or not is_time(row.recorded_at):
        out.add(seq, "its kind or time is none that the book writes")
    if row.hash != entry_hash(str(row.prev_hash), str(row.kind), str(row.recorded_at), body):
        out.add(seq, "was changed: its content no longer gives its hash")
    try:
        parsed = parse_whole(body)
        keys = keys_of(row.kind, parsed)
        uses += [(seq, use) for use in blobs_of(row.kind, parsed)]
    except ValueError as error:
        out.add(seq, f"its body cannot be read: {error}")
        return
    for name, value in zip(KEY_COLUMNS, keys.as_tuple(), strict=True):
        if getattr(row, name) != value:
            out.add(seq, f"its search key {name} is {getattr(row, name)!r}, its body says {value!r}")


def _check_uses(connection: Connection, uses: list[tuple[int, BlobUse]], out: _Findings) -> None:
    held = known_blobs(connection, [use.sha256 for _, use in uses])
    for seq, use in uses:
        what = blob_mismatch(use, held.get(use.sha256))
        if what is not None:
            out.add(seq, what)


def _blob_rows(engine: Engine) -> Iterator[Any]:
    after = ""
    while True:
        query = select(blob.c.sha256, blob.c.size).where(blob.c.sha256 > after).order_by(blob.c.sha256).limit(_PAGE)
        with reading(engine) as connection:
            page = list(connection.execute(query))
        if not page:
            return
        yield from page
        after = page[-1].sha256


def _check_blob(engine: Engine, row: Row[Any], out: _Findings) -> None:
    with reading(engine) as connection:
        content = connection.scalar(select(blob.c.content).where(blob.c.sha256 == row.sha256))
        if content is None:
            if not _was_erased(connection, row.sha256):
                out.add(0, f"the content of the file or photo {row.sha256} is gone, and no entry says it was erased")
            return
    content = content.encode() if isinstance(content, str) else bytes(content)
    if hashlib.sha256(content).hexdigest() != row.sha256 or len(content) != row.size:
        out.add(0, f"the file or photo {row.sha256} was changed: its content no longer gives its hash and size")


def _was_erased(connection: Connection, sha256: str) -> bool:
    tombstones = connection.execute(select(entry.c.body).where(entry.c.kind == ERASED))
    return any(_says(body, sha256) for (body,) in tombstones)


def _says(body: bytes | str, sha256: str) -> bool:
    try:
        return parse(body).get("sha256") == sha256
    except ValueError:
        return False  # told of with its entry


_KINDS_OF_CELLS = (
    "SELECT 'entry ' || seq FROM entry WHERE typeof(body) NOT IN ('blob', 'text') OR typeof(kind) <> 'text' "
    "OR typeof(recorded_at) <> 'text' OR typeof(prev_hash) <> 'text' OR typeof(hash) <> 'text' LIMIT 1",
    "SELECT 'a file or photo' FROM blob WHERE typeof(sha256) <> 'text' OR typeof(size) <> 'integer' "
    "OR typeof(content) NOT IN ('blob', 'text', 'null') OR typeof(media_type) <> 'text' LIMIT 1",
)


def _cells(connection: Connection, place: Place) -> None:
    """SQLite keeps any kind of value in any column; another kind than the book writes cannot be read at all."""
    if connection.dialect.name != "sqlite":
        return
    for query in _KINDS_OF_CELLS:
        found = connection.scalar(text(query))
        if found is not None:
            what = f"the file is damaged: {found} holds another kind of value than the book writes"
            fix = "keep it as it is, and restore the last backup (`partscreen book restore`)"
            raise fault(place, "BOOK_CORRUPT", what, fix)


def _database(connection: Connection, out: _Findings) -> None:
    """The database's own check of itself, and whether the guards against changes still stand."""
    if connection.dialect.name == "sqlite":
        for (line,) in connection.execute(text("PRAGMA integrity_check(20)")):
            if line != "ok":
                out.add(0, f"the file is damaged: {line}")
        query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    else:
        query = (
            "SELECT tgname, NULL FROM pg_trigger WHERE tgenabled IN ('O', 'A') "
            "AND tgrelid IN ('entry'::regclass, 'blob'::regclass)"
        )
    standing = {str(name): made for name, made in connection.execute(text(query))}
    for name, digest in GUARDS.items():
        if name not in standing:
            out.add(0, f"the guard {name} against changes is gone from the database")
        elif standing[name] is not None and not hashlib.sha256(standing[name].encode()).hexdigest().startswith(digest):
            out.add(0, f"the guard {name} against changes is another one than the book made")
    if connection.dialect.name == "sqlite":  # a server has rights of its own against that
        for name in sorted(standing.keys() - GUARDS.keys()):
            out.add(0, f"the database does something by itself that the book never asked for: the trigger {name!r}")
