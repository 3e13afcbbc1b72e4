"""What could be read next with a kit: the readings, their conditions, and the bench minutes they take."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.readings.instruments.kit import Instrument, Kit
from partscreen.reference.models import ReferenceType

# Bench minutes of one reading where the kit states none (assumption: an ordinary bench, part already in the fixture).
CAPACITANCE_MINUTES = 0.25
POINT_MINUTES = 0.35  # hFE and VBE together, or VCE(sat), at one current
SWEEP_OF_POINTS = 1.5 / 0.35  # a stepped sweep costs a little over four single points (assumption)
SLOW_MINUTES = {"iceo": 2.0, "v_br_ceo": 2.0, "dwell": 5.0}

LOW_CURRENT = 0.01  # [A] where base-emitter leakage shows and a hand-held tester still reads the base current
BY_HAND = (0.1, 0.5, 1.0)  # [A] with a supply, resistors and multimeters
SWEEP_POINTS = 6  # of the sweep proposed and weighed; more tell little more (assumption)
ORDINARY_CURRENT = 1.0  # [A] without a kit file: an ordinary tester, or a supply and two multimeters (assumption)
STEADY_POWER = 10.0  # [W] in a part on a small heat sink for the seconds of a steady reading (assumption)
OF_RATED_CURRENT = 0.8
VOLTAGE_SHARE = 0.5  # of VCEO, for leakage and dwell: well inside the rating
DWELL_POWER_SHARE = 0.5  # of what safe area and heat sink allow
DWELL_SECONDS = 10.0
MICA = 0.5  # [K/W] case to heat sink, with a washer and grease (common practice, no source)
HOTTEST_AMBIENT = 40.0 + ZERO_CELSIUS
ORDINARY_SUPPLY = 5.0  # [V] where neither kit nor type states VCE


@dataclass(frozen=True, slots=True)
class TypeFacts:
    """What a recipe needs of a type.

    forced_gain, vce : of the sheet's saturation and gain rows. dc_areas : corners (VCE [V], IC [A]) of its steady safe
    area, in each edition. rth_jc [K/W], tj_max [K]. vcb : bias of the sheet's C_CB [V]. gain : an hFE to expect. None,
    or empty: not known.
    """

    polarity: str | None = None
    vce: float = ORDINARY_SUPPLY
    forced_gain: float = 10.0
    vceo: float | None = None
    ic: float | None = None
    power: float | None = None
    rth_jc: float | None = None
    tj_max: float | None = None
    dc_areas: tuple[tuple[tuple[float, float], ...], ...] = ()
    vcb: float | None = None
    gain: float | None = None


def facts_of(kind: ReferenceType | None, *, vce: float = ORDINARY_SUPPLY, forced_gain: float = 10.0) -> TypeFacts:
    """The facts of a library type; without one, nothing is known."""
    if kind is None:
        return TypeFacts(vce=vce, forced_gain=forced_gain)
    areas = tuple(area.points for area in kind.soa if area.kind == "dc")
    hot = kind.rating("TJ")
    biases = [c.conditions["VCB"] for c in kind.characteristics if c.symbol == "C_CB" and "VCB" in c.conditions]
    return TypeFacts(
        kind.polarity, vce, forced_gain, kind.rating("VCEO"), kind.rating("IC"), kind.rating("PC"),
        kind.rating("RTHJC"), None if hot is None else hot + ZERO_CELSIUS, areas,
        biases[0] if biases else None, _middling_gain(kind),
    )  # fmt: skip


def _middling_gain(kind: ReferenceType) -> float | None:
    """Between the limits of the first hFE row that has both, else twice the first minimum (assumption)."""
    rows = [c for c in kind.characteristics if c.symbol == "hFE" and c.min is not None]
    both = [math.sqrt(c.min * c.max) for c in rows if c.min is not None and c.max is not None]
    if both:
        return both[0]
    return 2.0 * rows[0].min if rows and rows[0].min is not None else None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing that could be read.

    key : "c_cb", "c_be", "vce_sat", "two_currents", "sweep", "iceo", "v_br_ceo" or "dwell". ic : collector currents of
    hFE and VBE, or of VCE(sat) [A]. value: bias of a capacitance [V], else VCE of gain points, forced gain of VCE(sat),
    or test voltage [V]. by_hand: with a supply, resistors and meters rather than a tester.
    """

    key: str
    reading: str
    minutes: float
    minutes_assumed: bool
    ic: tuple[float, ...] = ()
    value: float = 0.0
    by_hand: bool = False
    reads: tuple[str, ...] = ()
    pulsed: bool = False
    heat_sink: float = field(default=math.nan)


