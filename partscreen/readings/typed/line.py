"""One typed line: figures in the order of the columns, each with or without its unit. Nothing in it is guessed."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from partscreen.errors import Problem
from partscreen.quantities import QUANTITIES
from partscreen.readings.columns.conditions import spot_value
from partscreen.readings.columns.numbers import BLANKS, COMMA, MIXED, POINT, BadCell, evidence, plain_marks, read_cell
from partscreen.readings.columns.units import read_unit
from partscreen.readings.typed.columns import TypedColumn, find_columns

_PART = re.compile(r"^\s*(?P<part>[^\s:=;]+(?: [^\s:=;]+)?)\s*:(?=\s|$)\s*(?P<rest>.*)$")
_FIGURE = re.compile(r"[<>≤≥~]?[+\-−]?[.,]?\d|(?:ol|o\.l\.?|over|overload|overrange)$", re.IGNORECASE)
_NOT_MEASURED = BLANKS - {""}


@dataclass(frozen=True, slots=True)
class Cell:
    """One figure as typed and as understood. `value`: SI magnitude, NaN where nothing was measured. `beyond`: no part
    of any kind reads that; it can be asked about, never kept."""

    typed: str
    value: float
    unit_typed: bool = False
    beyond: bool = False


@dataclass(frozen=True, slots=True)
class TypedLine:
    """A line taken apart. `part`: the name before a colon, "" where none; `cells` by place of the column."""

    part: str
    cells: dict[int, Cell] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    notices: tuple[str, ...] = ()


@dataclass(slots=True)
class Marks:
    """Decimal marks proven in this sitting: they settle a figure such as "1,234", as a file's other figures would."""

    point: bool = False
    comma: bool = False

    def learn(self, figures: Sequence[str]) -> None:
        """Take note of what figures prove."""
        for figure in figures:
            certain = evidence([figure]).certain
            self.point = self.point or "." in certain
            self.comma = self.comma or "," in certain

    @property
    def mark(self) -> str:
        """The mark a figure with two readings is read by; MIXED: it is asked about."""
        if self.point == self.comma:
            return MIXED
        return POINT if self.point else COMMA


def names_part(text: str) -> bool:
    """Whether a line says in front of which part it is."""
    return _PART.match(plain_marks(text)) is not None


def read_line(text: str, columns: Sequence[TypedColumn], marks: Marks) -> TypedLine:
    """Take a line apart.

    Parameters
    ----------
    text : figures separated by spaces or semicolons, in the order of the columns; `-` for not measured; `C_CB=190`
        anywhere for a column by name; a part's name and a colon in front for another part than the one asked for
    marks : decimal marks proven so far; not changed

    Returns
    -------
    TypedLine
        With every problem of the line; then no figure of it may be used.
    """
    text = plain_marks(text)
    head = _PART.match(text)
    part, rest = (head["part"].strip(), head["rest"]) if head is not None else ("", text)
    named, plain, problems = _pieces(rest, columns)
    cells: dict[int, Cell] = {}
    notices: list[str] = []
    if len(plain) > len(columns):
        what = f"{len(plain)} figures, but {len(columns)} are asked for"
        fix = f"in this order: {', '.join(one.short for one in columns)}; a unit stands right behind its figure"
        problems.append(Problem("TOO_MANY_FIGURES", what, fix))
    elif plain and len(plain) < len(columns) and not named:
        what = f"{len(plain)} figure{'s' if len(plain) > 1 else ''}, but {len(columns)} are asked for"
        fix = f"write - for each that was not measured; the order is {', '.join(one.short for one in columns)}"
        problems.append(Problem("TOO_FEW_FIGURES", what, fix))
    mine = Marks(marks.point, marks.comma)
    mine.learn([figure for figure, _ in (*plain, *(piece for _, piece in named))])
    both = [*enumerate(plain[: len(columns)]), *named]
    for place, (figure, unit) in both:
        if place in cells:
            what = f"{columns[place].short} stands twice in the line"
            problems.append(Problem("READING_TWICE", what, "write it once"))
            continue
        cell, wrong, notes = _cell(figure, unit, columns[place], mine.mark)
        problems += wrong
        notices += notes
        if cell is not None:
            cells[place] = cell
    return TypedLine(part, cells, tuple(problems), tuple(notices))


_Piece = tuple[str, str]


