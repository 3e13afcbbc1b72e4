"""Tables as files: CSV, JSON, Parquet, and a Data Package after the open specification (datapackage.org, version 2.0;
read by tools of version 1 too: specs.frictionlessdata.io)."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from partscreen.book.export import Column, TableForm
from partscreen.errors import Problem, UnusableInput, not_writable

FORMS = ("csv", "json", "parquet", "package")
_FORMULA = frozenset("=+-@\t\r\n")
_NEUTRAL = "Text that a spreadsheet would take for a formula has an apostrophe in front."


def empty_folder(out: Path) -> None:
    """Make the folder; it must be new or empty, so that no older table stays among the new ones.

    Raises
    ------
    UnusableInput
        It holds something, or cannot be made.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        used = any(out.iterdir())
    except OSError as error:
        raise not_writable(error, out, "name another folder", what="cannot be written to") from None
    if used:
        what = "the folder holds something already"
        raise UnusableInput([Problem("BOOK_FOLDER_USED", what, "name a new or an empty folder", str(out))])


def csv_bytes(columns: Sequence[Column], rows: Sequence[Mapping[str, Any]], *, mark: bool) -> bytes:
    """A table as UTF-8 CSV (RFC 4180); `mark`: with a byte order mark, for spreadsheets."""
    sink = io.StringIO(newline="")
    writer = csv.writer(sink, lineterminator="\r\n")
    writer.writerow([column.name for column in columns])
    writer.writerows([[_cell(row[column.name]) for column in columns] for row in rows])
    return sink.getvalue().encode("utf-8-sig" if mark else "utf-8", "replace")


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return neutral(value) if isinstance(value, str) else value


def neutral(text: str) -> str:
    """Text that no spreadsheet takes for a formula: names in a book are other people's text."""
    text = text.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return f"'{text}" if text.lstrip(" ")[:1] in _FORMULA and text.strip(" ") else text


def json_bytes(rows: Sequence[Mapping[str, Any]]) -> bytes:
    """A table as a JSON list of objects, a line each."""
    lines = ",\n".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows)
    return f"[\n{lines}\n]\n".encode("utf-8", "replace")


def parquet_bytes(columns: Sequence[Column], rows: Sequence[Mapping[str, Any]]) -> bytes:
    """A table as Parquet, with the columns' types.

    Raises
    ------
    UnusableInput
        The library that writes it is not installed.
    """
    try:
        import pyarrow as arrow
        import pyarrow.parquet as parquet
    except ImportError:
        fix = 'install it (python -m pip install "partscreen[parquet]"), or choose csv'
        what = "Parquet needs the library pyarrow, which is not installed"
        raise UnusableInput([Problem("BOOK_NO_PARQUET", what, fix, "--format")]) from None
    from datetime import date, datetime

    kinds = {
        "integer": arrow.int64(), "number": arrow.float64(), "boolean": arrow.bool_(), "string": arrow.string(),
        "date": arrow.date32(), "datetime": arrow.timestamp("s", tz="UTC"),
    }  # fmt: skip
    reads = {"date": date.fromisoformat, "datetime": datetime.fromisoformat}

    def values(column: Column) -> list[Any]:
        read = reads.get(column.type)
        found = [row[column.name] for row in rows]
        if column.type == "number":
            return [None if value is None else float(value) for value in found]
        return [None if value is None else read(value) for value in found] if read else found

    schema = arrow.schema([arrow.field(c.name, kinds[c.type], metadata={"description": c.words}) for c in columns])
    arrays = [arrow.array(values(c), type=kinds[c.type]) for c in columns]
    sink = arrow.BufferOutputStream()
    parquet.write_table(arrow.Table.from_arrays(arrays, schema=schema), sink)
    return bytes(sink.getvalue().to_pybytes())


def descriptor(
    tables: Sequence[tuple[TableForm, bytes]], *, created: str, without_names: bool, program: str
) -> bytes:  # fmt: skip
    """The datapackage.json of tables written as CSV."""
    said = " People, suppliers, jobs and names of lots are numbers; free text is left out." if without_names else ""
    package = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "bench-book",
        "title": "Bench book: readings and judgements of power transistors",
        "description": f"Written by partscreen {program}. SI units; temperatures in kelvin. {_NEUTRAL}{said}",
        "created": created,
        "resources": [_resource(form, content) for form, content in tables],
    }
    return (json.dumps(package, indent=2, ensure_ascii=False) + "\n").encode()


def _resource(form: TableForm, content: bytes) -> dict[str, Any]:
    return {
        "name": form.name.replace("_", "-"),
        "title": form.words,
        "path": f"{form.name}.csv",
        "type": "table",
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "dialect": {"delimiter": ",", "lineTerminator": "\r\n", "quoteChar": '"', "header": True},
        "schema": {
            "fields": [{"name": c.name, "type": c.type, "description": c.words} for c in form.columns],
            "missingValues": [""],
        },
    }
