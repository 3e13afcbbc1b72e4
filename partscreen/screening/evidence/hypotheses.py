"""What a part could be instead of what its marking says: families of Gaussian hypotheses about its parameters.

Every family carries all the nuisances of the marked type (an alternative narrower than the marked type was found to
lose a fifth of its power). Shifts and weights are assumptions, chosen to span what has been described of substituted
and worn parts, not learned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import INDEX
from partscreen.screening.evidence.linear import AREA, N_COORDINATES

Floats = npt.NDArray[np.float64]

AREAS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.25, 1.5, 1.8)
LOW_GAINS, HIGH_GAINS = (-0.68, -0.5, -0.33), (0.35, 0.6)  # ln BF against the lot; a high gain is rarely a fault
LEAKS = (0.8, 1.6, 3.0)  # ln of recombination current against the lot
BONDS = (0.7, 1.6)  # ln of RE and RC against the lot
GRADES = (0.35, 0.7)  # voltage grade lower: ln RC and VAF down by this, ln CJC up by half of it

OTHER_PROCESS = ", other process"
OTHER_SLOPE = ", other slope"

TYPES_WEIGHT = 0.2
"""Prior weight of "a die of another library type" among the alternatives (assumption)."""


@dataclass(frozen=True, slots=True)
class Family:
    """Hypotheses with one covariance about centres shifted from the lot's.

    names : (h,), kind : "die" or "unfit" (a substitution, or a part of the type that is not sound)
    shifts : (h, q); ln_weights : (h,), natural log of the prior weight among all alternatives; spread : (q, q)
    """

    kind: str
    theme: str
    names: tuple[str, ...]
    shifts: Floats
    ln_weights: Floats
    spread: Floats


def area_name(area: float) -> str:
    """Of the hypothesis of a die of another area."""
    return f"die area {area:g} of the type's"


def _shift(**parts: float) -> Floats:
    out = np.zeros(N_COORDINATES)
    for name, value in parts.items():
        out[INDEX[name]] = value
    return out


def _wider(spread: Floats, **sds: float) -> Floats:
    out = spread.copy()
    for name, sd in sds.items():
        out[INDEX[name], INDEX[name]] += sd**2
    return out


def families(within: Floats, device: Floats) -> tuple[Family, ...]:
    """All alternatives that are told relative to the lot's own centre.

    Parameters
    ----------
    within, device : arrays, shape (q, q)
        Spread of parts within a lot, and of lots without session errors.
    """
    area = np.log(AREAS)[:, None] * AREA
    names = tuple(area_name(a) for a in AREAS)
    leaks = tuple(f"base-emitter leak {np.exp(g):.0f} times the lot's" for g in LEAKS)
    leak_shifts = np.stack([_shift(leak=g) for g in LEAKS])
    return (
        _family("die", "area", names, area, 0.25, within + 0.5 * device),
        _family("die", "area", tuple(n + OTHER_PROCESS for n in names), area, 0.10, within + 2.0 * device),
        _family("unfit", "low gain", *_gains(LOW_GAINS), 0.15, _wider(within, bf=0.08)),
        _family("unfit", "high gain", *_gains(HIGH_GAINS), 0.02, _wider(within, bf=0.08)),
        _family("unfit", "leak", leaks, leak_shifts, 0.06, _wider(within, leak=0.4)),
        # A worn junction may leak with a slope of its own.
        _family(
            "unfit", "leak", tuple(n + OTHER_SLOPE for n in leaks), leak_shifts, 0.06, _wider(within, leak=0.4, ne=0.35)
        ),
        _family(
            "unfit",
            "bond",
            tuple(f"bond resistance {np.exp(g):.0f} times the lot's" for g in BONDS),
            np.stack([_shift(re=g, rc=0.5 * g) for g in BONDS]),
            0.05,
            _wider(within, re=0.4, rc=0.3),
        ),
        _family(
            "die",
            "voltage grade",
            tuple(f"lower voltage grade {np.exp(-g):.2f}" for g in GRADES),
            np.stack([_shift(rc=-g, vaf=-g, cjc=0.5 * g) for g in GRADES]),
            0.05,
            _wider(within, rc=0.2, vaf=0.3, cjc=0.1),
        ),
        _family(
            "unfit", "unlike", ("unlike any known part",), np.zeros((1, N_COORDINATES)), 0.06, 9.0 * within + device
        ),
    )


def _gains(shifts: tuple[float, ...]) -> tuple[tuple[str, ...], Floats]:
    return tuple(f"gain {np.exp(g):.2f} of the lot's" for g in shifts), np.stack([_shift(bf=g) for g in shifts])


def _family(kind: str, theme: str, names: tuple[str, ...], shifts: Floats, weight: float, spread: Floats) -> Family:
    return Family(kind, theme, names, shifts, np.full(len(names), np.log(weight / len(names))), spread)
