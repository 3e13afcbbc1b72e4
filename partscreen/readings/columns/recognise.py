"""Which column is what: header text to role, quantity and unit, where it leaves one reading only."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from partscreen.errors import NearNames
from partscreen.quantities import QUANTITIES, Quantity, bare, find_quantity
from partscreen.readings.columns.units import DoubtfulUnit, UnitReading, read_unit

TEXT_ROLES: dict[str, tuple[str, ...]] = {
    "lot": ("lot", "lotid", "lotno", "lotnumber", "bag", "batch"),
    "part": ("part", "partid", "partno", "partnumber", "piece", "pieceno", "specimen", "sample", "device", "deviceid",
             "dut", "sticker", "serial", "serialno", "no", "nr", "id", "transistor"),
    "sweep": ("sweep", "sweeptype", "sweepkind", "curve", "curvetype"),
    "session": ("session", "sitting"),
    "run": ("run", "runno", "repeat", "repetition", "pass"),
    "pulse": ("pulse", "pulsed", "pulsewidth", "pulsetime", "pulselength"),
    "control": ("control", "controlpiece", "ctrl"),
    "quantity": ("quantity", "reading", "measurement", "what"),
    "value": ("value", "figure", "result"),
    "unit": ("unit", "units"),
    "date_code": ("datecode", "codeonpart", "codeonparts"),
    "conditions": ("conditions", "condition", "cond", "at"),
}  # fmt: skip
COLUMN_KEYS = (*(key for key, q in QUANTITIES.items() if q.kind == "column"), "vbe", "hfe", "vce_sat")
ROLES = (*TEXT_ROLES, *COLUMN_KEYS)
_ROLE_BY_SPELLING = {spelling: role for role, spellings in TEXT_ROLES.items() for spelling in spellings}
TYPE_HEADERS = frozenset(("type", "typenumber", "typeno", "marking"))  # held against the lot's type, see `markings`
# One letter alone is two things to two people ("t": time or temperature; "b": gain or base): it needs its unit.
_TOO_SHORT = frozenset("tb")
SWEEP_WORDS = {
    **dict.fromkeys(("gain", "hfe", "beta", "hfesweep", "gainsweep"), 0),
    **dict.fromkeys(("saturation", "sat", "vcesat", "saturationsweep"), 1),
    **dict.fromkeys(("output", "outputs", "icvce", "outputcurve", "outputcurves", "outputcharacteristics"), 2),
    **dict.fromkeys(("gummel", "gummelplot", "gummelrun"), 3),
}


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a header means. `role` is a text role or a quantity key; `spot` marks a quantity that is no sweep column.

    `doubt`: (code, what, fix) when the header is known but cannot be used as it stands.
    """

    role: str
    unit: UnitReading | None = None
    spot: bool = False
    doubt: tuple[str, str, str] | None = None


@lru_cache(maxsize=2048)
def recognise(header: str) -> Recognised | None:
    """The meaning of one header cell, or None: `Ic [mA]`, `IC (A)`, `ic_ma`, `VCE(sat)/mV`, `hFE`, `Part no.`."""
    text = header.strip().strip("\"'").strip()
    if text.startswith(("#", "№")) and bare(text) in ("", "no", "nr"):
        return Recognised("part")
    best: Recognised | None = None
    for name, unit, sure in _splits(text):
        found = _meaning(name, unit)
        if found is None or (not sure and found.doubt is not None and found.doubt[0] == "UNKNOWN_UNIT"):
            continue
        if found.doubt is None:
            return found
        best = best or found
    return best


def _splits(text: str) -> list[tuple[str, str | None, bool]]:
    """Ways to cut a header into name and unit, the surest first; the flag: the second piece must be a unit."""
    cuts: list[tuple[str, str | None, bool]] = []
    bracket = re.fullmatch(r"(.+?)\s*[\[({]\s*([^\[\](){}]*)\s*[\])}]\s*", text)
    if bracket:
        cuts.append((bracket[1], bracket[2], True))
    slash = re.fullmatch(r"(.+?)\s*/\s*([^/\s]+(?:/W)?)", text)
    if slash:
        cuts.append((slash[1], slash[2].strip("[]()"), True))
    loose = re.fullmatch(r"(.+?)(?:\s*,\s*|\s+in\s+|[\s_]+|-)([A-Za-zµμ°ºΩ%]{1,5})", text)
    if loose:
        cuts.append((loose[1], loose[2], False))
    cuts.append((text, None, True))
    return cuts


