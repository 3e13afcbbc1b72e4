"""Every check of an output stage, the cautions before them, and what the figures draw."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partscreen import __version__
from partscreen.errors import Problem, UnknownType, UnusableInput
from partscreen.reference.library import Library
from partscreen.results.stage import AreaLine, LoadLineFigure, StageCheck, StageResult
from partscreen.stage.bias import check_crossover, check_readings, check_resistors, flattest, gain_curves
from partscreen.stage.conditions import load_cases, warmth
from partscreen.stage.devices import KnownPart, Side
from partscreen.stage.drive import check_base_drive, check_clipping, check_gain_group
from partscreen.stage.fuses import check_fuses
from partscreen.stage.load_line import load_line
from partscreen.stage.model import Stage
from partscreen.stage.safe_area import permitted, pulses_of, ratings_of
from partscreen.stage.sharing import share_side
from partscreen.stage.stress import COLD, check_peak_current, check_safe_area, check_voltage
from partscreen.stage.warming import check_heat, check_resistor_heat

CAUTIONS = (
    "Mains voltage kills. Work on an open amplifier belongs to people trained and licensed for it; local codes and the "
    "maker's service instructions come before anything said here.",
    "Reservoir capacitors stay charged after the plug is pulled. Discharge them through a resistor and measure before "
    "you touch.",
    "These are calculations from a sheet and from readings. They do not make a stage safe to power: the first power-up "
    "is through a current limiter, bias at its minimum, no load.",
)
"""Shown before every answer (common practice, no source)."""


def sides_of(stage: Stage, library: Library, parts: Sequence[KnownPart]) -> tuple[Side, Side, tuple[str, ...]]:
    """The two sides with the parts of their types, and notes on parts of neither.

    Raises
    ------
    UnusableInput
        A type is not in the library or has the other polarity, or a part named for a place is not known.
    """
    problems: list[Problem] = []
    sides: list[Side] = []
    for polarity, printed in (("NPN", stage.stage.npn), ("PNP", stage.stage.pnp)):
        try:
            found = library.find(printed)
        except UnknownType as error:
            fix = "look at `partscreen types`, or give a reference file with --reference"
            problems.append(Problem("UNKNOWN_TYPE", str(error), fix, column=f"stage.{polarity.lower()}"))
            continue
        if found.type.polarity != polarity:
            what = f"{found.type.name} is {found.type.polarity}"
            fix = "look whether the two types are exchanged; stages with one polarity on both rails are not described"
            problems.append(Problem("POLARITY", what, fix, column=f"stage.{polarity.lower()}"))
            continue
        own = tuple(part for part in parts if part.type == found.type.name)
        named = stage.stage.npn_parts if polarity == "NPN" else stage.stage.pnp_parts
        if named:
            own, wrong = placed(own, named, f"stage.{polarity.lower()}_parts")
            problems += wrong
        sides.append(Side(found.type, found.gain_group or stage.stage.gain_group, own))
    if problems:
        raise UnusableInput(problems)
    upper, lower = sides
    others = [part.name for part in parts if part.type not in (upper.name, lower.name)]
    notes = (f"Left out, neither {upper.name} nor {lower.name}: {', '.join(others)}.",) if others else ()
    return upper, lower, notes


def placed(
    parts: Sequence[KnownPart], named: Sequence[str], column: str
) -> tuple[tuple[KnownPart, ...], list[Problem]]:
    """The parts named for the places (PART or LOT/PART), in their order, and what is wrong with the names."""
    chosen, problems = [], []
    for name in named:
        found = [part for part in parts if name in (part.name, f"{part.lot}/{part.name}")]
        if len(found) == 1:
            chosen.append(found[0])
        elif found:
            lots = ", ".join(f"{part.lot}/{part.name}" for part in found)
            problems.append(Problem("PART", f"{name} is in several lots", f"write one of {lots}", column=column))
        else:
            fix = "give the result of `screen` that holds it; only accepted parts of the stage's type are taken"
            problems.append(Problem("PART", f"{name} is not among the accepted parts", fix, column=column))
    return tuple(chosen), problems


def check_side(stage: Stage, side: Side) -> list[StageCheck]:
    """What is asked of the devices of one side."""
    group = check_gain_group(stage, side)
    return [
        check_voltage(stage, side),
        check_peak_current(stage, side),
        *check_heat(stage, side),
        *check_safe_area(stage, side),
        check_base_drive(stage, side),
        *([] if group is None else [group]),
        check_clipping(stage, side),
    ]


def judge_stage(
    stage: Stage, library: Library, parts: Sequence[KnownPart] = (), notes: Sequence[str] = ()
) -> StageResult:
    """Every check of a stage.

    Parameters
    ----------
    stage : Stage
    library : Library
    parts : accepted parts with their fitted curves (`partscreen.stage.devices.known_parts`); none: sheets alone
    notes : what is to be told beside the checks

    Raises
    ------
    UnusableInput
        A type is not known, or has the other polarity.
    """
    upper, lower, more = sides_of(stage, library, parts)
    flat = flattest(stage, upper, lower)
    shares = [share_side(stage, side) for side in (upper, lower)]
    checks = [
        *check_fuses(stage),
        *check_resistors(stage),
        *check_side(stage, upper),
        *check_side(stage, lower),
        check_resistor_heat(stage),
        check_crossover(stage, upper, lower, flat),
        *(check for _, shared in shares for check in shared),
        *check_readings(stage, flat),
    ]
    crowded = [
        f"{len(side.parts)} parts are known for the {stage.stage.devices_per_rail} place(s) of {side.about}: drive and "
        "clipping are those of the worst, the crossover that of the first. Name those to be fitted in the stage file."
        for side in (upper, lower)
        if len(side.parts) > stage.stage.devices_per_rail
    ]
    return StageResult(
        version=__version__, name=stage.stage.name, npn=upper.name, pnp=lower.name, cautions=list(CAUTIONS),
        checks=checks, notes=[*notes, *more, *crowded],
        load_lines=[figure for side in (upper, lower) for figure in draw_load_lines(stage, side)],
        crossover=gain_curves(stage, flat),
        sharing=[figure for figure, _ in shares if figure is not None],
    )  # fmt: skip


def draw_load_lines(stage: Stage, side: Side) -> list[LoadLineFigure]:
    """Full-swing load lines of a side with the lines of the safe area that stand around them."""
    if stage.rails.unloaded is None:
        return []
    out = []
    for case in load_cases(stage):
        line = load_line(stage.rails.unloaded.highest, case.impedance, case.phase, stage.stage.devices_per_rail)
        at = warmth(stage, side, case, case.signal).at
        volts = np.geomspace(1.0, max(ratings_of(side.kind).vceo or 0.0, stage.rails.unloaded.total), 161)
        limits = []
        for pulse in (None, *pulses_of(side.kind)):
            where = COLD if at is None else at.case
            current = permitted(side.kind, pulse, volts, where, at.junction if at and pulse else None).current
            known = np.isfinite(current) & (current > 0.0)
            if known.any():
                name = "dc" if pulse is None else f"{pulse * 1e3:g} ms"
                limits.append(AreaLine(name=name, vce=volts[known].tolist(), ic=current[known].tolist()))
        out.append(
            LoadLineFigure(
                about=f"{side.about}, {case.name}",
                vce=line.vce[-1].tolist(),
                ic=line.ic[-1].tolist(),
                limits=limits,
                case_temperature=at.case if at else None,
            )
        )
    return out
