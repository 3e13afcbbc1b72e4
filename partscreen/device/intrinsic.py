"""The transistor inside its series resistances: currents at given junction voltages, with derivatives.

Everything is one-dimensional here: one entry per point of one part, so that unfinished points can be picked out.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from partscreen.device.card import Card
from partscreen.device.temperature import K_OVER_Q

Floats = npt.NDArray[np.float64]

REVERSE_OFF = -0.5
"""Below this VBC [V] exp(VBC/VT) is under 1e-8 even at 300 degC: the collector junction
passes only its saturation current."""


@dataclass(slots=True)
class Point:
    """Parameters at the junction temperature of each point, shape (k,). Products and inverses are taken once."""

    vt: Floats
    is_: Floats
    inv_nf_vt: Floats
    inv_ne_vt: Floats
    inv_nr_vt: Floats
    inv_nc_vt: Floats
    bf: Floats
    br: Floats
    ise: Floats
    isc: Floats
    inv_vaf: Floats
    inv_var: Floats
    inv_ikf: Floats
    inv_ikr: Floats
    nkf: Floats
    root: bool = False  # NKF is 0.5 everywhere: a square root does

    def pick(self, which: npt.NDArray[np.intp]) -> Point:
        """The points with these indices."""
        return Point(**{name: getattr(self, name)[which] for name in _ARRAYS}, root=self.root)


_ARRAYS = tuple(f.name for f in fields(Point) if f.name != "root")


def point_from_card(card: Card, shape: tuple[int, ...]) -> Point:
    """Flatten a card (already at its junction temperature) over points of this shape, row by row."""

    def flat(value: npt.ArrayLike) -> Floats:
        return np.ascontiguousarray(np.broadcast_to(np.asarray(value, dtype=float), shape)).ravel()

    vt = flat(K_OVER_Q * np.asarray(card.tnom))
    nkf = flat(card.nkf)
    with np.errstate(divide="ignore"):
        return Point(
            vt=vt,
            is_=flat(card.is_),
            inv_nf_vt=1.0 / (flat(card.nf) * vt),
            inv_ne_vt=1.0 / (flat(card.ne) * vt),
            inv_nr_vt=1.0 / (flat(card.nr) * vt),
            inv_nc_vt=1.0 / (flat(card.nc) * vt),
            bf=flat(card.bf),
            br=flat(card.br),
            ise=flat(card.ise),
            isc=flat(card.isc),
            inv_vaf=1.0 / flat(card.vaf),
            inv_var=1.0 / flat(card.var),
            inv_ikf=1.0 / flat(card.ikf),
            inv_ikr=1.0 / flat(card.ikr),
            nkf=nkf,
            root=bool(np.all(nkf == 0.5)),
        )


@dataclass(slots=True)
class Currents:
    """Currents at given junction voltages, shape (k,), and what their derivatives are built from."""

    ic: Floats
    ib: Floats
    forward: Floats  # ideal transport current IS (exp(VBE/NF VT) - 1)
    reverse: Floats
    leak_e: Floats
    leak_c: Floats
    transport: Floats  # (forward - reverse)/qb
    q1: Floats
    qb: Floats
    arg: Floats  # 1 + 4 q2
    root: Floats  # arg**NKF
    kappa: Floats  # d ln qb / d q2
    ic_forward: Floats  # d ic / d forward, qb included
    ic_reverse: Floats
    ic_vbe: Floats
    ic_vbc: Floats
    ib_vbe: Floats
    ib_vbc: Floats


def currents(p: Point, vbe: Floats, vbc: Floats) -> Currents:
    """Collector and base current at junction voltages [V], with their derivatives.

    References
    ----------
    Xyce Reference Guide, Q_Device; ngspice bjtload.c (NKF, and both leakage diodes with their -1 terms).
    """
    forward = np.exp(vbe * p.inv_nf_vt)
    forward *= p.is_
    g_forward = forward * p.inv_nf_vt
    forward -= p.is_
    leak_e = np.exp(vbe * p.inv_ne_vt)
    leak_e *= p.ise
    g_leak_e = leak_e * p.inv_ne_vt
    leak_e -= p.ise
    reverse_on = bool((vbc > REVERSE_OFF).any())  # a point that was not reached is NaN and decides nothing
    if reverse_on:
        reverse = np.exp(vbc * p.inv_nr_vt)
        reverse *= p.is_
        g_reverse = reverse * p.inv_nr_vt
        reverse -= p.is_
        leak_c = np.exp(vbc * p.inv_nc_vt)
        leak_c *= p.isc
        g_leak_c = leak_c * p.inv_nc_vt
        leak_c -= p.isc
    else:
        reverse, leak_c = -p.is_, -p.isc
    q1 = 1.0 / (1.0 - vbc * p.inv_vaf - vbe * p.inv_var)
    arg = forward * p.inv_ikf
    arg += reverse * p.inv_ikr
    arg *= 4.0
    arg += 1.0
    np.maximum(arg, 1e-12, out=arg)
    root = np.sqrt(arg) if p.root else arg**p.nkf
    one_root = root + 1.0
    qb = 0.5 * q1 * one_root
    kappa = 4.0 * p.nkf * root / (arg * one_root)
    inv_qb = 1.0 / qb
    transport = (forward - reverse) * inv_qb
    ic_forward = inv_qb - transport * kappa * p.inv_ikf
    inv_br = 1.0 / p.br
    inv_bf = 1.0 / p.bf
    ic_reverse = -inv_qb - transport * kappa * p.inv_ikr - inv_br
    tq = transport * q1
    ic_vbe = ic_forward * g_forward - tq * p.inv_var
    ic_vbc = -tq * p.inv_vaf
    ib = forward * inv_bf + leak_e + reverse * inv_br + leak_c
    ib_vbe = g_forward * inv_bf + g_leak_e
    if reverse_on:
        ic_vbc = ic_vbc + ic_reverse * g_reverse - g_leak_c
        ib_vbc = g_reverse * inv_br + g_leak_c
    else:
        ib_vbc = np.zeros_like(ib)
    ic = transport - reverse * inv_br - leak_c
    return Currents(
        ic, ib, forward, reverse, leak_e, leak_c, transport, q1, qb, arg, root, kappa,
        ic_forward, ic_reverse, ic_vbe, ic_vbc, ib_vbe, ib_vbc,
    )  # fmt: skip


def base_resistance(ib: Floats, qb: Floats, rb: Floats, rbm: Floats, irb: Floats) -> tuple[Floats, Floats]:
    """Base resistance [ohm] and, for the IRB form, ib * d/d ib of it (zero for the qb form). All of shape (k,).

    References
    ----------
    ngspice bjtload.c, constants 14.59025 and 2.4317 as there.
    """
    finite = np.isfinite(irb)
    value = rbm + (rb - rbm) / qb
    slope = np.zeros_like(value)
    if np.any(finite):
        shape, shape_slope = _irb_shape(ib / irb)
        value = np.where(finite, rbm + (rb - rbm) * shape, value)
        slope = np.where(finite, (rb - rbm) * shape_slope, 0.0)
    return value, slope


def _irb_shape(ratio: Floats) -> tuple[Floats, Floats]:
    """3 (tan z - z)/(z tan^2 z) with z(ratio), and its derivative to ln ratio."""
    r = np.maximum(ratio, 1e-9)
    s = np.sqrt(r)
    w = np.sqrt(1.0 + 14.59025 * r)
    z = (w - 1.0) / (2.4317 * s)
    t = np.tan(z)
    small = z < 0.05
    zz = z * z
    with np.errstate(divide="ignore", invalid="ignore"):
        over = (t - z) / (z * t * t)
        value = 3.0 * over
        slope = 3.0 * (1.0 / z - over / z - 2.0 * over * (1.0 + t * t) / t)
    # Below z = 0.05 tan z - z cancels: series to z^4.
    value = np.where(small, 1.0 - (4.0 / 15.0) * zz - 0.0380952 * zz * zz, value)
    slope = np.where(small, -(8.0 / 15.0) * z - 0.152381 * zz * z, slope)
    dz_dln = 14.59025 * r / (2.0 * w * 2.4317 * s) - 0.5 * z
    return value, np.where(ratio > 1e-9, slope * dz_dln, 0.0)
