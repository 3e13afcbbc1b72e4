"""What the fit takes as given for a type: medians over published cards, replaced by the type's own curves where it
has them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.prior import TypeConstants
from partscreen.reference.models import Curve, ReferenceType
from partscreen.reference.population_spreads import Spreads

Floats = npt.NDArray[np.float64]
ROOM = 25.0
_JUNCTION_POTENTIALS = np.linspace(0.35, 1.05, 29)  # V; silicon, abrupt to graded (assumption)
_POTENTIAL_SD = 0.2  # V, about the spread over cards
_GRADING_SD = 0.08
_READING = 0.03
_OWN_CURVE = (
    0.2  # share of the usual spread of potential and grading left when the type's own curve is drawn (assumption)
)
_JUNCTIONS = (("C_BE", "VEB", "vje", "mje"), ("C_CB", "VCB", "vjc", "mjc"))


@dataclass(frozen=True, slots=True)
class Grading:
    """How a junction's capacitance falls with bias, and how sure that is.

    potential [V], exponent [1] and their standard deviations; `known_bias`: reverse bias [V] at which the sheets tell
    the capacitance; 0 where they do not.
    """

    potential: float
    exponent: float
    potential_std: float
    exponent_std: float
    known_bias: float

    def ln_std(self, bias: npt.ArrayLike) -> Floats:
        """Relative uncertainty of a capacitance carried from the known bias to another, from the unknown grading
        alone.
        """
        v = np.asarray(bias, dtype=float)
        steps = np.log1p(v / self.potential) - np.log1p(self.known_bias / self.potential)
        slopes = [b / (self.potential * (self.potential + b)) for b in (v, self.known_bias)]
        return np.asarray(
            np.hypot(steps * self.exponent_std, self.exponent * (slopes[0] - slopes[1]) * self.potential_std)
        )


def gradings_for(
    of: ReferenceType, constants: TypeConstants, curves: Iterable[Curve], spreads: Spreads
) -> tuple[Grading, Grading]:
    """Grading of the base-emitter and of the collector-base junction."""
    drawn = {curve.quantity: curve for curve in curves}
    table = spreads.constants["NPN" if of.polarity == "NPN" else "PNP"]
    out = []
    for quantity, axis, vj, m in _JUNCTIONS:
        rows = [row for row in of.characteristics if row.symbol == quantity and axis in row.conditions]
        stated = [row.conditions[axis] for row in rows if row.typ] or [row.conditions[axis] for row in rows]
        left = _OWN_CURVE if quantity in drawn else 1.0
        known = drawn[quantity].points[0][0] if quantity in drawn else (stated[0] if stated else 0.0)
        vj_std, m_std = (left * (table[name].spread or 0.0) for name in (vj, m))
        out.append(Grading(getattr(constants, vj), getattr(constants, m), vj_std, m_std, known))
    return out[0], out[1]


def rated_current(of: ReferenceType) -> float | None:
    """Rated collector current [A]; without one twice the highest current of an hFE row (assumption: rows stop at
    half of it).
    """
    printed = of.rating("IC")
    rows = [row.conditions["IC"] for row in of.characteristics if row.symbol == "hFE" and row.conditions.get("IC")]
    return printed if printed else (2.0 * max(rows) if rows else None)


def constants_for(of: ReferenceType, ic_rated: float, curves: Iterable[Curve], spreads: Spreads) -> TypeConstants:
    """Constants of a type; only the curves given are used."""
    kept = tuple(curves)
    table = spreads.constants["NPN" if of.polarity == "NPN" else "PNP"]
    values = {name: figure.value * (ic_rated if figure.per_ampere else 1.0) for name, figure in table.items()}
    exponent = gain_temperature_exponent(kept, ic_rated)
    if exponent is not None:
        values["xtb"] = exponent
    for quantity, _, vj, m in _JUNCTIONS:
        points = [curve.points for curve in kept if curve.quantity == quantity]
        if points:
            values[vj], values[m] = junction_grading(np.array(points[0]), values[vj], values[m])
    return TypeConstants(polarity=of.polarity, ic_rated=ic_rated, **values)


def junction_grading(points: Floats, potential: float, grading: float) -> tuple[float, float]:
    """Junction potential [V] and grading exponent of a drawn capacitance curve, held to the values usual for the
    polarity.

    `points`: shape (n, 2), reverse bias [V] and capacitance [F].
    """
    bias, ln_c = points[:, 0], np.log(points[:, 1])
    best = (np.inf, potential, grading)
    for vj in _JUNCTION_POTENTIALS:
        x = np.log1p(bias / vj)
        # ln C = ln C0 - M x, with M held to the usual value; least squares in closed form.
        rows = np.column_stack([np.ones_like(x), -x]) / _READING
        normal = rows.T @ rows
        normal[1, 1] += _GRADING_SD**-2
        right = rows.T @ (ln_c / _READING)
        right[1] += grading * _GRADING_SD**-2
        solved = np.linalg.solve(normal, right)
        misfit = float(np.sum((rows @ solved - ln_c / _READING) ** 2))
        cost = misfit + ((solved[1] - grading) / _GRADING_SD) ** 2 + ((vj - potential) / _POTENTIAL_SD) ** 2
        if cost < best[0]:
            best = (cost, float(vj), float(solved[1]))
    return best[1], best[2]


def gain_temperature_exponent(curves: Iterable[Curve], ic_rated: float) -> float | None:
    """d ln hFE / d ln T (XTB) from drawn hFE curves at two or more temperatures, below a fifth of the rated current."""
    sets: dict[tuple[tuple[str, ...], float | None], dict[float, Floats]] = {}
    for curve in curves:
        if curve.quantity == "hFE" and curve.x == "IC" and curve.temperature_c is not None:
            points = np.log(np.array(sorted(curve.points)))
            sets.setdefault((curve.source, curve.conditions.get("VCE")), {})[curve.temperature_c] = points
    slopes = []
    for by_temp in sets.values():
        base = by_temp.get(ROOM)
        for degrees, points in by_temp.items():
            if base is None or degrees == ROOM:
                continue
            low = max(base[0, 0], points[0, 0])
            high = min(float(np.log(0.2 * ic_rated)), base[-1, 0], points[-1, 0])
            if high > low:
                x = np.linspace(low, high, 5)
                rise = float(np.mean(np.interp(x, *points.T) - np.interp(x, *base.T)))
                slopes.append(rise / np.log((degrees + 273.15) / (ROOM + 273.15)))
    return float(np.mean(slopes)) if slopes else None
