"""Readings typed by hand, a line a part: kept as they come, answered at once, judged as a lot at the end."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from partscreen.errors import Problem, UnknownType, UnusableInput
from partscreen.workflow.kit import kit_notice
from partscreen.workflow.options import Outcome, ScreenOptions
from partscreen.workflow.settings import kelvin, load_library

if TYPE_CHECKING:
    from partscreen.readings.kit import Kit
    from partscreen.readings.typed.columns import TypedColumn
    from partscreen.readings.typed.journal import Entry, Journal
    from partscreen.readings.typed.sitting import Sitting
    from partscreen.reference import Library
    from partscreen.reference.models import ReferenceType
    from partscreen.workflow.type_in_answers import Answers, PartAnswer

SOON = 0.05  # s; an answer that is there by then is shown before the next prompt, a later one above it
MOST_PARTS = 9999  # numbers have four digits
_NAME = re.compile(r"[^\W_][\w .()+-]{0,31}$")
_MARK = {"accept": "[=] accept", "hold": "[?] hold", "reject": "[x] reject", None: "[-] not usable"}


class Terminal(Protocol):
    """Where lines come from and go to. `live`: a person sits in front of it."""

    live: bool

    def ask(self, prompt: str) -> str | None:
        """One line; None: there are no more."""
        ...

    def say(self, text: str) -> None:
        """Show a line now."""
        ...

    def post(self, text: str) -> None:
        """Show a line above the prompt, whoever is typing."""
        ...

    def count_down(self, seconds: float, why: str) -> None:
        """Wait, showing the seconds; Enter ends it."""
        ...


@dataclass(frozen=True, slots=True)
class TypeInOptions:
    """What the user set for one run of `type-in`.

    `ask`: readings to ask for; none: those of the sheet for type and kit. `count` None: as many parts as come.
    `settle`: seconds to wait before each part.
    """

    lot: str
    type_name: str
    out: Path
    kit: Path | None = None
    ask: tuple[str, ...] = ()
    count: int | None = None
    start: int = 1
    control: str = ""
    settle: float = 0.0
    temperature_c: float | None = None
    references: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True)
class _Desk:
    """Everything a sitting needs that does not change."""

    options: TypeInOptions
    library: Library
    kit: Kit | None
    kind: ReferenceType | None
    gain_group: str | None
    columns: tuple[TypedColumn, ...]
    notices: tuple[str, ...]


def type_readings(options: TypeInOptions, terminal: Terminal) -> Outcome | None:
    """Have the readings of a lot typed in, and judge it.

    Parameters
    ----------
    options : TypeInOptions
    terminal : where lines are typed

    Returns
    -------
    Outcome of the whole lot; None: nothing was typed.

    Raises
    ------
    UnusableInput
        A setting cannot be used, the file belongs to something else, or the disk refuses a line; what was confirmed
        before is kept.
    """
    from partscreen.readings.typed.journal import Begun, Journal
    from partscreen.readings.typed.order import Order
    from partscreen.readings.typed.sitting import Sitting
    from partscreen.reference.population import population_for
    from partscreen.workflow.type_in_answers import Answers
    from partscreen.workflow.type_in_known import limit_remark, usual_of_type

    desk = _prepare(options)
    begun = Begun(
        options.lot, desk.kind.name if desk.kind else options.type_name, tuple(c.header for c in desk.columns)
    )
    path = options.out.with_name(options.out.name + ".journal")
    if options.out.exists() and not path.exists():
        what, fix = "is there already, and no journal of type-in lies beside it", "name another file with --out"
        raise UnusableInput([Problem("FILE_EXISTS", what, f"{fix}; nothing was changed", str(options.out))])
    seen = _LastAnswer(terminal)
    answers = Answers(
        options.type_name, desk.library, desk.kit, kelvin(options.temperature_c), seen.show, _warm_up(desk.columns)
    )
    with Journal(path, begun) as journal:
        _must_be_ours(options, desk.columns, journal)
        answers.start()
        population = population_for(desk.kind, gain_group=desk.gain_group) if desk.kind is not None else None
        sitting = Sitting(
            desk.columns,
            Order(options.lot, options.count, options.start, options.control),
            journal,
            usual_of_type(desk.columns, population),
            limit_remark(desk.columns, desk.kind, desk.gain_group),
        )
        for line in (*desk.notices, *_went_on(journal, sitting, options.out), *sitting.heading()):
            terminal.say(line)
        _write(options, sitting)
        _converse(options, sitting, answers, seen, terminal)
        answers.wait(60.0)
        answers.stop()
    return _judged(options, sitting)


def _must_be_ours(options: TypeInOptions, columns: Sequence[TypedColumn], journal: Journal) -> None:
    """Refuses to write over a table that somebody put right by hand."""
    from partscreen.readings.typed.journal import standing
    from partscreen.readings.typed.table_file import changed_by_others, table_text

    # A program that was killed may have left the table as it was before the newest line.
    states = [table_text(options.lot, columns, standing(journal.events[:end])[0]) for end in (None, -1)]
    if changed_by_others(options.out, states):
        what = "was changed since type-in wrote it"
        fix = "name another file with --out for the lines to come, or move this one away; nothing was changed"
        raise UnusableInput([Problem("FILE_CHANGED", what, fix, str(options.out))])


def _converse(
    options: TypeInOptions, sitting: Sitting, answers: Answers, seen: _LastAnswer, terminal: Terminal
) -> None:
    """Prompt after prompt until the end."""
    settle, waited = options.settle, ""
    while True:
        if settle and terminal.live and not sitting.asks and sitting.prompt not in ("", waited):
            waited = sitting.prompt
            terminal.count_down(settle, f"{waited.rstrip(' =')}: let it settle")
        text = terminal.ask(sitting.prompt)
        if text is None:
            if sitting.asks:
                terminal.say("The question was not answered: this line is not kept.")
            return
        reply = sitting.take(text)
        if reply.changed:
            _write(options, sitting)
        for line in reply.say:
            terminal.say(line)
        if reply.kept is not None and not reply.kept.control:
            answers.ask(reply.kept.part, _texts(reply.kept, sitting.columns))
            answers.wait(SOON if terminal.live else 60.0)
        if reply.settle is not None:
            if reply.settle < 0.0:
                terminal.count_down(settle or 5.0, "let it settle")
            else:
                settle = reply.settle
        if reply.more:
            answers.wait(10.0)
            for line in seen.all_words():
                terminal.say(line)
        if reply.end:
            return


class _LastAnswer:
    """Shows answers as they come and keeps the last one for `more`."""

    def __init__(self, terminal: Terminal) -> None:
        self._terminal = terminal
        self._last: PartAnswer | None = None

    def show(self, answer: PartAnswer) -> None:
        """In one line, or two."""
        self._last = answer
        lines = [f"{_MARK[answer.disposition]}  {answer.part}: {answer.first}"]
        if answer.following:
            lines.append(f"    next: {answer.following}   (more: the whole answer)")
        self._terminal.post("\n".join(lines))

    def all_words(self) -> list[str]:
        """Everything said of the last part."""
        if self._last is None:
            return ["No part is answered yet."]
        head = f"{_MARK[self._last.disposition]}  {self._last.part}, taken alone"
        return [head, *(f"  {line}" for line in self._last.words)]


def _texts(entry: Entry, columns: Sequence[TypedColumn]) -> list[str]:
    return [columns[i].text(value) for i, value in sorted(entry.values.items())]


def _warm_up(columns: Sequence[TypedColumn]) -> list[str]:
    """A middling reading of each kind, so that the whole engine is loaded before the first part."""
    value = {"c_be": 2e-9, "c_cb": 2e-10, "hfe": 80.0, "vbe": 0.65, "vce_sat": 0.2}
    return [one.text(value[one.quantity]) for one in columns if one.quantity in value]


def _went_on(journal: Journal, sitting: Sitting, out: Path) -> list[str]:
    if not journal.went_on:
        return []
    lines = []
    if journal.torn:
        lines.append(
            "The last line of the journal was cut off in the middle: it had not been confirmed and is left out."
        )
    kept = sum(not entry.skipped for entry in sitting.entries)
    newest = f", the last is {sitting.entries[-1].part}" if sitting.entries else ""
    lines.append(f"Going on with {out.name}: {kept} line{'' if kept == 1 else 's'} kept{newest}.")
    last = max((entry.session for entry in sitting.entries), default=journal.session)
    if journal.session > last:
        lines.append("The break was long: from here on it counts as another session of its own temperature.")
    return lines


def _write(options: TypeInOptions, sitting: Sitting) -> None:
    from partscreen.readings.typed.table_file import table_text, write_table

    write_table(options.out, table_text(options.lot, sitting.columns, sitting.entries))


def _judged(options: TypeInOptions, sitting: Sitting) -> Outcome | None:
    from partscreen.workflow.screening import screen_files

    if not any(not entry.skipped and not entry.control for entry in sitting.entries):
        return None
    chosen = ScreenOptions(
        type_name=options.type_name, kit=options.kit, references=options.references, temperature_c=options.temperature_c
    )
    return screen_files([options.out], chosen, figures=False)


def _prepare(options: TypeInOptions) -> _Desk:
    """Settings read and checked; every problem at once."""
    from partscreen.readings.kit import load_kit
    from partscreen.readings.typed.columns import columns_from
    from partscreen.report.papers.form_columns import form_of

    problems = [*_names(options), *_figures(options)]
    kit: Kit | None = None
    columns: tuple[TypedColumn, ...] = ()
    notices: list[str] = []
    try:
        kit = load_kit(options.kit) if options.kit else None
    except UnusableInput as error:
        problems += error.problems
    try:
        kelvin(options.temperature_c)
    except UnusableInput as error:
        problems += error.problems
    library = load_library(options.references)
    kind, gain_group = None, None
    try:
        found = library.find(options.type_name)
        kind, gain_group = found.type, found.gain_group
    except UnknownType as unknown:
        notices.append(f"{unknown}: figures are held against the parts before only.")
    if not options.ask:
        form = form_of(kind, kit)
        notices += form.notes
    headers = options.ask or tuple(c.header for c in form.columns if not c.stressing)
    try:
        columns = columns_from(headers)
    except UnusableInput as error:
        problems += error.problems
    if problems:
        raise UnusableInput(problems)
    return _Desk(options, library, kit, kind, gain_group, columns, (*notices, *kit_notice(kit)))


def _names(options: TypeInOptions) -> list[Problem]:
    found = []
    for option, name in (("--lot", options.lot), ("--control", options.control or "REF")):
        if not _NAME.match(name) or name.endswith((" ", ".")):
            fix = "use letters, digits, space, - . _ + ( ), at most 32, a letter or digit first"
            found.append(Problem("LOT_NAME", f"{name!r} cannot be a name of parts and files", fix, option))
    if options.out.suffix.lower() not in (".csv", ".txt"):
        what = f"{options.out.name!r} does not end in .csv"
        found.append(Problem("FILE_NAME", what, "the table is written as CSV: name it so", "--out"))
    return found


def _figures(options: TypeInOptions) -> list[Problem]:
    found = []
    last = options.start + (options.count or 1) - 1
    if options.start < 1 or (options.count is not None and options.count < 1) or last > MOST_PARTS:
        what = f"part numbers {options.start} to {last} cannot be"
        found.append(Problem("PART_NUMBERS", what, f"numbers go from 1 to {MOST_PARTS}", "--count"))
    if not 0.0 <= options.settle <= 600.0:
        what = f"{options.settle:g} s cannot be waited"
        found.append(Problem("SETTLE", what, "give seconds between 0 and 600", "--settle"))
    return found
