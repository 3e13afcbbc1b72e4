"""Reading what people bring within limits of size and depth, so that no file fills the memory or breaks a reader."""

from __future__ import annotations

import errno
import json
import tomllib
from pathlib import Path
from typing import Any

MIB = 1 << 20
MAX_SETTING = 4 * MIB  # bytes of a TOML file: map, kit, stage, reference type, spreads; ours are below 0.1 MiB
MAX_RESULT = 1024 * MIB  # bytes of a result read again; 4 to 8 KiB a part in the brief form (assumption of room enough)


class TooLarge(OSError):
    """A file is larger than its limit; `limit` in bytes."""

    def __init__(self, limit: int) -> None:
        super().__init__(errno.EFBIG, f"it is larger than {limit // MIB} MiB")
        self.limit = limit


def read_capped(path: Path, limit: int) -> bytes:
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


def load_toml(path: Path, limit: int = MAX_SETTING) -> dict[str, Any]:
    """A TOML file.

    Raises
    ------
    OSError
        It cannot be opened, or is larger than `limit` bytes.
    UnicodeDecodeError
        It is no UTF-8 text.
    tomllib.TOMLDecodeError
        It is no TOML, or holds what no such file needs: figures of thousands of digits, tables nested without end.
    """
    return parse_toml(read_capped(path, limit).decode("utf-8-sig"))


def parse_toml(text: str) -> dict[str, Any]:
    """TOML text; whatever is wrong with it is a `tomllib.TOMLDecodeError`."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except RecursionError:
        raise tomllib.TOMLDecodeError("lists or tables stand within each other too deeply") from None
    except ValueError as error:  # Python converts no whole number of more than 4300 digits
        why = "a whole number has thousands of digits" if "digits" in str(error) else str(error)
        raise tomllib.TOMLDecodeError(why) from None


def parse_json(text: str | bytes) -> Any:
    """JSON text.

    Raises
    ------
    ValueError
        It is no JSON, no UTF-8, or nested too deeply; the message says which.
    """
    try:
        return json.loads(text)
    except RecursionError:
        raise ValueError("lists or records stand within each other too deeply") from None