def _pieces(text: str, columns: Sequence[TypedColumn]) -> tuple[list[tuple[int, _Piece]], list[_Piece], list[Problem]]:
    """Figures by name (`NAME=FIGURE UNIT`), figures in order, and what could not be taken apart."""
    named: list[tuple[int, _Piece]] = []
    plain: list[_Piece] = []
    problems: list[Problem] = []
    words = re.sub(r"\s*=\s*", "=", re.sub(r"\s+at\s+", "@", text.replace(";", " "))).split()
    target: list[_Piece] | None = None
    for word in words:
        name, equals, figure = word.rpartition("=")
        if equals:
            places = find_columns(columns, name)
            if len(places) != 1:
                problems.append(_which(name, places, columns))
                target = []
                continue
            named.append((places[0], (figure, "")))
            target = None
        elif _FIGURE.match(word) or word.lower() in _NOT_MEASURED or not (plain or named):
            plain.append((word, ""))
            target = plain
        elif target is not None:
            if target:
                target[-1] = (target[-1][0], f"{target[-1][1]} {word}".strip())
        else:
            place, (figure, unit) = named[-1]
            named[-1] = (place, (figure, f"{unit} {word}".strip()))
    return named, plain, problems


def _which(name: str, places: Sequence[int], columns: Sequence[TypedColumn]) -> Problem:
    if not places:
        what = f"no reading {name!r} is asked for"
        return Problem("UNKNOWN_QUANTITY", what, f"asked for: {', '.join(one.short for one in columns)}")
    said = ", ".join(f"{columns[i].symbol}@{columns[i].short.partition(' at ')[2].replace(' ', '')}" for i in places)
    return Problem("WHICH_READING", f"{name!r} is asked for {len(places)} times", f"say which: {said}")


def _cell(figure: str, unit: str, column: TypedColumn, mark: str) -> tuple[Cell | None, list[Problem], list[str]]:
    typed = f"{figure} {unit}".strip()
    if figure.lower() in _NOT_MEASURED and not unit:
        return Cell(figure, math.nan), [], []
    if not _FIGURE.match(figure):
        what = f"{column.short}: {typed!r} is no figure"
        fix = f"write a figure, say {column.figure(column.factor)}, or - for not measured; ? lists what can be typed"
        return None, [Problem("NOT_A_NUMBER", what, fix)], []
    own_unit = bool(unit) or re.search(r"[^\d.,+\-−eE\s'’]|[eE](?![+\-]?\d)", figure) is not None
    value, problems, notices = spot_value(QUANTITIES[column.quantity], typed, column.unit, mark)
    if [problem.code for problem in problems] == ["IMPOSSIBLE_SIZE"]:
        return Cell(typed, _size(typed, column, mark), own_unit, True), [], []
    if problems:
        return None, [_at_the_prompt(problem, column) for problem in problems], []
    return Cell(typed, value, own_unit), [], notices


def _size(typed: str, column: TypedColumn, mark: str) -> float:
    """SI magnitude of a figure that has been read already, whatever its size."""
    read = read_cell(typed, mark)
    assert not isinstance(read, BadCell)
    figure, unit = read
    reading = read_unit(unit or column.unit, QUANTITIES[column.quantity].unit)
    return abs(reading.factor * figure + reading.offset)


def impossible(cell: Cell, column: TypedColumn) -> Problem:
    """What is said of a figure that no part reads and no slip explains."""
    quantity = QUANTITIES[column.quantity]
    low, high = column.figure(quantity.low), column.figure(quantity.high)
    unit = f"a figure without unit is in {column.unit}: " if not cell.unit_typed and column.unit != "1" else ""
    what = f"{column.short} of {column.figure(cell.value)} is impossible (parts have {low} to {high})"
    return Problem("IMPOSSIBLE_SIZE", what, f"{unit}put the unit or the decimal mark right")


def _at_the_prompt(problem: Problem, column: TypedColumn) -> Problem:
    """The way out as it is here: there is no column map and no cell to correct."""
    fix = problem.fix
    if problem.code == "AMBIGUOUS_NUMBER":
        fix = "write it so that it has one reading: 1.234 or 1,2340 for the small one, 1234 for the large one"
    elif "cell" in fix or "column" in fix or "row" in fix:
        fix = "type the figure again, or - for not measured"
    what = problem.what if problem.what.startswith(column.symbol) else f"{column.short}: {problem.what}"
    return Problem(problem.code, what, fix)
