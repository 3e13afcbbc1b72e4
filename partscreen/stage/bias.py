"""Idle current: the target and the readings against the flattest crossover; emitter resistors marked and measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.population import population_for, why_no_population
from partscreen.results.stage import CheckOutcome, GainCurve, StageCheck
from partscreen.stage.conditions import idle_power, not_known
from partscreen.stage.crossover import (
    RANGE,
    Crossover,
    DeviceCurve,
    OneSide,
    conducting_resistance,
    crossover,
    curve_from_fit,
    flattest_idle,
    least_ripple_idle,
    ripple,
)
from partscreen.stage.devices import Side
from partscreen.stage.heat import missing_cooling, temperatures
from partscreen.stage.model import Stage
from partscreen.stage.safe_area import ratings_of

FAR_BELOW = 0.5
"""A target or reading below half the flattest figure is called far below (assumption: there the output resistance at
idle is a half above that of a conducting side)."""
TOO_RICH = 2.0
"""A target above twice the flattest figure is marginal (assumption: the gain then rises in the middle by as much as it
fell before, and the heat doubles for nothing)."""
WIDEST_TOLERANCE = 0.20
"""Beyond this a resistor is off whatever its tolerance: the widest common series is E6, 20 % (IEC 60063, memory)."""
SWING = 0.8
"""Gain near crossover is looked at up to this share of the swing; beyond it devices near saturation (assumption)."""
CRITERION = (
    "kT/qI equal to the whole emitter resistance: B. M. Oliver, Distortion in Complementary-Pair Class-B Amplifiers, "
    "1971 (memory)"
)


@dataclass(frozen=True, slots=True)
class Flattest:
    """The bias that flattens the crossover.

    `volts`: across one emitter resistor; `idle`: of one device [A]; `internal`: resistance of one device beside its
    emitter resistor, made of internal resistance, base resistance over gain and Early effect [ohm]; `basis`: whose
    curves; `junction` [K]; `reach`: output current up to which the gain is looked at [A].
    """

    volts: float
    idle: float
    internal: float
    basis: str
    junction: float
    upper: OneSide
    lower: OneSide
    reach: float


def idle_junction(stage: Stage, sides: Sequence[Side]) -> tuple[float, str]:
    """Junction temperature at idle [K] and how it was got, in words."""
    power = idle_power(stage)
    rth = [ratings_of(side.kind).rth_jc for side in sides]
    if not missing_cooling(stage.cooling) and power is not None and all(rth):
        hottest = max(temperatures(stage.cooling, power, r).junction for r in rth if r is not None)
        return hottest, f"at {hottest - ZERO_CELSIUS:.0f} degC junction"
    if stage.cooling.ambient is not None:
        return stage.cooling.ambient, "junction taken at ambient temperature, its heating at idle is not known"
    return ZERO_CELSIUS + 25.0, "junction taken at 25 degC, its temperature is not known"


def device_curves(stage: Stage, side: Side, junction: float, highest: float) -> tuple[list[DeviceCurve], str] | None:
    """One curve for each place of a side, and whose they are: the parts' or those of the type's typical part.

    With more parts than places the first ones are taken, with fewer they are repeated. None where the device model does
    not hold (Darlington).
    """
    ohms, n = stage.emitter_ohms, stage.stage.devices_per_rail
    assert ohms is not None
    rail = stage.rails.unloaded.highest if stage.rails.unloaded else 5.0
    load = n * (stage.load.resistance or stage.load.minimum_impedance or 0.0) if stage.rails.unloaded else 0.0
    known = population_for(side.kind)
    if known is None:
        return None
    thetas = [np.asarray(part.fit.theta) for part in side.parts] or [known.centre]
    basis = "the parts' fitted curves" if side.parts else "the typical part of the type"
    curves = [curve_from_fit(theta, known.constants, ohms, rail, junction, highest, load) for theta in thetas[:n]]
    return [curves[i % len(curves)] for i in range(n)], basis


def flattest(stage: Stage, upper: Side, lower: Side) -> Flattest | None:
    """The bias that flattens the crossover of this stage; None without an emitter resistor or a device model."""
    ohms, n = stage.emitter_ohms, stage.stage.devices_per_rail
    if ohms is None:
        return None
    junction, _ = idle_junction(stage, (upper, lower))
    rated = [ic for side in (upper, lower) if (ic := ratings_of(side.kind).ic) is not None]
    reach = n * min([RANGE * 0.026 / ohms, *rated])
    load = stage.load.resistance or stage.load.minimum_impedance
    if stage.rails.unloaded and load:  # no further than the stage can swing
        reach = min(reach, SWING * stage.rails.unloaded.lowest / load)
    try:
        both = [device_curves(stage, side, junction, 3.0 * reach / n) for side in (upper, lower)]
    except ValueError:  # no curve at such a temperature
        return None
    if both[0] is None or both[1] is None:
        return None
    (up, basis), (down, other) = both[0], both[1]
    high, low = OneSide(up), OneSide(down)
    try:
        idle = flattest_idle(high, low, reach) / n
        inside = float(np.mean([n * conducting_resistance(side, reach) - ohms for side in (high, low)]))
    except ValueError:  # the curves end before: the model cannot be at such currents
        return None
    basis = basis if basis == other else f"{basis} and {other}"
    return Flattest(idle * ohms, idle, inside, basis, junction, high, low, reach)


def gain_curve(stage: Stage, found: Flattest, volts: float) -> Crossover | None:
    """Gain near crossover at a bias across one emitter resistor [V]; None without a load, or beyond the curves."""
    load, ohms = stage.load.resistance or stage.load.minimum_impedance, stage.emitter_ohms
    if load is None or ohms is None:
        return None
    idle = stage.stage.devices_per_rail * volts / ohms
    try:
        return crossover(found.upper, found.lower, idle, load, found.reach)
    except ValueError:
        return None


def gain_curves(stage: Stage, found: Flattest | None) -> list[GainCurve]:
    """What the figure of the gain near crossover draws: the chosen bias and the flattest one."""
    out = []
    for name, volts in (("chosen bias", stage.bias.target), ("flattest", found.volts if found else None)):
        curve = gain_curve(stage, found, volts) if found and volts else None
        if curve is not None and volts is not None:
            thin = np.unique(np.linspace(0, len(curve.current) - 1, 241).astype(int))
            current, gain = curve.current[thin].tolist(), curve.gain[thin].tolist()
            load = stage.load.resistance or stage.load.minimum_impedance
            out.append(GainCurve(name=name, bias=volts, current=current, gain=gain, load=load))
    return out


def _milli(value: float) -> str:
    return f"{value * 1e3:.3g}"


def check_crossover(stage: Stage, upper: Side, lower: Side, found: Flattest | None) -> StageCheck:
    """The target bias against the flattest crossover. Below it is the maker's choice and not called wrong."""
    code, about = "CROSSOVER", "target bias"
    if stage.emitter_ohms is None:
        return not_known(code, about, ["emitter_resistors.marked"])
    if found is None:
        why = [text for side in (upper, lower) if (text := why_no_population(side.kind))]
        words = "; ".join(why) or "the devices' curves do not reach the currents of this stage"
        return not_known(code, about, ["a device model"], f"{words}.", value=stage.bias.target, unit="V")
    _, words = idle_junction(stage, (upper, lower))
    flat = f"flattest at {_milli(found.volts)} mV ({_milli(found.idle)} mA a device)"
    flat += f" by {found.basis}, with {_milli(found.internal)} mohm beside the resistor, {words}"
    target = stage.bias.target
    figures: dict[str, float | int | str | None] = {
        "flattest": found.volts,
        "flattest_current": found.idle,
        "internal_resistance": found.internal,
        "junction_temperature": found.junction,
        "curves": found.basis,
    }
    if target is None:
        return not_known(code, about, ["bias.target"], f"The crossover is {flat}.", limit=found.volts, unit="V",
                         figures=figures)  # fmt: skip
    chosen, best = gain_curve(stage, found, target), gain_curve(stage, found, found.volts)
    if chosen is not None and best is not None:
        least = found.volts * _least(stage, found)
        figures |= {"gain_ripple": ripple(chosen), "gain_ripple_flattest": ripple(best), "least_ripple_bias": least}
        flat += f"; the gain wanders by {ripple(chosen):.2g} of 1, at the flattest by {ripple(best):.2g}"
        flat += f" (within {found.reach:.2g} A it wanders least at {_milli(least)} mV)"
    ratio = target / found.volts
    result: CheckOutcome = "marginal" if ratio > TOO_RICH else "ok"
    sentence = f"{_milli(target)} mV is {_milli(target / stage.emitter_ohms)} mA a device; {flat}."
    sentence += f" {_how_far(ratio)}"
    return StageCheck(
        code=code, about=about, result=result, value=target, limit=found.volts, unit="V", margin=1.0 - ratio,
        sentence=sentence, source=CRITERION, figures=figures,
    )  # fmt: skip


