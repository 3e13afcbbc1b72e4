"""The safe area of a type at a case temperature: drawn lines, second breakdown and heat derated apart.

A drawn line is read on logarithmic axes. Flat stretches are the current limit and do not derate; stretches that fall
about as 1/VCE are the thermal limit; steeper ones are second breakdown. Besides the drawn line the rated dissipation
counts; the lower of them is the limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.models import ReferenceType
from partscreen.reference.rows import SafeArea
from partscreen.stage.heat import second_breakdown_factor, thermal_factor

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

FLAT = -0.1
"""A stretch with a slope (log IC over log VCE) above this is the current limit (assumption: drawn lines are read to a
few percent, over a decade 10 % tilt is reading error)."""
THERMAL = -1.15
"""A stretch steeper than this is second breakdown: constant power has slope -1, reading errors of 5 % at both ends of
an octave tilt it by 0.14 (assumption)."""
LONG = 1.0
"""From this pulse length on [s] the steady thermal limit counts too (a power package has settled by then: transient
thermal resistance figures of the library end at the steady value below 1 s)."""
RULES = ("current limit", "thermal limit", "second breakdown", "junction temperature", "end of the drawn line")


@dataclass(frozen=True, slots=True)
class Permitted:
    """`current`: permitted IC [A], NaN where no line tells; `rule`: index into RULES of what sets it."""

    current: Floats
    rule: Ints


@dataclass(frozen=True, slots=True)
class TypeRatings:
    """What limits heat: the lowest printed figure of each (conservative where editions differ). SI, kelvin."""

    vceo: float | None
    ic: float | None
    icm: float | None
    power: float | None
    tj_max: float | None
    rth_jc: float | None
    rth_derived: bool


def lowest(kind: ReferenceType, symbol: str) -> float | None:
    """The lowest rating that any edition prints."""
    return min((r.value for r in kind.ratings_of(symbol)), default=None)


def ratings_of(kind: ReferenceType) -> TypeRatings:
    """Ratings of a type; a thermal resistance that no sheet prints is (TJmax - 25 degC)/PC."""
    power, tj = lowest(kind, "PC"), lowest(kind, "TJ")
    rth = kind.rating("RTHJC")
    derived = rth is None and power is not None and tj is not None
    if derived and power is not None and tj is not None:
        rth = (tj - 25.0) / power
    return TypeRatings(
        lowest(kind, "VCEO"), lowest(kind, "IC"), lowest(kind, "ICM"), power,
        None if tj is None else tj + ZERO_CELSIUS, rth, derived,
    )  # fmt: skip


def lines_of(kind: ReferenceType, pulse: float | None) -> tuple[SafeArea, ...]:
    """The lines of one pulse length; None: the dc lines."""
    return tuple(line for line in kind.soa if line.pulse == pulse)


def pulses_of(kind: ReferenceType) -> tuple[float, ...]:
    """Pulse lengths for which lines are known [s], short to long."""
    return tuple(sorted({line.pulse for line in kind.soa if line.pulse is not None}))


def transient_resistance(kind: ReferenceType, pulse: float) -> float | None:
    """Thermal resistance for one pulse [K/W], from the sheet's figure; None where none is known or it ends before."""
    found = []
    for curve in kind.curves:
        if curve.quantity == "ZTHJC" and curve.x == "t":
            points = np.asarray(curve.points, dtype=float)
            if points[0, 0] <= pulse <= points[-1, 0]:
                found.append(float(np.exp(np.interp(np.log(pulse), np.log(points[:, 0]), np.log(points[:, 1])))))
    return max(found, default=None)


