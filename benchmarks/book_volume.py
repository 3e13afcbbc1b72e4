"""A book of a million part records: how long the histories of a part, lot, supplier and job take, and what it costs.

Run: python -m benchmarks.book_volume [PARTS] [--book URL]. Without `--book` the book is an SQLite file in a temporary
folder; a path or URL names one that is filled where it is empty, and else measured as it stands after an earlier run.
Aim: each history under 0.1 s. Processor seconds are those of this process: other work on the machine lengthens them
less. The records are invented and small; 100 parts a lot, 20 lots a supplier, 8 parts a job.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path

from partscreen.book.store import Book, Draft

PER_LOT, PER_SUPPLIER, PER_JOB = 100, 20, 8
AT_ONCE = 20_000


def drafts(n_parts: int) -> Iterator[Draft]:
    """The invented records: a judgement a lot, its parts, and one part in ten fitted into an amplifier."""
    for n in range(n_parts):
        keys = keys_of_part(n)
        if n % PER_LOT == 0:
            yield Draft("screening", {"schema": 1, **keys, "part": None, "judgement": "use", "content_key": f"run {n}"})
        body = {"schema": 1, **keys, "disposition": "accept", "evidence": -1.25 - n % 7, "content_key": f"part {n}"}
        yield Draft("part", body)
        if n % 10 == 0:
            job = f"job {n // (10 * PER_JOB)}"
            yield Draft("fitted", {"schema": 1, **keys, "job": job, "channel": "left", "position": "Q1"})


def keys_of_part(n: int) -> dict[str, str]:
    """Supplier, lot, type and part of the n-th record. Part and lot names repeat, as they do on benches."""
    lot, part = divmod(n, PER_LOT)
    supplier, number = divmod(lot, PER_SUPPLIER)
    return {
        "part": str(part + 1),
        "lot": f"L{number} {lot % 997}",
        "supplier": f"S{supplier}",
        "type": f"T{supplier % 9}",
    }


def fill(book: Book, n_parts: int) -> int:
    """Append the records; returns how many entries there are."""
    source, total = drafts(n_parts), 0
    while batch := list(islice(source, AT_ONCE)):
        total += len(book.append(batch))
    return total


def worst(ask: Callable[[random.Random], int], tries: int = 60) -> tuple[float, float, float, int]:
    """Median, longest and processor time of one question about random parts [s], and the most entries an answer had."""
    rng, times, most = random.Random(1), [], 0
    cpu = time.process_time()
    for _ in range(tries):
        start = time.perf_counter()
        most = max(most, ask(rng))
        times.append(time.perf_counter() - start)
    return sorted(times)[tries // 2], max(times), (time.process_time() - cpu) / tries, most


def questions(book: Book, n_parts: int) -> dict[str, Callable[[random.Random], int]]:
    """The histories, each read whole."""

    def of(*names: str, **fixed: str) -> Callable[[random.Random], int]:
        def ask(rng: random.Random) -> int:
            keys = keys_of_part(rng.randrange(n_parts))
            return sum(1 for _ in book.entries(**{name: keys[name] for name in names}, **fixed))

        return ask

    def job(rng: random.Random) -> int:
        return sum(1 for _ in book.entries(job=f"job {rng.randrange(n_parts // (10 * PER_JOB))}"))

    def newest(rng: random.Random) -> int:
        return sum(1 for _ in book.entries(type=f"T{rng.randrange(9)}", newest_first=True, limit=50))

    return {
        "part": of("supplier", "lot", "part"),
        "lot": of("supplier", "lot"),
        "supplier": of("supplier"),
        "job": job,
        "judgements of a supplier": of("supplier", kind="screening"),
        "parts fitted from a lot": of("supplier", "lot", kind="fitted"),
        "50 newest of a type": newest,
    }


def measure(book: Book, n_parts: int) -> None:
    """Fill the book where it is empty and print the table."""
    if not book.head().seq:
        start, cpu = time.perf_counter(), time.process_time()
        total = fill(book, n_parts)
        seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
        print(f"{total:,} entries, {n_parts:,} of them parts, appended in {seconds:.0f} s, {cpu:.0f} processor seconds")
    if book.place.path is not None:
        print(f"file: {book.place.path.stat().st_size / 1e6:,.0f} MB")
    print("history (aim: under 0.1 s)      median    longest  processor   entries")
    for name, ask in questions(book, n_parts).items():
        median, longest, cpu, most = worst(ask)
        print(f"  {name:28}{median * 1e3:7.1f} ms{longest * 1e3:8.1f} ms{cpu * 1e3:8.1f} ms{most:9,}", flush=True)
    start, cpu = time.perf_counter(), time.process_time()
    told = book.verify()
    seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
    print(f"verify: {seconds:.0f} s, {cpu:.0f} processor seconds, {'clean' if told.ok else told.findings[:3]}")


def main() -> None:
    """Print the table for the book asked for."""
    arguments = sys.argv[1:]
    where = arguments.pop(arguments.index("--book") + 1) if "--book" in arguments else None
    numbers = [int(word) for word in arguments if word.isdigit()]
    n_parts = numbers[0] if numbers else 1_000_000
    with tempfile.TemporaryDirectory() as folder, Book.open(where or Path(folder) / "book.sqlite") as book:
        measure(book, n_parts)


if __name__ == "__main__":
    main()
