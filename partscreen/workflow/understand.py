"""How files were understood, ready for a page on which a person puts it right by hand; and what that person said."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput
from partscreen.workflow.options import Progress, ScreenOptions, silent

if TYPE_CHECKING:
    from partscreen.readings.column_map import MapLine
    from partscreen.readings.table_form import Table
    from partscreen.readings.tables import Lot
    from partscreen.readings.understanding import FileUnderstanding

_SHOWN_ROWS = 3  # cells of each column shown beside what they were read as
_LARGEST_SHOWN = 2 << 20  # bytes; larger files are not opened a second time for that


@dataclass(frozen=True, slots=True)
class Columns:
    """A table as it stands in a file: its headers and the first cells below each."""

    file: str
    header_row: int
    headers: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]

    def below(self, header: str) -> tuple[str, ...]:
        """The first cells below a header; empty where there is none."""
        return self.cells[self.headers.index(header)] if header in self.headers else ()


@dataclass(frozen=True, slots=True)
class Understood:
    """How files were understood: each table, the lots they make, and every problem with its way out.

    `columns`: headers and first cells by file, of files that could be cut into columns at all.
    """

    files: tuple[FileUnderstanding, ...]
    lots: tuple[Lot, ...]
    n_parts: int
    problems: tuple[Problem, ...]
    notices: tuple[str, ...]
    columns: tuple[Columns, ...]

    @property
    def lots_without_type(self) -> tuple[str, ...]:
        """Names of lots of which nothing says what type they are marked."""
        return tuple(lot.name for lot in self.lots if not lot.type)


def understand_files(
    files: Sequence[Path], options: ScreenOptions | None = None, *, progress: Progress | None = None
) -> Understood:
    """Read files as `screen_files` would, and say how, without judging anything.

    Raises
    ------
    UnusableInput
        A lot in words cannot be read. Content of files never raises.
    """
    from partscreen.readings.import_files import read_files
    from partscreen.readings.lot_sheet import parse_lot_option

    chosen = options or ScreenOptions()
    tell = progress or silent
    tell("reading files", 0, len(files))
    found = read_files(
        files,
        column_map=chosen.columns,
        lot_sheet=chosen.lots,
        type_name=chosen.type_name,
        default_lots=[parse_lot_option(text) for text in chosen.lot_texts],
    )
    tell("reading files", len(files), len(files))
    return Understood(
        found.understanding,
        tuple(found.batch.lots),
        found.batch.n_parts,
        tuple(found.batch.problems),
        tuple(found.batch.notices),
        tuple(one for file in files for one in _columns(file)),
    )


def _columns(file: Path) -> list[Columns]:
    """The first table of a file; where no header is known, the row that has the most words is taken for it."""
    from partscreen.readings.recognise import recognised_count
    from partscreen.readings.sources import open_tables

    try:
        if file.stat().st_size > _LARGEST_SHOWN:
            return []
    except OSError:
        return []
    tables = open_tables(file, recognised_count).tables or open_tables(file, _words_in).tables
    return [_shown(tables[0])] if tables else []


def _words_in(cells: list[str]) -> int:
    filled = [cell.strip() for cell in cells if cell.strip()]
    numbers = any(cell.lstrip("+-.,")[:1].isdigit() for cell in filled)
    return 0 if numbers or len(filled) < 2 or len(set(filled)) < len(filled) else len(filled)


def _shown(table: Table) -> Columns:
    cells = tuple(tuple(column[:_SHOWN_ROWS]) for column in table.columns)
    return Columns(table.file, table.header_row, tuple(table.header), cells)


_SHEET_FIELDS = ("lot", "type", "supplier", "maker", "gain_group", "known_good", "count")


def write_lots(lots: Sequence[Lot], told: Mapping[str, Mapping[str, str]], path: Path) -> Path:
    """Write a lot sheet of lots as they were read, with what a person told of them (`told[lot][field]`) put in.

    Raises
    ------
    UnusableInput
        The place cannot be written to.
    """
    from partscreen.readings.tables import SEVERAL_TYPES

    extra = sorted({key for lot in lots for key in lot.extra if key != SEVERAL_TYPES})
    try:
        with path.open("w", newline="", encoding="utf-8") as sink:
            writer = csv.writer(sink, quoting=csv.QUOTE_ALL)
            writer.writerow([*_SHEET_FIELDS, *extra])
            for lot in lots:
                row = {
                    "lot": lot.name,
                    "type": lot.type or "",
                    "supplier": lot.supplier or "",
                    "maker": lot.maker or "",
                    "gain_group": lot.gain_group or "",
                    "known_good": "yes" if lot.known_good else "no",
                    "count": str(lot.count or ""),
                    **lot.extra,
                }
                row |= {key: value for key, value in told.get(lot.name, {}).items() if value}
                writer.writerow([row.get(key, "") for key in (*_SHEET_FIELDS, *extra)])
    except OSError as error:
        raise _not_written(error, path) from error
    return path


def write_columns(lines: Sequence[MapLine], decimal: str, path: Path) -> Path:
    """Write a column map and read it back.

    Raises
    ------
    UnusableInput
        Nothing is named, one thing is named twice, or the map cannot be used: every problem. Nothing is written then.
    """
    from partscreen.readings.column_map import column_map_from, column_map_text

    if not lines:
        fix = "say of at least one column what it is"
        raise UnusableInput([Problem("MAP_EMPTY", "no column is named", fix)])
    roles = [line.role for line in lines]
    twice = [role for role in dict.fromkeys(roles) if roles.count(role) > 1]
    if twice:
        fix = "one column each: set the others to 'not used'"
        raise UnusableInput([Problem("MAP_TWICE", f"{role} is read from two columns", fix) for role in twice])
    text = column_map_text(list(lines), decimal)
    column_map_from(tomllib.loads(text), path.name)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise _not_written(error, path) from error
    return path


def column_roles() -> tuple[tuple[str, str, str], ...]:
    """What a column can be: (name in a column map, plain words, SI unit or ""), for people to choose from."""
    from partscreen.quantities import QUANTITIES
    from partscreen.readings.recognise import ROLES

    words = {
        "lot": "lot (bag)",
        "part": "part (number on its sticker)",
        "sweep": "kind of sweep: gain, saturation, output, gummel",
        "session": "session (one sitting at the bench)",
        "run": "run (repeat)",
        "pulse": "pulse width",
        "control": "control piece: yes or no",
        "quantity": "quantity read (one reading a row)",
        "value": "value read (one reading a row)",
        "unit": "unit of that value",
        "conditions": "conditions of that value",
    }
    found = []
    for role in ROLES:
        known = QUANTITIES.get(role)
        told = words.get(role) or (f"{known.symbol}, {known.words}" if known else role)
        found.append((role, told, "s" if role == "pulse" else known.unit if known and known.unit != "1" else ""))
    return tuple(found)


def _not_written(error: OSError, path: Path) -> UnusableInput:
    what, fix = f"cannot be written: {error.strerror or error}", "name a folder that exists and may be written to"
    return UnusableInput([Problem("NOT_WRITABLE", what, fix, path.name)])
