"""The one table of quantities: key, symbol, SI unit, plain words; units are parsed here, once, at the door.

`low` and `high` bound a believable magnitude (assumption: wide enough for any part from small-signal to 50 A).
A value outside them is a slip of unit or decimal mark and is asked about, never used.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

ZERO_CELSIUS = 273.15


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that can be read. `kind`: sweep column, spot reading, or both."""

    key: str
    symbol: str
    unit: str
    words: str
    low: float
    high: float
    kind: str  # "column", "spot" or "both"
    spellings: tuple[str, ...] = ()
    answers: tuple[tuple[str, ...], ...] = ()
    """Of something seen, not measured: each answer with its other spellings; the value is the number of the answer."""

    def answer(self, text: str) -> int | None:
        """Number of the answer that a text means, or None."""
        return next((i for i, words in enumerate(self.answers) if bare(text) in map(bare, words)), None)


_AGREES = ("agrees", "same", "ok", "as drawn", "as known", "fits")
_DIFFERS = ("differs", "other", "different", "not the same")


def _seen(key: str, symbol: str, words: str, *answers: tuple[str, ...]) -> Quantity:
    return Quantity(key, symbol, "1", words, 0.0, float(len(answers) - 1), "spot", (bare(symbol),), answers)


def bare(text: str) -> str:
    """Letters and digits of a name in lower case: `VCE(sat)` and `vce_sat` are one spelling."""
    return re.sub(r"[^a-z0-9]", "", text.lower())


_TABLE: tuple[Quantity, ...] = (
    Quantity("ic", "IC", "A", "collector current", 0.0, 100.0, "column", ("ic", "icollector", "collectorcurrent")),
    Quantity("ib", "IB", "A", "base current", 0.0, 30.0, "column", ("ib", "ibase", "basecurrent")),
    Quantity(
        "vce", "VCE", "V", "collector-emitter voltage", 0.0, 2000.0, "column", ("vce", "vc", "collectorvoltage", "uce")
    ),
    Quantity("vbe", "VBE", "V", "base-emitter voltage", 0.0, 5.0, "both", ("vbe", "ube", "basevoltage")),
    Quantity(
        "hfe",
        "hFE",
        "1",
        "DC current gain",
        0.01,
        100_000.0,
        "both",
        ("hfe", "gain", "beta", "b", "dcgain", "currentgain"),
    ),
    Quantity(
        "case_temp",
        "TC",
        "K",
        "case temperature",
        200.0,
        500.0,
        "column",
        ("casetemp", "tcase", "tc", "temp", "temperature", "t", "tempc"),
    ),
    Quantity(
        "ambient",
        "TA",
        "K",
        "ambient temperature",
        200.0,
        400.0,
        "column",
        ("ambient", "tambient", "ta", "roomtemperature"),
    ),
    Quantity(
        "time", "t", "s", "time since the start of the session", 0.0, 1e7, "column", ("time", "seconds", "elapsed")
    ),
    Quantity(
        "vce_sat",
        "VCE(sat)",
        "V",
        "collector-emitter saturation voltage",
        0.0,
        20.0,
        "both",
        ("vcesat", "vcesaturation"),
    ),
    Quantity("vbe_sat", "VBE(sat)", "V", "base-emitter saturation voltage", 0.0, 10.0, "spot", ("vbesat",)),
    Quantity("c_be", "C_BE", "F", "base-emitter capacitance", 1e-13, 1e-6, "spot", ("cbe", "cib", "ceb", "cibo")),
    Quantity("c_cb", "C_CB", "F", "collector-base capacitance", 1e-13, 1e-6, "spot", ("ccb", "cob", "cbc", "cobo")),
    Quantity("icbo", "ICBO", "A", "collector-base leakage, emitter open", 0.0, 1.0, "spot", ("icbo",)),
    Quantity("iceo", "ICEO", "A", "collector-emitter leakage, base open", 0.0, 10.0, "spot", ("iceo",)),
    Quantity("iebo", "IEBO", "A", "emitter-base leakage, collector open", 0.0, 1.0, "spot", ("iebo",)),
    Quantity("ices", "ICES", "A", "collector-emitter leakage, base shorted to emitter", 0.0, 10.0, "spot", ("ices",)),
    Quantity(
        "icer", "ICER", "A", "collector-emitter leakage, resistor from base to emitter", 0.0, 10.0, "spot", ("icer",)
    ),
    Quantity(
        "icex", "ICEX", "A", "collector-emitter leakage, base reverse biased", 0.0, 10.0, "spot", ("icex", "icev")
    ),
    Quantity(
        "v_br_ceo",
        "V(BR)CEO",
        "V",
        "collector-emitter breakdown, base open",
        1.0,
        3000.0,
        "spot",
        ("vbrceo", "bvceo", "vceo", "vceosus"),
    ),
    Quantity(
        "v_br_cer",
        "V(BR)CER",
        "V",
        "collector-emitter breakdown, resistor base to emitter",
        1.0,
        3000.0,
        "spot",
        ("vbrcer", "bvcer", "vcer"),
    ),
    Quantity(
        "v_br_ces",
        "V(BR)CES",
        "V",
        "collector-emitter breakdown, base shorted",
        1.0,
        3000.0,
        "spot",
        ("vbrces", "bvces", "vces"),
    ),
    Quantity(
        "v_br_cbo",
        "V(BR)CBO",
        "V",
        "collector-base breakdown, emitter open",
        1.0,
        3000.0,
        "spot",
        ("vbrcbo", "bvcbo", "vcbo"),
    ),
    Quantity(
        "v_br_ebo",
        "V(BR)EBO",
        "V",
        "emitter-base breakdown, collector open",
        1.0,
        200.0,
        "spot",
        ("vbrebo", "bvebo", "vebo"),
    ),
    Quantity("ft", "fT", "Hz", "transition frequency", 1e3, 1e12, "spot", ("ft",)),
    Quantity(
        "dwell",
        "dwell",
        "s",
        "power dwell survived (conditions: V, I, heat sink)",
        0.0,
        1e5,
        "spot",
        ("dwell", "powerdwell"),
    ),
    Quantity(
        "vbe_before",
        "VBE before",
        "V",
        "VBE at the measuring current before a heating pulse",
        0.0,
        5.0,
        "spot",
        ("vbebefore",),
    ),
    Quantity(
        "vbe_after",
        "VBE after",
        "V",
        "VBE at the measuring current after a heating pulse",
        0.0,
        5.0,
        "spot",
        ("vbeafter",),
    ),
    Quantity(
        "die_edge_x",
        "die edge x",
        "m",
        "longer die edge of an opened piece",
        1e-4,
        3e-2,
        "spot",
        ("dieedgex", "dielength"),
    ),
    Quantity(
        "die_edge_y",
        "die edge y",
        "m",
        "shorter die edge of an opened piece",
        1e-4,
        3e-2,
        "spot",
        ("dieedgey", "diewidth"),
    ),
    _seen("outline_seen", "outline seen", "outline against the drawing", _AGREES, _DIFFERS),
    _seen("print_seen", "print seen", "print against a known part or the maker's sheet", _AGREES, _DIFFERS),
    _seen("pins_seen", "pins seen", "form and plating of the pins against a known part", _AGREES, _DIFFERS),
    _seen("magnet_test", "magnet test", "pull of a magnet against a known part", _AGREES, _DIFFERS),
    _seen("wipe_test", "wipe test", "print wiped with a solvent", ("holds", "stays"), ("comes off", "off", "wipes off"),
          ("other print", "other print below")),
    _seen("die_seen", "die seen", "die of an opened piece against that of a known part", _AGREES, _DIFFERS,
          ("coated", "white coat")),
    Quantity("body_thickness", "body thickness", "m", "thickness of the body", 5e-4, 5e-2, "spot", ("bodythickness",)),
    Quantity("body_weight", "body weight", "kg", "weight of the part", 5e-5, 0.2, "spot", ("bodyweight", "weight")),
    Quantity("code_year", "code year", "1", "year of the date code", 1950.0, 2100.0, "spot", ("codeyear",)),
)  # fmt: skip