def permitted(
    kind: ReferenceType, pulse: float | None, vce: npt.ArrayLike, case: float, start: float | None = None
) -> Permitted:
    """Permitted collector current at each VCE for the lines of one pulse length; of several lines the lowest counts.

    Parameters
    ----------
    kind : ReferenceType
    pulse : float or None
        Pulse length of the lines [s]; None: dc.
    vce : array
        [V]
    case : float
        Case temperature [K].
    start : float, optional
        Temperature from which the junction starts into a pulse [K]; the case's if not given.

    Returns
    -------
    Permitted
        Shape of `vce`. Sheets that print corners only begin at some tens of volts: below the first corner, where no
        other line is drawn, its power holds, up to the rated current (assumption; every drawn line of second breakdown
        falls faster than 1/VCE, so that its power at lower VCE is no smaller). Beyond the last corner, and without a
        line of this length, NaN.
    """
    at = np.asarray(vce, dtype=float)
    ratings = ratings_of(kind)
    begin = case if start is None else start
    heat = 1.0 if ratings.tj_max is None else thermal_factor(begin, ratings.tj_max)
    breakdown = second_breakdown_factor(case)
    current, rule = np.full(at.shape, np.nan), np.full(at.shape, 4, dtype=np.int64)
    for line in lines_of(kind, pulse):
        value, which = _drawn(line, at, heat, breakdown)
        lower = np.isfinite(value) & (np.isnan(current) | (value < current))
        current, rule = np.where(lower, value, current), np.where(lower, which, rule)
    # Where nothing is drawn: of what printed corners promise for lower VCE, the highest.
    bare = np.isnan(current)
    for line in lines_of(kind, pulse):
        value, which = _carried(line, at, heat, breakdown, ratings.ic)
        higher = bare & np.isfinite(value) & (np.isnan(current) | (value > current))
        current, rule = np.where(higher, value, current), np.where(higher, which, rule)
    power = _thermal_power(kind, pulse, heat, ratings, begin)
    if power is not None:
        with np.errstate(divide="ignore"):
            hot = power / np.maximum(at, 1e-9)
        lower = np.isfinite(current) & (hot < current)
        current, rule = np.where(lower, hot, current), np.where(lower, 3, rule)
    return Permitted(current, rule)


def _thermal_power(
    kind: ReferenceType, pulse: float | None, heat: float, ratings: TypeRatings, begin: float
) -> float | None:
    if pulse is None or pulse >= LONG:
        return None if ratings.power is None else ratings.power * heat
    transient = transient_resistance(kind, pulse)
    if transient is None or ratings.tj_max is None:
        return None
    return max(0.0, ratings.tj_max - begin) / transient


def _drawn(line: SafeArea, at: Floats, heat: float, breakdown: float) -> tuple[Floats, Ints]:
    """One line where it is drawn: each stretch derated by its own factor, and NaN elsewhere."""
    corners = np.asarray(line.points, dtype=float)
    volts, rules = np.log(corners[:, 0]), rules_of(corners)
    with np.errstate(divide="ignore"):
        x = np.log(np.maximum(at, 1e-9))
    plain = np.exp(np.interp(x, volts, np.log(corners[:, 1])))
    which = rules[np.clip(np.searchsorted(volts, x, side="left") - 1, 0, len(rules) - 1)]
    value = plain * np.choose(which, [1.0, heat, breakdown])
    # What the line permits at its best corner leaves the junction at TJmax or below. Hot, that power shrinks with the
    # temperature in hand, whatever the stretch; behind the thermal stretch it is the power of its end.
    last = np.flatnonzero(rules == 1)
    power = np.full(at.shape, corners.prod(axis=1).max())
    if last.size:
        end = corners[last[-1] + 1]
        power = np.where(at > end[0], end.prod(), power)
    hot = power * heat / np.maximum(at, 1e-9)
    value, which = np.where(hot < value, hot, value), np.where(hot < value, 1, which)
    outside = (x > volts[-1] + 1e-9) | ((x < volts[0] - 1e-9) & (rules[0] != 0))
    return np.where(outside, np.nan, value), which


def _carried(line: SafeArea, at: Floats, heat: float, breakdown: float, ic: float | None) -> tuple[Floats, Ints]:
    """What a line without a flat beginning promises below its first corner; NaN elsewhere."""
    corners = np.asarray(line.points, dtype=float)
    first = int(rules_of(corners)[0])
    power = corners[0].prod() * (1.0, heat, min(heat, breakdown))[first]
    value = power / np.maximum(at, 1e-9)
    capped = value if ic is None else np.minimum(value, ic)
    below = (at < corners[0, 0]) & (first != 0)
    return np.where(below, capped, np.nan), np.where(capped < value, 0, first)


def rules_of(corners: Floats) -> Ints:
    """What limits each stretch between corners (VCE, IC), as an index into RULES; a single corner is second breakdown.

    corners : array, shape (n, 2). Returns shape (max(n - 1, 1),).
    """
    if len(corners) < 2:
        return np.array([2])
    steps = np.diff(np.log(corners), axis=0)
    slope = steps[:, 1] / np.maximum(steps[:, 0], 1e-12)
    return np.where(slope > FLAT, 0, np.where(slope >= THERMAL, 1, 2))
