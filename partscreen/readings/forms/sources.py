"""Opening files: which reader takes which file. A new form is one more entry of `READERS`."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from partscreen.bounded_files import TooLarge
from partscreen.errors import Problem
from partscreen.readings.columns.table_form import HeaderTest, Table
from partscreen.readings.forms.delimited import read_text_tables
from partscreen.readings.forms.json_tables import read_json_tables
from partscreen.readings.forms.parquet_tables import read_parquet_tables
from partscreen.readings.forms.spreadsheet import read_workbook_tables
from partscreen.readings.sizes import read_capped

Reader = Callable[[str, bytes, HeaderTest, str], tuple[list[Table], list[Problem]]]
READERS: dict[str, Reader] = {
    ".xlsx": read_workbook_tables,
    ".xlsm": read_workbook_tables,
    ".ods": read_workbook_tables,
    ".json": read_json_tables,
    ".parquet": read_parquet_tables,
}
_ZIP = b"PK\x03\x04"
_ODS = b"mimetypeapplication/vnd.oasis.opendocument.spreadsheet"
_STARTS: dict[Reader, tuple[bytes, ...]] = {read_workbook_tables: (_ZIP,), read_parquet_tables: (b"PAR1",)}


@dataclass(slots=True)
class Opened:
    """The tables of a file, the hash of its bytes (None when it could not be read) and what is wrong with it."""

    tables: list[Table] = field(default_factory=list)
    sha256: str | None = None
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)


def reader_for(path: Path, data: bytes) -> Reader:
    """By suffix where the content begins as such a file does; else by content; everything else is text."""
    reader = READERS.get(path.suffix.lower())
    if reader is not None and data.strip(b" \t\r\n\x00\xef\xbb\xbf") and _begins_like(reader, data):
        return reader
    if data.startswith(_ZIP) and (b"xl/workbook.xml" in data or _ODS in data[:200]):
        return read_workbook_tables
    if data.startswith(b"PAR1"):
        return read_parquet_tables
    if data.lstrip(b" \t\r\n\xef\xbb\xbf")[:1] == b"{" or data.lstrip(b" \t\r\n\xef\xbb\xbf")[:2] in (b"[{", b"[\n"):
        return read_json_tables
    return read_text_tables


def _begins_like(reader: Reader, data: bytes) -> bool:
    return data.startswith(_STARTS.get(reader, (b"",)))


def open_tables(path: Path, test: HeaderTest, delimiter: str = "", name: str = "") -> Opened:
    """Read a file into tables; `name` is what messages call it. Never raises for content or for a missing file."""
    name = name or path.name
    try:
        data = read_capped(path)
    except TooLarge as error:
        fix = "split the file; no bag of parts needs that much"
        return Opened(problems=[Problem("TOO_LARGE", f"the file is not read: {error.strerror}", fix, name)])
    except OSError as error:
        why = (
            "there is no such file"
            if isinstance(error, FileNotFoundError)
            else f"it cannot be opened ({error.strerror})"
        )
        return Opened(problems=[Problem("FILE_MISSING", why, "check the path and the name", name)])
    try:
        tables, problems = reader_for(path, data)(name, data, test, delimiter)
    except MemoryError:
        what = "the file is not read: this computer has not the memory for what it unpacks to"
        return Opened(problems=[Problem("TOO_LARGE", what, "split the file, or close other programs", name)])
    return Opened(tables, hashlib.sha256(data).hexdigest(), problems)
