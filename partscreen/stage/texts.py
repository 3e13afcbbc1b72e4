"""Figures of a stage file: a number and its unit in one text ("0.22 ohm"), turned into SI once, here."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Annotated

from pydantic import BeforeValidator

from partscreen.readings.columns.numbers import MIXED, BadCell, read_cell
from partscreen.readings.columns.units import read_unit

_THERMAL = re.compile(r"^(deg\s*C|°\s*C|C|K|kelvin)\s*/\s*(W|watts?)$", re.IGNORECASE)
_FUSE = re.compile(r"^(FF|F|M|TT|T)\s*(?=\d)", re.IGNORECASE)
_EXAMPLE = {
    "V": "46 V", "A": "150 mA", "ohm": "0.22 ohm", "W": "5 W", "K": "40 degC", "K/W": "0.7 degC/W", "rad": "45 deg",
    "Hz": "20 Hz", "1": "5 %",
}  # fmt: skip


def read_figure(text: object, unit: str) -> float:
    """A figure with its unit as SI.

    Raises
    ------
    ValueError
        No text with a figure and a unit that fits; the message says how to write it.
    """
    example = f'write it with its unit, as "{_EXAMPLE[unit]}"'
    if not isinstance(text, str):
        raise ValueError(f"{text!r} has no unit; {example}")
    found = read_cell(text, "." if "." in text and "," not in text else MIXED)
    if isinstance(found, BadCell):
        raise ValueError(f"{found.what}; {found.fix}")
    value, written = found
    if math.isnan(value):
        raise ValueError(f"{text!r} is no figure; {example}, or leave the line out where it is not known")
    if not written:
        raise ValueError(f"{text!r} has no unit; {example}")
    if unit == "K/W":
        if not _THERMAL.match(written):
            raise ValueError(f"unit {written!r} is no thermal resistance; {example}")
        return value
    try:
        factor, offset = _angle(written) if unit == "rad" else _unit(written, unit)
    except ValueError as error:
        raise ValueError(f"{error}; {example}") from None
    return value * factor + offset


def _unit(written: str, unit: str) -> tuple[float, float]:
    found = read_unit(written, unit)
    return found.factor, found.offset


def _angle(written: str) -> tuple[float, float]:
    known = {"deg": math.pi / 180, "degrees": math.pi / 180, "°": math.pi / 180, "rad": 1.0}
    if written.lower() not in known:
        raise ValueError(f"unit {written!r} is no angle")
    return known[written.lower()], 0.0


def _positive(unit: str, what: str) -> Callable[[object], float]:
    def read(text: object) -> float:
        value = read_figure(text, unit)
        if not value > 0.0:
            raise ValueError(f"{text!r}: {what} is above zero; drop the sign or put the figure right")
        return value

    return read


def _not_negative(unit: str, what: str) -> Callable[[object], float]:
    def read(text: object) -> float:
        value = read_figure(text, unit)
        if value < 0.0:
            raise ValueError(f"{text!r}: {what} is not below zero; drop the sign or put the figure right")
        return value

    return read


def _kelvin(text: object) -> float:
    value = read_figure(text, "K")
    if not 200.0 < value < 400.0:
        raise ValueError(f'{text!r} is no ambient temperature; write it as "40 degC"')
    return value


def _phase(text: object) -> float:
    value = abs(read_figure(text, "rad"))
    if value >= math.pi / 2:
        raise ValueError(f"{text!r}: a load has a phase angle below 90 deg; at 90 deg it takes no power")
    return value


def _crest(text: object) -> float:
    """Crest factor as a ratio of peak to rms; "12 dB" or "4"."""
    if isinstance(text, str) and text.strip().lower().endswith("db"):
        found = read_cell(text.strip()[:-2], MIXED)
        # Far beyond any crest factor, and a figure of any length can still be worked out.
        value = math.nan if isinstance(found, BadCell) else 10.0 ** (min(found[0], 100.0) / 20.0)
    elif isinstance(text, int | float) and not isinstance(text, bool):
        value = float(min(text, 1000))
    else:
        value = math.nan
    if not 1.0 <= value <= 100.0:
        raise ValueError(f'{text!r} is no crest factor (peak over rms, 1 or more); write "12 dB", or 4 as a ratio')
    return value


def read_fuse(text: object) -> tuple[float, str | None]:
    """Rating [A] and time class (FF, F, M, T, TT as in IEC 60127; None where not written) of "T 5 A", "T5A", "5 A"."""
    if not isinstance(text, str):
        raise ValueError(f'{text!r} is no fuse; write its print, as "T 5 A"')
    tidy = text.strip()
    head = _FUSE.match(tidy)
    value = read_figure(tidy[head.end() :] if head else tidy, "A")
    if not value > 0.0:
        raise ValueError(f"{text!r}: a fuse rating is above zero")
    return value, head[1].upper() if head else None


Volts = Annotated[float, BeforeValidator(_positive("V", "a voltage here"))]
NoVolts = Annotated[float, BeforeValidator(_not_negative("V", "a reading here"))]
Amperes = Annotated[float, BeforeValidator(_positive("A", "a current here"))]
Ohms = Annotated[float, BeforeValidator(_positive("ohm", "a resistance"))]
Watts = Annotated[float, BeforeValidator(_positive("W", "a power"))]
Hertz = Annotated[float, BeforeValidator(_positive("Hz", "a frequency"))]
Share = Annotated[float, BeforeValidator(_positive("1", "a tolerance"))]
Kelvin = Annotated[float, BeforeValidator(_kelvin)]
KelvinPerWatt = Annotated[float, BeforeValidator(_not_negative("K/W", "a thermal resistance"))]
Radians = Annotated[float, BeforeValidator(_phase)]
Crest = Annotated[float, BeforeValidator(_crest)]
