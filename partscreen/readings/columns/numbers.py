"""Columns of text to numbers. The decimal mark is decided from evidence; a number with two readings is never guessed.

"0,435" cannot be grouped thousands, "1,234,567" cannot be a decimal; "1,234" alone can be both and stops its column.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from partscreen.readings.tables import Bools, Floats

POINT, COMMA, MIXED, UNKNOWN = ".", ",", "mixed", "?"
_SAMPLE = 2000  # cells looked at to see how finely a column is written
_MOST_UNITS = 100  # of the figures of one column (assumption: people mix two or three)
BLANKS = frozenset(("", "-", "--", "---", "–", "—", "n/a", "na", "n.a.", "null", "none", "n.m.", "not measured"))
_PLAIN = frozenset("0123456789.+-eE")
_WITH_COMMA = frozenset("0123456789,+-eE")
_CELL = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<body>\d[\d.,'’]*(?:\s\d{3})*(?:[.,]\d+)?|[.,]\d+)(?P<exp>[eE][+-]?\d+)?\s*(?P<unit>[^\d\s].*)?"
)
_MONTH = r"(?:jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)"
_DATE = re.compile(
    rf"\d{{4}}-\d\d-\d\d|\d{{1,2}}\.\s?(?:{_MONTH}|\d{{1,2}}\.)|\d{{1,2}}-{_MONTH}|\d{{1,2}}/\d{{1,2}}/\d{{2,4}}",
    re.IGNORECASE,
)
_NOT_NUMBERS = {"nan": "NOT_A_NUMBER", "inf": "INFINITE", "infinity": "INFINITE", "∞": "INFINITE"}
FORMULA_FIX = "open the workbook in a spreadsheet program and save it, which stores the values; or write the figure"
_OVERRANGE = frozenset(("ol", "o.l", "o.l.", "over", "overload", "overrange", "ovld"))


_LOOKALIKES = {0x2212: "-", 0x00A0: " ", 0x202F: " ", 0x2009: " "}


def plain_marks(text: str) -> str:
    """Typographic minus signs and fixed spaces as their plain forms."""
    return text if text.isascii() else text.translate(_LOOKALIKES)


class NumberText(str):
    """Text of a number that a workbook stored as a number: its point is no evidence of how people type."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class BadCell:
    """A cell that could not be used: its place in the column, a stable code, what is wrong and how to put it right."""

    index: int
    code: str
    what: str
    fix: str


@dataclass(slots=True)
class Numbers:
    """Figures as written (no unit applied), the unit text some cells carry, and the cells that could not be read."""

    values: Floats
    units: dict[str, Bools] = field(default_factory=dict)
    bad: list[BadCell] = field(default_factory=list)
    ambiguous: list[int] = field(default_factory=list)


@dataclass(slots=True)
class Evidence:
    """What the cells of a column say about its decimal mark."""

    certain: set[str] = field(default_factory=set)
    open_comma: bool = False
    open_point: bool = False


def _mark_of(body: str, has_exponent: bool) -> str | None:
    """The decimal mark this number proves; None when it could be grouped thousands or carries no mark."""
    commas, points = body.count(","), body.count(".")
    if commas and points:
        return "," if body.rfind(",") > body.rfind(".") else "."
    mark = "," if commas else "."
    if commas + points > 1:
        return "." if commas else ","
    head, _, tail = body.partition(mark)
    grouped = len(tail) == 3 and not has_exponent and 1 <= len(head) <= 3 and head[0] != "0"
    return None if grouped else mark


