"""JSON in the shape of our own long or wide form: a list of records, or columns and rows.

    [{"part": "T1", "ic [A]": 0.1, "hfe": 92}, ...]
    {"columns": ["part", "ic [A]", "hfe"], "rows": [["T1", 0.1, 92], ...]}

Records count as rows from 1. A file may hold `"readings": [records]` beside other keys, which are named and not used.
"""

from __future__ import annotations

import json
from collections import Counter
from typing import Any, NoReturn

from partscreen.errors import Problem
from partscreen.readings.columns.numbers import NumberText, plain_marks
from partscreen.readings.columns.table_form import WORKBOOK, HeaderTest, Table, too_many_columns
from partscreen.readings.forms.delimited import decode
from partscreen.readings.sizes import MAX_CELLS, MAX_COLUMNS, MAX_JSON, MIB

_FORM = 'a list of records [{"part": ..., "ic [A]": ...}, ...], or {"columns": [...], "rows": [[...], ...]}'
_MOST_DIGITS = 400  # no figure has more; Python takes very long over integers of millions of digits


class _Refused(ValueError):
    def __init__(self, code: str, what: str, fix: str = f"write {_FORM}") -> None:
        super().__init__(what)
        self.code, self.what, self.fix = code, what, fix


class _Record(dict[str, Any]):
    """A JSON object; `twice` holds keys that stand in it more than once."""

    twice: tuple[str, ...] = ()


def read_json_tables(
    file: str, data: bytes, test: HeaderTest, delimiter: str = ""
) -> tuple[list[Table], list[Problem]]:
    """The table of a JSON file and what is wrong with it. `delimiter` has no meaning here."""
    del delimiter
    try:
        found = _parse(data)
        header, units, rows, ignored = _shape(found)
        _check_size(len(header), len(rows))
    except _Refused as error:
        return [], [Problem(error.code, error.what, error.fix, file)]
    # Before any message quotes them: half a character cannot be written anywhere.
    header, units, ignored = ([_whole(name) for name in names] for names in (header, units, ignored))
    if not test(header):
        what = f"none of the names is known: {', '.join(header[:20])}"
        fix = "name the columns (part, ic [A], ib [A], vce [V], vbe [V], hfe, ...), or write a column map"
        return [], [Problem("NO_HEADER", what, fix, file)]
    table = Table(file, header, units or [""] * len(header), [], [], 0, encoding=WORKBOOK, ignored=ignored)
    table.unit_row = 1 if units else 0
    table.form = "JSON"
    _fill(table, rows)
    return [table], []


def _check_size(columns: int, rows: int) -> None:
    if columns * rows > MAX_CELLS:
        raise _Refused("TOO_LARGE", f"the file holds more than {MAX_CELLS:,} cells", "split the file")
    if columns > MAX_COLUMNS:
        said = too_many_columns("", columns)
        raise _Refused(said.code, said.what, said.fix)


def _parse(data: bytes) -> Any:
    if len(data) > MAX_JSON:
        fix = "split the file, or write it as CSV or Parquet"
        raise _Refused("TOO_LARGE", f"the file is larger than the {MAX_JSON // MIB} MiB that JSON may have", fix)
    text, _ = decode(data)
    if text is None:
        raise _Refused("JSON_UNREADABLE", "the file is no text")
    try:
        return json.loads(
            text.lstrip("\ufeff"),
            parse_int=_number,
            parse_float=_number,
            parse_constant=str,
            object_pairs_hook=_record,
        )
    except RecursionError as error:
        raise _Refused("JSON_UNREADABLE", "lists stand within lists too deeply") from error
    except json.JSONDecodeError as error:
        what = f"the file is no valid JSON: {error.msg} in line {error.lineno}, character {error.colno}"
        raise _Refused("JSON_UNREADABLE", what, "correct it there, or export it again") from error


def _number(text: str) -> NumberText | str:
    """A figure as it is written, so that no digit is lost; absurdly long ones stay text and are told."""
    return NumberText(text) if len(text) <= _MOST_DIGITS else text


def _record(pairs: list[tuple[str, Any]]) -> _Record:
    record = _Record(pairs)
    if len(record) < len(pairs):
        names = [name for name, _ in pairs]
        record.twice = tuple(name for name, count in Counter(names).items() if count > 1)
    return record


