"""Cells of raw tables: found where a person points at one, put right where a correction says so."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import bare
from partscreen.readings.columns.table_form import Table

Cell = tuple[str, int, str]
"""Sheet (empty for text), row as a spreadsheet counts it, header of the column."""


def amend_with(cells: Mapping[str, Mapping[Cell, str]]) -> Callable[[str, Table], Table]:
    """Puts cells right: by the hash of the file, then by cell, the text it is to read."""

    def amend(sha256: str, table: Table) -> Table:
        mine = {cell: text for cell, text in cells.get(sha256, {}).items() if cell[0] == table.sheet}
        if not mine:
            return table
        columns = [list(column) for column in table.columns]
        for (_, row, header), text in mine.items():
            at = _column(table, header)
            if at is not None and row in table.rows:
                columns[at][table.rows.index(row)] = text
        return replace(table, columns=columns)

    return amend


def find_cell(tables: Sequence[Table], file: str, row: int, column: str, sheet: str | None) -> tuple[Cell, str]:
    """The cell a person points at, and what it reads.

    Raises
    ------
    UnusableInput
        No such row or column, or several sheets have it.
    """
    here = [table for table in tables if sheet is None or table.sheet == sheet]
    with_column = [(table, _column(table, column)) for table in here]
    found = [(table, at) for table, at in with_column if at is not None and row in table.rows]
    if len(found) == 1:
        table, at = found[0]
        return (table.sheet, row, table.header[at]), table.columns[at][table.rows.index(row)]
    if found:
        names = ", ".join(table.sheet for table, _ in found)
        what = f"{file}: several sheets have row {row} and a column {column!r}: {names}"
        raise UnusableInput([Problem("BOOK_CELL", what, "say which: --sheet NAME", "--sheet")])
    if not any(at is not None for _, at in with_column):
        names = ", ".join(dict.fromkeys(name for table in here for name in table.header if name))
        fix = f"its columns are {names}" if names else "no table was found in it"
        raise UnusableInput([Problem("BOOK_CELL", f"{file} has no column {column!r}", fix, "--column")])
    spans = "; ".join(f"{min(table.rows)} to {max(table.rows)}" for table in here if table.rows)
    what = f"{file} has no row {row} with readings"
    raise UnusableInput([Problem("BOOK_CELL", what, f"its rows of readings are {spans}", "--row")])


def _column(table: Table, name: str) -> int | None:
    exact = [i for i, header in enumerate(table.header) if header.strip() == name.strip()]
    close = exact or [i for i, header in enumerate(table.header) if bare(header) == bare(name) != ""]
    return close[0] if len(close) == 1 else None
