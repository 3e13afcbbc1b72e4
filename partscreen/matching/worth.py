"""What matching buys in the stage at hand, so that the user sees when it buys nothing."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from partscreen.device.temperature import thermal_voltage
from partscreen.results import Reason

Floats = npt.NDArray[np.float64]

GOOD_EMITTER_RESISTOR = 0.1  # ohm; assumption: the smallest that power stages commonly carry
EVEN_ENOUGH = 0.10  # of an equal share: what the hotter of two devices may carry too much (assumption)
_HARDLY = 0.8  # of the excess at random: what is left of it from there on is little bought (assumption)
_JUNCTION = 298.15  # K; the curves are for 25 degC


def shared_current(total: float, vbe_difference: float, resistor: float, junction: float = _JUNCTION) -> float:
    """Current of the device that takes more of `total` [A], of two in parallel at equal temperature.

    vbe_difference [V] at equal current, resistor in each emitter [ohm], junction [K]. Solves
    kT/q ln(I1/I2) + R (I1 - I2) = difference; base current in the resistor is neglected.

    Raises
    ------
    ValueError
        total not above 0, or a negative resistor.
    """
    from scipy.optimize import brentq

    if not total > 0 or resistor < 0:
        raise ValueError(f"total {total} A and resistor {resistor} ohm; above 0 and not negative are expected")
    volt, goal = float(thermal_voltage(junction)), abs(vbe_difference)

    def miss(logit: float) -> float:
        share = 1.0 / (1.0 + math.exp(-logit))
        return volt * logit + resistor * total * (2.0 * share - 1.0) - goal

    logit = float(brentq(miss, 0.0, goal / volt + 1.0))
    return total / (1.0 + math.exp(-logit))


def worth_reasons(
    vbe_differences: Floats, matched: Floats, *, per_rail: int | None, resistor: float | None, idle: float | None
) -> list[Reason]:
    """What to say before any table.

    Parameters
    ----------
    vbe_differences : between parts of one polarity as they come from the bag, all of them [V]
    matched : between parts that share a rail of the sets chosen [V]
    per_rail, resistor [ohm], idle [A per device] : the stage; None where not told
    """
    if per_rail == 1:
        return [_one_pair(resistor)]
    if per_rail is None:
        return [
            Reason(
                code="STAGE_NOT_TOLD",
                sentence="With one pair per rail and good emitter resistors matching is pointless: no two devices "
                "share a current, and the bias setting takes up any difference of VBE. It matters where devices share "
                "a rail: say so with --per-rail, --emitter-resistor and --idle.",
            )
        ]
    if not vbe_differences.size:
        return []
    if resistor is None or idle is None:
        return [
            Reason(
                code="SHARING_NOT_TOLD",
                sentence=f"{per_rail} devices share a rail. What matching buys depends on the emitter resistors and "
                "the idle current: give --emitter-resistor and --idle.",
            )
        ]
    return [_sharing(vbe_differences, matched, per_rail, resistor, idle)]


def _one_pair(resistor: float | None) -> Reason:
    if resistor is not None and resistor >= GOOD_EMITTER_RESISTOR:
        return Reason(
            code="MATCHING_POINTLESS",
            sentence=f"Matching is pointless here: one pair per rail with {resistor:g} ohm in each emitter. No two "
            "devices share a current, and the bias setting takes up any difference of VBE. Any accepted NPN goes with "
            "any accepted PNP; the pairs below only make the two halves of the wave more alike.",
            figures={"emitter_resistor_ohm": resistor, "good_from_ohm": GOOD_EMITTER_RESISTOR},
        )
    told = "the emitter resistors were not told" if resistor is None else f"{resistor:g} ohm is little"
    return Reason(
        code="ONE_PAIR",
        sentence=f"One pair per rail: no two devices share a current, so matching buys no sharing; {told}, so see that "
        f"the idle current stays put when hot (at least {GOOD_EMITTER_RESISTOR:g} ohm is taken as good; assumption).",
        figures={"emitter_resistor_ohm": resistor},
    )


def _sharing(differences: Floats, matched: Floats, per_rail: int, resistor: float, idle: float) -> Reason:
    """Of two devices that share twice the idle current: the most that nine in ten pairs have, at random and matched."""
    random = float(np.quantile(differences, 0.9))
    best = float(np.quantile(matched, 0.9)) if matched.size else 0.0
    before, after = (shared_current(2 * idle, v, resistor) for v in (random, best))
    figures: dict[str, float | int | str | None] = {
        "random_mv": round(random * 1e3, 3), "matched_mv": round(best * 1e3, 3), "random_ma": round(before * 1e3, 3),
        "matched_ma": round(after * 1e3, 3), "idle_ma": idle * 1e3, "emitter_resistor_ohm": resistor,
        "per_rail": per_rail,
    }  # fmt: skip
    if before <= idle * (1 + EVEN_ENOUGH):
        return Reason(
            code="MATCHING_BUYS_LITTLE",
            sentence=f"Matching buys little: nine in ten pairs taken at random from these parts differ by no more than "
            f"{random * 1e3:.1f} mV, so that of two devices at {idle * 1e3:.0f} mA idle with {resistor:g} ohm the "
            f"hotter one carries {before * 1e3:.0f} mA at most.",
            figures=figures,
        )
    if after - idle > _HARDLY * (before - idle):
        return Reason(
            code="MATCHING_BUYS_LITTLE",
            sentence=f"Matching buys little with so few parts: nine in ten pairs taken at random differ by up to "
            f"{random * 1e3:.1f} mV, those that share a rail below by up to {best * 1e3:.1f} mV. Of two devices at "
            f"{idle * 1e3:.0f} mA idle with {resistor:g} ohm one carries up to {after * 1e3:.0f} mA either way, or "
            f"nearly ({before * 1e3:.0f} mA at random). More parts to choose from would change that.",
            figures=figures,
        )
    return Reason(
        code="MATCHING_BUYS",
        sentence=f"What matching buys: nine in ten pairs taken at random differ by up to {random * 1e3:.1f} mV, so "
        f"that of two devices at {idle * 1e3:.0f} mA idle with {resistor:g} ohm one carries up to "
        f"{before * 1e3:.0f} mA; of those that share a rail below, by up to {best * 1e3:.1f} mV and "
        f"{after * 1e3:.0f} mA.",
        figures=figures,
    )
