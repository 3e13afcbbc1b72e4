"""Workbooks (.xlsx): every sheet with known column names is a table; merged cells in it are named, never filled in."""

from __future__ import annotations

import datetime
import io
from typing import Any

from partscreen.errors import Problem
from partscreen.readings.numbers import NumberText, plain_marks
from partscreen.readings.table_form import WORKBOOK, HeaderTest, Table, build_table, header_position, letters


def read_workbook_tables(
    file: str, data: bytes, test: HeaderTest, delimiter: str = ""
) -> tuple[list[Table], list[Problem]]:
    """The tables of a workbook, one a sheet, and what is wrong with it. `delimiter` has no meaning here."""
    del delimiter
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = [(name, book.get_sheet_by_name(name)) for name in book.sheet_names]
    except (CalamineError, OSError, ValueError) as error:
        fix = "open it in a spreadsheet program and save it again as .xlsx (without a password), or export CSV"
        return [], [Problem("WORKBOOK_UNREADABLE", f"the workbook cannot be opened ({error})", fix, file)]
    tables: list[Table] = []
    skipped: list[str] = []
    for name, sheet in sheets:
        records = [[_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
        place, score = header_position(records, test)
        if score == 0:
            skipped.append(name)
            continue
        table = build_table(file, records, range(1, len(records) + 1), place)
        if table is None:
            continue
        table.sheet, table.encoding = name, WORKBOOK
        _mark_merged(table, sheet.merged_cell_ranges or [])
        tables.append(table)
    if not tables:
        what = f"no sheet has a row of known column names (sheets: {', '.join(skipped) or 'none'})"
        fix = "name the columns (part, ic, vce, vbe, hfe, ...), or write a column map"
        return [], [Problem("NO_HEADER", what, fix, file)]
    if skipped:
        tables[0].ignored.append(f"sheet(s) without known column names: {', '.join(skipped)}")
    return tables, []


def _text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, (int, float)):
        whole = isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15
        return NumberText(int(cell)) if whole else NumberText(repr(cell))
    if isinstance(cell, (datetime.datetime, datetime.date, datetime.time)):
        return cell.isoformat()
    return plain_marks(str(cell))


def _mark_merged(table: Table, ranges: list[tuple[tuple[int, int], tuple[int, int]]]) -> None:
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