def candidates(kit: Kit | None, facts: TypeFacts) -> tuple[Candidate, ...]:
    """Everything the kit can read that tells a die, the quickest kinds first.

    Without a kit an ordinary one is taken: a capacitance meter without bias, and a bench supply to 1 A with two
    multimeters (assumption; the recipe says so).
    """
    out: list[Candidate] = []
    for key in ("c_cb", "c_be"):
        found = _capacitance(kit, key)
        if found is not None:
            out.append(found)
    out += _currents(kit, facts)
    return tuple(out)


def last_resorts(kit: Kit | None, facts: TypeFacts) -> tuple[Candidate, ...]:
    """Readings outside the device model, only where the kit reads them; the least stressing first."""
    if kit is None or facts.vceo is None:
        return ()
    out = []
    leakage, breakdown, dwell = (kit.reader_of(key) for key in ("iceo", "v_br_ceo", "dwell"))
    if leakage is not None:
        volts = min(_number(leakage, "VCE", VOLTAGE_SHARE * facts.vceo), VOLTAGE_SHARE * facts.vceo)
        out.append(_slow("iceo", f"ICEO at VCE = {volts:.3g} V", leakage, volts))
    if breakdown is not None and breakdown.range.get("v_br_ceo", math.inf) > facts.vceo:
        amperes = _number(breakdown, "IC", 1e-3)
        out.append(_slow("v_br_ceo", f"V(BR)CEO at {1e3 * amperes:.3g} mA", breakdown, facts.vceo, amperes))
    point = dwell_point(dwell, facts) if dwell is not None else None
    if dwell is not None and point is not None:
        volts, amperes, sink = point
        words = f"a power dwell of {DWELL_SECONDS:.0f} s at {volts:.3g} V and {amperes:.2g} A"
        out.append(_slow("dwell", words, dwell, volts, amperes, sink))
    return tuple(out)


def dwell_point(reader: Instrument, facts: TypeFacts) -> tuple[float, float, float] | None:
    """VCE [V], IC [A] and heat sink [K/W] of a dwell well inside every edition's steady safe area; None without a
    stated heat sink or the figures of the type that make it safe."""
    sink = _number(reader, "heat_sink", math.nan)
    if not (math.isfinite(sink) and facts.rth_jc and facts.tj_max and facts.vceo and facts.dc_areas):
        return None
    volts = min(VOLTAGE_SHARE * facts.vceo, reader.compliance.get("vce", math.inf))
    heat = (facts.tj_max - HOTTEST_AMBIENT) / (facts.rth_jc + MICA + sink)
    limits = [heat / volts, reader.compliance.get("ic", math.inf), facts.ic or math.inf]
    for corners in facts.dc_areas:
        v, i = np.array(corners).T
        limits.append(float(np.exp(np.interp(np.log(volts), np.log(v), np.log(i), right=-np.inf))))
    amperes = DWELL_POWER_SHARE * min(limits)
    return (volts, amperes, sink) if amperes > 0.0 else None


def top_current(kit: Kit | None, facts: TypeFacts, vce: float) -> float:
    """Highest collector current at which the kit reads hFE or VBE, inside what the type may carry. [A]"""
    limits = [OF_RATED_CURRENT * facts.ic] if facts.ic else []
    if kit is None:
        limits.append(ORDINARY_CURRENT)
        pulsed = False
    else:
        readers = [r for r in (kit.reader_of("ic"), kit.reader_of("hfe")) if r is not None]
        limits += [v for r in readers for v in (r.range.get("ic"), r.compliance.get("ic")) if v is not None]
        pulsed = any(r.pulse_seconds is not None for r in readers)
        if not any(v is not None for r in readers for v in (r.range.get("ic"), r.compliance.get("ic"))):
            limits.append(ORDINARY_CURRENT)
    if vce > 0.0:
        limits.append((facts.power or math.inf if pulsed else STEADY_POWER) / vce)
    return _rounded_down(min(limits))


def _rounded_down(value: float) -> float:
    step = 10.0 ** math.floor(math.log10(value))
    return float(max(m * step for m in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0) if m * step <= value * (1 + 1e-9)))


