"""The door of a copy of a book: the first byte says how the rest makes one.

0: the rest is the whole file. 1: pieces of a sound copy are overwritten, each as place (3 bytes), length (1 byte) and
bytes. 2: a sound chain of hashes with any content: a line is the kind of an entry, a space and its body.

A copy that is refused is told of, and leaves neither a book nor a piece of one; one that is taken verifies, and every
question about it has an answer or a problem that is told.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from functools import cache, partial
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from partscreen.book.canonical import parse
from partscreen.book.chain import GENESIS, entry_hash
from partscreen.book.keys import KEY_COLUMNS, keys_of
from partscreen.book.store import Book
from partscreen.errors import Problem, UnusableInput
from partscreen.workflow.book import keeping, look
from partscreen.workflow.book.common import Asked
from partscreen.workflow.book.day import day_list
from partscreen.workflow.book.export import export_book

SOUND = Path(__file__).resolve().parents[1] / "book" / "frozen" / "schema_0001.sqlite"
TIME = "2026-11-20T10:00:00.000000Z"
WAYS = 3


def made_of(data: bytes, place: Path) -> None:
    """Write the copy that these bytes stand for."""
    way, rest = data[0] % WAYS, data[1:]
    if way == 0:
        place.write_bytes(rest)
    elif way == 1:
        place.write_bytes(overwritten(SOUND.read_bytes(), rest))
    else:
        chained(_lines(rest), place)


def overwritten(sound: bytes, rest: bytes) -> bytes:
    """A copy with pieces overwritten."""
    whole = bytearray(sound)
    while len(rest) > 4:
        at, long = int.from_bytes(rest[:3], "big") % len(whole), rest[3]
        piece = rest[4 : 4 + long]
        whole[at : at + len(piece)] = piece
        rest = rest[4 + long :]
    return bytes(whole[: len(sound)])


def _lines(rest: bytes) -> Iterator[tuple[str, bytes]]:
    for line in rest.split(b"\n"):
        kind, _, body = line.partition(b" ")
        yield kind.decode("utf-8", "replace"), body


def chained(entries: Iterator[tuple[str, bytes]], place: Path) -> None:
    """A book whose chain is sound, whatever its entries say: no hash will tell."""
    place.write_bytes(_empty_book())
    columns = ("seq", "kind", "recorded_at", "body", "prev_hash", "hash", *KEY_COLUMNS)
    said = f"INSERT INTO entry ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
    last = GENESIS
    with closing(sqlite3.connect(place, isolation_level=None)) as raw:
        raw.execute("PRAGMA synchronous = OFF")
        for seq, (kind, body) in enumerate(entries, 1):
            this = entry_hash(last, kind, TIME, body)
            keys: tuple[Any, ...] = (None,) * len(KEY_COLUMNS)
            with suppress(ValueError, RecursionError):
                keys = keys_of(kind, parse(body)).as_tuple()
            try:
                raw.execute(said, (seq, kind, TIME, body, last, this, *keys))
            except (sqlite3.IntegrityError, OverflowError, UnicodeEncodeError):
                return
            last = this


@cache
def _empty_book() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "empty.sqlite"
        with closing(sqlite3.connect(path)) as raw:
            raw.execute("PRAGMA page_size = 512")
            raw.execute("VACUUM")
        with Book.open(path):
            pass
        return path.read_bytes()


def restored(data: bytes, told: Callable[[object], None]) -> None:
    """Restore the copy, hold it to what is promised, and ask a group of questions that the first byte names."""
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as folder:
        copy, place = Path(folder) / "copies" / "copy.sqlite", Path(folder) / "books" / "book.sqlite"
        copy.parent.mkdir()
        place.parent.mkdir()
        made_of(data, copy)
        before = copy.read_bytes()
        refused: list[Problem] = []
        try:
            keeping.restore_book(copy, str(place))
        except UnusableInput as error:
            refused = error.problems
            told(refused)
        if refused:
            assert not list(place.parent.iterdir()), "a refused copy left something"
            assert {problem.file for problem in refused} == {str(copy)}, refused
        else:
            assert [path.name for path in place.parent.iterdir()] == ["book.sqlite"]
            with Book.open(place, create=False) as book:
                assert book.verify().ok
            for question in QUESTIONS[data[0] // WAYS % len(QUESTIONS)](str(place)):
                _answered(question, told)
        assert copy.read_bytes() == before, "the copy itself was changed"


Question = Callable[[], Any]


def _answered(question: Question, told: Callable[[object], None]) -> None:
    try:
        answer = question()
    except UnusableInput as error:
        told(error.problems)
        return
    (answer.model_dump_json() if isinstance(answer, BaseModel) else repr(answer)).encode()


def _of_the_whole(where: str) -> Iterator[Question]:
    yield partial(keeping.show_book, Asked(), where)
    yield partial(look.list_jobs, where=where)
    yield partial(keeping.kits_due, 30, where)
    yield partial(look.find_in_book, "T1", where)
    yield partial(look.entry_in_book, 1, where)


def _of_the_day(where: str) -> Iterator[Question]:
    yield partial(day_list, where=where)


def _of_what_is_named(where: str) -> Iterator[Question]:
    keys = ("lot", "part", "job", "supplier")
    named: list[tuple[Any, ...]] = []
    with Book.open(where, create=False) as book, suppress(UnusableInput):
        named = [tuple(entry.body.get(key) for key in keys) for entry in book.entries()]
    texts = [one for one in named if any(one) and all(key is None or isinstance(key, str) for key in one)]
    for lot, part, job, supplier in list(dict.fromkeys(texts))[:3]:
        yield partial(look.show_in_full, Asked(lot=lot, part=part), where)
        yield partial(keeping.show_book, Asked(lot=lot, part=part), where)
        if job:
            yield partial(look.job_in_book, job, where)
        if supplier:
            yield partial(look.supplier_in_book, supplier, where)


def _of_its_tables(where: str) -> Iterator[Question]:
    out = Path(where).with_name("tables")
    for form in ("json", "package"):
        yield partial(export_book, out, form, Asked(), without_names=form == "package", where=where)
        shutil.rmtree(out, ignore_errors=True)


QUESTIONS: tuple[Callable[[str], Iterator[Question]], ...] = (
    _of_the_whole, _of_the_day, _of_what_is_named, _of_its_tables
)  # fmt: skip
