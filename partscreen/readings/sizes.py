"""How large a file of readings may be, and reading no more of it than that.

The limits keep one file within about 2 GB of memory (measured: 165 MiB of text with 2.2 million rows take 1.5 GiB;
workbook and JSON 200 bytes a cell, Parquet 100 bytes a different cell and 10 one like another). A thousand parts with a
hundred readings each are 5 MB of text.
"""

from __future__ import annotations

from pathlib import Path

from partscreen import bounded_files
from partscreen.bounded_files import MIB as MIB
from partscreen.bounded_files import TooLarge as TooLarge

MAX_FILE = 192 * MIB  # bytes of any file of readings; 100,000 parts with 22 readings each are 165 MiB of text
MAX_JSON = 64 * MIB  # bytes of a JSON file, which takes more memory than text
MAX_UNPACKED = 256 * MIB  # bytes of a workbook once unpacked; checked before it is read
MAX_CELLS = 8_000_000  # of a workbook or JSON file, blank ones between filled ones included; different ones of Parquet
MAX_PARQUET_CELLS = 32_000_000  # 100,000 parts with 22 readings each are 26 million, most like another
MAX_COLUMNS = 4000  # of a table; a part has some hundreds of readings at most (assumption)
MAX_LINES = 4_000_000  # of a text; 100,000 parts with 22 readings each are 2,200,000
MAX_TEXT_IN_CELLS = 512 * MIB  # characters of a workbook's cells, shared texts counted where they stand


def read_capped(path: Path, limit: int = MAX_FILE) -> bytes:
    """The bytes of a file of readings; `bounded_files.read_capped` says what it raises."""
    return bounded_files.read_capped(path, limit)
