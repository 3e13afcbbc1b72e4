"""Devices in parallel on one base voltage, each with its own emitter resistor, warmed by themselves and each other.

Every device satisfies V = VBE(IC, TJ) + IE RE with one common V; the emitter currents add to the total; the junction of
device i stands at TJ_i = TA + thSA sum(P) + (thJC + thCS) P_i. Unknown are the collector currents and V.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import root

from partscreen.device.card import Card
from partscreen.device.forward import gain_at

Floats = npt.NDArray[np.float64]

_SOLVED = 1e-9  # V, and share of the total current: far below what a meter shows


@dataclass(frozen=True, slots=True)
class Cooling:
    """Thermal resistances [K/W] and the air [K]. `junction_to_case`, `case_to_sink`: one device, a float or shape (n,).

    `sink_to_air` carries the heat of these devices and `other_heat` [W] of what else sits on the heat sink.
    """

    ambient: float
    junction_to_case: npt.ArrayLike = 0.0
    case_to_sink: npt.ArrayLike = 0.0
    sink_to_air: float = 0.0
    other_heat: float = 0.0

    def junctions(self, power: Floats) -> Floats:
        """Junction temperatures of the devices at their powers [W], shape (n,). [K]"""
        sink = self.ambient + self.sink_to_air * (float(power.sum()) + self.other_heat)
        own = np.asarray(self.junction_to_case, dtype=float) + np.asarray(self.case_to_sink, dtype=float)
        return np.asarray(sink + own * power)


@dataclass(frozen=True, slots=True)
class Shared:
    """How the devices share a current; arrays of shape (n,).

    `emitter`, `collector` [A]; `drop`: across the emitter resistors [V]; `junction` [K]; `power` [W]; `voltage`: base
    to the common end of the resistors [V]; `reached`: False where no working point was found, figures then NaN.
    """

    emitter: Floats
    collector: Floats
    drop: Floats
    junction: Floats
    power: Floats
    voltage: float
    reached: bool


def share_current(card: Card, total: float, vce: float, ohms: npt.ArrayLike, cooling: Cooling) -> Shared:
    """Working point of n devices in parallel that carry a total emitter current together.

    Parameters
    ----------
    card : Card
        Values of shape (n, 1), one row a device.
    total : float
        Sum of the emitter currents. [A]
    vce : float
        Collector-emitter voltage of every device, the drop of the emitter resistor left out. [V]
    ohms : array, shape (n,)
        Emitter resistors.
    cooling : Cooling

    Raises
    ------
    ValueError
        A total or VCE not above zero, or a resistor below zero.
    """
    resistors = np.asarray(ohms, dtype=float)
    n = resistors.size
    if not total > 0.0 or not vce > 0.0:
        raise ValueError(f"total current {total} A and VCE {vce} V must be above zero")
    if not np.all(resistors >= 0.0):
        raise ValueError(f"emitter resistors must not be below zero: {resistors.tolist()}")

    def work(ln_ic: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        ic = np.exp(np.clip(ln_ic, -60.0, 8.0))
        power = ic * vce
        junction = cooling.junctions(power)
        point = gain_at(card, ic[:, None], vce, junction[:, None])
        emitter = ic + point.ib[:, 0]
        return ic, emitter, point.vbe[:, 0] + emitter * resistors, junction

    def unequal(x: Floats) -> Floats:
        _, emitter, voltage, _ = work(x[:n])
        gaps = np.append(voltage - x[n], emitter.sum() / total - 1.0)
        return np.where(np.isfinite(gaps), gaps, 1e3)

    found = None
    for start in _starts(card, total, vce, resistors, cooling):
        found = root(unequal, start, method="hybr", options={"xtol": 1e-13})
        if float(np.abs(found.fun).max()) < _SOLVED:
            break
    assert found is not None
    reached = float(np.abs(found.fun).max()) < _SOLVED
    ic, emitter, _, junction = work(found.x[:n])
    if not reached:
        nothing = np.full(n, np.nan)
        return Shared(nothing, nothing, nothing, nothing, nothing, float("nan"), False)
    return Shared(emitter, ic, emitter * resistors, junction, ic * vce, float(found.x[n]), True)


def _starts(card: Card, total: float, vce: float, ohms: Floats, cooling: Cooling) -> list[Floats]:
    """Even shares at ambient temperature, then shares as cold devices would take them."""
    n = ohms.size
    even = np.full(n, total / n)
    vbe = gain_at(card, even[:, None], vce, cooling.ambient).vbe[:, 0]
    voltage = np.nan_to_num(vbe, nan=0.7) + even * ohms
    slope = 0.026 / even + ohms
    cold = np.clip(even + (voltage.mean() - voltage) / slope, 0.02 * even, None)
    cold *= total / cold.sum()
    return [np.append(np.log(ic), voltage.mean()) for ic in (even, cold)]


def loop_gain(card: Card, collector: npt.ArrayLike, vce: float, ohms: npt.ArrayLike, rise: npt.ArrayLike,
              junction: npt.ArrayLike, tracking: float = 0.0) -> Floats:  # fmt: skip
    """Electro-thermal loop gain of devices held at a fixed bias voltage: at 1 the current runs away.

    A rise of the junction by 1 K lowers VBE, which raises IE by |dVBE/dT| / (dVBE/dIC + RE), which heats the junction
    by VCE times `rise` for each ampere.

    Parameters
    ----------
    card : Card
        Values of shape (n, 1).
    collector, junction : array, shape (n,)
        Working point. [A], [K]
    ohms, rise : array, shape (n,)
        Emitter resistors; thermal resistance through which the device heats itself. [K/W]
    tracking : float
        How much of the drift of VBE the bias generator takes back (0: none, 1: all).

    Returns
    -------
    array, shape (n,)
        Dimensionless; below 1 the idle current settles.
    """
    ic, temp = (np.asarray(v, dtype=float)[:, None] for v in (collector, junction))
    step, warm = 1e-3, 0.5
    high, low = (gain_at(card, ic * np.exp(s * step), vce, temp) for s in (1.0, -1.0))
    hot, cold = (gain_at(card, ic, vce, temp + s * warm) for s in (1.0, -1.0))
    resistance = (high.vbe - low.vbe) / (2.0 * step * ic)
    drift = (hot.vbe - cold.vbe) / (2.0 * warm)
    whole = resistance[:, 0] + np.asarray(ohms, dtype=float)
    return np.asarray(vce * np.asarray(rise, dtype=float) * -drift[:, 0] * (1.0 - tracking) / whole)
