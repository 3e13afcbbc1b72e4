"""Dissipation and junction temperature of the devices of one side, and the heat of the emitter resistors."""

from __future__ import annotations

from partscreen.device.thermal import derated_power
from partscreen.quantities import ZERO_CELSIUS
from partscreen.results.stage import CheckOutcome, StageCheck
from partscreen.stage.conditions import (
    MAINS_SOURCE,
    MAINS_TOLERANCE,
    LoadCase,
    burst_current,
    idle_power,
    load_cases,
    not_known,
    outcome,
    sustained,
    warmth,
)
from partscreen.stage.devices import Side
from partscreen.stage.load_line import instantaneous_peak
from partscreen.stage.model import Stage
from partscreen.stage.safe_area import ratings_of
from partscreen.stage.stress import sheet_text

HALF_LOAD = 0.5
"""Emitter resistors above half their rated power are marginal: run so, they discolour and drift (common practice, no
source)."""


def check_heat(stage: Stage, side: Side) -> list[StageCheck]:
    """Dissipation and junction temperature in every load case, on a sine at its worst level and on programme."""
    cases = load_cases(stage)
    if not cases:
        return [not_known("DISSIPATION", side.about, ["load.resistance"])]
    checks = []
    for case in cases:
        for signal in ("sine", "programme"):
            if signal == "sine" or stage.programme.crest_factor is not None:
                checks += [_dissipation(stage, side, case, signal), _junction(stage, side, case, signal)]
    if stage.programme.crest_factor is None:
        checks.append(not_known("DISSIPATION", f"{side.about}, programme", ["programme.crest_factor"]))
    return checks


def _about(side: Side, case: LoadCase, signal: str) -> str:
    return f"{side.about}, {case.name}, {signal}"


def _dissipation(stage: Stage, side: Side, case: LoadCase, signal: str) -> StageCheck:
    """Average dissipation of one device against the rating derated to its case temperature."""
    code, about = "DISSIPATION", _about(side, case, signal)
    now, high = (warmth(stage, side, case, signal, scale) for scale in (1.0, MAINS_TOLERANCE))
    found = sustained(stage, case, signal)
    if now.power is None or found is None:
        return not_known(code, about, now.missing)
    ratings = ratings_of(side.kind)
    assert stage.rails.unloaded is not None
    peak = instantaneous_peak(stage.rails.unloaded.highest, case.impedance, case.phase) / stage.stage.devices_per_rail
    level = f"worst at {found.peak:.3g} V output peak" if signal == "sine" else "peaks just at clipping"
    words = f"{now.power:.3g} W a device on average on {_article(signal)} ({level}), {peak:.3g} W at the worst instant"
    figures: dict[str, float | int | str | None] = {
        "both_sides": found.pair,
        "output_peak": found.peak,
        "instantaneous_peak": peak,
        "idle_power": idle_power(stage),
        "case_temperature": now.at.case if now.at else None,
    }
    rated = ratings.power
    if rated is None or ratings.tj_max is None:
        return not_known(code, about, [f"PC and TJ of {side.name}"], f"{words}.", value=now.power, unit="W")
    if now.at is None or high.at is None or high.power is None:
        return not_known(code, about, now.missing, f"{words}; rated {rated:g} W at 25 degC case.",
                         value=now.power, unit="W", figures=figures)  # fmt: skip
    limit = float(derated_power(rated, now.at.case, ratings.tj_max))
    limit_high = float(derated_power(rated, high.at.case, ratings.tj_max))
    result = outcome(now.power, limit, now.power if high.power <= limit_high else limit * 2.0)
    return StageCheck(
        code=code, about=about, result=result, value=now.power, limit=limit, unit="W",
        margin=1.0 - now.power / limit if limit > 0.0 else None,
        sentence=f"{words}; {limit:.3g} W permitted at {now.at.case - ZERO_CELSIUS:.3g} degC case.",
        source=f"{sheet_text(side.kind, 'PC', 'TJ')}; class B (supply power less load power); {MAINS_SOURCE}",
        figures=figures,
    )  # fmt: skip


def _article(signal: str) -> str:
    return "a sine" if signal == "sine" else "programme"


def _junction(stage: Stage, side: Side, case: LoadCase, signal: str) -> StageCheck:
    code, about = "JUNCTION_TEMPERATURE", _about(side, case, signal)
    ratings = ratings_of(side.kind)
    now, high = (warmth(stage, side, case, signal, scale) for scale in (1.0, MAINS_TOLERANCE))
    if now.at is None or high.at is None:
        return not_known(code, about, now.missing)
    if ratings.tj_max is None:
        return not_known(code, about, [f"TJ of {side.name}"])
    value, limit = now.at.junction, ratings.tj_max
    assert stage.cooling.ambient is not None
    chain = f"{now.at.heat_sink - ZERO_CELSIUS:.3g} degC heat sink, {now.at.case - ZERO_CELSIUS:.3g} degC case"
    rth = " (RthJC derived from PC and TJ)" if ratings.rth_derived else ""
    return StageCheck(
        code=code, about=about, result=outcome(value, limit, high.at.junction), value=value, limit=limit, unit="K",
        margin=1.0 - (value - stage.cooling.ambient) / (limit - stage.cooling.ambient),
        sentence=f"{chain}, {value - ZERO_CELSIUS:.3g} degC mean junction{rth}; "
        f"{limit - ZERO_CELSIUS:.3g} degC permitted.",
        source=f"{sheet_text(side.kind, 'TJ', 'RTHJC')}; TJ = TA + P (thJC + thCS) + P_all thSA; {MAINS_SOURCE}",
        figures={"heat_sink": now.at.heat_sink, "case": now.at.case, "ambient": stage.cooling.ambient},
    )  # fmt: skip


def check_resistor_heat(stage: Stage) -> StageCheck:
    """Heat of one emitter resistor: half-wave current of a full sine, against its rated power."""
    code, about = "EMITTER_RESISTOR_HEAT", "one emitter resistor"
    ohms, rated, rails = stage.emitter_ohms, stage.emitter_resistors.power, stage.rails.loaded
    peak = burst_current(stage)
    absent = {
        "emitter_resistors.marked": ohms,
        "rails.loaded": rails,
        "rails.unloaded": stage.rails.unloaded,
        "load.resistance": peak if stage.rails.unloaded else stage.load.resistance or stage.load.minimum_impedance,
    }
    missing = [name for name, value in absent.items() if value is None]
    if missing or ohms is None or peak is None or rails is None or stage.rails.unloaded is None:
        return not_known(code, about, missing)
    share = rails.highest / stage.rails.unloaded.highest
    rms = peak * share / 2.0 / stage.stage.devices_per_rail  # rms of a half-wave sine is half its peak
    value = rms**2 * ohms
    words = f"{value:.2g} W each at full sine output into the lowest impedance ({rms:.3g} A rms, half-waves)"
    if rated is None:
        return not_known(code, about, ["emitter_resistors.power"], f"{words}.", value=value, unit="W")
    result: CheckOutcome = "not_ok" if value > rated else "marginal" if value > HALF_LOAD * rated else "ok"
    return StageCheck(
        code=code, about=about, result=result, value=value, limit=rated, unit="W", margin=1.0 - value / rated,
        sentence=f"{words}; rated {rated:g} W.",
        source="rms of half-waves half the peak (derived); above half the rating marginal: common practice, no source",
        figures={"current_rms": rms},
    )  # fmt: skip
