"""Rows of cells to a table: find the header, the unit row and the body, and say what was left out.

Every reader (text, workbook, later ones) ends here, so that all files are understood by one set of rules.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from partscreen.errors import Problem
from partscreen.readings.columns.recognise import is_some_unit, is_unit
from partscreen.readings.columns.wide_header import join_conditions
from partscreen.readings.sizes import MAX_COLUMNS

HeaderTest = Callable[[list[str]], int]


@dataclass(frozen=True, slots=True)
class RowTold:
    """The test of a header whose row (from 1) a person told: no other row is one; the count chooses the separator."""

    row: int
    test: HeaderTest

    def __call__(self, cells: list[str]) -> int:
        """How many cells are known headers."""
        return self.test(cells)


WORKBOOK = "workbook"  # encoding of tables whose cells may be stored numbers
_COMMENT = ("#", "%", "//")
_LOOKED_AT = 50_000  # cells looked at in the search for the header, or a hostile file takes minutes
_PIECE = 50_000  # lines cut in one go
_SEARCHED = 400  # records searched for the header: longer preambles are not met with in practice (assumption)


@dataclass(slots=True)
class Table:
    """A header, its units and the columns below it, all text; `rows` holds the row number of each body row (from 1)."""

    file: str
    header: list[str]
    units: list[str]
    columns: list[list[str]]
    rows: list[int]
    header_row: int
    unit_row: int = 0
    sheet: str = ""
    encoding: str = ""
    delimiter: str = ""
    form: str = ""  # JSON or Parquet; "" for text and workbooks
    ignored: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    blocked: dict[int, str] = field(default_factory=dict)  # body rows under merged cells: row number -> range

    def column_label(self, index: int) -> str:
        """The column as messages name it."""
        name = self.header[index].strip() or f"number {index + 1}"
        return f"{self.sheet}!{letters(index)} ({name})" if self.sheet else name


def letters(index: int) -> str:
    """Spreadsheet letters of a column counted from 0."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(65 + rest) + text
    return text


def header_position(
    records: Sequence[list[str]], test: HeaderTest, rows: Sequence[int] | None = None
) -> tuple[int, int]:
    """Place and score of the row most like a header among the first records; score 0 when there is none.

    `rows`: row number of each record; their places from 1 where it is left out.
    """
    if isinstance(test, RowTold):
        numbers = list(rows) if rows is not None else list(range(1, len(records) + 1))
        at = numbers.index(test.row) if test.row in numbers else -1
        filled = at >= 0 and any(cell.strip() for cell in records[at])
        return (at, 1 + test([cell.strip() for cell in _without_hash(records[at])])) if filled else (-1, 0)
    best, score = -1, 0
    left = _LOOKED_AT
    for place, cells in enumerate(records[:_SEARCHED]):
        found = test([cell.strip() for cell in _without_hash(cells[:MAX_COLUMNS])])
        left -= len(cells[:MAX_COLUMNS])
        if found > score:
            best, score = place, found
        if left < 0:
            break
    return best, score


def _without_hash(cells: list[str]) -> list[str]:
    """A header written as a comment (`# part ic ib`) loses its mark; a column called `#` keeps it."""
    if cells and cells[0].startswith("#") and len(cells[0]) > 1:
        return [cells[0].lstrip("#").strip(), *cells[1:]]
    return cells


