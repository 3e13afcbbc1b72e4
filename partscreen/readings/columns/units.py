"""Units as people write them, read strictly: a prefix whose case leaves two readings is asked about, never guessed.

The common bench units are read here without loading the unit library; anything else falls through to
`quantities.unit_factor`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from partscreen.quantities import ZERO_CELSIUS, unit_factor

_WORDS: dict[str, tuple[str, ...]] = {
    "A": ("amperes", "ampere", "amps", "amp", "a"),
    "V": ("volts", "volt", "v"),
    "F": ("farads", "farad", "fd", "f"),
    "Hz": ("hertz", "hz"),
    "s": ("seconds", "second", "secs", "sec", "s"),
    "ohm": ("ohms", "ohm", "Ω", "ω", "r"),
    "m": ("m",),
}
_WHOLE: dict[str, dict[str, tuple[float, float, str]]] = {
    "1": {
        **dict.fromkeys(("", "1", "-", "x", "ratio", "a/a", "ma/ma"), (1.0, 0.0, "1")),
        **dict.fromkeys(("%", "percent"), (0.01, 0.0, "%")),
    },
    "K": {
        **dict.fromkeys(("k", "kelvin", "degk"), (1.0, 0.0, "K")),
        **dict.fromkeys(("c", "°c", "ºc", "degc", "deg c", "deg. c", "celsius", "° c"), (1.0, ZERO_CELSIUS, "degC")),
        **dict.fromkeys(("f", "°f", "ºf", "degf", "deg f"), (5 / 9, ZERO_CELSIUS - 32 * 5 / 9, "degF")),
    },
    "s": {"min": (60.0, 0.0, "min"), "minutes": (60.0, 0.0, "min"), "h": (3600.0, 0.0, "h")},
    "m": {"in": (0.0254, 0.0, "inch"), "inch": (0.0254, 0.0, "inch"), "mil": (2.54e-5, 0.0, "mil")},
}
_PREFIX = {"G": 1e9, "M": 1e6, "k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15}
_PREFIX_WORDS = {"milli": "m", "micro": "u", "nano": "n", "pico": "p", "kilo": "k", "mega": "M", "mc": "u"}
# Written with the wrong case, these still leave one reading only: nobody measures in petafarads or kelvin-amperes.
_CASE_SLIPS = {"K": "k", "U": "u", "N": "n", "P": "p", "g": "G"}


@dataclass(frozen=True, slots=True)
class UnitReading:
    """si = factor * figure + offset; `name`: the unit properly written; `notice`: what was bent to read it."""

    factor: float
    offset: float
    name: str
    notice: str = ""


class DoubtfulUnit(ValueError):
    """The unit has two readings; `readings` names them."""

    def __init__(self, text: str, readings: tuple[str, str]) -> None:
        self.text = text
        self.readings = readings
        super().__init__(f"unit {text!r} can be read as {readings[0]} or as {readings[1]}")


@lru_cache(maxsize=4096)
def read_unit(text: str, si_unit: str) -> UnitReading:
    """The unit a person wrote, for a quantity whose SI unit is `si_unit`.

    Raises
    ------
    DoubtfulUnit
        The case of the prefix leaves two readings (`MA`, `mhz`, `mF`).
    ValueError
        No unit of this quantity.
    """
    tidy = text.strip().strip("[](){}").strip().replace("µ", "u").replace("μ", "u")
    whole = _WHOLE.get(si_unit, {}).get(tidy.lower())
    if whole is not None:
        return UnitReading(*whole)
    for word in _WORDS.get(si_unit, ()):
        if tidy.lower().endswith(word):
            reading = _with_prefix(text, tidy[: len(tidy) - len(word)].strip(), tidy, si_unit)
            if reading is not None:
                return reading
    factor, offset = unit_factor(tidy, si_unit)
    return UnitReading(factor, offset, tidy)


def _with_prefix(text: str, prefix: str, tidy: str, si_unit: str) -> UnitReading | None:
    prefix = _PREFIX_WORDS.get(prefix.lower(), prefix)
    if not prefix:
        return UnitReading(1.0, 0.0, si_unit)
    if prefix not in _PREFIX and prefix not in _CASE_SLIPS:
        return None
    if prefix in ("m", "M"):
        _refuse_doubtful_m(text, prefix, tidy, si_unit)
    meant = _CASE_SLIPS.get(prefix, prefix)
    name = meant + si_unit
    plain = name == tidy or len(tidy) > len(name) or (si_unit == "ohm" and meant == prefix)
    return UnitReading(_PREFIX[meant], 0.0, name, "" if plain else f"unit {text.strip()!r} read as {name}")


def _refuse_doubtful_m(text: str, prefix: str, tidy: str, si_unit: str) -> None:
    shouted = tidy.isupper() and len(tidy) > 2
    if si_unit == "F":
        raise DoubtfulUnit(text.strip(), ("millifarad (1e-3 F)", "microfarad (1e-6 F, an old habit)"))
    if prefix == "M" and (si_unit not in ("Hz", "ohm") or (si_unit == "ohm" and shouted)):
        raise DoubtfulUnit(text.strip(), (f"milli (m{si_unit})", f"mega (M{si_unit})"))
    if prefix == "m" and si_unit == "Hz":
        raise DoubtfulUnit(text.strip(), ("megahertz (MHz)", "millihertz (mHz)"))
