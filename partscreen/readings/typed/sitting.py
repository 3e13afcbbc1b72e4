"""A sitting at the bench: a typed line in, what to say and what to ask next out. No terminal and no clock in here."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from partscreen.errors import Problem
from partscreen.readings.tables import Floats
from partscreen.readings.typed.columns import TypedColumn
from partscreen.readings.typed.journal import Entry, Journal
from partscreen.readings.typed.line import Cell, Marks, TypedLine, impossible, read_line
from partscreen.readings.typed.neighbours import exchanged_neighbours
from partscreen.readings.typed.order import Order
from partscreen.readings.typed.plausible import Doubt, Usual, doubts, off, usual_of_parts

HELP = (
    "One line a part: its figures in the order above, with spaces between, then Enter.",
    "  1.92 190 95        figures without unit are in the unit of their heading; 1,92 is read too",
    "  1920pF 0.19 nF     a unit may stand right behind its figure",
    "  -                  this one was not measured",
    "  C_CB=190           a reading by its name; hFE@1A=95 where one name stands several times",
    "  T7: 1.92 190 95    another part than the one asked for; a part that is in already is replaced",
    "  T7                 alone (typed, or read from its sticker): the next line is of this part",
    "  undo               take back the last line      skip    leave this part out",
    "  list               what is in so far            more    the whole answer about the last part",
    "  settle 10          wait 10 s before each part   settle  wait once, now",
    "  end                finish; everything is on disk after each line anyway",
)
WORDS = frozenset({"undo", "skip", "list", "end", "help", "?", "more", "settle", "yes", "keep", "drop"})
REMARK_OFF = 3.5  # robust standard deviations off the parts before at which a figure is remarked on, as outliers are

LimitRemark = Callable[[int, float], str | None]


@dataclass(slots=True)
class Reply:
    """What a line led to. `kept`: the accepted entry, to be answered. `changed`: the table is another.
    `settle`: seconds to wait before each part from now on, -1: once. `more`, `end`: asked for."""

    say: list[str] = field(default_factory=list)
    kept: Entry | None = None
    changed: bool = False
    settle: float | None = None
    more: bool = False
    end: bool = False


@dataclass(slots=True)
class _Pending:
    """A line with a question open. `settled`: columns the person has answered for."""

    line: TypedLine
    text: str
    part: str
    control: bool
    doubt: Doubt
    settled: set[int]
    passed: set[str]


@dataclass(frozen=True, slots=True)
class Question:
    """A line that waits for an answer. `answers`: the words that may be typed; `instead`: what `yes` would keep."""

    part: str
    line: str
    words: str
    answers: tuple[str, ...]
    instead: str = ""

    @property
    def mark(self) -> str:
        """Tells this question from any other about the same line."""
        return hashlib.sha256("\0".join((self.part, self.line, self.words)).encode()).hexdigest()[:16]


@dataclass(slots=True)
class Sitting:
    """The state of a sitting; its lines stand in the journal."""

    columns: tuple[TypedColumn, ...]
    order: Order
    journal: Journal
    of_type: Sequence[Usual | None] = ()
    limit_remark: LimitRemark | None = None
    marks: Marks = field(default_factory=Marks)
    entries: list[Entry] = field(default_factory=list)
    _pending: _Pending | None = None
    _named: str = ""  # a part named alone: the next line is of it

    def __post_init__(self) -> None:
        self._refresh()
        for entry in self.entries:
            self.marks.learn(entry.typed.split())

    def _refresh(self) -> None:
        self.entries = self.journal.entries()

    @property
    def prompt(self) -> str:
        """The prompt of the next line."""
        if self._pending is not None:
            return f"{self._pending.part} ? "
        following = self.following
        if following is None:
            return "all are in; end, or undo = "
        return f"{following[0]}{' (control piece)' if following[1] else ''} = "

    @property
    def following(self) -> tuple[str, bool] | None:
        """The part whose line is asked for, and whether it is the control piece; None: all are in."""
        return self.order.resolved(self._named) if self._named else self.order.following(self.entries)

    @property
    def asks(self) -> bool:
        """Whether a question is open."""
        return self._pending is not None

    @property
    def question(self) -> Question | None:
        """The question that is open."""
        if self._pending is None:
            return None
        one = self._pending
        instead = {i: cell.value for i, cell in one.line.cells.items()} | one.doubt.instead
        told = self._figures({i: v for i, v in instead.items() if np.isfinite(v)}) if one.doubt.instead else ""
        return Question(one.part, one.text, one.doubt.question, _ways(one.line, one.doubt), told)

    def heading(self) -> list[str]:
        """What is asked of each part, in words."""
        lines = [f"  {i}. {one.header.removesuffix(' @')}" for i, one in enumerate(self.columns, start=1)]
        return ["Figures of a line, in this order:", *lines, "Type ? for help."]

    def take(self, text: str, *, replaces: bool = False) -> Reply:
        """Take a line. `replaces`: that its part is in already need not be asked about.

        Raises
        ------
        UnusableInput
            The journal cannot be written.
        """
        words = text.strip().split()
        first = words[0].casefold() if words else ""
        if self._pending is not None and (not words or first in ("yes", "keep", "drop", "undo", "no", "y", "n", "k")):
            return self._answered(first)
        if first in WORDS or not words:
            return self._command(first, words[1:])
        if (alone := self.order.alone(text)) is not None:
            if self._pending is not None:
                return Reply(["Answer the question first, or type the line again."])
            self._named = alone
            return Reply([f"The next line is of {self.order.resolved(alone)[0]}."])
        line = read_line(text, self.columns, self.marks)
        if line.problems:  # a question that is open stays so
            return Reply([str_of(problem) for problem in line.problems] + ["Nothing was kept. Type the line again."])
        self._pending = None
        return self._read(line, text, {"PART_TWICE"} if replaces else set())

    def _command(self, word: str, rest: Sequence[str]) -> Reply:
        if word in ("?", "help"):
            return Reply([*self.heading()[:-1], *HELP])
        if word == "end" or (not word and not self._named and self.order.following(self.entries) is None):
            return Reply(end=True)
        if word == "undo":
            return self._undo()
        if word == "skip":
            return self._skip(" ".join(rest).rstrip(":"))
        if word == "list":
            return Reply(self._listed())
        if word == "more":
            return Reply(more=True)
        if word == "settle" or not word:
            return _settle(rest)
        return Reply([f"{word!r} answers a question, and none is open. ? lists what can be typed."])

    def _read(self, line: TypedLine, text: str, passed: set[str]) -> Reply:
        if line.part:
            part, control = self.order.resolved(line.part)
        else:
            following = self.following
            if following is None:
                return Reply(["All parts are in. Type end, or name the part in front: T7: ..."])
            part, control = following
        if not any(np.isfinite(cell.value) for cell in line.cells.values()):
            return Reply([f"No figure for {part}. Type skip to leave the part out."])
        return self._weigh(line, text, part, control, set(), passed)

    def _weigh(
        self, line: TypedLine, text: str, part: str, control: bool, settled: set[int], passed: set[str]
    ) -> Reply:
        """Ask what must be asked, one question at a time; keep the line when none is left."""
        doubt = self._doubt(line, part, control, settled, passed)
        if doubt is None:
            self._pending = None
            beyond = [impossible(cell, self.columns[i]) for i, cell in line.cells.items() if cell.beyond]
            if beyond:
                return Reply([str_of(problem) for problem in beyond] + ["Nothing was kept. Type the line again."])
            return self._keep(line, text, part, control)
        self._pending = _Pending(line, text, part, control, doubt, settled, passed)
        ways = [f"{word}: {_MEANT[word]}" for word in _ways(line, doubt)]
        return Reply([f"? {doubt.question}", f"  {'; '.join(ways)}; or type the line again"])

    def _doubt(self, line: TypedLine, part: str, control: bool, settled: set[int], passed: set[str]) -> Doubt | None:
        there = next((e for e in self.entries if e.part == part and not e.control and not e.skipped), None)
        if there is not None and not control and "PART_TWICE" not in passed:
            figures = self._figures(there.values)
            return Doubt("PART_TWICE", f"{part} is in already ({figures}). keep puts the new line in its place.", {})
        values = _values(line)
        newest = self.entries[-1] if self.entries else None
        if newest is not None and len(values) >= 2 and _alike(newest.values, values) and "SAME_AGAIN" not in passed:
            return Doubt("SAME_AGAIN", f"All figures are those of {newest.part}. Was its line typed twice?", {})
        cells = {i: cell for i, cell in line.cells.items() if i not in settled}
        found = doubts(cells, self.columns, usual_of_parts(self.before(part)), self.of_type or [None] * self.width)
        return found[0] if found else None

    def _answered(self, word: str) -> Reply:
        pending, self._pending = self._pending, None
        assert pending is not None
        doubt = pending.doubt
        line, settled, passed = pending.line, set(pending.settled), set(pending.passed)
        if word in ("yes", "y") and doubt.instead:
            cells = dict(line.cells)
            for place, value in doubt.instead.items():
                cells[place] = Cell(cells[place].typed, value, cells[place].unit_typed)
            line = TypedLine(line.part, cells, (), line.notices)
            settled |= set(doubt.instead)
        elif word in ("keep", "k") and not _beyond(line, doubt):
            settled |= set(doubt.instead)
            passed.add(doubt.code)
        elif word in ("drop", "undo", "no", "n") or (word in ("yes", "y") and doubt.code == "SAME_AGAIN"):
            return Reply(["The line is forgotten. Type it again."])
        else:
            self._pending = pending
            ways = (
                "keep or drop" if not doubt.instead else "yes or drop" if _beyond(line, doubt) else "yes, keep or drop"
            )
            return Reply([f"Answer {ways}, or type the line again."])
        return self._weigh(line, pending.text, pending.part, pending.control, settled, passed)

    def _keep(self, line: TypedLine, text: str, part: str, control: bool) -> Reply:
        values = _values(line)
        entry = Entry(part, control, values, text.strip(), self.journal.session)
        before = usual_of_parts(self.before(part))
        self.journal.keep(entry)
        self._named = ""
        self.marks.learn([cell.typed for cell in line.cells.values()])
        self._refresh()
        said = [f"kept {part}: {self._figures(values)}", *line.notices]
        said += self._remarks(values, before)
        if not control:
            said += self._exchanged(part)
        return Reply(said, kept=entry, changed=True)

    def _undo(self) -> Reply:
        gone = self.journal.take_back()
        if gone is None:
            return Reply(["There is nothing to take back."])
        self._refresh()
        return Reply([f"taken back: {gone.part} ({gone.typed or 'left out'})"], changed=True)

    def _skip(self, name: str) -> Reply:
        following = self.order.resolved(name) if name else self.following
        if following is None:
            return Reply(["All parts are in; there is nothing to leave out."])
        part, control = following
        if any(e.part == part and not e.control and not e.skipped for e in self.entries):
            return Reply([f"{part} is in already. undo takes the last line back."])
        self.journal.keep(Entry(part, control, {}, "", self.journal.session, skipped=True))
        self._named = ""
        self._refresh()
        return Reply([f"{part} is left out."], changed=True)

    def _listed(self) -> list[str]:
        if not self.entries:
            return ["Nothing is in yet."]
        return [
            f"  {entry.part}: {'left out' if entry.skipped else self._figures(entry.values)}" for entry in self.entries
        ]

    @property
    def width(self) -> int:
        """How many figures a line has."""
        return len(self.columns)

    def table(self) -> tuple[list[Entry], Floats]:
        """Parts that are in, and their figures (n_parts, n_columns), SI, NaN where not measured."""
        rows = [e for e in self.entries if not e.control and not e.skipped]
        values = np.full((len(rows), self.width), np.nan)
        for i, entry in enumerate(rows):
            for place, value in entry.values.items():
                values[i, place] = value
        return rows, values

    def before(self, part: str) -> Floats:
        """Figures of all other parts that are in."""
        rows, values = self.table()
        return values[[i for i, entry in enumerate(rows) if entry.part != part]]

    def _figures(self, values: dict[int, float]) -> str:
        return ", ".join(f"{self.columns[i].short} {self.columns[i].figure(v)}" for i, v in sorted(values.items()))

    def _remarks(self, values: dict[int, float], before: Sequence[Usual | None]) -> list[str]:
        said = []
        for place, value in sorted(values.items()):
            column, usual = self.columns[place], before[place]
            remark = self.limit_remark(place, value) if self.limit_remark is not None else None
            if remark:
                said.append(f"! {remark}")
            if usual is None or usual.parts < 5 or column.quantity in ("vbe", "vbe_sat"):
                continue
            apart = off(column, value, usual)
            if abs(apart) > max(REMARK_OFF * usual.spread, np.log10(1.5)):
                how = f"{10 ** abs(apart):.2g} times {'above' if apart > 0 else 'below'}"
                said.append(f"! {column.short} is {how} the middle of the {usual.parts} parts before.")
        return said

    def _exchanged(self, part: str) -> list[str]:
        rows, values = self.table()
        newest = next(i for i, entry in enumerate(rows) if entry.part == part)
        said = []
        for one in exchanged_neighbours(values, self.columns, newest):
            names = " and ".join(self.columns[i].short for i in one.columns)
            said.append(
                f"! {names} of {rows[one.first].part} and {rows[one.second].part} fit each other's part better. Were "
                "the two exchanged? If so, type both lines again with the part's name in front; nothing was altered."
            )
        return said


_MEANT = {"yes": "take it so", "keep": "as typed", "drop": "forget the line"}


def _ways(line: TypedLine, doubt: Doubt) -> tuple[str, ...]:
    """The words that answer a question."""
    may = {"yes": bool(doubt.instead), "keep": not _beyond(line, doubt), "drop": True}
    return tuple(word for word, can in may.items() if can)


def _beyond(line: TypedLine, doubt: Doubt) -> bool:
    """Whether a question is about a figure that cannot be kept as typed."""
    return any(line.cells[i].beyond for i in doubt.instead)


def _alike(one: dict[int, float], other: dict[int, float]) -> bool:
    """Whether two lines say the same, however it was written: 1.89 nF and 1890 pF."""
    return one.keys() == other.keys() and all(abs(one[i] - other[i]) <= 1e-9 * abs(one[i]) for i in one)


def _values(line: TypedLine) -> dict[int, float]:
    return {i: cell.value for i, cell in sorted(line.cells.items()) if np.isfinite(cell.value)}


def _settle(rest: Sequence[str]) -> Reply:
    if not rest:
        return Reply(settle=-1.0)
    try:
        seconds = float(rest[0].replace(",", ".").removesuffix("s"))
    except ValueError:
        seconds = np.nan
    if not 0.0 <= seconds <= 600.0:
        return Reply([f"settle {rest[0]}: write seconds between 0 and 600, say settle 5"])
    told = f"Before each part {seconds:g} s are waited." if seconds else "Nothing is waited for any more."
    return Reply([told], settle=seconds)


def str_of(problem: Problem) -> str:
    """A problem at the prompt: what, and the way out."""
    return f"! {problem.what}\n  -> {problem.fix}"