QUANTITIES: dict[str, Quantity] = {q.key: q for q in _TABLE}
_BY_SPELLING: dict[str, str] = {spelling: q.key for q in _TABLE for spelling in q.spellings}


def shortened(text: str) -> str:
    """What a person wrote, quoted, for a message: no message grows with a text that has no end."""
    return repr(text if len(text) <= 60 else f"{text[:57]}...")


def find_quantity(name: str) -> Quantity | None:
    """The quantity a printed or typed name means, or None."""
    key = _BY_SPELLING.get(bare(name))
    return QUANTITIES[key] if key else None


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    return registry


# Pint takes a unit for a formula and works it out ("9**9**9" without end). Only products and quotients of named units
# with powers of one figure come to it, and none longer than any unit is.
_LONGEST_UNIT = 40  # characters
_NAMED = r"[^\W\d_]+(?:_[^\W\d_]+)*(?:\s?(?:\^|\*\*)\s?-?[1-9])?"
_UNIT = re.compile(rf"(?:1\s?/\s?)?{_NAMED}(?:\s?[*/·]\s?{_NAMED}|\s{_NAMED})*|1|%|°C|°F|Ω")
_SAME = {"": "1", "1": "1", "ratio": "1", "%": "percent", "Ω": "ohm", "°c": "degC", "degc": "degC", "c": "degC",
         "°f": "degF", "k": "kelvin", "celsius": "degC", "sec": "s"}  # fmt: skip


@lru_cache(maxsize=4096)
def unit_factor(unit: str, si_unit: str) -> tuple[float, float]:
    """Factor and offset that turn a figure in `unit` into `si_unit`: si = factor * figure + offset.

    Raises
    ------
    ValueError
        The unit is not known, or does not fit (`mA` for a voltage).
    """
    text = unit.strip().replace("µ", "u").replace("μ", "u")
    text = _SAME.get(text.lower(), text)
    if len(text) > _LONGEST_UNIT or not _UNIT.fullmatch(text):
        raise ValueError(f"unit {shortened(unit)} cannot be read as {si_unit}")
    import pint

    registry = _registry()
    try:
        target = "dimensionless" if si_unit == "1" else si_unit
        source = "dimensionless" if text == "1" else text
        zero = registry.Quantity(0.0, source).to(target).magnitude
        one = registry.Quantity(1.0, source).to(target).magnitude
    except (
        pint.PintError,
        AssertionError,
        TypeError,
        LookupError,
        AttributeError,
        SyntaxError,
        ArithmeticError,
    ) as error:
        raise ValueError(f"unit {unit!r} cannot be read as {si_unit}") from error
    return float(one - zero), float(zero)
