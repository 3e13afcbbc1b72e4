"""Gain of a complementary emitter follower near crossover, from the devices' own curves.

Each device is a curve of base-to-output voltage (VBE at its terminals and the drop of its emitter resistor) against
emitter current. Devices of a side share the voltage, their currents add; the two sides share the bias voltage. The
terminal VBE holds the drops of the device's internal emitter and base resistance, so they need no separate treatment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.card import Card
from partscreen.device.forward import gain_at
from partscreen.device.predict import predict_gain
from partscreen.device.prior import TypeConstants
from partscreen.device.temperature import thermal_voltage

Floats = npt.NDArray[np.float64]

LOWEST, PER_DECADE = 1e-7, 60
LEAST_VCE = 2.0  # [V]; below it the device saturates, which the curves do not go into
RANGE = 16.0
"""How far from zero the gain is looked at, in idle currents of the 26 mV criterion, (kT/q)/R: at 0.22 ohm 1.9 A a
device. There the side that rests is off and the gain has levelled out (assumption; the table of check values that the
tests hold runs to 2 A)."""


@dataclass(frozen=True, slots=True)
class DeviceCurve:
    """`current`: emitter current [A], rising; `voltage`: base to output, emitter resistor included [V]; shape (n,).

    `ohms`: emitter resistor; `thermal`: kT/q of the junction [V].
    """

    current: Floats
    voltage: Floats
    ohms: float
    thermal: float


def current_grid(highest: float) -> Floats:
    """Collector currents at which curves are taken. [A]"""
    decades = np.log10(highest / LOWEST)
    return np.asarray(np.geomspace(LOWEST, highest, int(decades * PER_DECADE)))


def _along_load_line(ic: Floats, rail: float, load: float) -> Floats:
    """VCE of a device whose own current lifts the output: rail - load * ic, not below LEAST_VCE. [V]"""
    return np.maximum(rail - load * ic, LEAST_VCE)


def curve_from_card(
    card: Card, ohms: float, rail: float, junction: float, highest: float, load: float = 0.0
) -> DeviceCurve:
    """Of a device by its parameters.

    Parameters
    ----------
    card : Card of scalars
    ohms : emitter resistor [ohm]
    rail : VCE at no output [V]
    junction : temperature [K]
    highest : collector current up to which the curve is taken [A]
    load : what the device's current flows through [ohm]: the load times the number of devices that share it. VCE falls
        along the load line, and with it the Early effect; 0: VCE stays at `rail`.
    """
    ic = current_grid(highest)
    found = gain_at(card, ic[None, :], _along_load_line(ic, rail, load)[None, :], junction)
    emitter, vbe = ic + found.ib[0], found.vbe[0]
    return _curve(emitter, vbe, ohms, junction)


def curve_from_fit(
    theta: npt.ArrayLike,
    constants: TypeConstants,
    ohms: float,
    rail: float,
    junction: float,
    highest: float,
    load: float = 0.0,
) -> DeviceCurve:
    """Of a fitted part (coordinates of `partscreen.device.parameters`, shape (n_parameters,)); else as for a card."""
    ic = current_grid(highest)
    vce = _along_load_line(ic, rail, load)[None, :]
    found = predict_gain(np.atleast_2d(theta), constants, ic[None, :], vce, junction, jacobian=False)
    return _curve(ic * (1.0 + np.exp(-found.ln_hfe[0])), found.vbe[0], ohms, junction)


def ideal_curve(ohms: float, junction: float, highest: float, saturation: float = 1e-12) -> DeviceCurve:
    """Of an ideal junction without internal resistance: VT ln(I/IS)."""
    current = current_grid(highest)
    return _curve(current, thermal_voltage(junction) * np.log(current / saturation), ohms, junction)


def _curve(emitter: Floats, vbe: Floats, ohms: float, junction: float) -> DeviceCurve:
    known = np.isfinite(emitter) & np.isfinite(vbe)
    if known.sum() < 2:
        raise ValueError(f"the device model knows no curve at {junction:.0f} K")
    voltage = vbe[known] + emitter[known] * ohms
    rising = np.concatenate(([True], np.diff(voltage) > 1e-12))
    return DeviceCurve(emitter[known][rising], voltage[rising], ohms, float(thermal_voltage(junction)))


class OneSide:
    """Devices in parallel: their common base-to-output voltage against their total current."""

    def __init__(self, devices: Sequence[DeviceCurve]) -> None:
        from scipy.interpolate import CubicSpline

        self.devices = tuple(devices)
        self.splines = [CubicSpline(d.voltage, np.log(d.current)) for d in devices]
        self.low = max(float(d.voltage[0]) for d in devices)
        self.high = min(float(d.voltage[-1]) for d in devices)

    def shares(self, voltage: npt.ArrayLike) -> Floats:
        """Emitter current of each device [A], shape (n_devices, ...)."""
        at = np.asarray(voltage, dtype=float)
        return np.stack([np.exp(spline(at)) for spline in self.splines])

    def current(self, voltage: npt.ArrayLike) -> Floats:
        """Total current [A]; off (zero) below the curves' lowest voltage."""
        v = np.asarray(voltage, dtype=float)
        return np.asarray(np.where(v < self.low, 0.0, self.shares(np.clip(v, self.low, self.high)).sum(axis=0)))

    def conductance(self, voltage: npt.ArrayLike) -> Floats:
        """d current/d voltage. [A/V]"""
        v = np.asarray(voltage, dtype=float)
        inside = np.clip(v, self.low, self.high)
        slopes = sum(np.exp(s(inside)) * s(inside, 1) for s in self.splines)
        return np.asarray(np.where(v < self.low, 0.0, slopes))

    def voltage_at(self, current: float) -> float:
        """The voltage at a total current [V].

        Raises
        ------
        ValueError
            The curves do not reach so far.
        """
        from scipy.optimize import brentq

        ends = self.current(np.array([self.low, self.high]))
        if not ends[0] <= current <= ends[1]:
            raise ValueError(
                f"a current of {current:.3g} A lies outside of the curves ({ends[0]:.3g} to {ends[1]:.3g} A)"
            )
        found = brentq(lambda v: np.log(float(self.current(v))) - np.log(current), self.low, self.high, xtol=1e-12)
        return float(found)


