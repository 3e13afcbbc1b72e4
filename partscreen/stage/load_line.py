"""What a sine or a programme asks of the output devices: peaks, class-B dissipation, the load line of one device.

Rails are magnitudes [V], loads a magnitude [ohm] and a phase angle [rad], `share` the output peak over the rail.
Emitter resistors are left out: they take a little of VCE, so that leaving them out errs to the safe side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_SHARES = np.linspace(0.05, 1.0, 39)
_ANGLES = np.linspace(0.0, math.pi, 361)


def sine_peaks(power: float, resistance: float) -> tuple[float, float]:
    """Peak current [A] and peak voltage [V] of a sine of `power` [W] in `resistance` [ohm]: sqrt(2P/R), sqrt(2PR)."""
    return math.sqrt(2.0 * power / resistance), math.sqrt(2.0 * power * resistance)


def sine_power(rail: float, impedance: float, phase: float, share: float) -> float:
    """Average dissipation of both sides of a class-B stage together. [W]

    (VCC^2/|Z|)(2a/pi - a^2 cos(phase)/2): supply power less load power (derived; with phase 0 the handbook form,
    Boylestad and Nashelsky, Electronic Devices and Circuit Theory, class-B amplifiers).
    """
    return rail**2 / impedance * (2.0 * share / math.pi - share**2 * math.cos(phase) / 2.0)


def worst_share(phase: float) -> float:
    """Output peak over rail at which `sine_power` is largest: 2/(pi cos(phase)), at most 1."""
    return min(1.0, 2.0 / (math.pi * math.cos(phase)))


@dataclass(frozen=True, slots=True)
class Dissipation:
    """`pair`: both sides together, average [W]; `peak`: output peak at which it occurs [V]; `rail`: rail then [V]."""

    pair: float
    peak: float
    rail: float


def worst_sine(unloaded: float, loaded: float, impedance: float, phase: float) -> Dissipation:
    """Largest average dissipation over all output levels, the rails sagging in proportion to the output.

    Rail = unloaded - (unloaded - loaded) * peak/loaded, as the average current goes with the output peak. With both
    rails equal this is `sine_power` at `worst_share`.
    """
    sag = (unloaded - loaded) / loaded
    peak = min(loaded, 2.0 * unloaded / math.pi / (4.0 * sag / math.pi + math.cos(phase)))
    rail = unloaded - sag * peak
    return Dissipation(peak / impedance * (2.0 * rail / math.pi - peak * math.cos(phase) / 2.0), peak, rail)


def programme(unloaded: float, loaded: float, impedance: float, phase: float, crest: float) -> Dissipation:
    """Average dissipation on programme whose peaks just reach clipping.

    The output is taken as Gaussian noise of rms loaded/crest, clipped at the rail (assumption: the usual stand-in for
    music; it gives both means in closed form). Other arguments as in `worst_sine`.
    """
    rms = loaded / crest
    tail = math.exp(-(crest**2) / 2.0)
    beyond = math.erfc(crest / math.sqrt(2.0))
    mean = rms * (math.sqrt(2.0 / math.pi) * (1.0 - tail) + crest * beyond)
    square = rms**2 * ((1.0 - beyond) - crest * math.sqrt(2.0 / math.pi) * tail + crest**2 * beyond)
    # A sine of peak p has a mean of 2p/pi: the rail sags as with the sine of equal mean.
    rail = unloaded - (unloaded - loaded) / loaded * min(mean * math.pi / 2.0, loaded)
    return Dissipation((rail * mean - square * math.cos(phase)) / impedance, loaded, rail)


def instantaneous_peak(rail: float, impedance: float, phase: float) -> float:
    """Highest instantaneous dissipation in one side at full swing. [W]

    (VCC^2/|Z|)(1 - sin(150 deg + 2 phase/3)) sin(150 deg - phase/3) (derived).
    """
    base = math.radians(150.0)
    return rail**2 / impedance * (1.0 - math.sin(base + 2.0 * phase / 3.0)) * math.sin(base - phase / 3.0)


@dataclass(frozen=True, slots=True)
class LoadLine:
    """VCE [V] and IC [A] of one device, shape (n_levels, n_angles): levels up to full swing, over its half cycle."""

    vce: Floats
    ic: Floats

    @property
    def angle_step(self) -> float:
        """Share of a whole cycle that one angle stands for."""
        return 0.5 / float(self.ic.shape[1] - 1)


def load_line(rail: float, impedance: float, phase: float, devices: int) -> LoadLine:
    """The load lines of one of `devices` sharing a side equally, at all levels from a twentieth to full swing."""
    level = _SHARES[:, None] * rail
    vce = rail - level * np.sin(_ANGLES + phase)
    ic = level / impedance * np.sin(_ANGLES) / devices
    return LoadLine(vce, np.maximum(ic, 0.0))
