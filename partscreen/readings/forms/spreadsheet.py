"""Workbooks (.xlsx, .ods): every sheet with known column names is a table; merged cells are named, never filled in.

Of a formula the stored value is read; one without a stored value is a problem that names its cell.
"""

from __future__ import annotations

import datetime
import io
from typing import Any

from partscreen.errors import Problem
from partscreen.readings.columns.numbers import NumberText, plain_marks
from partscreen.readings.columns.table_form import WORKBOOK, HeaderTest, Table, build_table, header_position, letters
from partscreen.readings.forms.scanned import Refused, SheetScan, Span
from partscreen.readings.forms.workbook_scan import scan_workbook


def read_workbook_tables(
    file: str, data: bytes, test: HeaderTest, delimiter: str = ""
) -> tuple[list[Table], list[Problem]]:
    """The tables of a workbook, one a sheet, and what is wrong with it. `delimiter` has no meaning here."""
    del delimiter
    try:
        scans = scan_workbook(data)
        sheets = _sheets(data)
    except Refused as error:
        return [], [Problem(error.code, error.what, error.fix, file)]
    tables: list[Table] = []
    skipped: list[str] = []
    for name, records, merged in sheets:
        scan = scans.get(name, SheetScan())
        _put_formulas(records, scan)
        place, score = header_position(records, test)
        table = build_table(file, records, range(1, len(records) + 1), place) if score else None
        if table is None:
            skipped.append(name)
            continue
        table.sheet, table.encoding = name, WORKBOOK
        _mark_merged(table, [*merged, *scan.merged])
        tables.append(table)
    if not tables:
        what = f"no sheet has a row of known column names (sheets: {', '.join(skipped) or 'none'})"
        fix = "name the columns (part, ic, vce, vbe, hfe, ...), or write a column map"
        return [], [Problem("NO_HEADER", what, fix, file)]
    if skipped:
        tables[0].ignored.append(f"sheet(s) without known column names: {', '.join(skipped)}")
    if len(tables) > 1:
        tables[0].notes.append(
            f"{len(tables)} sheets hold readings and were read: {', '.join(t.sheet for t in tables)}"
        )
    return tables, []


def _sheets(data: bytes) -> list[tuple[str, list[list[str]], list[Span]]]:
    """Name, cells as text and merged spans of every sheet.

    Raises
    ------
    Refused
        The library cannot read the workbook, or breaks down over it.
    """
    from python_calamine import CalamineWorkbook

    found = []
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        for name in book.sheet_names:
            sheet = book.get_sheet_by_name(name)
            records = [[_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
            found.append((name, records, list(sheet.merged_cell_ranges or [])))
    except BaseException as error:
        # A damaged file can make the library panic, which comes as an exception outside `Exception`.
        if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
            raise
        fix = "open it in a spreadsheet program and save it again (without a password), or export CSV"
        said = " ".join(str(error).split())[:200]
        raise Refused("WORKBOOK_UNREADABLE", f"the workbook cannot be opened ({said})", fix) from error
    return found


def _put_formulas(records: list[list[str]], scan: SheetScan) -> None:
    """Formulas without a stored value stand in their cells as text, so that they are told and never taken for blank."""
    for (row, column), formula in scan.formulas.items():
        records.extend([] for _ in range(row + 1 - len(records)))
        cells = records[row]
        cells.extend("" for _ in range(column + 1 - len(cells)))
        cells[column] = formula


def _text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, (int, float)):
        whole = isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15
        return NumberText(int(cell)) if whole else NumberText(repr(cell))
    if isinstance(cell, (datetime.datetime, datetime.date, datetime.time)):
        return cell.isoformat()
    return plain_marks(str(cell))


def _mark_merged(table: Table, ranges: list[Span]) -> None:
    """Report merged cells within the table; the body rows they cover are set aside."""
    for (top, left), (bottom, right) in ranges:
        if bottom + 1 < table.header_row or left >= len(table.header):
            continue
        cells = f"{letters(left)}{top + 1}:{letters(right)}{bottom + 1}"
        what = f"cells {cells} of sheet {table.sheet!r} are merged: which rows their value belongs to cannot be told"
        fix = "undo the merging and write the value into every cell; the rows under it were left out"
        table.problems.append(Problem("MERGED_CELLS", what, fix, table.file, top + 1, f"{table.sheet}!{letters(left)}"))
        for row in range(max(top + 1, table.header_row + 1), bottom + 2):
            table.blocked[row] = cells
