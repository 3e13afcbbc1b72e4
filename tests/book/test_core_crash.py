"""A writer may die, the disk may fill, at any moment: what was acknowledged is there, and the chain is whole."""

from __future__ import annotations

import random
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from partscreen.book import engine
from partscreen.book.engine import writing
from partscreen.book.store import Blob, Book, BookError, Draft
from tests.book.conftest import PRAGMAS
from tests.book.core_books import filled, part_draft
from tests.book.core_workers import FORK, killed_after, write_some
from tests.book.servers import fresh_schema, needs_postgres

DISK = {"BOOK_FULL", "BOOK_DISK"}


def kill_writers(where: str, kills: int, seed: int) -> tuple[int, int]:
    """Kill so many writers one after the other on one book; how many entries were acknowledged, how many stand."""
    rng, promised = random.Random(seed), {}
    for kill in range(kills):
        at_start = kill % 4 == 0
        seconds = rng.uniform(0.0, 0.1) if at_start else rng.uniform(0.0, 0.3)
        promised |= dict(killed_after(where, kill, seconds, from_the_start=at_start))
        with Book.open(where) as book:
            told = book.verify()
            assert told.ok, (kill, told.findings[:3])
            standing = {entry.seq: entry.hash for entry in book.entries(after=max(promised, default=0) - 200)}
            if kill == kills - 1:
                standing = {entry.seq: entry.hash for entry in book.entries()}
            lost = [
                seq for seq, digest in promised.items() if seq > told.entries or standing.get(seq, digest) != digest
            ]
            assert not lost, (kill, lost)
    return len(promised), told.entries


def test_twenty_killed_writers_lose_no_acknowledged_entry(where):
    promised, _ = kill_writers(where, 20, seed=1)
    assert promised > 20  # otherwise the writers were killed before they did anything


@pytest.mark.long
def test_two_hundred_killed_writers_lose_no_acknowledged_entry(where):
    promised, _ = kill_writers(where, 200, seed=2)
    assert promised > 200


def test_kills_do_land_inside_transactions(tmp_path):
    """The crash test proves something only if some kills leave a journal that the next opening must roll back."""
    path, rng, hot = tmp_path / "book.sqlite", random.Random(3), 0
    for kill in range(12):
        killed_after(str(path), kill, rng.uniform(0.02, 0.1), from_the_start=False)
        hot += Path(f"{path}-journal").exists()
        with Book.open(path) as book:
            assert book.verify().ok
    assert hot >= 2


def test_a_writer_killed_while_the_book_is_made_leaves_no_half_made_book(tmp_path):
    rng = random.Random(4)
    for kill in range(12):
        path = tmp_path / f"book{kill}.sqlite"
        killed_after(str(path), kill, rng.uniform(0.0, 0.05), from_the_start=True)
        with Book.open(path) as book:
            assert book.verify().ok


def test_eight_writers_at_once_lose_nothing_and_none_waits_for_ever(where):
    """Eight processes also make the book at once: the place is empty when they start."""
    pipes, writers = [], []
    for worker in range(8):
        here, there = FORK.Pipe(duplex=False)
        writers.append(FORK.Process(target=write_some, args=(where, f"lot {worker}", 15, there)))
        writers[-1].start()
        there.close()
        pipes.append(here)
    acknowledged = {}
    for here in pipes:
        assert here.poll(100), "a writer waits for ever"
        acknowledged |= dict(here.recv())
    for writer in writers:
        writer.join(20)
        assert writer.exitcode == 0
    with Book.open(where, create=False) as book:
        told = book.verify()
        assert told.ok
        assert told.entries == len(acknowledged) == 8 * 30
        assert {entry.seq: entry.hash for entry in book.entries()} == acknowledged
        for worker in range(8):
            mine = [(entry.body["part"], entry.body["step"]) for entry in book.entries(lot=f"lot {worker}")]
            assert mine == [(str(i), k) for i in range(15) for k in range(1 + i % 3)]


def append_for_ever(book: Book, written: list) -> None:
    for i in range(100_000):
        written += book.append([part_draft(i, filler="x" * 900), part_draft(i)])


@pytest.mark.parametrize("spare", [0, 1, 2, 5, 13])
def test_a_full_disk_is_told_and_the_book_is_whole(tmp_path, monkeypatch, spare):
    """SQLite's limit of pages stands for a disk that fills after a few more of them."""
    path = tmp_path / "book.sqlite"
    with Book.open(path) as book:
        written = filled(book)
    pages = path.stat().st_size // 4096 + spare
    monkeypatch.setattr(engine, "_SQLITE_PRAGMAS", (*engine._SQLITE_PRAGMAS, f"PRAGMA max_page_count = {pages}"))
    with Book.open(path) as book:
        with pytest.raises(BookError) as caught:
            append_for_ever(book, written)
        assert caught.value.problems[0].code == "BOOK_FULL"
        assert list(book.entries()) == written
        assert book.verify(written[-1].hash).ok
        photo = Blob(b"\0" * 100_000, "image/jpeg")
        with pytest.raises(BookError):
            book.append([Draft("observation", {"blobs": [photo.sha256]})], {photo.sha256: photo})
    monkeypatch.undo()
    with Book.open(path) as book:
        assert book.append([part_draft(1)])[0].seq == written[-1].seq + 1
        assert book.verify().ok


def test_an_entry_is_on_the_disk_before_append_returns(tmp_path, monkeypatch):
    """SQLite syncs file, journal and folder (EXTRA is 3); a server is asked to wait for its own disk."""
    monkeypatch.setattr(engine, "_SQLITE_PRAGMAS", PRAGMAS)
    with closing(engine.open_sqlite(tmp_path / "book.sqlite", "rwc")) as raw:
        assert raw.execute("PRAGMA synchronous").fetchone() == (3,)
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("delete",)


@needs_postgres
def test_a_server_that_does_not_wait_for_its_disk_is_told_to():
    with fresh_schema() as url:
        book = Book.open(f"{url}%20-csynchronous_commit%3Doff")
        with closing(book), writing(book._engine) as connection:
            assert connection.exec_driver_sql("SHOW synchronous_commit").scalar() == "on"


FILL = """
import resource, sys
from partscreen.book.store import Book, BookError
from tests.book.core_books import part_draft
limit = int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
try:
    with Book.open(sys.argv[1]) as book:
        for i in range(10_000):
            print(*[f"{e.seq}:{e.hash}" for e in book.append([part_draft(i, filler="x" * 500)] * 3)], flush=True)
except BookError as error:
    print(error.problems[0].code, file=sys.stderr)
    sys.exit(7)
"""


@pytest.mark.parametrize("extra", [-60_000, 0, 20_000])
def test_a_file_that_may_not_grow_is_told_and_the_book_is_whole(tmp_path, extra):
    path = tmp_path / "book.sqlite"
    if extra >= 0:  # otherwise the limit strikes while the book is made
        with Book.open(path) as book:
            filled(book)
    limit = (path.stat().st_size if extra >= 0 else 80_000) + extra
    root = Path(__file__).resolve().parents[2]
    ran = subprocess.run(
        [sys.executable, "-c", FILL, str(path), str(limit)], cwd=root, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 7, ran.stderr
    assert ran.stderr.strip() in DISK
    promised = dict(word.split(":") for word in ran.stdout.split())
    with Book.open(path) as book:
        told = book.verify()
        assert told.ok
        for seq, digest in promised.items():
            assert book.entry(int(seq)).hash == digest
        assert told.entries == (16 if extra >= 0 else 0) + len(promised)
