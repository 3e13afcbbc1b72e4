"""Conditions and single readings as people write them: `VCB=10 V, f=1 MHz, base=open`; `C_CB=118 pF @ VCB=10 V`."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from partscreen.errors import NearNames, Problem, UnusableInput
from partscreen.quantities import QUANTITIES, Quantity, bare, find_quantity
from partscreen.readings.columns.numbers import MIXED, BadCell, read_cell
from partscreen.readings.columns.recognise import close_names, example_unit
from partscreen.readings.columns.units import DoubtfulUnit, read_unit

# Key as in reference files, SI unit ("" = a word), spellings.
_KEYS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("VCE", "V", ("vce", "uce")),
    ("VCB", "V", ("vcb", "ucb")),
    ("VEB", "V", ("veb", "ueb")),
    ("VBE", "V", ("vbe", "ube")),
    ("VCC", "V", ("vcc",)),
    ("VBE_off", "V", ("vbeoff", "vebx")),
    ("V", "V", ("v", "bias")),
    ("IC", "A", ("ic",)),
    ("IB", "A", ("ib",)),
    ("IE", "A", ("ie",)),
    ("I", "A", ("i",)),
    ("limit", "A", ("limit", "ilimit", "currentlimit")),
    ("IC_over_IB", "1", ("icoverib", "icib", "forcedgain")),
    ("f", "Hz", ("f", "freq", "frequency")),
    ("RBE", "ohm", ("rbe",)),
    ("RL", "ohm", ("rl",)),
    ("RS", "ohm", ("rs",)),
    ("t", "s", ("t", "time", "seconds", "dwell", "pulse")),
    ("TC", "K", ("tc", "tcase", "casetemp", "case")),
    ("TA", "K", ("ta", "tambient", "ambient")),
    ("TJ", "K", ("tj",)),
    ("base", "", ("base", "b")),
    ("emitter", "", ("emitter", "e")),
    ("collector", "", ("collector", "c")),
    ("fixture", "F", ("fixture", "cfixture")),
    ("piece", "", ("piece",)),
    ("heat_sink", "", ("heatsink", "sink")),
    ("survived", "", ("survived",)),
    ("after", "", ("after",)),
    ("drawn", "m", ("drawn",)),
    ("tolerance", "m", ("tolerance",)),
    ("known", "kg", ("known",)),
    ("ended", "1", ("ended",)),
)
_BY_SPELLING = {spelling: (key, unit) for key, unit, spellings in _KEYS for spelling in spellings}
_SPLIT = re.compile(r"\s*[;,]\s*(?=[A-Za-z_][\w()/. ]*?\s*=)|\s*;\s*|\s+(?=[A-Za-z_][\w()/]*\s*=\s*\S)")


# Names of two words, before spaces are taken as separators.
_TWO_WORDS = re.compile(r"\b(heat|current|case)\s+(sink|limit|temp)\b", re.IGNORECASE)


LONGEST_TEXT = 1000  # characters; the longest of our own is 120 (assumption)


def too_long(text: str, what: str) -> Problem:
    """The problem of a text that no hand has typed."""
    fix = "write the figure with its unit and the conditions it was read at, nothing else"
    return Problem("TEXT_TOO_LONG", f"{what}, {text[:40]!r}..., are {len(text):,} characters long", fix)


@dataclass(frozen=True, slots=True)
class ParsedReading:
    """One reading: quantity key, SI magnitude, conditions with SI values or words, and what was bent to read it."""

    quantity: str
    value: float
    conditions: dict[str, float | str] = field(default_factory=dict)
    notices: tuple[str, ...] = ()


def parse_conditions(
    text: str, near: NearNames | None = None
) -> tuple[dict[str, float | str], list[Problem], list[str]]:
    """Conditions, what is wrong with them, and notices. Voltages and currents come back as magnitudes.

    `near`: of a file of many conditions.
    """
    near = near or NearNames()
    found: dict[str, float | str] = {}
    problems: list[Problem] = []
    notices: list[str] = []
    if len(text) > LONGEST_TEXT:
        return {}, [too_long(text, "the conditions")], []
    text = _TWO_WORDS.sub(r"\1_\2", " ".join(text.split()))
    for piece in filter(None, (piece.strip() for piece in _SPLIT.split(text))):
        name, equals, figure = (bit.strip() for bit in piece.partition("="))
        if not equals:
            found["note"] = f"{found['note']}; {piece}" if "note" in found else piece
            continue
        known = _BY_SPELLING.get(bare(name))
        if known is None:
            hint = (
                ", ".join(close_names(name, [key for key, _, _ in _KEYS], near))
                or "VCE, VCB, VEB, IC, IB, f, RBE, base"
            )
            problems.append(
                Problem("UNKNOWN_CONDITION", f"condition {name!r} is not known", f"known names near it: {hint}")
            )
            continue
        key, unit = known
        if key in found:
            problems.append(Problem("CONDITION_TWICE", f"condition {key} is given twice", "state it once"))
        elif not unit:
            found[key] = figure.lower()
        else:
            value = _figure(figure, unit, key, problems, notices)
            if value is not None:
                found[key] = value if unit == "K" else abs(value)
    return found, problems, notices


_SMALL_BIAS = 1.0  # V; no base-emitter junction stands more in forward direction while its capacitance is read (memory)


def own_bias(quantity: str, conditions: dict[str, float | str]) -> dict[str, float | str]:
    """The conditions with the reverse bias of a base-emitter capacitance under its own name, VEB.

    People write `VBE=0 V` or `VBE=-5 V`. A VBE above 0 V and up to 1 V may be a forward bias and stays what it is.
    """
    bias = conditions.get("VBE")
    if quantity != "c_be" or "VEB" in conditions or not isinstance(bias, float) or 0.0 < bias <= _SMALL_BIAS:
        return conditions
    return {("VEB" if key == "VBE" else key): value for key, value in conditions.items()}


def _figure(text: str, si_unit: str, key: str, problems: list[Problem], notices: list[str]) -> float | None:
    read = read_cell(text, MIXED)
    if isinstance(read, BadCell) or math.isnan(read[0]):
        code, what, fix = (
            (read.code, read.what, read.fix) if isinstance(read, BadCell) else ("NO_VALUE", "no figure", "write one")
        )
        problems.append(Problem(code, f"{key}: {what}", fix))
        return None
    figure, unit = read
    if not unit and si_unit in ("Hz", "F", "K", "m", "kg"):
        problems.append(
            Problem(
                "NO_UNIT", f"{key}={text} has no unit", f"write it, for example {key}={text} {example_unit_of(si_unit)}"
            )
        )
        return None
    try:
        reading = read_unit(unit, si_unit) if unit else None
    except DoubtfulUnit as doubt:
        problems.append(Problem("AMBIGUOUS_UNIT", f"{key}: {doubt}", "write the unit with its proper case"))
        return None
    except ValueError:
        problems.append(
            Problem(
                "UNKNOWN_UNIT", f"{key}: {unit!r} is no unit of it", f"write a unit such as {example_unit_of(si_unit)}"
            )
        )
        return None
    if reading is None:
        return figure
    if reading.notice:
        notices.append(f"{key}: {reading.notice}")
    return reading.factor * figure + reading.offset


def example_unit_of(si_unit: str) -> str:
    """A usual unit for messages."""
    return {"Hz": "MHz", "F": "pF", "K": "degC", "ohm": "ohm", "m": "mm", "kg": "g"}.get(si_unit, si_unit)


def spot_value(quantity: Quantity, text: str, unit: str, mark: str = MIXED) -> tuple[float, list[Problem], list[str]]:
    """SI magnitude of a spot reading from its cells (the unit may stand in either); NaN when unusable."""
    if quantity.answers:
        return _answer(quantity, text)
    read = read_cell(text, mark)
    if isinstance(read, BadCell):
        return math.nan, [Problem(read.code, f"{quantity.symbol}: {read.what}", read.fix)], []
    figure, own_unit = read
    written = own_unit or unit.strip()
    if math.isnan(figure):
        return (
            math.nan,
            [Problem("NO_VALUE", f"{quantity.symbol}: no value", "write the figure that was read, or delete the row")],
            [],
        )
    if not written and quantity.unit not in ("1", "A", "V"):
        fix = f"write the unit ({example_unit(quantity)})"
        return math.nan, [Problem("NO_UNIT", f"{quantity.symbol} of {text.strip()} has no unit", fix)], []
    try:
        reading = read_unit(written or quantity.unit, quantity.unit)
    except DoubtfulUnit as doubt:
        return (
            math.nan,
            [Problem("AMBIGUOUS_UNIT", f"{quantity.symbol}: {doubt}", "write the unit with its proper case")],
            [],
        )
    except ValueError:
        what = f"{written!r} is no unit of {quantity.words}"
        return math.nan, [Problem("UNKNOWN_UNIT", what, f"write a unit such as {example_unit(quantity)}")], []
    value = reading.factor * figure + reading.offset
    if quantity.key in ("hfe", "c_be", "c_cb", "ft") and value < 0:
        what = f"{quantity.symbol} is {value:g}: it cannot be negative"
        return math.nan, [Problem("NEGATIVE_VALUE", what, "correct the sign or read the part again")], []
    size = abs(value)
    if not quantity.low <= size <= quantity.high:
        believable = f"believable: {quantity.low:g} to {quantity.high:g}"
        what = f"{quantity.symbol} of {size:g} {quantity.unit} is impossible ({believable})"
        return math.nan, [Problem("IMPOSSIBLE_SIZE", what, "check the unit and the decimal mark")], []
    notices = [f"{quantity.symbol}: {reading.notice}"] if reading.notice else []
    if not written and quantity.unit in ("A", "V"):
        notices.append(f"{quantity.symbol} without unit read as {quantity.unit}")
    return size, [], notices


def _answer(quantity: Quantity, text: str) -> tuple[float, list[Problem], list[str]]:
    """Number of the answer of something seen, not measured."""
    number = quantity.answer(text)
    if number is not None:
        return float(number), [], []
    known = ", ".join(words[0] for words in quantity.answers)
    what = f"{quantity.symbol}: {text.strip()!r} is no answer" if text.strip() else f"{quantity.symbol}: no answer"
    return math.nan, [Problem("UNKNOWN_ANSWER", what, f"write one of: {known}; or leave the row out")], []


def parse_reading(text: str) -> ParsedReading:
    """One reading typed on one line, for example `C_CB=118 pF @ VCB=10 V, f=1 MHz`.

    Raises
    ------
    UnusableInput
        Every problem of the text at once.
    """
    if len(text) > LONGEST_TEXT:
        raise UnusableInput([too_long(text, "the reading")])
    body, _, condition_text = text.partition("@")
    name, equals, value_text = (bit.strip() for bit in body.partition("="))
    quantity = find_quantity(name) if equals else None
    if quantity is not None and quantity.kind == "column":
        quantity = None
    if quantity is None:
        known = [q.symbol for q in QUANTITIES.values() if q.kind != "column"]
        hint = ", ".join(close_names(name, known)) or "hFE, VBE, C_BE, C_CB, VCE(sat), ICBO, V(BR)CEO"
        what = f"{text!r} is no reading" if not equals else f"quantity {name!r} is not known"
        raise UnusableInput(
            [
                Problem(
                    "UNKNOWN_QUANTITY",
                    what,
                    f'write it as "C_CB=118 pF @ VCB=10 V, f=1 MHz"; quantities near it: {hint}',
                )
            ]
        )
    value, problems, notices = spot_value(quantity, value_text, "")
    conditions, more, more_notices = parse_conditions(condition_text)
    problems += more
    if problems:
        raise UnusableInput(problems)
    return ParsedReading(quantity.key, value, own_bias(quantity.key, conditions), tuple(notices + more_notices))
