"""How files were understood, ready for a page on which a person puts it right by hand; and what that person said."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.options import Progress, ScreenOptions, silent

if TYPE_CHECKING:
    from partscreen.readings.columns.table_form import Table
    from partscreen.readings.columns.understanding import FileUnderstanding
    from partscreen.readings.saved_maps import SavedMap
    from partscreen.readings.tables import Lot

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

    `columns`: headers and first cells by file, of files that could be cut into columns at all. `offers`: (file, map
    that was saved for its header), while no map is in use.
    """

    files: tuple[FileUnderstanding, ...]
    lots: tuple[Lot, ...]
    n_parts: int
    problems: tuple[Problem, ...]
    notices: tuple[str, ...]
    columns: tuple[Columns, ...]
    offers: tuple[tuple[str, SavedMap], ...] = ()

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
    from partscreen.readings.rows.lot_sheet import parse_lot_option

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
        tuple(one for file in files for one in _columns(file, found.understanding)),
        () if chosen.columns is not None else tuple(offer for file in files for offer in _offers(file)),
    )


def cut_file(file: Path, header_row: int = 0, delimiter: str = "") -> tuple[Columns | None, FileUnderstanding | None]:
    """The columns of a file cut at a told header row and separator, and how they are recognised; None: it does not come
    apart so."""
    from partscreen.readings.columns.column_map import column_map_from
    from partscreen.readings.columns.table_form import RowTold
    from partscreen.readings.forms.sources import open_tables
    from partscreen.readings.import_files import read_files

    told = {**({"header_row": header_row} if header_row else {}), **({"delimiter": delimiter} if delimiter else {})}
    if not told:
        shown = _columns(file, ())
        return (shown[0] if shown else None), None
    cut = column_map_from(told, "columns.toml")
    test = RowTold(header_row, _words_in) if header_row else _words_in
    tables = open_tables(file, test, cut.delimiter).tables
    found = read_files([file], column_map=cut).understanding
    return (_shown(tables[0]) if tables else None), (found[0] if found else None)


def _offers(file: Path) -> list[tuple[str, SavedMap]]:
    """The maps that were saved for the header of a file."""
    from partscreen.readings.columns.recognise import recognised_count
    from partscreen.readings.forms.sources import open_tables
    from partscreen.readings.saved_maps import known_maps, saved_maps, watching

    known = known_maps()
    if not known or not _small(file):
        return []
    test, met = watching(recognised_count, known)
    open_tables(file, test)
    keys = {path.stem for path in met}
    return [(file.name, one) for one in saved_maps() if one.key in keys]


def _small(file: Path) -> bool:
    try:
        return file.stat().st_size <= _LARGEST_SHOWN
    except OSError:
        return False


def _columns(file: Path, understood: Sequence[FileUnderstanding]) -> list[Columns]:
    """The first table of a file; where nothing was read of it, the words above its fullest columns."""
    from partscreen.readings.columns.recognise import recognised_count
    from partscreen.readings.forms.sources import READERS, open_tables

    if not _small(file):
        return []
    known = open_tables(file, recognised_count).tables
    if known and any(one.n_parts for one in understood if one.file == file.name):
        return [_shown(known[0])]
    separators = ("",) if file.suffix.lower() in READERS else ("", ",", ";", "\t", "|")
    guessed = [table for mark in separators for table in open_tables(file, _words_in, mark).tables[:1]]
    shown = [_shown(table) for table in [*guessed, *known[:1]]]
    return [max(shown, key=_filled)] if shown else []


def _filled(table: Columns) -> int:
    """Columns with a header and no gap below it."""
    return sum(
        bool(head) and bool(cells) and all(cells) for head, cells in zip(table.headers, table.cells, strict=True)
    )


def _words_in(cells: list[str]) -> int:
    filled = [cell.strip() for cell in cells if cell.strip()]
    numbers = any(cell.lstrip("+-.,")[:1].isdigit() for cell in filled)
    return 0 if numbers or len(filled) < 2 or len(set(filled)) < len(filled) else len(filled)


def _shown(table: Table) -> Columns:
    cells = tuple(tuple(column[:_SHOWN_ROWS]) for column in table.columns)
    return Columns(table.file, table.header_row, tuple(table.header), cells)


_SHEET_FIELDS = ("lot", "type", "supplier", "maker", "gain_group", "known_good", "count")
_NO_NAME = re.compile(r"[\s;,*?\[\]]")  # what separates or stands for other letters in the files of a lot sheet


def write_lots(
    lots: Sequence[Lot], told: Mapping[str, Mapping[str, str]], path: Path, files: Sequence[str] = ()
) -> Path:
    """Write a lot sheet of lots as they were read, with what a person told of them put in.

    Parameters
    ----------
    told : by lot, then by field of the sheet. Another `lot` renames a lot that is a file; lots of one name become one.
    files : names of the files the lots were read from

    Raises
    ------
    UnusableInput
        The place cannot be written to.
    """
    rows: dict[str, dict[str, str]] = {}
    for lot in lots:
        row = _sheet_row(lot) | {key: value for key, value in told.get(lot.name, {}).items() if value}
        if row["lot"] != lot.name:
            its = [_NO_NAME.sub("?", name) for name in files if Path(name).stem == lot.name]
            row["files"] = "; ".join(filter(None, [row.get("files", ""), *its]))
        before = rows.setdefault(row["lot"], {})
        both = "; ".join(filter(None, [before.get("files", ""), row.get("files", "")]))
        rows[row["lot"]] = (
            row | {key: value for key, value in before.items() if value} | ({"files": both} if both else {})
        )
    extra = sorted({key for row in rows.values() for key in row} - set(_SHEET_FIELDS))
    try:
        sink = io.StringIO(newline="")
        writer = csv.DictWriter(sink, (*_SHEET_FIELDS, *extra), restval="", quoting=csv.QUOTE_ALL)
        writer.writeheader()
        writer.writerows(rows.values())
        write_whole(path, sink.getvalue())
    except OSError as error:
        raise not_writable(error, path.name, what="cannot be written") from error
    return path


def _sheet_row(lot: Lot) -> dict[str, str]:
    from partscreen.readings.tables import SEVERAL_TYPES

    row = {
        "lot": lot.name,
        "type": lot.type or "",
        "supplier": lot.supplier or "",
        "maker": lot.maker or "",
        "gain_group": lot.gain_group or "",
        "known_good": "yes" if lot.known_good else "",
        "count": str(lot.count or ""),
    }
    return row | {key: value for key, value in lot.extra.items() if key != SEVERAL_TYPES}


def column_roles() -> tuple[tuple[str, str, str], ...]:
    """What a column can be: (name in a column map, plain words, SI unit or ""), for people to choose from."""
    from partscreen.quantities import QUANTITIES
    from partscreen.readings.columns.recognise import ROLES

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