def evidence(cells: Iterable[str], typed: bool = False) -> Evidence:
    """What a column says of its decimal mark. `typed`: some cells may be stored numbers, which say nothing."""
    seen = Evidence()
    if typed:
        cells = [cell for cell in cells if not isinstance(cell, NumberText)]
    letters = set("".join(cells))
    both = "," in letters and "." in letters
    if not letters & {",", "."}:
        return seen
    for cell in cells:
        if "," not in cell and "." not in cell:
            continue
        match = _CELL.fullmatch(cell.strip())
        if match is None or not ("," in match["body"] or "." in match["body"]):
            continue
        mark = _mark_of(match["body"], match["exp"] is not None)
        if mark is not None:
            seen.certain.add(mark)
            if not both or len(seen.certain) == 2:
                break
        elif "," in match["body"]:
            seen.open_comma = True
        else:
            seen.open_point = True
    return seen


def decide_marks(columns: Sequence[Evidence], delimiter: str, told: str = "") -> list[str]:
    """The decimal mark of each column: POINT, COMMA, MIXED (cell by cell) or UNKNOWN (two readings).

    `told`: the mark a column map states, which wins. `delimiter`: a semicolon speaks for decimal commas.
    """
    whole: set[str] = set().union(*(column.certain for column in columns)) if columns else set()
    marks = []
    for column in columns:
        if told:
            marks.append(told)
        elif len(column.certain) == 2:
            marks.append(MIXED)
        elif column.certain:
            marks.append(next(iter(column.certain)))
        elif not (column.open_comma or column.open_point):
            marks.append(POINT)
        elif len(whole) == 1:
            marks.append(next(iter(whole)))
        elif column.open_comma:
            marks.append(COMMA if delimiter == ";" and not whole and not column.open_point else UNKNOWN)
        else:
            marks.append(UNKNOWN if delimiter == ";" and not whole else POINT)
    return marks


def read_numbers(cells: Sequence[str], mark: str) -> Numbers:
    """Turn a column of text into figures. Bad cells are NaN and are listed; blank cells are NaN."""
    letters = set("".join(cells))
    if " " in letters and not any(isinstance(cell, NumberText) for cell in cells):
        cells = [cell.strip() for cell in cells]
        letters = set("".join(cells))
    if letters <= (_WITH_COMMA if mark == COMMA else _PLAIN):
        try:
            if mark == COMMA:
                cells = [cell.replace(",", ".") for cell in cells]
            values = np.array([float(cell) if cell else np.nan for cell in cells], dtype=np.float64)
            if not np.isinf(values).any():
                return Numbers(values)
        except ValueError:
            pass
    return _read_slowly(cells, mark)


def written_resolution(cells: Sequence[str], values: Floats) -> Floats:
    """Half a unit of the last digit a column is written to, for each value (in the unit it is written in).

    Programs strip zeros from the end, so the finest cell speaks for the column: by decimals or by significant digits,
    whichever is coarser at that value. A column of one-digit figures holds set points; there only its decimals count.
    """
    decimals, digits = 0, 1
    plain = True
    for cell in cells[:_SAMPLE]:
        match = _CELL.fullmatch(cell.strip())
        if match is None:
            continue
        figures = match["body"].replace(",", ".")
        digits = max(digits, len(figures.replace(".", "").lstrip("0")))
        decimals = max(decimals, len(figures.partition(".")[2]))
        plain = plain and not match["exp"] and not match["unit"]
    with np.errstate(divide="ignore", invalid="ignore"):
        by_digits = 0.5 * 10.0 ** (np.floor(np.log10(np.abs(values))) - digits + 1)
    if digits == 1 and plain:
        by_digits = np.zeros_like(values)
    return np.maximum(by_digits, 0.5 * 10.0**-decimals if plain else 0.0)


