"""How large an input may be, and reading no more of it than that.

The limits keep one file within about 2 GB of memory (measured with a million rows of six columns: text takes 19 times
its size; workbook, JSON and Parquet 200 bytes a cell). A thousand parts with a hundred readings each are 5 MB of text.
"""

from __future__ import annotations

import errno
from pathlib import Path

MIB = 1 << 20
MAX_FILE = 96 * MIB  # bytes of any file of readings
MAX_JSON = 64 * MIB  # bytes of a JSON file, which takes more memory than text
MAX_UNPACKED = 256 * MIB  # bytes of a workbook once unpacked; checked before it is read
MAX_CELLS = 8_000_000  # cells of a workbook, JSON or Parquet file, blank ones between filled ones included
MAX_TEXT_IN_CELLS = 512 * MIB  # characters of a workbook's cells, shared texts counted where they stand
MAX_SETTING = 4 * MIB  # bytes of a column map or kit


class TooLarge(OSError):
    """A file is larger than its limit; `limit` in bytes."""

    def __init__(self, limit: int) -> None:
        super().__init__(errno.EFBIG, f"it is larger than {limit // MIB} MiB")
        self.limit = limit


def read_capped(path: Path, limit: int = MAX_FILE) -> bytes:
    """The bytes of a file.

    Raises
    ------
    TooLarge
        It holds more than `limit` bytes; no more than that is read, whatever its size is said to be.
    OSError
        It cannot be opened.
    """
    with path.open("rb") as file:
        data = file.read(limit + 1)
    if len(data) > limit:
        raise TooLarge(limit)
    return data
