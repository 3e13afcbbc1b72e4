"""The journal of a sitting: every accepted line is on disk before the next is asked for, so that nothing can be lost.

One JSON object a line, appended and flushed to the disk. A last line without its end was being written when the program
was killed; it was not confirmed, and it is told and left out.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from partscreen.bounded_files import parse_json
from partscreen.errors import Problem, UnusableInput, not_writable

FORM = "partscreen.typed/1"
_BEGINNING = f'{{"form": "{FORM}"'.encode()
SAME_SITTING = 4 * 3600.0  # s; going on after a longer break is a new session: room and instruments may have moved


@dataclass(frozen=True, slots=True)
class Entry:
    """One accepted line. `values`: SI by place of the column, not measured left out."""

    part: str
    control: bool
    values: dict[int, float]
    typed: str
    session: int
    at: str = ""
    skipped: bool = False


@dataclass(frozen=True, slots=True)
class Begun:
    """What a sitting was begun with; a journal goes on only with the same."""

    lot: str
    type_name: str
    headers: tuple[str, ...]

    def differs(self, other: Begun) -> list[tuple[str, str, str]]:
        """(what, here, there) of what is not the same."""
        pairs = (
            ("lot", self.lot, other.lot),
            ("type", self.type_name, other.type_name),
            ("readings", ", ".join(self.headers), ", ".join(other.headers)),
        )
        return [pair for pair in pairs if pair[1] != pair[2]]


class Journal:
    """An open journal. Only one program may hold it."""

    def __init__(self, path: Path, begun: Begun) -> None:
        """Open or begin the journal.

        Raises
        ------
        UnusableInput
            It cannot be read or written, belongs to another lot, or is held by another program.
        """
        self.path = path
        self.events: list[dict[str, Any]] = []
        self.torn = False
        self.went_on = path.exists()
        try:
            self._stream: IO[bytes] = open(path, "a+b")  # noqa: SIM115 - held open for the whole sitting
        except OSError as error:
            raise not_writable(error, path, "name a folder that exists and may be written to, with --out") from error
        try:
            self._hold()
            self._read(begun)
        except BaseException:
            self._stream.close()
            raise
        self.session = 1
        if not self.events:
            self._append({"form": FORM, "event": "begin", "lot": begun.lot, "type": begun.type_name,
                          "columns": list(begun.headers)})  # fmt: skip
        else:
            self.session = self._session_now()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; another program may go on with it."""
        self._stream.close()

    def keep(self, entry: Entry) -> None:
        """Put an accepted line on disk."""
        self._append({"event": "skip" if entry.skipped else "line", "part": entry.part, "control": entry.control,
                      "values": {str(k): v for k, v in entry.values.items()}, "typed": entry.typed,
                      "session": entry.session})  # fmt: skip

    def renew_session(self) -> None:
        """Begin another session where the newest line is so old that room and instruments may have moved."""
        self.session = max(self.session, self._session_now())

    def take_back(self) -> Entry | None:
        """The newest line that still stands is taken back; None: there is none."""
        _, newest = standing(self.events)
        if newest is not None:
            self._append({"event": "undo"})
        return newest

    def entries(self) -> list[Entry]:
        """The lines that stand, in the order of typing; a line that replaces another stands in its place."""
        return standing(self.events)[0]

    def _append(self, event: dict[str, Any]) -> None:
        event = {**event, "at": datetime.now().astimezone().isoformat(timespec="seconds")}
        try:
            self._stream.write((json.dumps(event, ensure_ascii=False) + "\n").encode())
            self._stream.flush()
            os.fsync(self._stream.fileno())
        except OSError as error:
            raise not_writable(
                error,
                self.path,
                "make room on the disk and start the command again: all lines confirmed so far are kept",
                what="the line could not be put on disk",
            ) from error
        self.events.append(event)

    def _hold(self) -> None:
        try:
            import fcntl
        except ImportError:  # not on Windows; there the second program is not noticed
            return
        try:
            fcntl.flock(self._stream.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            fix = "end the other one first, or name another file with --out"
            raise UnusableInput(
                [Problem("IN_USE", "another type-in is writing this file", fix, str(self.path))]
            ) from error

    def _read(self, begun: Begun) -> None:
        self._stream.seek(0)
        content = self._stream.read()
        whole, _, rest = content.rpartition(b"\n")
        if not whole and not rest.startswith(_BEGINNING[: len(rest)]):
            raise _no_journal("it does not begin as one", self.path, 1)
        for number, line in enumerate(whole.split(b"\n") if whole else (), start=1):
            self.events.append(_event(line, number, self.path))
        kept = len(whole) + 1 if whole else 0
        if not self.events:
            self._cut_torn(kept)
            return
        first = self.events[0]
        there = Begun(str(first.get("lot")), str(first.get("type")), tuple(map(str, first["columns"])))
        found = [
            Problem("OTHER_SITTING", f"{what} was {old!r} when it was begun and is {new!r} now",
                    "give the same options as before, or name another file with --out", str(self.path))
            for what, new, old in begun.differs(there)
        ]  # fmt: skip
        if found:
            raise UnusableInput(found)
        self._cut_torn(kept)

    def _cut_torn(self, kept: int) -> None:
        """Take off a last line without its end, or the next one would be glued to it."""
        self.torn = self._stream.seek(0, os.SEEK_END) > kept
        if self.torn:
            self._stream.truncate(kept)

    def _session_now(self) -> int:
        """Number of the session: the last one, or a new one after a long break."""
        last = max((_entry(e).session for e in self.events if e.get("event") in ("line", "skip")), default=1)
        lines = [e for e in self.events if e.get("event") in ("line", "skip")]
        if not lines:
            return last
        try:
            since = datetime.now().astimezone() - datetime.fromisoformat(str(lines[-1]["at"]))
        except (KeyError, ValueError, TypeError):
            return last + 1
        return last + 1 if abs(since.total_seconds()) > SAME_SITTING else last


def _event(line: bytes, number: int, path: Path) -> dict[str, Any]:
    try:
        event = parse_json(line)
        if not isinstance(event, dict) or "event" not in event:
            raise ValueError("not a line of a journal")
        if number == 1 and event.get("form") != FORM:
            raise ValueError(f"not of the form {FORM}")
        if number == 1 and not isinstance(event.get("columns"), list):
            raise ValueError("it does not say which readings are asked for")
        if event["event"] in ("line", "skip"):
            _entry(event)
    except (ValueError, UnicodeDecodeError) as error:
        raise _no_journal(str(error), path, number) from error
    return event


def _no_journal(why: str, path: Path, number: int) -> UnusableInput:
    fix = "put the line right or move the file away; nothing was changed"
    return UnusableInput([Problem("JOURNAL", f"cannot be read: {why}", fix, str(path), number)])


def _entry(event: dict[str, Any]) -> Entry:
    """The accepted line of an event; a ValueError where something of it is not as this program writes it."""
    values, session = event.get("values"), event.get("session")
    if not isinstance(values, dict) or type(session) is not int or not {"part", "control", "typed"} <= event.keys():
        raise ValueError("a line lacks its part, its figures or its session")
    if not all(place.isdecimal() and len(place) < 9 for place in values):
        raise ValueError("a figure of a line does not say which reading it is")
    if not all(type(value) in (int, float) and -1e300 < value < 1e300 for value in values.values()):
        raise ValueError("a figure of a line is no number")
    return Entry(
        str(event["part"]), bool(event["control"]), {int(k): float(v) for k, v in values.items()},
        str(event["typed"]), session, str(event.get("at", "")), event["event"] == "skip",
    )  # fmt: skip


def standing_in(path: Path) -> list[Entry]:
    """The lines that stand in a journal on disk, which nothing is written to; a line cut off at the end is left out.

    Raises
    ------
    UnusableInput
        It cannot be read.
    """
    try:
        whole, _, _ = path.read_bytes().rpartition(b"\n")
    except OSError as error:
        what = f"cannot be read: {error.strerror or error}"
        raise UnusableInput([Problem("JOURNAL", what, "make it readable", str(path))]) from error
    return standing([_event(line, i, path) for i, line in enumerate(whole.split(b"\n") if whole else (), start=1)])[0]


def standing(events: Sequence[dict[str, Any]]) -> tuple[list[Entry], Entry | None]:
    """Lines that stand after all undos, and the newest of them in time."""
    rows: list[list[Entry]] = []  # of each row the line and those it replaced, oldest first
    done: list[int] = []  # row of each line, oldest first
    place: dict[str, int] = {}  # row of each part
    for event in events:
        kind = event["event"]
        if kind == "undo" and done:
            rows[done.pop()].pop()
        elif kind in ("line", "skip"):
            entry = _entry(event)
            at = -1 if entry.control else place.get(entry.part, -1)
            if at < 0 or not rows[at]:
                rows.append([])
                at = len(rows) - 1
                if not entry.control:
                    place[entry.part] = at
            rows[at].append(entry)
            done.append(at)
    newest = rows[done[-1]][-1] if done else None
    return [row[-1] for row in rows if row], newest
