"""The device equations at parts given in fit coordinates: what the simulator asks of `partscreen.device`."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.device.capacitance import junction_capacitance
from partscreen.device.forward import GainPoint, SaturationPoint, gain_at, saturation_at
from partscreen.device.mapping import card_from_theta
from partscreen.device.parameters import INDEX
from partscreen.device.prior import TypeConstants

Floats = npt.NDArray[np.float64]


def gain_points(theta: Floats, constants: TypeConstants, ic: Floats, vce: Floats, temp: Floats) -> GainPoint:
    """hFE, IB and VBE at forced IC [A] and VCE [V]; `temp` is the junction's [K]; shape (n_parts, n_points)."""
    return gain_at(card_from_theta(theta, constants), ic, vce, temp)


def sat_points(theta: Floats, constants: TypeConstants, ic: Floats, ib: Floats, temp: Floats) -> SaturationPoint:
    """VCE(sat) and VBE(sat) at forced IC and IB [A], quasi-saturation included; `temp` is the junction's [K]."""
    point = saturation_at(card_from_theta(theta, constants), ic, ib, temp)
    extra = theta[:, [INDEX["qs"]]] * (ic / constants.ic_rated) ** 2
    return SaturationPoint(point.vce + extra, point.vbe, point.junction_temp, point.reached)


def base_current_points(
    theta: Floats, constants: TypeConstants, ib: Floats, vce: float, temp: Floats, shunt: Floats
) -> tuple[Floats, Floats]:
    """Collector current [A] and VBE [V] at a forced base current [A]; shape (n_parts, n_points).

    `shunt` [ohm], shape (n_parts,), lies across base and emitter. Bisection in ln IC: the base current rises with IC.
    NaN where more than 100 A would be needed or VCE does not suffice.
    """
    low = np.full(ib.shape, np.log(1e-7))
    high = np.log(np.minimum(100.0, 1e4 * ib))
    vce_all = np.full(ib.shape, vce)
    card = card_from_theta(theta, constants)
    for _ in range(40):
        middle = 0.5 * (low + high)
        point = gain_at(card, np.exp(middle), vce_all, temp)
        total = point.ib + point.vbe / shunt[:, None]
        too_high = ~(total < ib)  # not reached counts as too high
        high = np.where(too_high, middle, high)
        low = np.where(too_high, low, middle)
    ic = np.exp(low)
    point = gain_at(card, ic, vce_all, temp)
    good = np.abs((point.ib + point.vbe / shunt[:, None]) / ib - 1) < 1e-4
    return np.where(good, ic, np.nan), np.where(good, point.vbe, np.nan)


def capacitance_points(theta: Floats, constants: TypeConstants, junction: int, bias: float) -> Floats:
    """Capacitance [F] at a reverse bias [V], shape (n_parts,); junction 0 base-emitter, 1 collector-base."""
    name, vj, mj = (("cje", constants.vje, constants.mje), ("cjc", constants.vjc, constants.mjc))[junction]
    return junction_capacitance(np.exp(theta[:, INDEX[name]]), bias, vj, mj, constants.fc)
