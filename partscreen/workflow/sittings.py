"""Sittings of typed readings that are kept in the user's folder: begun, gone on with, and ended as files to judge.

A sitting may be open in several windows. Each line comes with what its sender saw, so that a line meant for one part
is never kept for another, one that was sent twice is kept once, and an open question is not pushed aside.
"""

from __future__ import annotations

import json
import secrets
import shutil
import threading
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput
from partscreen.workflow.own_files import lying_in, own_folder, own_place, stem_of
from partscreen.workflow.type_in_open import OpenSitting, TypeInOptions, name_problems, open_sitting

if TYPE_CHECKING:
    from partscreen.readings.tables import Lot
    from partscreen.readings.typed.journal import Entry
    from partscreen.readings.typed.sitting import Reply

_ABOUT, _TABLE, _OPEN = "sitting.json", "readings.csv", "question.json"
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
class KeptSitting:
    """A sitting on disk. `parts`: lines that stand; `last`: day and time of the newest, as kept."""

    name: str
    lot: str
    type_name: str
    parts: int
    last: str
    problems: tuple[Problem, ...] = ()


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
            path.write_text(json.dumps({"part": question.part, "line": question.line}), encoding="utf-8")

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


def begin_sitting(told: LotTold, root: Path | None = None) -> str:
    """Begin a sitting in the user's folder; its name.

    Raises
    ------
    UnusableInput
        Every setting that cannot be used; nothing is left behind then.
    """
    if not told.lot or not told.type_name:
        fix = "write what the bag is called, and the type number as marked on the parts"
        raise UnusableInput([Problem("LOT_NAME", "lot and type are needed before the first line", fix, "lot, type")])
    problems = name_problems(told.lot, told.control)
    if problems:
        raise UnusableInput(problems)
    name = f"{stem_of(told.lot)}-{date.today():%Y%m%d}-{secrets.token_hex(3)}"
    folder = own_folder("typed", root) / name
    folder.mkdir()
    try:
        kit = _copied(told.kit, folder) if told.kit else None
        references = tuple(_copied(path, folder) for path in told.references)
        options = _options(told, folder, kit, references)
        with open_sitting(options) as opened:
            headers = [one.header for one in opened.columns]
        about: dict[str, Any] = {**asdict(told), "ask": headers, "kit": kit.name if kit else None}
        about["references"] = [path.name for path in references]
        (folder / _ABOUT).write_text(json.dumps(about, ensure_ascii=False, indent=1), encoding="utf-8")
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return name


def _copied(path: Path, folder: Path) -> Path:
    """A file beside the sitting: it goes on with what it was begun with."""
    place = folder / path.name
    number = 1
    while place.exists():
        number += 1
        place = folder / f"{number}-{path.name}"
    return Path(shutil.copyfile(path, place))


def _options(told: LotTold, folder: Path, kit: Path | None, references: Sequence[Path]) -> TypeInOptions:
    return TypeInOptions(
        lot=told.lot, type_name=told.type_name, out=folder / _TABLE, kit=kit, ask=told.ask, count=told.count,
        start=told.start, control=told.control, settle=told.settle, temperature_c=told.temperature_c,
        references=tuple(references),
    )  # fmt: skip


def sitting_names(root: Path | None = None) -> tuple[str, ...]:
    """Names of all sittings in the user's folder, the newest first."""
    folders = [path.parent for path in lying_in("typed", f"*/{_ABOUT}", root)]
    return tuple(path.name for path in sorted(folders, key=_touched, reverse=True))


def _touched(folder: Path) -> float:
    journal = folder / f"{_TABLE}.journal"
    return (journal if journal.exists() else folder / _ABOUT).stat().st_mtime


