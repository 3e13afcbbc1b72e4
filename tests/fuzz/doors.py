"""One door a parser: any bytes go in; a sound result or `UnusableInput` comes out, anything else is a finding.

The same doors are used by the coverage-guided search (`python -m tests.fuzz.run`), by the tests of what it has found,
and by the property tests.
"""

from __future__ import annotations

import io
import os
import tempfile
import zipfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from partscreen.errors import Problem, UnusableInput
from partscreen.readings.columns.column_map import load_column_map
from partscreen.readings.columns.conditions import parse_conditions, parse_reading
from partscreen.readings.columns.numbers import MIXED, BadCell, read_cell
from partscreen.readings.columns.units import read_unit
from partscreen.readings.import_files import read_files
from partscreen.readings.instruments.kit import load_kit
from partscreen.readings.rows.date_codes import codes_of_sheet
from partscreen.readings.rows.lot_sheet import load_lot_sheet, parse_lot_option
from partscreen.readings.tables import Batch, Lot
from partscreen.readings.typed.columns import columns_from
from partscreen.readings.typed.line import Marks, read_line
from partscreen.reference.learned_file import load_learned
from partscreen.reference.library import read_type
from partscreen.stage.read import load_stage
from partscreen.stage.texts import read_figure, read_fuse
from partscreen.workflow.after.plan_history import read_history
from partscreen.workflow.saved import load_matching, load_screening
from tests.fuzz.archive import restored

FOLDER = tempfile.mkdtemp(prefix="doors-", dir="/dev/shm" if os.path.isdir("/dev/shm") else None)
PARTS = 3  # of the workbook's pieces that a door may replace


def told(problems: object) -> None:
    """Every problem says what is wrong and how to put it right, in words that a file and a screen can take."""
    assert problems
    for problem in problems:  # type: ignore[attr-defined]
        assert isinstance(problem, Problem)
        assert problem.code
        assert problem.what.strip()
        assert problem.fix.strip()
        str(problem).encode("utf-8")


def sound(batch: Batch) -> None:
    """What holds of every batch: each part has its lot, figures are figures, nothing is left out without a word."""
    n = batch.n_parts
    assert len(batch.part_lot) == n
    assert set(batch.points.part.tolist()) <= set(range(n))
    assert set(batch.spots.part.tolist()) <= set(range(n))
    assert np.isfinite(batch.spots.value).all()
    for name in ("ic", "ib", "vce", "vbe", "hfe", "case_temp", "time"):
        assert not np.isinf(getattr(batch.points, name)).any(), name
    if batch.problems:
        told(batch.problems)
    assert batch.problems or batch.notices or n or not batch.inputs[0].rows
    for text in (*batch.part_names, *(lot.name for lot in batch.lots), *batch.notices):
        text.encode("utf-8")
    for item in batch.inputs:
        item.model_dump_json()


def _at(name: str, data: bytes) -> Path:
    path = Path(FOLDER) / name
    path.write_bytes(data)
    return path


def read_as(name: str, data: bytes) -> Batch:
    """The batch of a file of this name and content, checked."""
    batch = read_files([_at(name, data)]).batch
    sound(batch)
    return batch


def or_unusable(call: Callable[[], object]) -> None:
    """A result, or problems that are told."""
    try:
        call()
    except UnusableInput as error:
        told(error.problems)


def text(data: bytes) -> None:
    """Delimited text as readings, as a lot sheet and as a table of past lots."""
    read_as("x.csv", data)
    sheet = load_lot_sheet(_at("lots.csv", data))
    if sheet.problems:
        told(sheet.problems)
    or_unusable(lambda: read_history(_at("past.csv", data)))


def json(data: bytes) -> None:
    """JSON as readings, as a result of a screening and as one of matching."""
    read_as("x.json", data)
    path = _at("saved.json", data)
    or_unusable(lambda: load_screening(path))
    or_unusable(lambda: load_matching(path))


def parquet(data: bytes) -> None:
    """Parquet as readings."""
    read_as("x.parquet", data)


TOML: tuple[Callable[[Path], object], ...] = (load_column_map, load_kit, load_stage, read_type, load_learned)


def toml(data: bytes) -> None:
    """TOML as a map, kit, stage, reference type or spreads: the first byte says which."""
    if data:
        path = _at("x.toml", data[1:])
        or_unusable(lambda: TOML[data[0] % len(TOML)](path))