def _read_slowly(cells: Sequence[str], mark: str) -> Numbers:
    out = Numbers(np.full(len(cells), np.nan))
    known: dict[str, tuple[float, str] | BadCell] = {}
    unit_places: dict[str, list[int]] = {}
    for index, cell in enumerate(cells):
        found = known.get(cell)
        if found is None:
            found = known[cell] = read_cell(cell, mark)
        if isinstance(found, BadCell):
            if found.code == "AMBIGUOUS_NUMBER":
                out.ambiguous.append(index)
            out.bad.append(BadCell(index, found.code, found.what, found.fix))
            continue
        if found[1] and found[1] not in unit_places and len(unit_places) == _MOST_UNITS:
            what = f"{_short(found[1])} after the figure is one of more than {_MOST_UNITS} units in the column"
            out.bad.append(BadCell(index, "UNKNOWN_UNIT", what, "write the figures of a column in one unit"))
            continue
        out.values[index] = found[0]
        if found[1]:
            unit_places.setdefault(found[1], []).append(index)
    for unit, places in unit_places.items():
        mask = np.zeros(len(cells), dtype=np.bool_)
        mask[places] = True
        out.units[unit] = mask
    return out


def read_cell(text: str, mark: str) -> tuple[float, str] | BadCell:
    """One cell: its figure and the unit text after it ("" when none), or what is wrong with it."""
    if isinstance(text, NumberText):
        return float(text), ""
    tidy = text.strip()
    lower = tidy.lower()
    if lower in BLANKS:
        return float("nan"), ""
    word = lower.lstrip("+-")
    if word in _NOT_NUMBERS:
        return BadCell(0, _NOT_NUMBERS[word], f"{tidy!r} is no reading", "leave the cell blank or read the part again")
    if word in _OVERRANGE:
        return BadCell(0, "OVERRANGE", f"{tidy!r}: the instrument was over its range", "read again on a higher range")
    if tidy[:1] == "=":
        what = f"{_short(tidy)} is a formula without a stored value"
        return BadCell(0, "FORMULA_NO_VALUE", what, FORMULA_FIX)
    if tidy[:1] in "<>≤≥~":
        return BadCell(
            0,
            "BOUND_NOT_VALUE",
            f"{tidy!r} is a bound, not a reading",
            "write the figure that was read, or leave the cell blank",
        )
    if _DATE.match(tidy):
        what = f"{_short(tidy)} is a date: a spreadsheet program may have turned a number into it"
        return BadCell(0, "DATE_NOT_NUMBER", what, "format the column as text or number and write the figure again")
    match = _CELL.fullmatch(tidy)
    if match is None:
        return BadCell(0, "NOT_A_NUMBER", f"{_short(tidy)} is not a number", "correct the cell or leave it blank")
    number = _body_value(match["body"], mark, match["exp"] is not None)
    if isinstance(number, BadCell):
        return number
    value = float(f"{match['sign']}{number}{match['exp'] or ''}")
    if not np.isfinite(value):
        return BadCell(
            0, "INFINITE", f"{_short(tidy)} is too large to be a reading", "correct the cell or leave it blank"
        )
    return value, (match["unit"] or "").strip()


def _body_value(body: str, mark: str, has_exponent: bool) -> str | BadCell:
    body = re.sub(r"[\s'’]", "", body)
    if "," not in body and "." not in body:
        return body
    own = _mark_of(body, has_exponent)
    if mark == UNKNOWN or (mark == MIXED and own is None):
        if own is None:
            head, tail = re.split(r"[.,]", body)
            return BadCell(
                0,
                "AMBIGUOUS_NUMBER",
                f"{body!r} can be read as {head}.{tail} or as {head}{tail}",
                'write decimal points and no thousands marks, or state decimal = "," (or ".") in a column map',
            )
        mark = own
    elif mark == MIXED and own is not None:
        mark = own
    group = "." if mark == "," else ","
    if group in body and not re.fullmatch(rf"\d{{1,3}}(?:\{group}\d{{3}})+(?:\{mark}\d*)?", body):
        return BadCell(
            0,
            "NOT_A_NUMBER",
            f"{body!r} does not fit the decimal mark {mark!r} of its column",
            "use one decimal mark throughout",
        )
    plain = body.replace(group, "").replace(mark, ".")
    if plain.count(".") > 1:
        return BadCell(0, "NOT_A_NUMBER", f"{body!r} is not a number", "correct the cell or leave it blank")
    return plain


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
