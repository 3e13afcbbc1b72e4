"""The conditions a stage's checks are made under: load cases, sustained power, and the mains at its upper tolerance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from partscreen.results.stage import CheckOutcome, StageCheck
from partscreen.stage import load_line
from partscreen.stage.devices import Side
from partscreen.stage.heat import Temperatures, missing_cooling, temperatures
from partscreen.stage.model import Load, Stage
from partscreen.stage.safe_area import TypeRatings, ratings_of

MAINS_TOLERANCE = 1.10
"""Rails rise with the mains. What holds at the rails given but not at 1.10 times them is marginal: supply voltage may
lie 10 % above nominal (IEC 60038, memory)."""
MAINS_SOURCE = "marginal: not with mains 10 % high (IEC 60038, memory)"


@dataclass(frozen=True, slots=True)
class LoadCase:
    """A load the stage meets: magnitude [ohm], phase angle [rad], and which signal heats the stage in it."""

    name: str
    impedance: float
    phase: float
    signal: str  # "sine" or "programme"


def load_cases(stage: Stage) -> tuple[LoadCase, ...]:
    """Resistive load on a sine (the bench), and the loudspeaker (on programme where its crest factor is stated).

    The reactive case takes the minimum impedance at the stated phase angle. A minimum impedance without phase angle is
    a resistive dip.
    """
    load, cases = stage.load, []
    if load.resistance is not None:
        cases.append(LoadCase(f"resistive load {load.resistance:g} ohm", load.resistance, 0.0, "sine"))
    lowest = load.minimum_impedance or load.resistance
    signal = "programme" if stage.programme.crest_factor is not None else "sine"
    if load.phase and lowest is not None:
        degrees = load.phase * 57.29577951308232
        cases.append(LoadCase(f"reactive load {lowest:g} ohm at {degrees:.3g} deg", lowest, load.phase, signal))
    elif load.minimum_impedance is not None and load.minimum_impedance != load.resistance:
        cases.append(LoadCase(f"impedance dip {lowest:g} ohm", load.minimum_impedance, 0.0, signal))
    return tuple(cases)


def lowest_impedance(load: Load) -> float | None:
    """The lowest load the stage meets. [ohm]"""
    return load.minimum_impedance or load.resistance


def burst_current(stage: Stage, scale: float = 1.0) -> float | None:
    """Peak output current of a burst: unloaded rail over the lowest impedance [A]; None where either is not stated."""
    lowest, unloaded = lowest_impedance(stage.load), stage.rails.unloaded
    return None if lowest is None or unloaded is None else scale * unloaded.highest / lowest


def idle_power(stage: Stage) -> float | None:
    """Idle dissipation of one device. [W]"""
    if stage.rails.unloaded is None or stage.idle_current is None:
        return None
    return stage.rails.unloaded.highest * stage.idle_current


def sustained(stage: Stage, case: LoadCase, signal: str, scale: float = 1.0) -> load_line.Dissipation | None:
    """Average class-B dissipation of both sides in a load case; None where rails (or the crest factor) are not stated.

    Without a loaded figure the rails are taken as not sagging.
    """
    if stage.rails.unloaded is None:
        return None
    unloaded = scale * stage.rails.unloaded.highest
    loaded = unloaded if stage.rails.loaded is None else scale * stage.rails.loaded.highest
    if signal == "sine":
        return load_line.worst_sine(unloaded, loaded, case.impedance, case.phase)
    if stage.programme.crest_factor is None:
        return None
    return load_line.programme(unloaded, loaded, case.impedance, case.phase, stage.programme.crest_factor)


def device_power(stage: Stage, case: LoadCase, signal: str, scale: float = 1.0) -> float | None:
    """Average dissipation of one device [W]: its share of class B, and the idle power on top as an upper bound.

    In class AB one side's current is at most its class-B current plus the idle current at every moment.
    """
    found = sustained(stage, case, signal, scale)
    if found is None:
        return None
    return found.pair / 2.0 / stage.stage.devices_per_rail + scale * (idle_power(stage) or 0.0)


@dataclass(frozen=True, slots=True)
class Warmth:
    """Temperatures of a side in a load case, None where something is missing (then `missing` names it)."""

    power: float | None
    at: Temperatures | None
    missing: tuple[str, ...]


def warmth(stage: Stage, side: Side, case: LoadCase, signal: str, scale: float = 1.0) -> Warmth:
    """Temperatures of the devices of a side after long operation in a load case."""
    ratings: TypeRatings = ratings_of(side.kind)
    power = device_power(stage, case, signal, scale)
    missing = list(missing_cooling(stage.cooling))
    if power is None:
        missing += ["rails.unloaded"] if stage.rails.unloaded is None else ["programme.crest_factor"]
    if ratings.rth_jc is None:
        missing.append(f"RTHJC of {side.name}")
    if missing or power is None or ratings.rth_jc is None:
        return Warmth(power, None, tuple(missing))
    return Warmth(power, temperatures(stage.cooling, power, ratings.rth_jc), ())


def outcome(value: float, limit: float, value_with_high_mains: float) -> CheckOutcome:
    """ok, marginal (only with the mains at its upper tolerance beyond the limit) or not_ok."""
    if value > limit:
        return "not_ok"
    return "marginal" if value_with_high_mains > limit else "ok"


def not_known(code: str, about: str, missing: tuple[str, ...] | list[str], words: str = "", **more: Any) -> StageCheck:
    """A check that cannot be made, and what it would need."""
    need = f"Not known: needs {', '.join(missing)}."
    sentence = f"{need} {words}".strip()
    return StageCheck(code=code, about=about, result="not_known", sentence=sentence, source="stage file", **more)