XLSX_PIECES = (
    "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "xl/workbook.xml", "xl/styles.xml",
    "xl/_rels/workbook.xml.rels", "[Content_Types].xml",
)  # fmt: skip


def workbook(data: bytes) -> None:
    """A workbook: the first byte says which piece of it the rest replaces; 255 and above the pieces: the whole file."""
    if not data:
        return
    which, rest = data[0], data[1:]
    if which < len(XLSX_PIECES):
        read_as("x.xlsx", with_piece(_whole_xlsx(), XLSX_PIECES[which], rest))
    elif which == len(XLSX_PIECES):
        read_as("x.ods", _ods_of(rest))
    else:
        read_as("x.xlsx", rest)


def with_piece(whole: bytes, name: str, content: bytes) -> bytes:
    """A copy of an archive with one member replaced or added."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as old, zipfile.ZipFile(out, "w") as new:
        for other in old.namelist():
            if other != name:
                new.writestr(other, old.read(other))
        new.writestr(name, content)
    return out.getvalue()


_KEPT: dict[str, bytes] = {}


def _whole_xlsx() -> bytes:
    if "xlsx" not in _KEPT:
        from openpyxl import Workbook

        book = Workbook()
        for row in (["part", "ic [A]", "hfe"], ["T1", 0.5, 80.0], ["T1", 1.0, "78,5"], ["T2", 1.0, 81.0]):
            book.active.append(row)
        out = io.BytesIO()
        book.save(out)
        _KEPT["xlsx"] = out.getvalue()
    return _KEPT["xlsx"]


def _ods_of(content: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as new:
        new.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        new.writestr("content.xml", content)
    return out.getvalue()


COLUMNS = columns_from(["hFE @ IC=1 A, VCE=5 V", "C_BE [nF] @ VEB=0 V, f=1 MHz", "VBE [mV] @ IC=1 A"])


def _value_error_only(call: Callable[[], object]) -> None:
    """Figures of a stage are read inside a model, which turns a ValueError into a problem; its text is the message."""
    said = "a result"
    try:
        call()
    except ValueError as error:
        said = str(error)
    assert said.strip()
    assert "Exceeds the limit" not in said


def _cell(said: str) -> None:
    found = read_cell(said, MIXED)
    if isinstance(found, BadCell):
        assert found.what
        assert found.fix
    else:
        assert not np.isinf(found[0])


def _typed(said: str) -> None:
    line = read_line(said, COLUMNS, Marks())
    if line.problems:
        told(line.problems)
    assert line.problems or line.cells or not said.replace(";", " ").strip() or line.part
    assert not any(np.isinf(cell.value) for cell in line.cells.values())


def _conditions(said: str) -> None:
    found, problems, _ = parse_conditions(said)
    if problems:
        told(problems)
    assert problems or found or not said.strip(" \t\r\n\f\v;,\x1c\x1d\x1e\x1f\x85\xa0") or not said.strip()
    assert all(isinstance(value, str) or np.isfinite(value) for value in found.values())


STRINGS: tuple[Callable[[str], object], ...] = (
    lambda said: or_unusable(lambda: parse_reading(said)),
    _conditions,
    _typed,
    _cell,
    lambda said: or_unusable(lambda: parse_lot_option(said)),
    lambda said: list(codes_of_sheet(Lot("A", extra={"code_on_parts": said}))),
    *(partial(lambda unit, said: _value_error_only(lambda: read_unit(said, unit)), unit) for unit in ("A", "1", "K")),
    *(partial(lambda unit, said: _value_error_only(lambda: read_figure(said, unit)), u) for u in ("V", "K/W", "rad")),
    lambda said: _value_error_only(lambda: read_fuse(said)),
    lambda said: or_unusable(lambda: columns_from([said])),
)


def reading_string(data: bytes) -> None:
    """What is typed: readings, conditions, lines, lots, date codes, units, figures; the first byte says which."""
    if data:
        STRINGS[data[0] % len(STRINGS)](data[1:].decode("utf-8", "surrogateescape"))


def archive(data: bytes) -> None:
    """A copy of a bench book: restored and asked, or refused."""
    if data:
        restored(data, told)


DOORS: dict[str, Callable[[bytes], None]] = {
    "text": text,
    "workbook": workbook,
    "json": json,
    "toml": toml,
    "reading_string": reading_string,
    "archive": archive,
}
