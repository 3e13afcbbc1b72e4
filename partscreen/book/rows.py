"""Entries as they stand in the table: one type, and the queries that walk an index in the order of writing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, select

from partscreen.book.canonical import parse
from partscreen.book.chain import GENESIS, Head
from partscreen.book.schema import entry
from partscreen.errors import Problem, UnusableInput

PAGE = 500  # entries read in one short transaction, so that a slow reader never blocks a writer

# The most telling key drives the query, the others only filter: a planner without statistics would guess.
_DRIVERS = ("supersedes", "part", "lot", "job", "session", "supplier", "type", "kind")
_TOGETHER = {
    "part": ("lot",),
    "lot": ("kind",),
    "supplier": ("kind",),
    "type": ("kind",),
}  # columns that stand in the driver's index
_SHOWN: tuple[Any, ...] = (
    entry.c.seq,
    entry.c.kind,
    entry.c.recorded_at,
    entry.c.body,
    entry.c.prev_hash,
    entry.c.hash,
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the book; `known` where appending found it already there and wrote nothing."""

    seq: int
    kind: str
    recorded_at: str
    body: dict[str, Any]
    prev_hash: str
    hash: str
    known: bool = field(default=False, compare=False)


def from_row(row: Sequence[Any], *, known: bool = False) -> Entry:
    """An entry from the columns `_SHOWN`.

    Raises
    ------
    UnusableInput
        BOOK_ENTRY: its body was damaged.
    """
    try:
        body = parse(row[3])
    except ValueError as error:
        fix = "see what else is damaged (partscreen book verify), and restore the last backup"
        what = f"entry {row[0]} cannot be read: {error}"
        raise UnusableInput([Problem("BOOK_ENTRY", what, fix, f"book, entry {row[0]}")]) from None
    return Entry(int(row[0]), row[1], row[2], body, row[4], row[5], known)


def one_entry(connection: Connection, seq: int) -> Entry | None:
    """The entry of this number."""
    row = connection.execute(select(*_SHOWN).where(entry.c.seq == seq)).first()
    return None if row is None else from_row(tuple(row))


def by_content(connection: Connection, keys: list[str]) -> dict[str, Entry]:
    """Entries already written under these content columns."""
    found: dict[str, Entry] = {}
    for start in range(0, len(keys), PAGE):
        query = select(entry.c.content_key, *_SHOWN).where(entry.c.content_key.in_(keys[start : start + PAGE]))
        for row in connection.execute(query):
            found[row[0]] = from_row(tuple(row)[1:], known=True)
    return found


def head_of(connection: Connection) -> Head:
    """Number and hash of the newest entry."""
    row = connection.execute(select(entry.c.seq, entry.c.hash).order_by(entry.c.seq.desc()).limit(1)).first()
    return Head(0, GENESIS) if row is None else Head(int(row[0]), row[1])


def page_query(wanted: Mapping[str, str | int], *, after: int, before: int | None, newest_first: bool) -> Select[Any]:
    """The next page of entries that have all the wanted keys, `after` < seq < `before`."""
    driver = next((name for name in _DRIVERS if name in wanted), "")
    indexed = {driver, *_TOGETHER.get(driver, ())}
    query = select(*_SHOWN).where(entry.c.seq > after)
    for name, value in wanted.items():
        query = query.where(_equal(name, value, indexed=name in indexed))
    if before is not None:
        query = query.where(entry.c.seq < before)
    return query.order_by(entry.c.seq.desc() if newest_first else entry.c.seq).limit(PAGE)


def pages(connection: Connection, query: Select[Any]) -> Iterator[Entry]:
    """The entries of one page."""
    for row in connection.execute(query):
        yield from_row(tuple(row))


def _equal(name: str, value: str | int, *, indexed: bool) -> ColumnElement[bool]:
    column = entry.c[name]
    # The empty text appended keeps the value and hides the column from the choice of index, in both databases.
    return column == value if indexed or isinstance(value, int) else column.op("||")("") == value