@dataclass(frozen=True, slots=True)
class Crossover:
    """Of one bias. `current`: output current [A], rising, positive from the upper side; `resistance`: of the output
    [ohm]; `gain`: into the load; `idle`: idle current of one side [A]; `spread`: bias voltage between the bases [V]."""

    current: Floats
    resistance: Floats
    gain: Floats
    idle: float
    spread: float


def crossover(upper: OneSide, lower: OneSide, idle: float, load: float, reach: float, points: int = 401) -> Crossover:
    """Gain against output current.

    Parameters
    ----------
    upper, lower : OneSide
    idle : float
        Idle current of a side, all devices together [A].
    load : float
        [ohm]
    reach : float
        Output currents from -reach to reach [A].
    """
    spread = upper.voltage_at(idle) + lower.voltage_at(idle)
    top, bottom = upper.voltage_at(reach + idle), spread - lower.voltage_at(reach + idle)
    # Steps of well under kT/q resolve the change from one side to the other.
    voltage = np.linspace(bottom, top, max(points, int((top - bottom) / 5e-4)))
    current = upper.current(voltage) - lower.current(spread - voltage)
    resistance = 1.0 / (upper.conductance(voltage) + lower.conductance(spread - voltage))
    inside = np.abs(current) <= reach
    current, resistance = current[inside], resistance[inside]
    return Crossover(current, resistance, load / (load + resistance), idle, spread)


def ripple(found: Crossover) -> float:
    """Largest less smallest gain over the range."""
    return float(found.gain.max() - found.gain.min())


def conducting_resistance(side: OneSide, current: float) -> float:
    """Output resistance of a side that carries everything [ohm]: at `current` [A], less the junctions' own kT/(qI).

    What is left are emitter resistors, internal emitter resistance and base resistance over gain: the value the output
    resistance settles to on large signals.
    """
    at = side.voltage_at(current)
    shares = side.shares(at)
    slopes = np.array([float(np.exp(s(at)) * s(at, 1)) for s in side.splines])
    each = 1.0 / slopes - np.array([d.thermal for d in side.devices]) / shares
    return float(1.0 / np.sum(1.0 / each))


def flattest_idle(upper: OneSide, lower: OneSide, reach: float) -> float:
    """Idle current of a side [A] at which the output resistance at idle equals that of one conducting side.

    With less idle current the gain dips at zero, with more it rises there; the two humps beside zero stay.

    References
    ----------
    B. M. Oliver, Distortion in Complementary-Pair Class-B Amplifiers, February 1971 (memory): kT/(qI) equal to the
    emitter resistance. The resistance is the whole one, internal part included (derived).
    """
    from scipy.optimize import brentq

    wanted = 0.5 * (conducting_resistance(upper, reach) + conducting_resistance(lower, reach))

    def excess(log_idle: float) -> float:
        idle = float(np.exp(log_idle))
        both = sum(float(side.conductance(side.voltage_at(idle))) for side in (upper, lower))
        return float(np.log(1.0 / both / wanted))

    return float(np.exp(brentq(excess, np.log(reach * 1e-4), np.log(reach), xtol=1e-9)))


def least_ripple_idle(upper: OneSide, lower: OneSide, load: float, reach: float, flattest: float) -> float:
    """Idle current of a side [A] at which the gain over -reach to reach wanders least; looked for below `flattest`.

    It lies some way below the criterion's figure, as within a finite range the gain of the conducting side has not
    settled yet.
    """
    from scipy.optimize import minimize_scalar

    def cost(share: float) -> float:
        return ripple(crossover(upper, lower, share * flattest, load, reach))

    shares = np.linspace(0.3, 1.1, 17)
    best = int(np.argmin([cost(float(share)) for share in shares]))
    ends = float(shares[max(best - 1, 0)]), float(shares[min(best + 1, len(shares) - 1)])
    return flattest * float(minimize_scalar(cost, bounds=ends, method="bounded", options={"xatol": 1e-3}).x)