def _meaning(name: str, unit: str | None) -> Recognised | None:
    key = bare(name)
    if key == "t" and unit is not None:
        return _with_unit(QUANTITIES["time"], unit) or _with_unit(QUANTITIES["case_temp"], unit)
    role = _ROLE_BY_SPELLING.get(key)
    if role is not None:
        if unit is None:
            return Recognised(role)
        return Recognised(role, _unit_or_none(unit, "s")) if role == "pulse" and _unit_or_none(unit, "s") else None
    quantity = find_quantity(name)
    if quantity is None or key in _TOO_SHORT:
        return None
    if unit is None:
        return Recognised(quantity.key, None, quantity.kind == "spot")
    return _with_unit(quantity, unit)


def _with_unit(quantity: Quantity, unit: str) -> Recognised | None:
    spot = quantity.kind == "spot"
    try:
        return Recognised(quantity.key, read_unit(unit, quantity.unit), spot)
    except DoubtfulUnit as doubt:
        said = f"{quantity.key} = {{ column = ..., unit = ... }}"
        fix = f"write the unit with its proper case, or name it in a column map: {said}"
        return Recognised(quantity.key, None, spot, ("AMBIGUOUS_UNIT", str(doubt), fix))
    except ValueError:
        if bare(unit) and find_quantity(quantity.key + unit) is None:
            what = f"{unit!r} is no unit of {quantity.words}"
            return Recognised(
                quantity.key,
                None,
                spot,
                ("UNKNOWN_UNIT", what, f"write a unit such as {example_unit(quantity)}, or use a column map"),
            )
        return None


def _unit_or_none(unit: str, si_unit: str) -> UnitReading | None:
    try:
        return read_unit(unit, si_unit)
    except ValueError:
        return None


def example_unit(quantity: Quantity) -> str:
    """A unit people use for the quantity, for messages."""
    return {
        "A": "A or mA",
        "V": "V or mV",
        "F": "nF or pF",
        "K": "degC",
        "Hz": "MHz",
        "s": "s",
        "m": "mm",
        "kg": "g",
    }.get(quantity.unit, "1")


def recognised_count(cells: list[str]) -> int:
    """How many cells of a row are known headers; 0 when a cell is a number (no header row then)."""
    count = 0
    seen: set[str] = set()
    for cell in cells:
        if not cell:
            continue
        if cell.lstrip("+-.,")[:1].isdigit():
            return 0
        name, at, _ = cell.partition("@")
        found = recognise(name) if at else recognise(cell)
        role = cell if at else found.role if found is not None else ""
        if found is not None and role not in seen:
            count += 1
            seen.add(role)
    return count


def is_unit(cell: str, header: str) -> bool:
    """Whether a cell below `header` is that column's unit."""
    found = recognise(header.partition("@")[0])
    text = cell.strip().strip("[](){}").strip()
    if found is None or not text or text == "-" or text[:1].isdigit():
        return False
    si_unit = "s" if found.role == "pulse" else QUANTITIES[found.role].unit if found.role in QUANTITIES else None
    if si_unit is None:
        return False
    try:
        read_unit(text, si_unit)
    except DoubtfulUnit:
        return True
    except ValueError:
        return False
    return True


def is_some_unit(cell: str, header: str) -> bool:
    """Whether a cell below a header that is not known is a unit of current, voltage, time or temperature."""
    text = cell.strip().strip("[](){}").strip()
    if not text or text == "-" or text[:1].isdigit() or recognise(header) is not None:
        return is_unit(cell, header)
    return any(_unit_or_none(text, si_unit) is not None for si_unit in ("A", "V", "s", "K"))


def close_names(name: str, known: Sequence[str], near: NearNames | None = None) -> list[str]:
    """Names a person may have meant, nearest first; `near`: of a file, for slips that may be many."""
    if near is not None and near.spent:
        return []
    by_bare = _by_bare(tuple(known))
    return [by_bare[k] for k in (near or NearNames()).of(bare(name), tuple(by_bare), 3, 0.5)]


@lru_cache(maxsize=64)
def _by_bare(known: tuple[str, ...]) -> dict[str, str]:
    return {bare(k): k for k in known}
