"""Rows of a reference file: ratings, characteristics, curves, safe area, marking facts, readings others published.

Figures are SI magnitudes (PNP too), temperatures in degC as printed; spellings of symbols are unified on reading
(`partscreen.reference.symbols`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from partscreen.reference import symbols
from partscreen.reference.symbols import Symbol

Judgement = Literal["sound", "substituted", "not stated"]
Bound = Literal["value", "min", "max"]

_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6}


class Frozen(BaseModel):
    """A row that cannot be changed; unknown keys are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


def as_tuple(value: object) -> object:
    """One source id alone is a tuple of one."""
    return (value,) if isinstance(value, str) else value


Figure = Annotated[float, Field(gt=0)]
"""A magnitude in the unit of its row."""

Sources = Annotated[tuple[str, ...], BeforeValidator(as_tuple), Field(min_length=1)]
"""One source id, or several that print the same figure."""


def _spelt(value: object, spellings: dict[str, str], kind: str) -> str:
    if not isinstance(value, str) or value not in spellings:
        known = ", ".join(dict.fromkeys(spellings.values()))
        raise ValueError(f"{kind} {value!r} is not known; known: {known}")
    return spellings[value]


def _in_unit(data: dict[str, Any], symbol: Symbol, figures: Iterable[str]) -> dict[str, Any]:
    """Figures of a row in the symbol's SI unit; a fitting other unit (nF, mA) is converted."""
    unit = data.get("unit")
    if unit is None or unit == symbol.unit:
        return {**data, "unit": symbol.unit} if unit is not None else data
    if symbol.unit in ("degC", "degC/W", "W/degC", "dB") or not isinstance(unit, str):
        raise ValueError(f"unit {unit!r} does not fit {symbol.name}; write {symbol.unit!r}")
    from partscreen.quantities import unit_factor

    try:
        factor, offset = unit_factor(unit, symbol.unit)
    except ValueError as error:
        raise ValueError(f"unit {unit!r} does not fit {symbol.name}; write {symbol.unit!r}") from error
    out = {**data, "unit": symbol.unit}
    for key in figures:
        if isinstance(out.get(key), int | float):
            out[key] = out[key] * factor + offset
    return out


def _known_conditions(value: object) -> object:
    if isinstance(value, dict):
        for key, figure in value.items():
            if key not in symbols.CONDITIONS:
                raise ValueError(f"condition {key!r} is not known; known: {', '.join(symbols.CONDITIONS)}")
            if isinstance(figure, int | float) and figure < 0:
                raise ValueError(f"condition {key} = {figure} is negative; figures are magnitudes, drop the sign")
    return value


Conditions = Annotated[dict[str, float], BeforeValidator(_known_conditions)]


