"""How a file was understood: shown by `partscreen read`, saved as a column map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from partscreen.errors import Problem, UnusableInput
from partscreen.readings.columns.column_map import MapLine, column_map_text
from partscreen.whole_files import write_whole

READ_SCHEMA = "partscreen.read/1"


@dataclass(frozen=True, slots=True)
class ColumnUnderstanding:
    """One column: its header, what it was read as (`None`: not used), its unit, and a remark."""

    header: str
    role: str | None
    unit: str = ""
    remark: str = ""
    constant: float | str | None = None
    sign: int = 1
    shunt: float | None = None


@dataclass(slots=True)
class FileUnderstanding:
    """One table of a file. `decimal` is "point", "comma", "mixed" or "" where no mark occurs."""

    file: str
    sheet: str
    encoding: str
    delimiter: str
    decimal: str
    header_row: int
    unit_row: int
    rows: int
    columns: list[ColumnUnderstanding]
    sweeps: dict[str, int] = field(default_factory=dict)  # kind of sweep to number of rows
    n_parts: int = 0
    ignored: list[str] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    header: list[str] = field(default_factory=list)


def understanding_text(files: Sequence[FileUnderstanding]) -> str:
    """The understanding in words, one block a table."""
    return "\n".join(_block(one) for one in files)


def _block(one: FileUnderstanding) -> str:
    title = one.file + (f", sheet {one.sheet}" if one.sheet else "")
    facts = [one.encoding]
    if one.delimiter:
        facts.append(f"cells separated by {one.delimiter}")
    if one.decimal:
        facts.append(f"decimal {one.decimal}")
    if one.header_row:
        facts.append(f"header in row {one.header_row}" + (f", units in row {one.unit_row}" if one.unit_row else ""))
    lines = [title, "  " + "; ".join(facts), f"  {one.rows} rows, {one.n_parts} part(s)"]
    if one.sweeps:
        lines[-1] += ": " + ", ".join(f"{count} {kind}" for kind, count in one.sweeps.items())
    width = max((len(column.header) for column in one.columns), default=0)
    for column in one.columns:
        meaning = "not used" if column.role is None else column.role + (f" in {column.unit}" if column.unit else "")
        lines.append(f"    {column.header.ljust(width)}  {meaning}" + (f"  ({column.remark})" if column.remark else ""))
    lines += [f"  left out: {text}" for text in one.ignored]
    lines += [f"  note: {text}" for text in one.notices]
    return "\n".join(lines) + "\n"


def understanding_json(
    files: Sequence[FileUnderstanding], problems: Sequence[Problem], notices: Sequence[str] = ()
) -> dict[str, Any]:
    """The understanding, the problems and the notices, ready for `json.dumps`."""
    return {
        "schema": READ_SCHEMA,
        "files": [asdict(one) for one in files],
        "problems": [asdict(problem) for problem in problems],
        "notices": list(notices),
    }


def save_column_map(path: str | Path, understanding: FileUnderstanding) -> str:
    """Write a column map that reads such files the way this one was understood, and give its text.

    Raises
    ------
    UnusableInput
        Nothing was understood, or the file cannot be written.
    """
    used = [
        MapLine(c.role, c.header, c.unit, c.constant, c.sign, c.shunt)
        for c in understanding.columns
        if c.role is not None
    ]
    if not used:
        raise UnusableInput(
            [Problem("NOTHING_TO_SAVE", "no column was understood", "write the map by hand", understanding.file)]
        )
    decimal = {"comma": ",", "point": "."}.get(understanding.decimal, "")
    text = column_map_text(used, decimal)
    try:
        write_whole(path, text)
    except OSError as error:
        raise UnusableInput(
            [
                Problem(
                    "CANNOT_WRITE",
                    f"the column map cannot be written ({error.strerror})",
                    "choose another path",
                    str(path),
                )
            ]
        ) from error
    return text
