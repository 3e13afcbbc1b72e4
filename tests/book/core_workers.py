"""Writers in processes of their own. They are forked from a server that has loaded all, so starting is quick."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from multiprocessing.connection import Connection

from partscreen.book.store import Blob, Book, Draft
from tests.book.core_books import part_draft

FORK = multiprocessing.get_context("forkserver")
FORK.set_forkserver_preload(["partscreen.book.store", "partscreen.book.migrate", "alembic", "psycopg", __name__])


def write_some(where: str, name: str, n: int, out: Connection) -> None:
    """Append n entries, one or a few at a time, and tell which numbers and hashes were acknowledged."""
    acknowledged = []
    with Book.open(where) as book:
        for i in range(n):
            drafts = [part_draft(i, lot=name, step=k) for k in range(1 + i % 3)]
            acknowledged += [(entry.seq, entry.hash) for entry in book.append(drafts)]
    out.send(acknowledged)


def write_until_killed(where: str, seed: int, out: Connection) -> None:
    """Append entries and photos of all sizes without end; every return of `append` is told at once."""
    rng = random.Random(seed)
    with Book.open(where) as book:
        out.send_bytes(b"open")
        for i in range(10**9):
            drafts = [
                part_draft(i, lot=f"lot {seed}", filler="x" * rng.randrange(3000))
                for _ in range(rng.choice([1, 2, 40]))
            ]
            photos = {}
            if rng.random() < 0.3:
                photo = Blob(rng.randbytes(rng.randrange(1, 60_000)), "image/jpeg")
                photos = {photo.sha256: photo}
                drafts.append(Draft("observation", {"blobs": [photo.sha256], "lot": f"lot {seed}"}))
            last = book.append(drafts, photos)[-1]
            out.send_bytes(f"{last.seq} {last.hash}".encode())


def killed_after(where: str, seed: int, seconds: float, *, from_the_start: bool) -> list[tuple[int, str]]:
    """Kill a writer with SIGKILL so many seconds after it began (or opened the book); what it had acknowledged."""
    here, there = FORK.Pipe(duplex=False)
    writer = FORK.Process(target=write_until_killed, args=(where, seed, there))
    writer.start()
    there.close()
    told = []
    if not from_the_start:
        assert here.recv_bytes() == b"open"
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        if here.poll(left):
            told.append(here.recv_bytes())
    os.kill(writer.pid, signal.SIGKILL)
    writer.join()
    assert writer.exitcode == -signal.SIGKILL
    try:
        while True:
            told.append(here.recv_bytes())
    except (EOFError, OSError):  # the end of the pipe, or a message cut in the middle by the kill
        here.close()
    split = [one.decode().split() for one in told if one != b"open"]
    return [(int(seq), digest) for seq, digest in split]
