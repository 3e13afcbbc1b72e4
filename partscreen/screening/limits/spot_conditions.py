"""Numbers that stand in the conditions of a spot reading."""

from __future__ import annotations

import numpy as np

ROOM_TEMPERATURE = 298.15


def number_of(conditions: dict[str, float | str], *names: str) -> float:
    for name in names:
        found = conditions.get(name)
        if isinstance(found, int | float):
            return abs(float(found))
    return float("nan")


def spot_base_current(conditions: dict[str, float | str]) -> float:
    """IB of a saturation reading, stated or from the forced gain; NaN where neither is. [A]"""
    ib = number_of(conditions, "IB")
    ratio, ic = number_of(conditions, "IC_over_IB"), number_of(conditions, "IC")
    return ib if np.isfinite(ib) else ic / ratio if ratio else float("nan")


def spot_temperature(conditions: dict[str, float | str], temperature: float | None) -> float:
    """Case temperature of a spot reading, stated or assumed. [K]"""
    stated = number_of(conditions, "TC", "TJ", "TA")
    if np.isfinite(stated):
        return stated
    return ROOM_TEMPERATURE if temperature is None else temperature
