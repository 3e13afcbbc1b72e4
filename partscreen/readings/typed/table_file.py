"""The file of typed readings: one row a part, in the form that `read` and `screen` take."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.readings.typed.columns import TypedColumn
from partscreen.readings.typed.journal import Entry
from partscreen.whole_files import write_whole


def table_text(lot: str, columns: Sequence[TypedColumn], entries: Sequence[Entry]) -> str:
    """The rows as comma separated text, figures in the unit of their header."""
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\n")
    writer.writerow(["lot", "part", "control", "session", *(one.header for one in columns)])
    for entry in entries:
        if entry.skipped:
            continue
        cells = [f"{entry.values[i] / one.factor:.10g}" if i in entry.values else "" for i, one in enumerate(columns)]
        session = f"{lot} sitting {entry.session}"
        writer.writerow([lot, entry.part, "yes" if entry.control else "no", session, *cells])
    return sink.getvalue()


def changed_by_others(path: Path, states: Sequence[str]) -> bool:
    """Whether a file is there that is none of the tables this program may have left (the newest, the one before)."""
    try:
        return path.exists() and path.read_bytes() not in [text.encode() for text in states]
    except OSError as error:
        fix = "make it readable, or name another file with --out"
        raise UnusableInput(
            [Problem("UNREADABLE", f"cannot be read: {error.strerror or error}", fix, str(path))]
        ) from error


def write_table(path: Path, text: str) -> None:
    """Put the table in place of the old one in one step: a reader never sees half of it.

    Raises
    ------
    UnusableInput
        The place cannot be written to.
    """
    try:
        write_whole(path, text)
    except OSError as error:
        raise not_writable(
            error,
            path,
            f"free the file or make room; the lines are safe in {path.name}.journal, start the command again",
        ) from error
