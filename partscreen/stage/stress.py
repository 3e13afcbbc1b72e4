"""Voltage, peak current and safe area of the devices of one side."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.models import ReferenceType
from partscreen.results.stage import CheckOutcome, StageCheck
from partscreen.stage.conditions import (
    MAINS_SOURCE,
    MAINS_TOLERANCE,
    LoadCase,
    burst_current,
    load_cases,
    not_known,
    outcome,
    warmth,
)
from partscreen.stage.devices import Side
from partscreen.stage.load_line import LoadLine, load_line
from partscreen.stage.model import Stage
from partscreen.stage.safe_area import RULES, lines_of, permitted, pulses_of, ratings_of

COLD = ZERO_CELSIUS + 25.0
SHORT_DUTY = 0.10
"""Second-breakdown pulse limits hold up to this duty (data sheets of TIP35A, BD808/810, 2N6052, MJE15031)."""


def sheet_text(kind: ReferenceType, *symbols: str) -> str:
    """Sources of these ratings in words."""
    sources = {s for symbol in symbols for rating in kind.ratings_of(symbol) for s in rating.source}
    return kind.source_text(sorted(sources)) or "no sheet prints it"


def check_voltage(stage: Stage, side: Side) -> StageCheck:
    """Both unloaded rails together against VCEO: what the device of the other half sees at full swing."""
    code, about = "VOLTAGE", side.about
    limit = ratings_of(side.kind).vceo
    if stage.rails.unloaded is None:
        return not_known(code, about, ["rails.unloaded"])
    if limit is None:
        return not_known(code, about, [f"VCEO of {side.name}"])
    value = stage.rails.unloaded.total
    result = outcome(value, limit, value * MAINS_TOLERANCE)
    words = {
        "ok": "also with the mains 10 % high",
        "marginal": "but not with the mains 10 % high",
        "not_ok": "the type must not be fitted here",
    }
    relation = "above" if result == "not_ok" else "within"
    return StageCheck(
        code=code, about=about, result=result, value=value, limit=limit, unit="V", margin=1.0 - value / limit,
        sentence=f"From rail to rail {value:.3g} V unloaded, {relation} VCEO of {limit:g} V, {words[result]}.",
        source=f"{sheet_text(side.kind, 'VCEO')}; {MAINS_SOURCE}",
    )  # fmt: skip


def check_peak_current(stage: Stage, side: Side) -> StageCheck:
    """The burst current of one device against the rated collector current (and its peak rating)."""
    code, about = "PEAK_CURRENT", side.about
    ratings, burst = ratings_of(side.kind), burst_current(stage)
    if burst is None:
        return not_known(code, about, _absent(stage))
    if ratings.ic is None:
        return not_known(code, about, [f"IC of {side.name}"])
    value = burst / stage.stage.devices_per_rail
    result = outcome(value, ratings.ic, value * MAINS_TOLERANCE)
    words = f"{value:.3g} A a device at the peak of a burst (unloaded rail over the lowest impedance)"
    sentence = f"{words}; rated {ratings.ic:g} A."
    if result == "not_ok" and ratings.icm is not None and value * MAINS_TOLERANCE <= ratings.icm:
        result = "marginal"
        sentence = f"{words}: above the rated {ratings.ic:g} A, within the peak rating of {ratings.icm:g} A."
    return StageCheck(
        code=code, about=about, result=result, value=value, limit=ratings.ic, unit="A", margin=1.0 - value / ratings.ic,
        sentence=sentence, source=f"{sheet_text(side.kind, 'IC', 'ICM')}; {MAINS_SOURCE}",
        figures={"peak_rating": ratings.icm, "output_current": burst},
    )  # fmt: skip


def _absent(stage: Stage) -> list[str]:
    missing = [] if stage.rails.unloaded else ["rails.unloaded"]
    return missing + ([] if stage.load.resistance or stage.load.minimum_impedance else ["load.resistance"])


@dataclass(frozen=True, slots=True)
class Use:
    """How far a load line uses a safe area. `use`: highest IC over permitted IC; `beyond`: share of a cycle outside."""

    use: float
    vce: float
    ic: float
    permitted: float
    rule: str
    beyond: float
    off_the_line: bool


def use_of(line: LoadLine, kind: ReferenceType, pulse: float | None, case: float, start: float | None = None) -> Use:
    """How far load lines use the safe area of one pulse length (None: dc) at a case temperature [K].

    VCE beyond the end of the drawn line counts as outside (`off_the_line`).
    """
    found = permitted(kind, pulse, line.vce, case, start)
    carrying = line.ic > 1e-3 * line.ic.max()  # below that the point is idle: no current worth the name
    with np.errstate(divide="ignore", invalid="ignore"):
        use = np.where(carrying, line.ic / found.current, 0.0)
    undrawn = carrying & np.isnan(found.current)
    known = np.where(undrawn | np.isnan(use), -1.0, use)
    at = np.unravel_index(int(np.argmax(known)), use.shape)
    beyond = float((undrawn | (known > 1.0)).sum(axis=1).max()) * line.angle_step
    return Use(
        float(use[at]), float(line.vce[at]), float(line.ic[at]), float(found.current[at]),
        RULES[int(found.rule[at])], beyond, bool(undrawn.any()),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a load line is held against the safe area: the stage, a side, a load case."""

    stage: Stage
    side: Side
    case: LoadCase

    @property
    def about(self) -> str:
        return f"{self.side.about}, {self.case.name}"

    def line(self, scale: float = 1.0) -> LoadLine:
        rails = self.stage.rails.unloaded
        assert rails is not None
        return load_line(scale * rails.highest, self.case.impedance, self.case.phase, self.stage.stage.devices_per_rail)

    def temperatures(self, scale: float = 1.0) -> tuple[float, float, bool]:
        """Case, mean junction [K], and whether they are known (else 25 degC)."""
        found = warmth(self.stage, self.side, self.case, self.case.signal, scale)
        return (COLD, COLD, False) if found.at is None else (found.at.case, found.at.junction, True)

    def use(self, pulse: float | None, scale: float = 1.0) -> Use:
        case, junction, _ = self.temperatures(scale)
        return use_of(self.line(scale), self.side.kind, pulse, case, None if pulse is None else junction)


