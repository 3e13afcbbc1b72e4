"""Simulated instruments and what a bench does with them. All figures are assumptions."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BenchKit:
    """One set of instruments and the way it is used.

    ic_max : largest collector current it forces [A]
    gain_noise, vbe_noise, sat_noise : standard deviation of one reading's noise: hFE (relative), VBE [V], VCE(sat) [V]
    sat_noise_relative : further noise on VCE(sat), relative
    gain_error, voltage_error : standard deviation of errors shared by a session: hFE (relative), VBE and VCE (relative)
    step_current, step_voltage : last digit of base current (relative to the range in use) and of voltages [V]
    lead : collector-emitter lead resistance inside the VCE reading [ohm]; zero where sensed at the part
    capacitance_noise : relative; fixture : capacitance of the fixture left inside the reading [F]; step_capacitance [F]
    dwell : time current flows per point [s]; pulses so short that `pulsed` holds leave the junction at case temperature
    base_limit, base_volts : what the base supply gives at most [A], [V]; points that need more are not read
    pause : time between points [s]; heat_sink : case to air [K/W]; heat_time : time constant of the case on it [s]
    """

    name: str
    ic_max: float
    gain_noise: float = 0.003
    vbe_noise: float = 0.0004
    sat_noise: float = 0.0006
    sat_noise_relative: float = 0.004
    gain_error: float = 0.005
    voltage_error: float = 0.0005
    step_current: float = 1e-4
    step_voltage: float = 1e-4
    lead: float = 0.0
    capacitance_noise: float = 0.005
    fixture: float = 0.0
    step_capacitance: float = 1e-12
    dwell: float = 3e-4
    pulsed: bool = True
    base_limit: float = 2.0
    base_volts: float = 3.0
    pause: float = 0.5
    heat_sink: float = 2.0
    heat_time: float = 90.0


# Four sizes of bench: a handheld tester, a bench supply with meters, a small rig, a pulsed rig (assumption).
KITS: dict[float, BenchKit] = {
    0.2: BenchKit(
        "0.2 A", 0.2, gain_noise=0.005, vbe_noise=0.001, step_voltage=1e-3, dwell=0.2, pulsed=False, lead=0.02
    ),
    1.0: BenchKit("1 A", 1.0, gain_noise=0.004, vbe_noise=0.0008, dwell=0.5, pulsed=False, lead=0.06, gain_error=0.008),
    5.0: BenchKit("5 A", 5.0, lead=0.02, dwell=0.02, pulsed=False, pause=1.0),
    10.0: BenchKit("10 A", 10.0),
}


@dataclass(frozen=True, slots=True)
class Plan:
    """Which points are read on every part, in the order in which they are read.

    gain_ic, gain_vce : forced collector current [A] and VCE [V] of the gain sweep
    base_steps : base currents of a base-current-stepped gain sweep [A]; used instead of `gain_ic` where given
    sat_ic, forced_gain : collector currents [A] of VCE(sat) and IC/IB
    capacitance : (junction, reverse bias [V]); junction 0 base-emitter, 1 collector-base
    """

    gain_ic: Floats = field(default_factory=lambda: np.empty(0))
    gain_vce: float = 5.0
    base_steps: Floats | None = None
    sat_ic: Floats = field(default_factory=lambda: np.empty(0))
    forced_gain: float = 10.0
    capacitance: tuple[tuple[int, float], ...] = ()


def plan_up_to(
    ic_max: float, *, n_gain: int = 14, n_sat: int = 8, both_ways: bool = False, with_c: bool = True
) -> Plan:
    """A plan that fills a kit's range: gain from 10 mA, VCE(sat) at a forced gain of 10, C_BE and C_CB at 0 V and 10 V.

    `both_ways` reads the gain sweep up and down again: what heats shows as a difference.
    """
    up = np.geomspace(0.01, ic_max, n_gain)
    gain = np.concatenate([up, up[-2::-1]]) if both_ways else up
    spots = ((0, 0.0), (1, 10.0)) if with_c else ()
    return Plan(gain_ic=gain, sat_ic=np.geomspace(min(0.1, ic_max / 4), ic_max, n_sat), capacitance=spots)


@dataclass(frozen=True, slots=True)
class Sitting:
    """The surroundings of one session.

    air : temperature of the room at the start [K]; drift : its rise [K/h]; logged : case temperature is written down
    start : time of the first part since the session began [s]
    session : number of the session; sittings of one number share the kit's gain and voltage error. None: its own
    supply_limit : collector supply's current limit [A], for parts named in `clipped` only
    """

    air: float = 297.15
    drift: float = 0.0
    logged: bool = True
    start: float = 0.0
    session: int | None = None
    supply_limit: float = np.inf
    clipped: tuple[str, ...] = ()
