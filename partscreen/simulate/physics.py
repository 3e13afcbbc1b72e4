"""The device equations at parts given in fit coordinates: what the simulator asks of `partscreen.device`."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.device.card import Card
from partscreen.device.forward import GainPoint, SaturationPoint, gain_at, saturation_at
from partscreen.device.parameters import INDEX, PARAMETERS
from partscreen.device.prior import TypeConstants

Floats = npt.NDArray[np.float64]

LEAK_CURRENT = 0.01  # collector current at which the coordinate `leak` is defined [A]


def cards_of(theta: Floats, constants: TypeConstants) -> Card:
    """Gummel-Poon cards of parts; every value of shape (n_parts, 1).

    The base resistance takes the IRB form down to zero (RBM = 0, assumption: nothing in a DC sweep shows RBM).
    """
    value = {p.name: np.exp(theta[:, [INDEX[p.name]]]) if p.log else theta[:, [INDEX[p.name]]] for p in PARAMETERS}
    # ISE exp(v / NE VT) is `leak` where the ideal collector current IS exp(v / NF VT) is 10 mA.
    ise = value["leak"] * (value["is"] / LEAK_CURRENT) ** (value["nf"] / value["ne"])
    return Card(
        is_=value["is"], bf=value["bf"], nf=value["nf"], vaf=value["vaf"], ikf=value["ikf"], nkf=value["nkf"],
        ise=ise, ne=value["ne"], br=value["br"], nr=value["nf"], var=constants.var, ikr=constants.ikr,
        isc=constants.isc, nc=constants.nc, rb=value["rb"], rbm=0.0, irb=value["irb"], re=value["re"], rc=value["rc"],
        cje=value["cje"], vje=constants.vje, mje=constants.mje, cjc=value["cjc"], vjc=constants.vjc, mjc=constants.mjc,
        fc=constants.fc, xtb=constants.xtb, xti=constants.xti, eg=constants.eg, tnom=constants.tnom,
    )  # fmt: skip


def gain_points(theta: Floats, constants: TypeConstants, ic: Floats, vce: Floats, temp: Floats) -> GainPoint:
    """hFE, IB and VBE at forced IC [A] and VCE [V]; `temp` is the junction's [K]; shape (n_parts, n_points)."""
    return gain_at(cards_of(theta, constants), ic, vce, temp)


def sat_points(theta: Floats, constants: TypeConstants, ic: Floats, ib: Floats, temp: Floats) -> SaturationPoint:
    """VCE(sat) and VBE(sat) at forced IC and IB [A], quasi-saturation included; `temp` is the junction's [K]."""
    point = saturation_at(cards_of(theta, constants), ic, ib, temp)
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
    card = cards_of(theta, constants)
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
    """Capacitance [F] at a reverse bias [V], shape (n_parts,); junction 0 base-emitter, 1 collector-base.

    References
    ----------
    Depletion law C = CJ (1 + VR/VJ)^-M (Sze, Physics of Semiconductor Devices; SPICE junction capacitance).
    """
    name, vj, mj = (("cje", constants.vje, constants.mje), ("cjc", constants.vjc, constants.mjc))[junction]
    return np.asarray(np.exp(theta[:, INDEX[name]]) * (1.0 + bias / vj) ** -mj)