class Rating(Frozen):
    """A limiting value."""

    symbol: str
    value: float
    unit: str
    source: Sources
    where: str = ""
    note: str = ""
    doubt: str = ""

    @model_validator(mode="before")
    @classmethod
    def _unify(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "symbol" not in data:
            return data
        symbol = symbols.RATINGS[_spelt(data["symbol"], symbols.RATING_SPELLINGS, "rating")]
        return _in_unit({**data, "symbol": symbol.name}, symbol, ("value",))

    @model_validator(mode="after")
    def _magnitude(self) -> Rating:
        if self.value <= 0 and not symbols.RATINGS[self.symbol].signed:
            raise ValueError(f"value = {self.value:g} is not above zero; figures are magnitudes, drop the sign")
        return self


class Characteristic(Frozen):
    """A row of the characteristics table. `rank`: the gain group it belongs to. Conditions are SI magnitudes."""

    symbol: str
    min: Figure | None = None
    typ: Figure | None = None
    max: Figure | None = None
    unit: str
    conditions: Conditions = Field(default_factory=dict)
    case_temperature_c: float | None = None
    junction_temperature_c: float | None = None
    ambient_temperature_c: float | None = None
    rank: str | None = None
    source: Sources
    where: str = ""
    note: str = ""
    doubt: str = ""

    @model_validator(mode="before")
    @classmethod
    def _unify(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "symbol" not in data:
            return data
        symbol = symbols.CHARACTERISTICS[_spelt(data["symbol"], symbols.CHARACTERISTIC_SPELLINGS, "characteristic")]
        return _in_unit({**data, "symbol": symbol.name}, symbol, ("min", "typ", "max"))

    @model_validator(mode="after")
    def _figures(self) -> Characteristic:
        if self.min is None and self.typ is None and self.max is None:
            raise ValueError("no figure; give min, typ or max")
        if self.min is not None and self.max is not None and self.min > self.max:
            raise ValueError(f"min = {self.min:g} is above max = {self.max:g}; look whether they are exchanged")
        return self

    @property
    def temperature(self) -> tuple[float | None, str]:
        """Temperature [degC] and what it is of: case, junction, ambient, or not stated."""
        for of in ("case", "junction", "ambient"):
            value = getattr(self, f"{of}_temperature_c")
            if value is not None:
                return float(value), of
        return None, "not stated"

    @cached_property
    def limit_refused(self) -> str:
        """Why the row's figures are no limits; empty where they are."""
        if self.min is None and self.max is None:
            return "typical value only"
        missing = [c for c in symbols.CHARACTERISTICS[self.symbol].needs if c not in self.conditions]
        if self.symbol == "V(BR)EBO" and "IC" in self.conditions and self.conditions["IC"] > 0:
            missing = []
        return f"the sheet's condition is not known: {' and '.join(missing)}" if missing else ""


class Curve(Frozen):
    """A digitised curve: `quantity` against `x`. `reading_error` is relative."""

    quantity: str
    x: str
    unit: str
    conditions: Conditions = Field(default_factory=dict)
    temperature_c: float | None = None
    points: tuple[tuple[float, float], ...] = Field(min_length=2)
    reading_error: float | None = Field(default=None, ge=0, lt=1)
    source: Sources
    where: str = ""
    note: str = ""
    doubt: str = ""

    @model_validator(mode="before")
    @classmethod
    def _unify(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "quantity" not in data:
            return data
        name = _spelt(data["quantity"], symbols.CURVE_SPELLINGS, "curve of")
        symbol, x = symbols.CURVES[name], data.get("x")
        if x == "VR":  # the reverse voltage of the junction named
            x = {"C_CB": "VCB", "C_BE": "VEB"}.get(name, x)
        if x is not None and x not in symbols.CURVE_AXES:
            raise ValueError(f"x = {x!r} is not known; known: {', '.join(symbols.CURVE_AXES)}")
        if data.get("unit") not in (None, symbol.unit):
            raise ValueError(f"unit {data['unit']!r} does not fit {name}; write {symbol.unit!r} and the points in it")
        points = data.get("points")
        if isinstance(points, list) and any(
            isinstance(v, int | float) and v < 0 for p in points if isinstance(p, list) for v in p
        ):
            raise ValueError("points hold a negative figure; figures are magnitudes, drop the sign")
        return {**data, "quantity": name, "x": x}


def pulse_seconds(kind: object) -> float | None:
    """Pulse length of a safe-area line [s]; None for the DC line. "dc", "10ms", "500 us" or seconds.

    Raises
    ------
    ValueError
        Neither dc nor a time.
    """
    if isinstance(kind, int | float) and not isinstance(kind, bool) and kind > 0:
        return float(kind)
    text = str(kind).strip().lower()
    if text == "dc":
        return None
    found = re.fullmatch(r"([0-9.]+)\s*(s|ms|us|µs)", text)
    if not found:
        raise ValueError(f'kind = {kind!r} is neither "dc" nor a pulse length; write "dc", 0.01 (seconds) or "10ms"')
    return float(f"{float(found[1]) * _SECONDS[found[2]]:.12g}")


class SafeArea(Frozen):
    """One line of the safe operating area: corners (VCE [V], IC [A]). `kind`: "dc" or the pulse length [s]."""

    kind: Literal["dc"] | float
    points: tuple[tuple[float, float], ...] = Field(min_length=1)
    reading_error: float | None = Field(default=None, ge=0, lt=1)
    source: Sources
    where: str = ""
    note: str = ""
    doubt: str = ""

    @model_validator(mode="before")
    @classmethod
    def _seconds(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "kind" not in data:
            return data
        seconds = pulse_seconds(data["kind"])
        return {**data, "kind": "dc" if seconds is None else seconds}

    @property
    def pulse(self) -> float | None:
        """Pulse length [s]; None for the DC line."""
        return None if isinstance(self.kind, str) else self.kind


class MarkingFact(Frozen):
    """What stands on the part or its package, or another fact of the type."""

    fact: str = Field(min_length=3)
    source: Sources


class FieldReading(Frozen):
    """A reading of a part published by someone else: a reference for one maker and process, never a limit.

    `author_judgement`: what the publishing author thought of the part. `bound`: "min" where the text says "more than".
    """

    quantity: str
    value: float = Field(gt=0)
    unit: str
    bound: Bound = "value"
    approximate: bool = False
    maker: str = ""
    process: str = ""
    author_judgement: Judgement
    conditions: Conditions = Field(default_factory=dict)
    circumstances: str = ""
    source: Sources

    @model_validator(mode="before")
    @classmethod
    def _unify(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "quantity" not in data:
            return data
        symbol = symbols.CHARACTERISTICS[_spelt(data["quantity"], symbols.CHARACTERISTIC_SPELLINGS, "reading of")]
        return _in_unit({**data, "quantity": symbol.name}, symbol, ("value",))
