"""Parquet files (needs pyarrow, the extra `parquet`): columns named as in text, one row a reading or a part."""

from __future__ import annotations

import io
from typing import Any

from partscreen.errors import Problem
from partscreen.readings.columns.numbers import NumberText, plain_marks
from partscreen.readings.columns.table_form import WORKBOOK, HeaderTest, Table, too_many_columns
from partscreen.readings.sizes import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_PARQUET_CELLS,
    MAX_TEXT_IN_CELLS,
    MAX_UNPACKED,
    MIB,
)


def read_parquet_tables(
    file: str, data: bytes, test: HeaderTest, delimiter: str = ""
) -> tuple[list[Table], list[Problem]]:
    """The table of a Parquet file and what is wrong with it; rows count from 1. `delimiter` has no meaning here."""
    del delimiter
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        what = "Parquet files are read with pyarrow, which is not installed"
        fix = "python -m pip install 'partscreen[parquet]', or export the readings as CSV"
        return [], [Problem("PARQUET_NOT_INSTALLED", what, fix, file)]
    try:
        opened = parquet.ParquetFile(io.BytesIO(data))
        size = _too_large(opened.metadata)
        if not size:
            texts = [str(one.name) for one in opened.schema_arrow if pyarrow.types.is_string(one.type)]
            opened = parquet.ParquetFile(io.BytesIO(data), read_dictionary=texts)
        if size:
            return [], [Problem("TOO_LARGE", size, "split the file", file)]
        header = [str(name) for name in opened.schema_arrow.names]
        if len(header) > MAX_COLUMNS:
            return [], [too_many_columns(file, len(header))]
        if not test(header):
            fix = "name the columns (part, ic [A], ib [A], vce [V], vbe [V], hfe, ...), or write a column map"
            what = f"none of the names is known: {', '.join(header[:20])}"
            return [], [Problem("NO_HEADER", what, fix, file)]
        frame = opened.read()
        size = _texts_too_long(frame)
        if size:
            return [], [Problem("TOO_LARGE", size, "split the file", file)]
    except (pyarrow.ArrowException, OSError, ValueError, MemoryError) as error:
        said = " ".join(str(error).split())[:200]
        fix = "write the file again, or export the readings as CSV"
        return [], [Problem("PARQUET_UNREADABLE", f"the file cannot be read as Parquet ({said})", fix, file)]
    table = Table(
        file, [plain_marks(name.strip()) for name in header], [""] * len(header), [], [], 0, encoding=WORKBOOK
    )
    table.form = "Parquet"
    table.rows = list(range(1, frame.num_rows + 1))
    different = 0
    for index in range(len(header)):
        cells, kinds = _texts(frame.column(index), table, index)
        table.columns.append(cells)
        different += kinds
        if different > MAX_CELLS:
            what = f"the file holds more than {MAX_CELLS:,} different cells"
            return [], [Problem("TOO_LARGE", what, "split the file", file)]
    return [table], []


def _too_large(metadata: Any) -> str:
    """What is too large, from the figures in the file's foot, before anything is unpacked."""
    cells = metadata.num_rows * metadata.num_columns
    if cells > MAX_PARQUET_CELLS:
        return f"the file holds {cells:,} cells; at most {MAX_PARQUET_CELLS:,} are read"
    size = sum(metadata.row_group(i).total_byte_size for i in range(metadata.num_row_groups))
    return f"the file unpacks to more than {MAX_UNPACKED // MIB} MiB" if size > MAX_UNPACKED else ""


def _texts_too_long(frame: Any) -> str:
    """What is too long: a text that stands once in the file may stand in a million cells."""
    from pyarrow import compute, types

    characters = 0
    for column in frame.columns:
        kind = column.type.value_type if types.is_dictionary(column.type) else column.type
        if not (types.is_string(kind) or types.is_binary(kind) or types.is_large_string(kind)):
            continue
        for piece in column.chunks:
            plain = types.is_dictionary(piece.type)
            lengths = compute.binary_length(piece.dictionary if plain else piece)
            characters += compute.sum(lengths.take(piece.indices) if plain else lengths).as_py() or 0
    return f"its texts are longer than {MAX_TEXT_IN_CELLS // MIB} MiB" if characters > MAX_TEXT_IN_CELLS else ""


def _texts(column: Any, table: Table, index: int) -> tuple[list[str], int]:
    """The cells of a column as text, and how many are different; numbers keep the digits of their own width. Like cells
    are one text, so that a column of millions of rows takes little more memory than its different cells."""
    import pyarrow

    kind = column.type
    kind = kind.value_type if pyarrow.types.is_dictionary(kind) else kind
    if pyarrow.types.is_nested(kind):
        fix = "write one figure a cell, and one row a reading; the column was not used"
        what = f"the column holds {kind} in every cell"
        table.problems.append(Problem("PARQUET_CELL", what, fix, table.file, 0, table.column_label(index)))
        return [""] * len(column), 0
    known: dict[str, str] = {}
    out: list[str] = []
    try:
        for piece in column.chunks:
            coded = piece if pyarrow.types.is_dictionary(piece.type) else piece.dictionary_encode()
            texts = [known.setdefault(text, text) for text in _words(coded.dictionary.to_pylist(), kind)]
            texts.append("")  # of a cell without value
            out += map(texts.__getitem__, coded.indices.fill_null(-1).to_pylist())
    # Texts that are no UTF-8, dates beyond the calendar, a type whose cells cannot be compared.
    except (ValueError, OverflowError, pyarrow.ArrowNotImplementedError) as error:
        fix = "write the column again, texts in UTF-8; the column was not used"
        what = f"cells of the column cannot be read ({' '.join(str(error).split())[:120]})"
        table.problems.append(Problem("PARQUET_CELL", what, fix, table.file, 0, table.column_label(index)))
        return [""] * len(column), 0
    return out, len(known)


def _words(values: list[Any], kind: Any) -> list[str]:
    """Values of one type as text."""
    from pyarrow import types

    if types.is_boolean(kind):
        return ["" if v is None else "yes" if v else "no" for v in values]
    if types.is_float32(kind) or types.is_float16(kind):
        import numpy as np

        width = np.float32 if types.is_float32(kind) else np.float16
        return ["" if v is None else NumberText(str(width(v))) if v == v and abs(v) < 1e38 else str(v) for v in values]
    if types.is_floating(kind) or types.is_integer(kind) or types.is_decimal(kind):
        return ["" if v is None else _number(v) for v in values]
    return ["" if v is None else plain_marks(v.isoformat() if hasattr(v, "isoformat") else str(v)) for v in values]


def _number(value: Any) -> str:
    text = str(value)
    return NumberText(text) if text[-1:].isdigit() else text  # nan and inf are no figures and are told
