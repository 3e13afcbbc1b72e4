"""A sitting of typed readings, opened from its options: at a terminal or on the page, with the same checks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnknownType, UnusableInput
from partscreen.workflow.own.kit import kit_notice
from partscreen.workflow.settings import kelvin, load_library

if TYPE_CHECKING:
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.typed.columns import TypedColumn
    from partscreen.readings.typed.journal import Entry, Journal
    from partscreen.readings.typed.sitting import Reply, Sitting
    from partscreen.reference import Library
    from partscreen.reference.models import ReferenceType

MOST_PARTS = 9999  # numbers have four digits
_NAME = re.compile(r"[^\W_][\w .()+-]{0,31}$")


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


@dataclass(slots=True)
class OpenSitting:
    """A sitting whose journal is held by this program until it is closed. Lines are taken one after the other."""

    options: TypeInOptions
    library: Library
    kit: Kit | None
    columns: tuple[TypedColumn, ...]
    notices: tuple[str, ...]
    journal: Journal
    sitting: Sitting

    def __enter__(self) -> OpenSitting:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def take(self, text: str, *, replaces: bool = False) -> Reply:
        """Take a line; what was accepted is on disk, journal and table, when the reply comes back.

        `replaces`: the person chose a line to put right, and need not be asked whether it is to be replaced.

        Raises
        ------
        UnusableInput
            The disk refuses the line.
        """
        self.journal.renew_session()
        reply = self.sitting.take(text, replaces=replaces)
        if reply.changed:
            self.write()
        return reply

    def write(self) -> None:
        """Put the table of all lines that stand on disk."""
        from partscreen.readings.typed.table_file import table_text, write_table

        write_table(self.options.out, table_text(self.options.lot, self.columns, self.sitting.entries))

    def texts(self, entry: Entry) -> list[str]:
        """The readings of a line as `check` takes them."""
        return [self.columns[i].text(value) for i, value in sorted(entry.values.items())]

    @property
    def went_on(self) -> list[str]:
        """What is to be said of a sitting that was begun before."""
        return _went_on(self.journal, self.sitting, self.options.out)

    def close(self) -> None:
        """Let go of the journal."""
        self.journal.close()


def open_sitting(options: TypeInOptions) -> OpenSitting:
    """Begin a sitting, or go on with the one whose journal lies beside the file.

    Raises
    ------
    UnusableInput
        A setting cannot be used, the file belongs to something else, or another program holds it.
    """
    from partscreen.readings.typed.journal import Begun, Journal
    from partscreen.readings.typed.order import Order
    from partscreen.readings.typed.sitting import Sitting
    from partscreen.reference.population import population_for
    from partscreen.workflow.typed.known import limit_remark, usual_of_type

    desk = _prepare(options)
    begun = Begun(
        options.lot, desk.kind.name if desk.kind else options.type_name, tuple(c.header for c in desk.columns)
    )
    path = options.out.with_name(options.out.name + ".journal")
    if options.out.exists() and not path.exists():
        what, fix = "is there already, and no journal of type-in lies beside it", "name another file with --out"
        raise UnusableInput([Problem("FILE_EXISTS", what, f"{fix}; nothing was changed", str(options.out))])
    journal = Journal(path, begun)
    try:
        _must_be_ours(options, desk.columns, journal)
        population = population_for(desk.kind, gain_group=desk.gain_group) if desk.kind is not None else None
        sitting = Sitting(
            desk.columns,
            Order(options.lot, options.count, options.start, options.control),
            journal,
            usual_of_type(desk.columns, population),
            limit_remark(desk.columns, desk.kind, desk.gain_group),
        )
        opened = OpenSitting(options, desk.library, desk.kit, desk.columns, desk.notices, journal, sitting)
        opened.write()
    except BaseException:
        journal.close()
        raise
    return opened


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


def _prepare(options: TypeInOptions) -> _Desk:
    """Settings read and checked; every problem at once."""
    from partscreen.readings.instruments.kit import load_kit
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


def name_problems(lot: str, control: str = "") -> list[Problem]:
    """Why a lot or a control piece cannot be called so: parts and files are named after them."""
    found = []
    for option, name in (("--lot", lot), ("--control", control or "REF")):
        if not _NAME.match(name) or name.endswith((" ", ".")):
            fix = "use letters, digits, space, - . _ + ( ), at most 32, a letter or digit first"
            found.append(Problem("LOT_NAME", f"{name!r} cannot be a name of parts and files", fix, option))
    return found


def _names(options: TypeInOptions) -> list[Problem]:
    found = name_problems(options.lot, options.control)
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