def _currents(kit: Kit | None, facts: TypeFacts) -> list[Candidate]:
    """hFE and VBE at a few currents, VCE(sat), a sweep."""
    reads = _gain_reads(kit)
    tester = kit.reader_of("hfe") if kit is not None else None
    pulsed = tester is not None and tester.pulse_seconds is not None
    leader = tester or (kit.reader_of("ic") if kit is not None else None)
    vce = facts.vce if leader is None else _number(leader, "VCE", _other_vce(kit, facts.vce))
    minutes, assumed = _minutes(kit, ("hfe", "ic", "ib", "vbe"), POINT_MINUTES)
    top = top_current(kit, facts, vce)
    by_hand = tester is None
    out = []
    if reads:
        points = tuple(i for i in BY_HAND if i <= top * (1 + 1e-9)) if by_hand else (LOW_CURRENT, top)
        points = points or (top,)
        symbols = " and ".join({"hfe": "hFE", "vbe": "VBE"}[r] for r in reads)
        out.append(
            Candidate("two_currents", f"{symbols} at {_amperes(points)}", minutes * len(points), assumed, points, vce,
                      by_hand, reads, pulsed)
        )  # fmt: skip
        grid = tuple(float(f"{i:.2g}") for i in np.geomspace(min(LOW_CURRENT, top / 2), top, SWEEP_POINTS))
        cost = minutes * (SWEEP_POINTS if by_hand else SWEEP_OF_POINTS)
        out.append(
            Candidate("sweep", f"a sweep of {symbols} from {_amperes(grid[:1])} to {_amperes(grid[-1:])}", cost,
                      assumed, grid, vce, by_hand, reads, pulsed)
        )  # fmt: skip
    saturation = _saturation(kit, facts, by_hand)
    return [saturation, *out] if saturation is not None else out


def _saturation(kit: Kit | None, facts: TypeFacts, by_hand: bool) -> Candidate | None:
    reader = None if kit is None else kit.reader_of("vce_sat") or kit.reader_of("vce")
    if kit is not None and (reader is None or (kit.reader_of("ic") is None and kit.reader_of("vce_sat") is None)):
        return None
    forced = facts.forced_gain if reader is None else _number(reader, "forced_gain", facts.forced_gain)
    top = top_current(kit, facts, 0.0)
    base = None if kit is None else kit.reader_of("ib")
    drive = None if base is None else min(base.range.get("ib", math.inf), base.compliance.get("ib", math.inf))
    if drive is not None and math.isfinite(drive):
        top = min(top, _rounded_down(drive * forced))
    minutes, assumed = _minutes(kit, ("vce_sat", "vce", "ic"), POINT_MINUTES)
    words = f"VCE(sat) at {_amperes((top,))}, IC/IB = {forced:g}"
    pulsed = reader is not None and reader.pulse_seconds is not None
    return Candidate("vce_sat", words, minutes, assumed, (top,), forced, by_hand, ("vce_sat",), pulsed)


def _capacitance(kit: Kit | None, key: str) -> Candidate | None:
    symbol, bias_name = {"c_cb": ("C_CB", "VCB"), "c_be": ("C_BE", "VEB")}[key]
    reader = None if kit is None else kit.reader_of(key)
    if kit is not None and reader is None:
        return None
    bias = 0.0 if reader is None else _number(reader, bias_name, 0.0)
    minutes, assumed = _minutes(kit, (key,), CAPACITANCE_MINUTES)
    return Candidate(key, f"{symbol} at {bias_name} = {bias:g} V", minutes, assumed, (), bias, False, (key,))


def _gain_reads(kit: Kit | None) -> tuple[str, ...]:
    if kit is None:
        return ("hfe", "vbe")
    gain = kit.reader_of("hfe") is not None or (kit.reader_of("ic") is not None and kit.reader_of("ib") is not None)
    known_current = gain or kit.reader_of("ic") is not None
    return (("hfe",) if gain else ()) + (("vbe",) if known_current and kit.reader_of("vbe") is not None else ())


def _other_vce(kit: Kit | None, otherwise: float) -> float:
    """VCE that any instrument of the kit holds."""
    for instrument in kit.instruments if kit is not None else ():
        if {"vce", "vbe", "hfe", "ic"} & set(instrument.reads):
            value = _number(instrument, "VCE", math.nan)
            if math.isfinite(value):
                return value
    return otherwise


def _minutes(kit: Kit | None, quantities: tuple[str, ...], otherwise: float) -> tuple[float, bool]:
    """Minutes of one reading as the kit states them (the slowest of the instruments it takes), else assumed."""
    readers = [kit.reader_of(q) for q in quantities] if kit is not None else []
    told = [r.minutes_per_reading for r in readers if r is not None and r.minutes_per_reading is not None]
    return (max(told), False) if told else (otherwise, True)


def _slow(
    key: str, words: str, reader: Instrument, volts: float, amperes: float = math.nan, sink: float = math.nan
) -> Candidate:
    minutes = reader.minutes_per_reading
    return Candidate(
        key, words, minutes or SLOW_MINUTES[key], minutes is None, (amperes,), volts, False, (key,), heat_sink=sink
    )


def _number(reader: Instrument, name: str, otherwise: float) -> float:
    """A fixed condition of an instrument; text such as "0.5 K/W" counts by its leading figure."""
    value = reader.conditions.get(name, otherwise)
    if isinstance(value, str):
        try:
            return float(value.split()[0])
        except (ValueError, IndexError):
            return otherwise
    return float(value)


def _amperes(values: tuple[float, ...]) -> str:
    words = [f"{1e3 * v:.3g} mA" if v < 0.0999 else f"{v:.3g} A" for v in values]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


amperes_text = _amperes
