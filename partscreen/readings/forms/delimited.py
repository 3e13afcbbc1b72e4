"""Delimited text: bytes to lines to cells. Encoding, separator and header are found here and reported."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable

from partscreen.errors import Problem
from partscreen.readings.columns.numbers import plain_marks
from partscreen.readings.columns.table_form import HeaderTest, RowTold, Table, build_table, header_position
from partscreen.readings.sizes import MAX_LINES

_HEAD = 600  # lines looked at to find separator and header
_LONGEST_QUOTE = 30  # lines that one cell in quotes may run over
LONGEST_LINE = 100_000  # characters; no row of readings comes near it (assumption)
_BINARY = {
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"\xd0\xcf\x11\xe0": "an old workbook (.xls) or another binary document",
    b"PK\x03\x04": "a zip archive or an office document",
    b"\x1f\x8b": "a compressed file",
}
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe", "  ": "two or more spaces", " ": "spaces"}


def delimiter_name(delimiter: str) -> str:
    """The separator in words."""
    return _NAMES.get(delimiter, repr(delimiter))


def read_text_tables(
    file: str, data: bytes, test: HeaderTest, delimiter: str = ""
) -> tuple[list[Table], list[Problem]]:
    """The table in a text file, or the problem that makes the file unusable.

    Parameters
    ----------
    file
        Name for messages.
    test
        Says how many cells of a row are known headers.
    delimiter
        Told by a column map; "" to find it.
    """
    if not data.strip(b" \t\r\n\x00\xef\xbb\xbf"):
        return [], [Problem("EMPTY_FILE", "the file is empty", "export the readings again", file)]
    text, encoding = decode(data)
    if text is None:
        kind = next((name for magic, name in _BINARY.items() if data.startswith(magic)), "binary data, not text")
        fix = "export the readings as CSV or as an .xlsx workbook"
        return [], [Problem("BINARY_FILE", f"the file is {kind}", fix, file)]
    if text.count("\n") + text.count("\r") > 2 * MAX_LINES or text.count("\n") > MAX_LINES:
        what = f"the file has more than {MAX_LINES:,} lines; it is not read"
        return [], [Problem("TOO_LARGE", what, "split the file; no bag of parts needs that many", file)]
    text = plain_marks(text)
    lines, problems = _lines(file, text)
    found = _best_split(lines, test, delimiter)
    if found is None:
        return [], [*problems, _no_header(file, lines, test)]
    used, split, place = found
    head, head_rows = split(lines[:_HEAD])
    table = None
    if used not in (" ", "  ") and head_rows == list(range(1, len(head) + 1)) and '"' not in text:
        table = build_table(file, head, head_rows, _place_in(head, head_rows, place, test), used, lines)
    if table is None:
        records, rows = split(lines)
        table = build_table(file, records, rows, _place_in(records, rows, place, test), used)
    if table is None:
        return [], [*problems, _no_header(file, lines, test)]
    table.encoding = encoding
    return [table], problems


def decode(data: bytes) -> tuple[str | None, str]:
    """Text and the name of its encoding; None when the bytes are no text."""
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return _utf_32(data)
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            try:
                return data.decode(name), "UTF-8 with byte-order mark" if name == "utf-8-sig" else "UTF-16"
            except UnicodeDecodeError:
                return None, ""
    if b"\x00" in data[:65536]:
        return _without_bom(data)
    if any(data.startswith(magic) for magic in _BINARY):
        return None, ""
    control = len(data[:65536].translate(None, bytes(range(32, 256)) + b"\t\r\n\f\x1b\x1a"))
    if control > 0:
        return None, ""
    try:
        return data.decode("utf-8"), "UTF-8" if not data.isascii() else "plain ASCII"
    except UnicodeDecodeError:
        return _old_code_page(data)


def _utf_32(data: bytes) -> tuple[str | None, str]:
    try:
        return data.decode("utf-32"), "UTF-32"
    except UnicodeDecodeError:
        return None, ""


def _without_bom(data: bytes) -> tuple[str | None, str]:
    sample = data[:65536]
    for name, zeros in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[0::2])):
        if zeros and zeros.count(0) > 0.8 * len(zeros):
            try:
                text = data.decode(name)
            except UnicodeDecodeError:
                continue
            if "\x00" not in text:
                return text, "UTF-16 without byte-order mark"
    return None, ""


def _old_code_page(data: bytes) -> tuple[str | None, str]:
    """Western text has its few special letters (µ, °, umlauts) apart; runs of them mean another script."""
    if re.search(rb"[\x80-\xff]{3,}", data):
        from charset_normalizer import from_bytes

        best = from_bytes(data[:200_000]).best()
        if best is not None:
            try:
                return data.decode(best.encoding), best.encoding
            except UnicodeDecodeError:
                pass
    try:
        return data.decode("cp1252"), "Windows-1252 (Latin-1)"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "Latin-1"


def _lines(file: str, text: str) -> tuple[list[str], list[Problem]]:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    problems = []
    for place, line in enumerate(lines):
        if len(line) > LONGEST_LINE:
            what = f"one line of {len(line):,} characters: no row of readings is that long"
            fix = "check that the file has line ends and is the export meant; the line was left out"
            problems.append(Problem("LINE_TOO_LONG", what, fix, file, place + 1))
            lines[place] = ""
    return lines, problems


Split = Callable[[list[str]], tuple[list[list[str]], list[int]]]


def _best_split(lines: list[str], test: HeaderTest, told: str) -> tuple[str, Split, int] | None:
    """Separator, the function that splits by it, and the row number of the header."""
    best: tuple[str, Split, int] | None = None
    best_score = (0, 0.0, 0)
    head = lines[:_HEAD]
    for delimiter in (told,) if told else (";", "\t", ",", "|", "  ", " "):
        split = _splitter(delimiter)
        records, rows = split(head)
        place, score = header_position(records, test, rows)
        if not score:
            continue
        width = len(records[place])
        # A row told by hand need not hold a known name: what comes apart into even rows of several cells is taken.
        even = _evenness(records, place) if width > 1 or not isinstance(test, RowTold) else 0.0
        ranked = (score, even, width if isinstance(test, RowTold) else 0)
        if ranked > best_score:
            best, best_score = (delimiter, split, rows[place]), ranked
    return best


def _evenness(records: list[list[str]], place: int) -> float:
    """Share of the rows below a header that come apart into as many cells as it does."""
    width = len(records[place])
    body = [cells for cells in records[place + 1 : place + 100] if any(cells)]
    return sum(len(cells) == width for cells in body) / len(body) if body else 0.0


def _place_in(records: list[list[str]], rows: list[int], row: int, test: HeaderTest) -> int:
    """Where the record of a row number stands (quoted cells over several lines shift it)."""
    if row - 1 < len(rows) and rows[row - 1] == row:
        return row - 1
    return rows.index(row) if row in rows else header_position(records, test, rows)[0]


def _splitter(delimiter: str) -> Split:
    if delimiter in (" ", "  "):
        return lambda lines: (_by_spaces(lines, delimiter), list(range(1, len(lines) + 1)))
    return lambda lines: _by_mark(lines, delimiter)


def _by_spaces(lines: Iterable[str], delimiter: str) -> list[list[str]]:
    pattern = re.compile(r"\s{2,}|\t" if delimiter == "  " else r"\s+")
    hash_gap = re.compile(r"^#\s+")
    unit_gap = re.compile(r"\s+(?=[\[(])")
    return [pattern.split(unit_gap.sub("", hash_gap.sub("#", line.strip()))) if line.strip() else [] for line in lines]


def _by_mark(lines: list[str], delimiter: str) -> tuple[list[list[str]], list[int]]:
    rows = list(range(1, len(lines) + 1))
    if not any('"' in line for line in lines):
        return [line.split(delimiter) if line else [] for line in lines], rows
    reader = csv.reader([line + "\n" for line in lines], delimiter=delimiter, skipinitialspace=delimiter != "\t")
    records: list[list[str]] = []
    starts: list[int] = []
    row = 1
    try:
        for record in reader:
            if reader.line_num - row > _LONGEST_QUOTE:
                break
            if record:
                record[-1] = record[-1].rstrip("\n")
            records.append([] if record == [""] else record)
            starts.append(row)
            row = reader.line_num + 1
        else:
            return records, starts
    except csv.Error:  # a cell of more than 131,072 characters
        pass
    # A quote that never closes swallows the file: its lines are read plainly instead.
    return [line.split(delimiter) if line else [] for line in lines], rows


def _no_header(file: str, lines: list[str], test: HeaderTest) -> Problem:
    if isinstance(test, RowTold):
        what = f"row {test.row}, which was told to be the header, is empty or is not there"
        return Problem("NO_HEADER", what, f"the file has {len(lines)} lines; tell another row", file, test.row)
    row, first = next(((i + 1, line) for i, line in enumerate(lines) if line.strip()), (0, ""))
    shown = first.strip()[:80]
    return Problem(
        "NO_HEADER",
        f"no row of known column names was found (separators tried: comma, semicolon, tab, pipe, spaces); "
        f"the first line reads {shown!r}",
        "name the columns (part, ic, ib, vce, vbe, hfe, ...), use one of these separators, or write a column map",
        file,
        row,
    )
