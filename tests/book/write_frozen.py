"""Freeze a small book of the present schema version: `python -m tests.book.write_frozen`.

Run it once for every new schema version and never again for an old one: the file stands for the books people have.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import asdict
from pathlib import Path

from partscreen.book.migrate import NEWEST
from partscreen.book.store import Book
from tests.book.core_books import filled

FROZEN = Path(__file__).parent / "frozen"


def main() -> None:
    """Write schema_NNNN.sqlite, and beside it as JSON what it must be read as."""
    path = FROZEN / f"schema_{NEWEST}.sqlite"
    if path.exists():
        raise SystemExit(f"{path} is frozen already")
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA page_size = 1024")  # a small file; SQLite keeps the size it was made with
        raw.execute("VACUUM")
    with Book.open(path) as book:
        filled(book, 10)
        book.erase_blob(next(use["sha256"] for use in book.entry(13).body["blobs"]), "an example of erasing")
        read = [asdict(entry) for entry in book.entries()]
    path.with_suffix(".json").write_text(json.dumps(read, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