Shape = tuple[list[str], list[str], list[Any], list[str]]


def _shape(found: Any) -> Shape:
    """Header, units ([] when none are told), rows as lists or records, what was left out."""
    if isinstance(found, list):
        return _records(found, [])
    if not isinstance(found, _Record):
        _refuse_form("the file holds one figure or text")
    if found.twice:
        raise _Refused("JSON_KEY_TWICE", f"the key {found.twice[0]!r} stands twice", "write each key once")
    if "readings" in found:
        return _records(found["readings"], [key for key in found if key != "readings"])
    if "columns" not in found or "rows" not in found:
        _refuse_form(f"the file has the keys {', '.join(map(repr, list(found)[:8])) or 'none'}")
    columns, rows, units = found["columns"], found["rows"], found.get("units", [])
    if not isinstance(columns, list) or not columns or not all(type(name) is str for name in columns):
        _refuse_form("columns is no list of names")
    if not isinstance(rows, list):
        _refuse_form("rows is no list")
    if not isinstance(units, list) or (units and len(units) != len(columns)):
        _refuse_form("units does not fit columns")
    other = [key for key in found if key not in ("columns", "rows", "units")]
    return [plain_marks(name.strip()) for name in columns], [_cell(unit) for unit in units], rows, _other(other)


def _records(found: Any, other: list[str]) -> Shape:
    if not isinstance(found, list) or not found or not all(isinstance(one, _Record) for one in found):
        _refuse_form("the readings are no list of records" if found else "there is no record in it")
    for place, one in enumerate(found, 1):
        if one.twice:
            what = f"in record {place} the key {one.twice[0]!r} stands twice"
            raise _Refused("JSON_KEY_TWICE", what, "write each key once in a record")
    names = list(dict.fromkeys(name for one in found for name in one))
    _check_size(len(names), len(found))
    return names, [], [[one.get(name) for name in names] for one in found], _other(other)


def _other(keys: list[str]) -> list[str]:
    return [f"keys that hold no readings: {', '.join(keys)}"] if keys else []


def _refuse_form(what: str) -> NoReturn:
    raise _Refused("JSON_FORM", f"{what}: that is not the form that is read")


def _fill(table: Table, rows: list[Any]) -> None:
    """Cells as text. Rows that are no list or too long, and cells that hold more than one value, are told."""
    width = len(table.header)
    columns: list[list[str]] = [[] for _ in range(width)]
    wrong: list[int] = []
    nested: dict[int, list[int]] = {}
    broken: dict[int, list[int]] = {}
    for place, row in enumerate(rows, 1):
        if not isinstance(row, list) or len(row) != width:
            wrong.append(place)
            continue
        table.rows.append(place)
        for index, value in enumerate(row):
            if isinstance(value, (list, dict)):
                nested.setdefault(index, []).append(place)
                value = "(several values)"
            text = _cell(value)
            if not text.isascii() and _whole(text) != text:
                broken.setdefault(index, []).append(place)
                text = _whole(text)
            columns[index].append(text)
    table.columns = columns
    for index, places in broken.items():
        what = f"{len(places)} cell(s) hold half of a character (a lone surrogate such as \\ud800)"
        fix = "write the text again; the broken character stands as \N{REPLACEMENT CHARACTER}"
        table.problems.append(Problem("BROKEN_CHARACTER", what, fix, table.file, places[0], table.column_label(index)))
    if wrong:
        what = f"{len(wrong)} row(s) do not have one cell for each of the {width} columns, the first is row {wrong[0]}"
        fix = "write every row with as many cells as there are columns, null for what was not read; they were left out"
        table.problems.append(Problem("TOO_MANY_CELLS", what, fix, table.file, wrong[0]))
    for index, places in nested.items():
        what = f"{len(places)} cell(s) hold a list or a record"
        fix = "write one figure a cell, and one row a reading"
        label = table.column_label(index)
        table.problems.append(Problem("JSON_FORM", what, fix, table.file, places[0], label))


def _whole(text: str) -> str:
    """The text with each lone surrogate, which no file and no screen can take, as the replacement character."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, NumberText) else plain_marks(str(value))
