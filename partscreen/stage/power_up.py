"""The power-up card of a stage: what each emitter resistor should read, and whether power may be put on at all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import mean, stdev

import numpy as np

from partscreen import __version__
from partscreen.device.temperature import thermal_voltage
from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.library import Library
from partscreen.results.power_up import PowerUp, PowerUpPlace, ResistorFrom
from partscreen.results.stage import CheckOutcome, SharingFigure, StageResult
from partscreen.stage.conditions import idle_power, load_cases, warmth
from partscreen.stage.devices import KnownPart, Side
from partscreen.stage.heat import missing_cooling, temperatures
from partscreen.stage.judge import judge_stage, sides_of
from partscreen.stage.model import Stage
from partscreen.stage.power_up_words import (
    CAUTIONS,
    STOPS,
    Figures,
    Times,
    expected_words,
    facts,
    off_checks,
    steps,
)
from partscreen.stage.safe_area import ratings_of
from partscreen.stage.sharing import resistors_of

MENDED_BY_SETTING = frozenset({"BIAS_READING"})
"""Not-ok checks that this very procedure puts right: they do not forbid power."""
UNEVEN_HEAT = 1.0
"""Standard uncertainty of the junction temperature from place to place beyond the calculated one [K] (assumption:
places on one heat sink are not cooled quite alike)."""
DRIFT = 2.0e-3
"""VBE falls by about so much per kelvin [V/K] (common practice; derived from the temperature law at idle currents)."""


@dataclass(frozen=True, slots=True)
class Fitting:
    """Which parts go into the places; names as PART or LOT/PART. `channel`: words for the head of the card."""

    npn: tuple[str, ...] = ()
    pnp: tuple[str, ...] = ()
    channel: str = ""


def fitted_stage(stage: Stage, fitting: Fitting) -> Stage:
    """The stage with the parts of a match in its places.

    Raises
    ------
    ValueError
        Not one part for each place.
    """
    n = stage.stage.devices_per_rail
    if len(fitting.npn) != n or len(fitting.pnp) != n:
        raise ValueError(f"{len(fitting.npn)} NPN and {len(fitting.pnp)} PNP for {n} place(s) on each rail")
    about = stage.stage.model_copy(update={"npn_parts": fitting.npn, "pnp_parts": fitting.pnp})
    return stage.model_copy(update={"stage": about})


def power_up(
    stage: Stage,
    library: Library,
    parts: Sequence[KnownPart] = (),
    *,
    fitting: Fitting | None = None,
    times: Times | None = None,
    judged: StageResult | None = None,
) -> PowerUp:
    """The card of one stage.

    Parameters
    ----------
    stage : Stage
    library : Library
    parts : accepted parts with fitted curves; a place whose part is not known gets no expected figure of its own
    fitting : parts of a match; None: those the stage file names, or all of them where just enough are given
    times : warm-up and soak
    judged : the checks of this very stage with these very parts, where they were made already

    Raises
    ------
    UnusableInput
        A type is not known, has the other polarity, or a part named for a place is not among `parts`.
    """
    chosen = fitted_stage(stage, fitting) if fitting is not None else stage
    upper, lower, _ = sides_of(chosen, library, parts)
    known = tuple(_enough(chosen, side) for side in (upper, lower))
    kept = [part for side in known for part in side.parts]
    result = judged or judge_stage(chosen, library, kept)
    places = [place for side in known for place in _places(chosen, side, result)]
    given = times or Times()
    found = Figures(
        heat_sink_idle=_idle_sink(chosen, known), heat_sink_soak=_soak_sink(chosen, known), cold=_mean_cold(places)
    )
    return PowerUp(
        name=chosen.stage.name,
        channel=fitting.channel if fitting is not None else "",
        npn=upper.name,
        pnp=lower.name,
        version=__version__,
        stop=[
            f"{check.about}: {check.sentence}"
            for check in result.checks
            if check.result == "not_ok" and check.code not in MENDED_BY_SETTING
        ],
        not_known=_kinds(result, "not_known"),
        marginal=_kinds(result, "marginal"),
        look_at=[
            f"{check.about}: {check.sentence}"
            for check in result.checks
            if check.result == "not_ok" and check.code in MENDED_BY_SETTING
        ],
        cautions=list(CAUTIONS),
        facts=facts(chosen),
        checks=off_checks(chosen),
        steps=steps(chosen, found, given),
        places=places,
        expected_words=expected_words(chosen, places, given),
        stops=list(STOPS),
    )


def _enough(stage: Stage, side: Side) -> Side:
    """The side with its parts where they are settled: named, or just as many as places. Else none is put anywhere."""
    named = stage.stage.npn_parts if side.kind.polarity == "NPN" else stage.stage.pnp_parts
    settled = bool(named) or len(side.parts) == stage.stage.devices_per_rail
    return side if settled else replace(side, parts=())


def _kinds(result: StageResult, outcome: CheckOutcome) -> list[str]:
    """Names of the checks with an outcome, one a kind."""
    kinds = dict.fromkeys(check.code for check in result.checks if check.result == outcome)
    return [code.replace("_", " ").lower() for code in kinds]


def _places(stage: Stage, side: Side, result: StageResult) -> list[PowerUpPlace]:
    """The places of a side, with expected drops where parts and target are known."""
    polarity, n = side.kind.polarity, stage.stage.devices_per_rail
    ohms = resistors_of(stage, polarity)
    names = stage.stage.npn_resistors if polarity == "NPN" else stage.stage.pnp_resistors
    shared = next((figure for figure in result.sharing if figure.about == side.about), None)
    target, tolerance = stage.bias.target, stage.bias.tolerance
    stds = _stds(stage, side, shared)
    window: tuple[float | None, float | None] = (None, None)
    if target is not None and tolerance is not None:
        window = (target * (1.0 - tolerance), target * (1.0 + tolerance))
    out = []
    for i in range(n):
        place = None if shared is None else shared.places[i]
        part = side.parts[i] if i < len(side.parts) else None
        out.append(
            PowerUpPlace(
                place=f"{polarity} {i + 1}",
                type=side.name,
                part=None if part is None else part.name,
                resistor=names[i] if names else None,
                ohms=None if ohms is None else float(ohms[i]),
                ohms_from=None if ohms is None else _from(stage, names),
                cold=None if place is None else place.cold_drop,
                warm=target if n == 1 and target is not None else None if place is None else place.drop,
                std=None if stds is None else stds[i],
                low=window[0],
                high=window[1],
            )
        )
    return out


def _from(stage: Stage, names: Sequence[str]) -> ResistorFrom:
    return "measured" if names else "mean of the measured" if stage.emitter_resistors.measured else "marked"


def _loose(stage: Stage, names: Sequence[str]) -> float:
    """Standard uncertainty of an emitter resistor of a place, as a share."""
    measured = list(stage.emitter_resistors.measured.values())
    if names:
        return 0.0
    if len(measured) > 1:
        return stdev(measured) / mean(measured)
    return (stage.emitter_resistors.tolerance or 0.0) / math.sqrt(3.0)


def _stds(stage: Stage, side: Side, shared: SharingFigure | None) -> list[float] | None:
    """Standard uncertainty of the expected drops [V], the mean of the side standing at the target.

    A difference dV of VBE moves a drop by dV RE/(RE + kT/qI), a share of RE by that share of the drop times
    (kT/qI)/(RE + kT/qI); the mean is set, so that of n independent ones a part (n - 1)/n is left (derived). VBE: of the
    readings, what parts of one session share left out; and unlike temperatures.
    """
    n = stage.stage.devices_per_rail
    if shared is None or n == 1:
        return None
    loose = _loose(stage, stage.stage.npn_resistors if side.kind.polarity == "NPN" else stage.stage.pnp_resistors)
    out = []
    for part, place in zip(side.parts, shared.places, strict=False):
        re = float(thermal_voltage(place.junction or ZERO_CELSIUS + 25.0)) / place.current
        vbe = np.hypot(_vbe_std(part, place.current), DRIFT * UNEVEN_HEAT)
        moved = np.hypot(vbe * place.resistor, loose * place.drop * re) / (place.resistor + re)
        out.append(float(moved) * math.sqrt((n - 1) / n))
    return out


def _vbe_std(part: KnownPart, ic: float) -> float:
    """Standard uncertainty of a part's VBE against its neighbours at a current [V]: the nearest that is known."""
    curves = part.curves
    for column in (curves.vbe_own_std or [], curves.vbe_std):
        known = [(at, std) for at, std in zip(curves.ic, column, strict=False) if std is not None]
        if known:
            break
    else:
        return 0.0
    at, std = (np.array(column) for column in zip(*known, strict=True))
    return float(np.interp(np.log(ic), np.log(at), std))


def _mean_cold(places: Sequence[PowerUpPlace]) -> float | None:
    cold = [place.cold for place in places]
    if not cold or any(value is None for value in cold):
        return None
    return float(np.mean([value for value in cold if value is not None]))


def _idle_sink(stage: Stage, sides: Sequence[Side]) -> float | None:
    """Heat sink at idle [K]; None where the cooling or the idle power is not stated."""
    power = idle_power(stage)
    if power is None or missing_cooling(stage.cooling):
        return None
    return max(temperatures(stage.cooling, power, ratings_of(side.kind).rth_jc or 0.0).heat_sink for side in sides)


def _soak_sink(stage: Stage, sides: Sequence[Side]) -> float | None:
    """Heat sink after a long sine at the worst level into the nominal load [K]; None where not known."""
    found = [
        warm.at.heat_sink
        for side in sides
        for case in load_cases(stage)
        if case.phase == 0.0 and case.impedance == stage.load.resistance
        for warm in [warmth(stage, side, case, "sine")]
        if warm.at is not None
    ]
    return max(found, default=None)
