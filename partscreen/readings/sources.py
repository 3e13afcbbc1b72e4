"""Opening files: which reader takes which file. A new form (ODS, JSON, ...) is one more entry of `READERS`."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from partscreen.errors import Problem
from partscreen.readings.delimited import read_text_tables
from partscreen.readings.spreadsheet import read_workbook_tables
from partscreen.readings.table_form import HeaderTest, Table

Reader = Callable[[str, bytes, HeaderTest, str], tuple[list[Table], list[Problem]]]
READERS: dict[str, Reader] = {".xlsx": read_workbook_tables, ".xlsm": read_workbook_tables}
_ZIP = b"PK\x03\x04"


@dataclass(slots=True)
class Opened:
    """The tables of a file, the hash of its bytes (None when it could not be read) and what is wrong with it."""

    tables: list[Table] = field(default_factory=list)
    sha256: str | None = None
    problems: list[Problem] = field(default_factory=list)


def reader_for(path: Path, data: bytes) -> Reader:
    """By suffix; a workbook that lost its suffix is known by its content; everything else is text."""
    reader = READERS.get(path.suffix.lower())
    if reader is not None and data.startswith(_ZIP):
        return reader
    if data.startswith(_ZIP) and b"xl/workbook.xml" in data:
        return read_workbook_tables
    return read_text_tables


def open_tables(path: Path, test: HeaderTest, delimiter: str = "", name: str = "") -> Opened:
    """Read a file into tables; `name` is what messages call it. Never raises for content or for a missing file."""
    name = name or path.name
    try:
        data = path.read_bytes()
    except OSError as error:
        why = (
            "there is no such file"
            if isinstance(error, FileNotFoundError)
            else f"it cannot be opened ({error.strerror})"
        )
        return Opened(problems=[Problem("FILE_MISSING", why, "check the path and the name", name)])
    tables, problems = reader_for(path, data)(name, data, test, delimiter)
    return Opened(tables, hashlib.sha256(data).hexdigest(), problems)