def build_table(
    file: str,
    records: Sequence[list[str]],
    rows: Sequence[int],
    place: int,
    delimiter: str = "",
    lines: Sequence[str] | None = None,
) -> Table | None:
    """Cut the records into header, unit row and body. `rows[i]` is the row number of `records[i]`.

    With `lines` (all lines of a text whose rows hold no quotes) the records are only its head; the body is cut from the
    lines in one go, and None comes back when they are not all of one width.
    """
    head = join_conditions(_without_hash(records[place]), delimiter)
    header = [cell.strip() for cell in head]
    while header and not header[-1]:
        header.pop()
    table = Table(file, header, [""] * len(header), [], [], rows[place], delimiter=delimiter)
    if len(header) > MAX_COLUMNS:
        return _too_wide(file, header, rows[place])
    above = sum(1 for cells in records[:place] if any(cells))
    if above:
        table.ignored.append(f"{above} line(s) above the header in row {table.header_row}")
    start = place + 1
    while start < len(records) and not any(cell.strip() for cell in records[start]):
        start += 1
    unit_row: list[str] | None = None
    if start < len(records) and _is_unit_row(header, records[start]):
        unit_row = records[start]
        table.unit_row = rows[start]
        table.units = [cell.strip() for cell in (unit_row + [""] * len(header))[: len(header)]]
        start += 1
    if lines is not None:
        repeats = {lines[place]} | ({lines[table.unit_row - 1]} if table.unit_row else set())
        return table if _cut_at_once(table, lines, start, len(head), repeats) else None
    body, body_rows = _body(table, records, rows, start, records[place], unit_row)
    _fill_columns(table, body, body_rows)
    return table


def too_many_columns(file: str, count: int, row: int = 0) -> Problem:
    """The problem of a table that is wider than any table of readings."""
    what = f"the table has {count:,} columns; at most {MAX_COLUMNS:,} are read"
    return Problem(
        "TOO_MANY_COLUMNS", what, "write one row a reading, or one row a part with its own readings", file, row
    )


def _too_wide(file: str, header: list[str], row: int) -> Table:
    table = Table(file, header[:1], [""], [[]], [], row)
    table.problems.append(too_many_columns(file, len(header), row))
    return table


def _cut_at_once(table: Table, lines: Sequence[str], start: int, width: int, repeats: set[str]) -> bool:
    """Columns of a large text without a list for every row: several times quicker, and lighter."""
    body = lines[start:]
    rows: Sequence[int] = range(start + 1, len(lines) + 1)
    odd = [i for i, line in enumerate(body) if not line or line[0] in "#%/" or line in repeats or line.isspace()]
    comments = [i for i in odd if _is_comment(body[i].split(table.delimiter), width)]
    again = [i for i in odd if body[i] in repeats and not body[i][:1].isdigit()]
    left = {i for i in odd if not body[i].strip()} | set(comments) | set(again)
    found = [[rows[i] for i in comments], [rows[i] for i in again if i not in set(comments)]]
    if left:
        rows = [row for i, row in enumerate(rows) if i not in left]
        body = [line for i, line in enumerate(body) if i not in left]
    marks = width - 1
    if width < 2 or not body or any(line.count(table.delimiter) != marks for line in body):
        return False
    columns = _columns(body, table.delimiter, width)
    if any(any(cell.strip() for cell in column) for column in columns[len(table.header) :]):
        return False
    table.rows = list(rows)
    table.columns = columns[: len(table.header)]
    _note_left_out(table, *found)
    return True


def _columns(body: Sequence[str], delimiter: str, width: int) -> list[list[str]]:
    """Cells by column. Equal cells of a column are one text: names, set points and rounded figures come again and
    again, and a long file would else take several times its size."""
    columns: list[list[str]] = [[] for _ in range(width)]
    known: list[dict[str, str] | None] = [{} for _ in range(width)]
    for begin in range(0, len(body), _PIECE):
        cells = delimiter.join(body[begin : begin + _PIECE]).split(delimiter)
        for i, column in enumerate(columns):
            mine, met = cells[i::width], known[i]
            if met is None:
                column += mine
                continue
            column += map(met.setdefault, mine, mine)
            if len(met) > _PIECE // 2:  # hardly any comes again
                known[i] = None
    return columns


def _is_comment(cells: list[str], width: int) -> bool:
    """A line that starts with a comment mark, unless it is a row of a part called `#7`: full width, mostly figures."""
    if not cells[0].startswith(_COMMENT) or cells[0] == "#":
        return False
    rest = [cell.strip() for cell in cells[1:] if cell.strip()]
    figures = sum(cell[:1].isdigit() or cell[:1] in "+-.,−" for cell in rest)
    return len(cells) < width or 2 * figures <= len(rest)


