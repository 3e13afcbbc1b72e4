"""Shared by the questions about the bench book: what is asked, who signs, opening, figures as people type them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput

if TYPE_CHECKING:
    from partscreen.book.facts import Facts
    from partscreen.book.places import LotRef, PartRef
    from partscreen.book.store import Blob, Book, Draft, Entry
    from partscreen.results.book import Recorded


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked about: a part or a lot, with the supplier where two sold lots of one name; or a job, or a type."""

    part: str | None = None
    lot: str | None = None
    supplier: str | None = None
    type_name: str | None = None
    job: str | None = None
    position: str | None = None


@dataclass(frozen=True, slots=True)
class Signed:
    """Who adds something and of which day (year-month-day; None: today)."""

    by: str | None = None
    on: str | None = None

    @property
    def day(self) -> date:
        """The day, checked.

        Raises
        ------
        UnusableInput
            No date, or one that lies ahead.
        """
        from partscreen.book.checks_typed import day_of

        return day_of(self.on)


@contextmanager
def opened(where: str | None, *, create: bool = False) -> Iterator[tuple[Book, Facts]]:
    """The book at a path or URL (None: the platform's data folder) and its facts; closed at the end.

    Raises
    ------
    UnusableInput
        There is no book, or it cannot be opened.
    """
    from partscreen.book.facts import Facts
    from partscreen.book.store import Book

    with Book.open(where, create=create) as book:
        yield book, Facts(book)


def place_of(facts: Facts, asked: Asked) -> PartRef | LotRef | None:
    """The part or lot asked about; None: neither is named."""
    from partscreen.book.places import find_lot, find_part

    if asked.part is not None:
        return find_part(facts, asked.part, asked.lot, asked.supplier)
    return find_lot(facts, asked.lot, asked.supplier) if asked.lot is not None else None


def part_of(facts: Facts, asked: Asked) -> PartRef:
    """The part asked about.

    Raises
    ------
    UnusableInput
        None is named, or none of that name is in the book.
    """
    from partscreen.book.checks_typed import required
    from partscreen.book.places import find_part

    required({"--part": asked.part})
    return find_part(facts, asked.part or "", asked.lot, asked.supplier)


def write(
    book: Book, drafts: Sequence[Draft], blobs: Mapping[str, Blob] | None = None, notes: Sequence[str] = ()
) -> Recorded:
    """Append and answer."""
    return answer(book, book.append(drafts, blobs or {}), notes)


def answer(book: Book, entries: Sequence[Entry], notes: Sequence[str] = ()) -> Recorded:
    """What was written, what was there already, and the head."""
    from partscreen.book.facts import fact_of
    from partscreen.book.show import line_of
    from partscreen.results.book import Recorded

    head = book.head()
    lines = [(entry.known, line_of(fact_of(entry))) for entry in entries]
    return Recorded(
        book=str(book.place),
        entries=head.seq,
        head=head.hash,
        written=[line for known, line in lines if not known],
        known=[line for known, line in lines if known],
        notes=list(notes),
    )


def word_of(text: str, known: Sequence[str], option: str) -> str:
    """A word of a closed list, written with hyphens or underscores.

    Raises
    ------
    UnusableInput
        It is not one of them.
    """
    word = text.strip().lower().replace("-", "_")
    if word not in known:
        fix = f"choose one of {', '.join(one.replace('_', '-') for one in known)}"
        raise UnusableInput([Problem("BOOK_WORD", f"{text!r} is not known here", fix, option)])
    return word


def figure_of(text: str, unit: str, option: str) -> float:
    """A figure with its unit, in SI.

    Raises
    ------
    UnusableInput
        No figure, no unit, or a unit of something else: nothing is guessed.
    """
    from partscreen.quantities import unit_factor

    match = _FIGURE.fullmatch(text.strip())
    example = f"write it with its unit, say {_EXAMPLES[unit]}"
    if match is None:
        raise UnusableInput([Problem("BOOK_FIGURE", f"{text!r} is no figure with a unit", example, option)])
    try:
        factor, offset = unit_factor(match["unit"], unit)
    except ValueError:
        raise UnusableInput([Problem("BOOK_UNIT", f"{match['unit']!r} is no unit of it", example, option)]) from None
    value = float(match["figure"].replace(",", ".")) * factor + offset
    if not 0.0 <= value < _LARGEST[unit]:
        what = f"{text!r} is not believable here"
        raise UnusableInput([Problem("BOOK_FIGURE", what, f"{example}; look at the unit", option)])
    return value


_FIGURE = re.compile(r"(?P<figure>[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)\s*(?P<unit>\D.*)")
_EXAMPLES = {"V": '"11.2 mV"', "ohm": '"0.22 ohm"', "A": '"5 mA"', "s": '"2 s"'}
_LARGEST = {"V": 5000.0, "ohm": 1e6, "A": 200.0, "s": 1e6}  # beyond these it is a slip of the unit (assumption)


def bias_readings(texts: Sequence[str]) -> dict[str, float]:
    """Readings written `POSITION=FIGURE UNIT`, by position [V].

    Raises
    ------
    UnusableInput
        Every reading that cannot be used.
    """
    found: dict[str, float] = {}
    problems: list[Problem] = []
    for text in texts:
        position, equals, figure = (bit.strip() for bit in text.partition("="))
        if not equals or not position:
            fix = 'write it as "Q12=11.2 mV"'
            problems.append(Problem("BOOK_READING", f"{text!r} is no reading", fix, "readings"))
        elif position in found:
            fix = "one reading a position; a later one goes into a command of its own"
            problems.append(Problem("BOOK_READING", f"position {position!r} is read twice", fix, "readings"))
        else:
            try:
                found[position] = figure_of(figure, "V", "readings")
            except UnusableInput as error:
                problems += error.problems
    if problems:
        raise UnusableInput(problems)
    return found


def contents(paths: Sequence[Path], option: str) -> list[tuple[str, bytes]]:
    """Names and contents of files.

    Raises
    ------
    UnusableInput
        Every file that cannot be read.
    """
    found: list[tuple[str, bytes]] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            found.append((path.name, path.read_bytes()))
        except OSError as error:
            what = f"{path.name} cannot be read ({error.strerror})"
            problems.append(Problem("FILE_MISSING", what, "check the path and the name", option))
    if problems:
        raise UnusableInput(problems)
    return found