def _least(stage: Stage, found: Flattest) -> float:
    """Bias of the least ripple as a share of the flattest one."""
    load = stage.load.resistance or stage.load.minimum_impedance
    assert load is not None  # there is a gain curve
    idle = stage.stage.devices_per_rail * found.idle
    return least_ripple_idle(found.upper, found.lower, load, found.reach, idle) / idle


def _how_far(ratio: float) -> str:
    if ratio < FAR_BELOW:
        return (
            "It lies far below the flattest crossover: cooler, with more crossover distortion. That is no fault: the "
            "figure of the service manual decides."
        )
    if ratio < 0.9:
        return "It lies below the flattest crossover; the figure of the service manual decides."
    if ratio <= 1.1:
        return "It lies at the flattest crossover."
    if ratio <= TOO_RICH:
        return "It lies above the flattest crossover; the figure of the service manual decides."
    return "It lies far above the flattest crossover: hotter, and no flatter."


def check_readings(stage: Stage, found: Flattest | None) -> list[StageCheck]:
    """Every idle reading in mA, against the target where one is stated, and how it lies to the flattest crossover."""
    resistors, bias = stage.emitter_resistors, stage.bias
    checks = []
    for place, volts in bias.readings.items():
        ohms = resistors.measured.get(place, resistors.marked)
        if ohms is None:
            checks.append(not_known("BIAS_READING", place, ["emitter_resistors.marked"], value=volts, unit="V"))
            continue
        words = f"{_milli(volts)} mV across {ohms:g} ohm is {_milli(volts / ohms)} mA"
        flat = "" if found is None else f" {_how_far(volts / found.volts)}"
        figures: dict[str, float | int | str | None] = {"current": volts / ohms}
        if bias.target is None or bias.tolerance is None:
            missing = [n for n, v in (("bias.target", bias.target), ("bias.tolerance", bias.tolerance)) if v is None]
            checks.append(
                not_known("BIAS_READING", place, missing, f"{words}.{flat}", value=volts, unit="V", figures=figures)
            )
            continue
        off = abs(volts / bias.target - 1.0)
        result: CheckOutcome = "ok" if off <= bias.tolerance else "not_ok"
        against = f"target {_milli(bias.target)} mV within {bias.tolerance * 100:g} %"
        against += "." if result == "ok" else ": set it anew, warm and without signal, and look whether all agree."
        checks.append(
            StageCheck(
                code="BIAS_READING",
                about=place,
                result=result,
                value=volts,
                limit=bias.target,
                unit="V",
                margin=bias.tolerance - off,
                sentence=f"{words}; {against}",
                figures=figures,
                source="stage file; idle is set without signal, warm (common practice, no source)",
            )
        )
    return checks