def check_safe_area(stage: Stage, side: Side) -> list[StageCheck]:
    """The load lines of every load case against the dc line, and beyond it against the pulse lines."""
    cases = load_cases(stage)
    missing = _absent(stage)
    if missing:
        return [not_known("SAFE_AREA_DC", side.about, missing)]
    checks = []
    for case in cases:
        checks += _safe_area(_Place(stage, side, case))
    if not any(case.phase for case in cases):
        words = "A loudspeaker is reactive: its load line goes through higher voltage and current at once."
        checks.append(not_known("SAFE_AREA_DC", f"{side.about}, reactive load", ["load.phase"], words))
    return checks


def _safe_area(place: _Place) -> list[StageCheck]:
    kind = place.side.kind
    if not lines_of(kind, None):
        return [_no_dc_line(place), *([] if not pulses_of(kind) else [_pulsed(place, 0.5, None)])]
    dc = place.use(None)
    if dc.use <= 1.0 and not dc.off_the_line:
        return [_inside_dc(place, dc)]
    pulsed = _pulsed(place, dc.beyond, dc)
    return [_beyond_dc(place, dc, pulsed.result), pulsed]


def _figures(place: _Place, use: Use) -> dict[str, float | int | str | None]:
    case, junction, known = place.temperatures()
    return {
        "vce": use.vce,
        "permitted_at_vce": use.permitted,
        "rule": use.rule,
        "case_temperature": case if known else None,
        "junction_temperature": junction if known else None,
        "share_of_cycle_beyond": use.beyond,
    }


def _at(place: _Place) -> str:
    case, _, known = place.temperatures()
    return f"at {case - ZERO_CELSIUS:.3g} degC case" if known else "at 25 degC case"


def _doubts(kind: ReferenceType, pulse: float | None) -> str:
    found = dict.fromkeys(line.doubt for line in lines_of(kind, pulse) if line.doubt)
    return "".join(f" Doubtful line: {doubt}." for doubt in found)


def _line_source(kind: ReferenceType, pulse: float | None) -> str:
    sources = sorted({s for line in lines_of(kind, pulse) for s in line.source})
    rule = "second breakdown derated to 260 degC (Sanken, introduction to transistors, page 9)"
    return f"{kind.source_text(sources)}; {rule}, heat to TJmax; {MAINS_SOURCE}"


def _check(code: str, place: _Place, use: Use, result: CheckOutcome, sentence: str, pulse: float | None) -> StageCheck:
    limit = use.permitted if math.isfinite(use.permitted) else None
    margin = 1.0 - use.use if limit is not None and math.isfinite(use.use) else None
    return StageCheck(
        code=code, about=place.about, result=result, value=use.ic, limit=limit, unit="A", margin=margin,
        sentence=sentence + _doubts(place.side.kind, pulse),
        source=_line_source(place.side.kind, pulse), figures=_figures(place, use),
    )  # fmt: skip