def _note_left_out(table: Table, comments: list[int], repeats: list[int]) -> None:
    for found, word in ((comments, "comment line(s)"), (repeats, "repeated header or unit row(s)")):
        if found:
            table.ignored.append(f"{len(found)} {word}, the first in row {found[0]}")


def _is_unit_row(header: list[str], cells: list[str]) -> bool:
    units = 0
    for name, cell in zip(header, cells, strict=False):
        text = cell.strip()
        if text[:1].isdigit() and text != "1":
            return False
        units += is_unit(text, name)
    return units > 0 or _only_units(header, cells)


def _only_units(header: list[str], cells: list[str]) -> bool:
    """Units under names that only a column map knows: two or more, and nothing else in the row."""
    filled = [(name, cell) for name, cell in zip(header, cells, strict=False) if cell.strip()]
    return len(filled) > 1 and all(is_some_unit(cell, name) for name, cell in filled)


def _body(
    table: Table,
    records: Sequence[list[str]],
    rows: Sequence[int],
    start: int,
    head: list[str],
    unit_row: list[str] | None,
) -> tuple[list[list[str]], list[int]]:
    """Body rows without blank lines, comments, repeated headers and repeated unit rows."""
    body: list[list[str]] = []
    kept: list[int] = []
    comments: list[int] = []
    repeats: list[int] = []
    for place in range(start, len(records)):
        cells = records[place]
        if not any(cells):
            continue
        first = cells[0]
        if first[:1] in ("#", "%", "/") and _is_comment(cells, len(head)):
            comments.append(rows[place])
        elif cells in (head, unit_row) and not first[:1].isdigit():
            repeats.append(rows[place])
        elif any(cell.strip() for cell in cells):
            body.append(cells)
            kept.append(rows[place])
    _note_left_out(table, comments, repeats)
    return body, kept


def _fill_columns(table: Table, body: list[list[str]], rows: list[int]) -> None:
    width = len(table.header)
    widths = set(map(len, body))
    if widths - {width}:
        body, rows = _settle_widths(table, body, rows, width)
    table.rows = rows
    table.columns = [list(column) for column in zip(*body, strict=True)] if body else [[] for _ in range(width)]


def _settle_widths(
    table: Table, body: list[list[str]], rows: list[int], width: int
) -> tuple[list[list[str]], list[int]]:
    good: list[list[str]] = []
    good_rows: list[int] = []
    long: list[tuple[int, list[str]]] = []
    short: list[int] = []
    for row, cells in zip(rows, body, strict=True):
        if len(cells) > width and any(cell.strip() for cell in cells[width:]):
            long.append((row, cells))
            continue
        if len(cells) < width:
            short.append(row)
            cells = cells + [""] * (width - len(cells))
        good.append(cells[:width])
        good_rows.append(row)
    one_cell = sum(1 for cells in body if len(cells) == 1)
    if width > 2 and one_cell > len(body) / 2:
        table.problems.append(
            Problem(
                "WRONG_DELIMITER",
                f"the header has {width} columns, but {one_cell} of the {len(body)} rows do not come apart likewise",
                "use one separator for the header and the rows",
                table.file,
                rows[0],
            )
        )
        return [], []
    if short:
        first = f"the first in row {short[0]}"
        table.notes.append(
            f"{len(short)} row(s) are shorter than the header, {first}; the missing cells count as blank"
        )
    if long:
        _say_too_long(table, long, len(body), width)
        if len(long) > len(body) / 2:
            return [], []
    return good, good_rows


def _say_too_long(table: Table, long: list[tuple[int, list[str]]], n_body: int, width: int) -> None:
    row, cells = long[0]
    what = f"{len(cells)} cells where the header has {width} ({len(long)} of {n_body} rows are too long)"
    fix = "remove the extra separator, or put quotes around the cell that holds it"
    if table.delimiter == ",":
        fix = (
            "a decimal comma in a comma-separated file cannot be told from a separator: save the file with semicolons "
            "between the cells or with decimal points; a comma inside text needs quotes around the cell"
        )
    table.problems.append(Problem("TOO_MANY_CELLS", what, fix, table.file, row, table.header[-1]))