def check_resistors(stage: Stage) -> list[StageCheck]:
    """Emitter resistors as measured against as marked, and discoloured ones."""
    resistors, checks = stage.emitter_resistors, []
    for place, ohms in resistors.measured.items():
        checks.append(_value(place, ohms, resistors.marked, resistors.tolerance))
    if not resistors.measured:
        words = "Measure them with four wires, or take the leads off: leads are as large as the resistor."
        checks.append(not_known("EMITTER_RESISTOR_VALUE", "emitter resistors", ["emitter_resistors.measured"], words))
    checks += [
        StageCheck(
            code="EMITTER_RESISTOR_COLOUR",
            about=place,
            result="not_ok",
            sentence="Discoloured: it has carried overcurrent. Replace it together with its output pair.",
            source="common practice, no source",
        )
        for place in resistors.discoloured
    ]
    return checks


def _value(place: str, ohms: float, marked: float | None, tolerance: float | None) -> StageCheck:
    code = "EMITTER_RESISTOR_VALUE"
    if marked is None:
        return not_known(code, place, ["emitter_resistors.marked"], value=ohms, unit="ohm")
    off = ohms / marked - 1.0
    words = f"{ohms:g} ohm, marked {marked:g} ohm: {off * 100:+.1f} %"
    if tolerance is None and abs(off) <= WIDEST_TOLERANCE:
        return not_known(code, place, ["emitter_resistors.tolerance"], f"{words}.", value=ohms, unit="ohm")
    allowed = WIDEST_TOLERANCE if tolerance is None else tolerance
    result: CheckOutcome = "ok" if abs(off) <= allowed * (1 + 1e-9) else "not_ok"
    tail = "" if result == "ok" else ", replace it (a raised value tells of overload)"
    return StageCheck(
        code=code, about=place, result=result, value=ohms, limit=marked, unit="ohm", margin=allowed - abs(off),
        sentence=f"{words}, {allowed * 100:g} % allowed{tail}.",
        source="stage file" if tolerance is not None else "widest series E6, 20 % (IEC 60063, memory)",
    )  # fmt: skip
