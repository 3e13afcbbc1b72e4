"""A sitting of typed readings that is open in one window or several.

Each line comes with what its sender saw, so that a line meant for one part is never kept for another, one that was sent
twice is kept once, and an open question is not pushed aside.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem
from partscreen.whole_files import write_whole
from partscreen.workflow.typed.opening import OpenSitting

if TYPE_CHECKING:
    from partscreen.readings.typed.journal import Entry
    from partscreen.readings.typed.sitting import Reply

_OPEN = "question.json"
_ANSWERS = frozenset({"yes", "y", "keep", "k", "drop", "no", "n"})


@dataclass(frozen=True, slots=True)
class LotTold:
    """What a person told of a lot before typing. `kit`, `references`: files; `ask`: readings, none for the sheet's."""

    lot: str
    type_name: str
    supplier: str = ""
    maker: str = ""
    gain_group: str = ""
    known_good: bool = False
    ask: tuple[str, ...] = ()
    count: int | None = None
    start: int = 1
    control: str = ""
    settle: float = 0.0
    temperature_c: float | None = None
    kit: Path | None = None
    references: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class Sent:
    """A line as a window sent it, and what that window showed.

    `part`: the one asked for; `seen`: events of the journal; `asked`, `asked_line`: mark and line of the open question;
    `replaces`: the part whose line is put right.
    """

    line: str
    part: str = ""
    seen: int = -1
    asked: str = ""
    asked_line: str = ""
    replaces: str = ""


@dataclass(slots=True)
class Told:
    """What came of a line. `again`: the line, where it was not kept and is to be put right."""

    say: list[str] = field(default_factory=list)
    again: str = ""
    kept: Entry | None = None
    reply: Reply | None = None

    @property
    def done(self) -> bool:
        """Whether the table is another since."""
        return self.reply is not None and self.reply.changed


@dataclass(slots=True)
class LiveSitting:
    """A sitting that is open here; lines of several windows are taken one after the other."""

    name: str
    folder: Path
    about: LotTold
    opened: OpenSitting
    settle: float = 0.0
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _last: tuple[Sent, Told] | None = None

    @property
    def seen(self) -> int:
        """How many events stand in the journal: what a window tells it has seen."""
        return len(self.opened.journal.events)

    def send(self, sent: Sent) -> Told:
        """Take a line of a window.

        Raises
        ------
        UnusableInput
            The disk refuses the line.
        """
        with self._lock:
            if self._last is not None and self._last[0] == sent:
                before = self._last[1]
                return Told([f"This came twice and is done once: {sent.line}"] if before.done else before.say)
            told = self._apart(sent) or self._taken(sent)
            self._last = (sent, told)
            self._keep_question()
            return told

    def _apart(self, sent: Sent) -> Told | None:
        """What is said where another window was quicker; None: nothing stands in the way."""
        line = sent.line.strip()
        question = self.opened.sitting.question
        now = question.mark if question is not None else ""
        if sent.seen == self.seen and sent.asked == now:
            return None
        if line.casefold() in _ANSWERS and sent.asked != now:
            words = "That question is no longer open: another window answered it, or the line changed."
            return Told([words], "" if question is not None else sent.asked_line)
        if question is not None and sent.asked != now and line.casefold() not in _ANSWERS:
            words = f"Another window has a question open about {question.part}. Answer it, then send this line again."
            return Told([words], line)
        if line.casefold() == "undo" and sent.seen != self.seen:
            return Told(["Another window has gone on meanwhile. Look at the newest line, then take it back."])
        return None

    def _taken(self, sent: Sent) -> Told:
        from partscreen.readings.typed.sitting import WORDS

        line, sitting, before = sent.line.strip(), self.opened.sitting, self.seen
        word = line.split()[0].casefold() if line else ""
        if line.casefold() == "skip" and sent.part:
            line = f"skip {sent.part}"  # the part that its window showed
        plain = word not in WORDS and word not in _ANSWERS and bool(line) and sitting.order.alone(line) is None
        named = line
        other = sitting.question is not None or self._part_now() != sent.part
        meant = sent.replaces or (sent.part if other else "")
        if plain and meant and not _names_part(line):
            named = f"{meant}: {line}"
        question = sitting.question
        reply = self.opened.take(named, replaces=bool(sent.replaces) and plain)
        if reply.settle is not None and reply.settle >= 0.0:
            self.settle = reply.settle
        if question is not None and plain and reply.kept is not None and question.line != line:
            reply.say.append(f"It stands in place of the line that was asked about: {question.line}")
        refused = plain and reply.kept is None and (not sitting.asks or sitting.question == question)
        return Told(reply.say, line if refused and self.seen == before else "", reply.kept, reply)

    def _part_now(self) -> str:
        sitting = self.opened.sitting
        if sitting.question is not None:
            return sitting.question.part
        following = sitting.following
        return following[0] if following else ""

    def wrong_cells(self, cells: Sequence[str]) -> dict[int, Problem]:
        """What is wrong with figures that were typed one by one, by their place; none: they make a line together."""
        from partscreen.readings.typed.line import read_line

        found: dict[int, Problem] = {}
        for i, (cell, column) in enumerate(zip(cells, self.opened.columns, strict=True)):
            line = read_line(cell, (column,), self.opened.sitting.marks)
            wrong = [one for one in line.problems if one.code != "AMBIGUOUS_NUMBER"]  # the others may settle its mark
            if line.part or "=" in cell or any(one.code == "TOO_MANY_FIGURES" for one in wrong):
                what = f"{column.short}: {cell!r} is not one figure"
                wrong.insert(0, Problem("NOT_A_NUMBER", what, "write the figure alone, or - for not measured"))
            if wrong:
                found[i] = wrong[0]
        return found

    def _keep_question(self) -> None:
        """A line with a question open is on disk too, and is asked about again after a stop."""
        question = self.opened.sitting.question
        path = self.folder / _OPEN
        if question is None:
            path.unlink(missing_ok=True)
        else:
            write_whole(path, json.dumps({"part": question.part, "line": question.line}))

    def ask_again(self) -> Told | None:
        """Take the line that was being asked about when the program stopped."""
        try:
            kept = json.loads((self.folder / _OPEN).read_text(encoding="utf-8"))
            part, line = str(kept["part"]), str(kept["line"])
        except (OSError, ValueError, KeyError, TypeError):
            return None
        reply = self.opened.take(line if _names_part(line) else f"{part}: {line}")
        self._keep_question()
        return Told([f"This line was being asked about when the page stopped: {line}", *reply.say], kept=reply.kept)

    def close(self) -> None:
        """Let go of it; it stays on disk."""
        self.opened.close()


def _names_part(line: str) -> bool:
    from partscreen.readings.typed.line import names_part

    return names_part(line)
