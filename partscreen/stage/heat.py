"""Temperatures of junction, case and heat sink: TJ = TA + P (thJC + thCS) + P_all thSA, in kelvin and watts."""

from __future__ import annotations

from dataclasses import dataclass

from partscreen.device.thermal import derated_power
from partscreen.quantities import ZERO_CELSIUS
from partscreen.stage.model import Cooling

BREAKDOWN_POINT = ZERO_CELSIUS + 260.0
"""Where the second-breakdown current limit has derated to zero [K].

Sanken, introduction to transistors, page 9 (stored copy): linear in current from 100 % at 25 degC case. Other makers
print no general rule; for their types it is an assumption.
"""


def second_breakdown_factor(case: float) -> float:
    """What is left of the second-breakdown current limit at a case temperature [K], 0 to 1."""
    return min(1.0, max(0.0, (BREAKDOWN_POINT - case) / (BREAKDOWN_POINT - ZERO_CELSIUS - 25.0)))


def thermal_factor(case: float, tj_max: float) -> float:
    """What is left of the permitted dissipation at a case temperature [K], 0 to 1."""
    return float(derated_power(1.0, case, tj_max))


@dataclass(frozen=True, slots=True)
class Temperatures:
    """[K]. `junction` is the mean over a cycle."""

    heat_sink: float
    case: float
    junction: float


def missing_cooling(cooling: Cooling) -> tuple[str, ...]:
    """Keys of the cooling table without which no temperature can be told."""
    needed = ("insulator", "heat_sink", "devices_on_heat_sink", "ambient")
    return tuple(f"cooling.{name}" for name in needed if getattr(cooling, name) is None)


def temperatures(cooling: Cooling, device_power: float, junction_to_case: float) -> Temperatures:
    """Temperatures of one device when every device on the heat sink takes `device_power` [W].

    Raises
    ------
    ValueError
        Something of the cooling is not stated (see `missing_cooling`).
    """
    absent = missing_cooling(cooling)
    if absent:
        raise ValueError(f"not stated: {', '.join(absent)}")
    assert cooling.insulator is not None
    assert cooling.heat_sink is not None
    assert cooling.devices_on_heat_sink is not None
    assert cooling.ambient is not None
    sink = cooling.ambient + cooling.heat_sink * device_power * cooling.devices_on_heat_sink
    case = sink + cooling.insulator * device_power
    return Temperatures(sink, case, case + junction_to_case * device_power)
