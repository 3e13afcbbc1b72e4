"""What parts that go together should read in a stage: by their own curves, or by the VBE differences of the match."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.temperature import thermal_voltage
from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.library import Library
from partscreen.results.matching import MatchedPart, MatchedSet
from partscreen.results.stage import SharingFigure, StageResult
from partscreen.stage.devices import KnownPart, Side
from partscreen.stage.judge import placed, sides_of
from partscreen.stage.model import Stage
from partscreen.stage.sharing import share_side

Floats = npt.NDArray[np.float64]
OWN_CURVES = "the parts' own curves"
DIFFERENCES = (
    "the VBE differences of the match (mean over its working currents), all at one temperature, emitter resistors "
    "alike; results of screen give nearer figures"
)
THERMAL_25 = float(thermal_voltage(ZERO_CELSIUS + 25.0))
"""kT/q at 25 degC. [V]"""


@dataclass(frozen=True, slots=True)
class Expected:
    """Warm drops [V] by (lot, part), and on what they rest; `why`: why a set has none."""

    drops: dict[tuple[str, str], float]
    basis: str = ""
    why: str = ""


def split_idle(vbe: Floats, ohms: Floats, total: float, thermal: float = THERMAL_25) -> Floats:
    """Currents of ideal junctions on one base voltage, each with its emitter resistor, at one temperature. [A]

    Parameters
    ----------
    vbe : differences of VBE at equal current from any common value [V], shape (n,)
    ohms : emitter resistors [ohm], shape (n,)
    total : current of all [A]
    thermal : kT/q [V]

    Notes
    -----
    thermal ln(I_i) + vbe_i + I_i R_i is the same for all i (derived; 20 mV, 0.22 ohm, 100 mA: 63 and 37 mA).
    """
    from scipy.optimize import brentq

    def currents(voltage: float) -> Floats:
        return np.array([_current(voltage - float(v), float(r), thermal) for v, r in zip(vbe, ohms, strict=True)])

    def excess(voltage: float) -> float:
        return float(np.log(currents(voltage).sum() / total))

    middle = thermal * np.log(total / vbe.size) + total / vbe.size * float(ohms.mean())
    low, high = middle + float(vbe.min()) - 0.2, middle + float(vbe.max()) + 0.2
    return currents(float(brentq(excess, low, high, xtol=1e-12)))


def _current(voltage: float, ohms: float, thermal: float) -> float:
    """I of thermal ln(I) + I R = voltage: thermal/R W(R/thermal exp(voltage/thermal))."""
    from scipy.special import wrightomega

    return float(thermal / ohms * wrightomega(voltage / thermal + np.log(ohms / thermal)).real)


def expected_drops(found: MatchedSet, stage: Stage, library: Library, parts: Sequence[KnownPart] = ()) -> Expected:
    """Warm drops of the parts of a set in a stage.

    Parameters
    ----------
    found : a pair, group or channel set of a match
    stage : Stage
    library : Library
    parts : accepted parts with fitted curves; none: the VBE differences of the match serve

    Raises
    ------
    UnusableInput
        A type of the stage is not known, or parts are given and one of the set is not among them.
    """
    from partscreen.errors import UnusableInput

    n, target, ohms = stage.stage.devices_per_rail, stage.bias.target, stage.emitter_ohms
    bare = stage.model_copy(update={"stage": stage.stage.model_copy(update={"npn_parts": (), "pnp_parts": ()})})
    upper, lower, _ = sides_of(bare, library, ())
    if target is None or ohms is None:
        absent = "bias.target" if target is None else "emitter_resistors.marked"
        return Expected({}, why=f"the stage file does not state {absent}")
    strange = sorted({p.type for p in found.places} - {upper.name, lower.name})
    if strange:
        return Expected({}, why=f"{', '.join(strange)} is not in the stage ({upper.name}, {lower.name})")
    drops: dict[tuple[str, str], float] = {}
    basis = ""
    for side in (upper, lower):
        own = [place for place in found.places if place.type == side.name]
        if not own:
            continue
        if len(own) != n:
            return Expected({}, why=f"{len(own)} {side.name} in the set, {n} place(s) on a rail")
        if n == 1:
            drops[own[0].lot, own[0].part] = target
            basis = "one device a rail reads what is set"
            continue
        if parts:
            chosen, problems = placed(parts, [f"{p.lot}/{p.part}" for p in own], "MATCH")
            if problems:
                raise UnusableInput(problems)
            figure, _ = share_side(bare, Side(side.kind, side.gain_group, chosen))
            if figure is None:
                return Expected({}, why=f"the sharing of {side.about} cannot be calculated from this stage file")
            basis = f"{OWN_CURVES}, {figure.basis}"
            drops |= _named(own, figure)
        else:
            split = _by_differences(own, ohms, n * target / ohms)
            if split is None:
                return Expected({}, why="the match tells no VBE differences within a rail")
            drops |= split
            basis = DIFFERENCES
    return Expected(drops, basis)


def drops_of(found: MatchedSet, result: StageResult) -> Expected:
    """Those of a set from the checks of the stage with its parts in the places, in the order of the set."""
    drops: dict[tuple[str, str], float] = {}
    for figure in result.sharing:
        drops |= _named([p for p in found.places if p.position[0] == figure.about[0]], figure)
    basis = next((figure.basis for figure in result.sharing), "")
    return Expected(drops, f"{OWN_CURVES}, {basis}" if drops else "", "" if drops else "the sharing is not known")


def _named(own: Sequence[MatchedPart], figure: SharingFigure) -> dict[tuple[str, str], float]:
    return {(p.lot, p.part): place.drop for p, place in zip(own, figure.places, strict=True)}


def _by_differences(own: Sequence[MatchedPart], ohms: float, total: float) -> dict[tuple[str, str], float] | None:
    told = [place.vbe_from_mean_mv for place in own]
    vbe = np.array([np.nan if value is None else value for value in told]) / 1e3
    if not np.isfinite(vbe).all():
        return None
    currents = split_idle(vbe, np.full(vbe.size, ohms), total)
    return {(p.lot, p.part): float(i) * ohms for p, i in zip(own, currents, strict=True)}
