"""Writing what people asked for: a file is whole or not there, and nothing is written through a link."""

from __future__ import annotations

import os
import secrets
import stat
import sys
from pathlib import Path

_IN_USE = "another program holds it open, or it may not be replaced"
_SYSTEM = ("/dev/", "/proc/")  # /dev/stdout is a link to a file where output is sent to one: never to be replaced

# learn.microsoft.com, "Naming Files, Paths, and Namespaces" (memory): also with any ending, and with spaces before it
_DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"} | {
    f"{d}{n}" for d in ("com", "lpt") for n in "123456789¹²³"
}


def kept_by_windows(name: str) -> bool:
    """Whether Windows takes a file of this name for one of its devices, so that nothing would be kept."""
    return name.split(".", 1)[0].strip().lower() in _DEVICES


def write_whole(path: Path | str, content: bytes | str) -> Path:
    """Write a file in one step: a reader sees the old one or the whole new one, also after a stop half-way.

    Text is written as UTF-8 with line ends as they stand. A link at this place is replaced, never followed; the rights
    of a file that is replaced are kept, a new one gets those of the user's umask. A pipe or a device takes the bytes
    as they are.

    Raises
    ------
    OSError
        It cannot be written; `filename` is `path`. What was there before is unchanged.
    """
    target = Path(path)
    data = content.encode() if isinstance(content, str) else content
    try:
        if _is_no_file(target):
            target.write_bytes(data)
        else:
            _replace(target, data)
    except OSError as error:
        raise type(error)(error.errno, error.strerror or str(error), str(path)) from error
    return target


def _is_no_file(target: Path) -> bool:
    """Pipes and devices, at this place itself, and the system's own names for open files."""
    if sys.platform != "win32" and str(target.absolute()).startswith(_SYSTEM):
        return True
    try:
        mode = target.lstat().st_mode
    except OSError:
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISLNK(mode) or stat.S_ISDIR(mode))


def _replace(target: Path, data: bytes) -> None:
    if target.is_dir() and not target.is_symlink():
        raise IsADirectoryError(21, "it is a folder")
    fresh = target.with_name(f".{secrets.token_hex(8)}.part")  # of its own, so that a long name stays possible
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with os.fdopen(handle, "wb") as sink:
            _keep_rights(target, fresh)
            sink.write(data)
            sink.flush()
            os.fsync(sink.fileno())
        try:
            os.replace(fresh, target)
        except PermissionError as error:  # Windows: the file is open elsewhere
            raise PermissionError(error.errno, _IN_USE) from error
    finally:
        fresh.unlink(missing_ok=True)


def _keep_rights(old: Path, new: Path) -> None:
    try:
        there = old.lstat().st_mode
    except OSError:
        return
    if stat.S_ISREG(there):
        new.chmod(stat.S_IMODE(there) & 0o777)
