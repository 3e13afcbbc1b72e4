"""Reference types: what one type number should be, as printed, with the source of every figure.

The models are the file format of `reference_curves/*.toml` and of a `--reference` file. Figures are SI magnitudes (PNP too),
temperatures in degC as printed; spellings of symbols are unified on reading (`partscreen.reference.symbols`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from partscreen.reference import symbols
from partscreen.reference.symbols import Symbol

Basis = Literal["stored copy", "memory"]
Judgement = Literal["sound", "substituted", "not stated"]
Bound = Literal["value", "min", "max"]

_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6}


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


def _as_tuple(value: object) -> object:
    return (value,) if isinstance(value, str) else value


Sources = Annotated[tuple[str, ...], BeforeValidator(_as_tuple), Field(min_length=1)]
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
        raise ValueError(f"unit {unit!r} does not fit {symbol.name}: write {symbol.unit!r}")
    from partscreen.quantities import unit_factor

    try:
        factor, offset = unit_factor(unit, symbol.unit)
    except ValueError as error:
        raise ValueError(f"unit {unit!r} does not fit {symbol.name}: write {symbol.unit!r}") from error
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


class Device(_Frozen):
    """The type number and what it is."""

    type_number: str = Field(min_length=2)
    polarity: Literal["NPN", "PNP"]
    construction: Literal["single", "darlington"] = "single"
    complement: str = ""
    package: str = ""
    maker: str = ""
    role: str = ""
    printed: dict[str, str] = Field(default_factory=dict)
    """Other printed forms of the same type, each with the reason it is one (order code, later package)."""


class Source(_Frozen):
    """Where figures come from. Basis "memory": recalled, not read in a copy."""

    id: str = Field(min_length=1)
    title: str = Field(min_length=3)
    publisher: str = ""
    revision: str = ""
    address: str = ""
    basis: Basis

    @property
    def text(self) -> str:
        """One line naming the source."""
        bits = [self.publisher, self.title, self.revision]
        return ", ".join(b for b in bits if b) + (" (memory)" if self.basis == "memory" else "")


class Edition(_Frozen):
    """One maker's data sheet of the type at one revision or process. `from`, `to`: dates of this sheet and of the next one, as printed."""

    model_config = ConfigDict(populate_by_name=True)

    id: str = Field(min_length=1)
    maker: str = ""
    revision: str = ""
    from_: str = Field(default="", alias="from")
    to: str = ""
    sources: Sources
    note: str = ""


class Rating(_Frozen):
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
        value = data.get("value")
        if isinstance(value, int | float) and value <= 0 and not symbol.signed:
            raise ValueError(f"value = {value} is not above zero; figures are magnitudes, drop the sign")
        return _in_unit({**data, "symbol": symbol.name}, symbol, ("value",))


class Characteristic(_Frozen):
    """A row of the characteristics table. `rank`: the gain group it belongs to. Conditions are SI magnitudes."""

    symbol: str
    min: float | None = None
    typ: float | None = None
    max: float | None = None
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
        sides = {side: data[side] for side in ("min", "typ", "max") if data.get(side) is not None}
        if not sides:
            raise ValueError("no figure: give min, typ or max")
        for side, figure in sides.items():
            if isinstance(figure, int | float) and figure <= 0:
                raise ValueError(f"{side} = {figure} is not above zero; figures are magnitudes, drop the sign")
        out = _in_unit({**data, "symbol": symbol.name}, symbol, ("min", "typ", "max"))
        low, high = out.get("min"), out.get("max")
        if isinstance(low, int | float) and isinstance(high, int | float) and low > high:
            raise ValueError(f"min = {low} is above max = {high}")
        return out

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


class Curve(_Frozen):
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
            raise ValueError(f"unit {data['unit']!r} does not fit {name}: write {symbol.unit!r} and the points in it")
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


class SafeArea(_Frozen):
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


class MarkingFact(_Frozen):
    """What stands on the part or its package, or another fact of the type."""

    fact: str = Field(min_length=3)
    source: Sources


class FieldReading(_Frozen):
    """A reading of a part published by someone else: a reference for one maker and process, never a limit.

    `author_judgement` is what the publishing author thought of the part. `bound`: "min" where the text says "more than".
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


class Note(_Frozen):
    """A remark on the type. `computed`: found by a cross-check of the figures, not written in the file."""

    text: str = Field(min_length=3)
    source: Annotated[tuple[str, ...], BeforeValidator(_as_tuple)] = ()
    computed: bool = False


class ReferenceType(_Frozen):
    """Everything known of one type number."""

    device: Device
    sources: tuple[Source, ...] = Field(min_length=1)
    editions: tuple[Edition, ...] = ()
    ratings: tuple[Rating, ...] = ()
    characteristics: tuple[Characteristic, ...] = ()
    curves: tuple[Curve, ...] = ()
    soa: tuple[SafeArea, ...] = ()
    marking: tuple[MarkingFact, ...] = ()
    readings: tuple[FieldReading, ...] = ()
    notes: tuple[Note, ...] = ()

    @property
    def name(self) -> str:
        """The type number."""
        return self.device.type_number

    @property
    def polarity(self) -> str:
        """NPN or PNP."""
        return self.device.polarity

    @property
    def is_darlington(self) -> bool:
        """Darlingtons get limits and lot statistics only."""
        return self.device.construction == "darlington"

    @cached_property
    def source_by_id(self) -> dict[str, Source]:
        """Sources by their id."""
        return {s.id: s for s in self.sources}

    @cached_property
    def gain_groups(self) -> tuple[str, ...]:
        """Gain groups the sheets name."""
        return tuple(dict.fromkeys(c.rank for c in self.characteristics if c.rank))

    @cached_property
    def sheet_editions(self) -> tuple[Edition, ...]:
        """Editions; a file without any is one edition, "sheet", of all its sources."""
        whole = Edition(id="sheet", maker=self.device.maker, sources=tuple(s.id for s in self.sources))
        return self.editions or (whole,)

    def editions_of(self, source: Iterable[str]) -> tuple[str, ...]:
        """Ids of the editions that any of these sources belongs to."""
        wanted = set(source)
        return tuple(e.id for e in self.sheet_editions if wanted & set(e.sources))

    def basis(self, source: Iterable[str]) -> Basis:
        """ "memory" where every one of these sources is recalled, else "stored copy"."""
        return "memory" if all(self.source_by_id[s].basis == "memory" for s in source) else "stored copy"

    def source_text(self, source: Iterable[str]) -> str:
        """These sources in words."""
        return "; ".join(self.source_by_id[s].text for s in source)

    def ratings_of(self, symbol: str, edition: str | None = None) -> tuple[Rating, ...]:
        """Ratings of a symbol, of one edition or of all."""
        return tuple(
            r for r in self.ratings if r.symbol == symbol and (edition is None or edition in self.editions_of(r.source))
        )

    def rating(self, symbol: str, edition: str | None = None) -> float | None:
        """The rating in its unit (SI, degC); where editions differ the largest; None where none prints it."""
        return max((r.value for r in self.ratings_of(symbol, edition)), default=None)