def _inside_dc(place: _Place, dc: Use) -> StageCheck:
    """Inside the dc line: safe at any frequency, if the case temperature is known and the mains may rise."""
    high = place.use(None, MAINS_TOLERANCE)
    result: CheckOutcome = "ok" if high.use <= 1.0 and not high.off_the_line else "marginal"
    share = f"uses {dc.use * 100:.0f} % of the dc line at {dc.vce:.3g} V ({dc.rule}), {_at(place)}"
    sentence = f"The load line {share}."
    if result == "marginal":
        sentence = f"The load line {share}; with the mains 10 % high it passes it."
    if result == "ok" and _doubts(place.side.kind, None):
        result = "marginal"
    if not place.temperatures()[2]:
        result = "not_known"
        sentence += f" The case temperature is not known ({_missing(place)}); a hot case permits less."
    return _check("SAFE_AREA_DC", place, dc, result, sentence, None)


def _missing(place: _Place) -> str:
    found = warmth(place.stage, place.side, place.case, place.case.signal)
    return "needs " + ", ".join(found.missing)


def _beyond_dc(place: _Place, dc: Use, pulsed: CheckOutcome) -> StageCheck:
    carried = pulsed in ("ok", "marginal")
    reason = "runs past the end of the dc line" if dc.off_the_line and dc.use <= 1.0 else ""
    reason = reason or f"passes the dc line {_times(dc)} at {dc.vce:.3g} V ({dc.rule})"
    then = "the pulse line carries it, see the pulsed check" if carried else "and no pulse line is known to carry it"
    sentence = f"The load line {reason}, {_at(place)}, for {dc.beyond * 100:.0f} % of a cycle; {then}."
    return _check("SAFE_AREA_DC", place, dc, "marginal" if carried else "not_ok", sentence, None)


def _times(use: Use) -> str:
    return f"{use.use:.2f} times" if math.isfinite(use.use) else "where nothing is permitted: too hot for any power"


def _no_dc_line(place: _Place) -> StageCheck:
    """No dc line: not known, never taken as safe; what else is known stands beside it."""
    kind = place.side.kind
    known = [f"{p:g} s" for p in pulses_of(kind)]
    beside = f"lines are known for {', '.join(known)}, see the pulsed check" if known else "no safe area is known"
    power = ratings_of(kind).power
    rated = (
        ""
        if power is None
        else f"; the rated dissipation of {power:g} W is no safe area: second breakdown is not in it"
    )
    return not_known(
        "SAFE_AREA_DC",
        place.about,
        [f"a dc line of {kind.name}, which the library does not hold"],
        f"For this type {beside}{rated}.",
    )


def _pulsed(place: _Place, beyond: float, dc: Use | None) -> StageCheck:
    """The pulse line at least as long as the stress lasts at the lowest frequency. `beyond`: share of a cycle."""
    kind, frequency = place.side.kind, place.stage.load.lowest_frequency
    code = "SAFE_AREA_PULSED"
    if frequency is None:
        return not_known(code, place.about, ["load.lowest_frequency"], "It tells how long the stress lasts.")
    lasts = beyond / frequency
    pulse = next((p for p in pulses_of(kind) if p >= lasts * 0.999), None)
    if pulse is None:
        longest = f"the longest is {max(pulses_of(kind)):g} s" if pulses_of(kind) else "none is known"
        missing = [f"a pulse line of {kind.name} for {lasts * 1e3:.3g} ms"]
        return not_known(code, place.about, missing, f"Of the lines drawn {longest}.")
    use, high = place.use(pulse), place.use(pulse, MAINS_TOLERANCE)
    outside = use.use > 1.0 or use.off_the_line
    duty = beyond
    where = f"the {pulse:g} s line at {use.vce:.3g} V ({use.rule}), {_at(place)}"
    lasting = f"the stress lasts {lasts * 1e3:.3g} ms at {frequency:g} Hz"
    if outside and use.off_the_line and use.use <= 1.0:
        highest = max(v for line in lines_of(kind, pulse) for v, _ in line.points)
        words = f"The {pulse:g} s line is drawn to {highest:.3g} V only, the load line goes to higher voltage"
        return _check(code, place, use, "not_known", f"{words}; {lasting}.", pulse)
    if outside:
        return _check(code, place, use, "not_ok", f"The load line passes {where} {_times(use)}; {lasting}.", pulse)
    sentence = f"The load line uses {use.use * 100:.0f} % of {where}; {lasting}."
    result: CheckOutcome = "ok"
    if duty > SHORT_DUTY:
        result = "marginal"
        sentence += f" It comes back every cycle, {duty * 100:.0f} % of the time: pulse lines hold up to 10 %."
    if high.use > 1.0 or high.off_the_line:
        result = "marginal"
        sentence += " With the mains 10 % high it passes it."
    if _doubts(kind, pulse):
        result = "marginal"
    if not place.temperatures()[2]:
        result = "not_known"
        sentence += f" The case temperature is not known ({_missing(place)}); a hot case permits less."
    return _check(code, place, use, result, sentence, pulse)