def kept_sittings(root: Path | None = None) -> tuple[KeptSitting, ...]:
    """All sittings in the user's folder, the newest first."""
    from partscreen.readings.typed.journal import standing_in

    found = []
    for name in sitting_names(root):
        folder = own_place("typed", root) / name
        try:
            about = _read(folder)
            lines = standing_in(folder / f"{_TABLE}.journal")
            last = lines[-1].at if lines else ""
            found.append(KeptSitting(name, about.lot, about.type_name, sum(not e.skipped for e in lines), last))
        except UnusableInput as error:
            found.append(KeptSitting(name, name, "", 0, "", tuple(error.problems)))
    return tuple(found)


def _read(folder: Path) -> LotTold:
    try:
        data = json.loads((folder / _ABOUT).read_text(encoding="utf-8"))
        data["kit"] = folder / data["kit"] if data["kit"] else None
        data["references"] = tuple(folder / name for name in data["references"])
        data["ask"] = tuple(data["ask"])
        return LotTold(**data)
    except (OSError, ValueError, KeyError, TypeError) as error:
        fix = "put the file right, or take the folder away; the journal beside it holds the lines"
        raise UnusableInput([Problem("JOURNAL", f"cannot be read: {error}", fix, str(folder / _ABOUT))]) from error


def resume_sitting(name: str, root: Path | None = None) -> LiveSitting:
    """Open a sitting of the user's folder.

    Raises
    ------
    UnusableInput
        It is not there, cannot be read, or another program holds it.
    """
    if name not in sitting_names(root):
        fix = "look at the list of sittings; one that was taken away is gone"
        raise UnusableInput([Problem("NO_SITTING", "there is no such sitting", fix, name)])
    folder = own_place("typed", root) / name
    about = _read(folder)
    opened = open_sitting(_options(about, folder, about.kit, about.references))
    return LiveSitting(name, folder, about, opened, about.settle)


def drop_sitting(name: str, root: Path | None = None) -> None:
    """Take a sitting away with all its lines."""
    if name in sitting_names(root):
        shutil.rmtree(own_place("typed", root) / name, ignore_errors=True)


@dataclass(frozen=True, slots=True)
class TypedFiles:
    """The files of an ended sitting, copied so that later lines do not alter them."""

    files: tuple[Path, ...]
    lots: Path
    kit: Path | None
    references: tuple[Path, ...]
    temperature_c: float | None


def files_of_sitting(live: LiveSitting, folder: Path) -> TypedFiles:
    """Copy what was typed, with a lot sheet of what was told, into a folder, ready to be understood and judged.

    Raises
    ------
    UnusableInput
        No part is in, or the place cannot be written to.
    """
    from partscreen.readings.tables import Lot
    from partscreen.workflow.understand import write_lots

    if not any(not entry.skipped and not entry.control for entry in live.opened.sitting.entries):
        fix = "type the line of one part at least"
        raise UnusableInput([Problem("NO_READING", "no part is in yet", fix, f"lot {live.about.lot}")])
    told = live.about
    try:
        table = Path(shutil.copyfile(live.opened.options.out, folder / f"{told.lot}.csv"))
        kit = _copied(told.kit, folder) if told.kit else None
        references = tuple(_copied(path, folder) for path in told.references)
    except OSError as error:
        what = f"cannot be written: {error.strerror or error}"
        raise UnusableInput([Problem("NOT_WRITABLE", what, "make room on the disk", str(folder))]) from error
    lot = Lot(
        told.lot, told.type_name, told.supplier or None, told.maker or None, told.gain_group or None, told.known_good,
        told.count,
    )  # fmt: skip
    return TypedFiles((table,), write_lots([lot], {}, folder / "lots.csv"), kit, references, told.temperature_c)


def lots_to_type(sheet: Path) -> tuple[tuple[Lot, ...], tuple[Problem, ...], tuple[str, ...]]:
    """The lots of a lot sheet, to choose which one is typed; its problems and notices. Never raises for content."""
    from partscreen.readings.rows.lot_sheet import load_lot_sheet

    found = load_lot_sheet(sheet)
    return tuple(found.lots.values()), tuple(found.problems), tuple(found.notices)
