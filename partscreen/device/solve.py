"""Junction voltages of a transistor at forced terminal conditions: damped two-dimensional Newton in (VBE, VBC), in
volts.

One-dimensional arrays, one entry per point. A point that is not reached is NaN, never a number.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.intrinsic import Currents, Point, currents

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

VCE_SAT_MAX = 5.0
"""A collector-emitter voltage above this [V] is no saturation voltage: the point counts as not reached (assumption:
every type in use saturates well below 3 V at its rated current; a forced gain it cannot give needs tens of volts)."""

_STEP = 0.1  # largest move of a conducting junction per step [V]: four thermal voltages, a factor 50 in current
TOLERANCE = 3e-7
"""Last Newton step [V]. Convergence is quadratic: what remains is about step^2/VT, below 1e-11 V."""
WARM_TOLERANCE = 3e-5
"""The same inside a fit, from a solution nearby: what remains is below 1e-7 V, a ten-thousandth of any reading's
uncertainty."""


@dataclass(slots=True)
class Forced:
    """Terminal conditions. `vce` NaN: no collector voltage known, the collector junction is taken at zero bias."""

    ic: Floats
    other: Floats  # VCE [V] or IB [A]
    rc: Floats
    re: Floats

    def pick(self, which: npt.NDArray[np.intp]) -> Forced:
        return Forced(self.ic[which], self.other[which], self.rc[which], self.re[which])


System = tuple[Floats, Floats, Floats, Floats, Floats, Floats]


def _log_residual(value: Floats, target: Floats) -> Floats:
    """value * ln(value/target): a Newton step on the logarithm, where the exponential makes that the straight line."""
    ratio = value / target
    return np.where(ratio > 0.02, value * np.log(np.maximum(ratio, 0.02)), value - target)


def gain_system(c: Currents, f: Forced, vbe: Floats, vbc: Floats) -> System:
    """Two residuals and their Jacobian at forced IC and VCE."""
    stated = np.isfinite(f.other)
    second = np.where(stated, vbe - vbc - f.other + f.ic * f.rc + (f.ic + c.ib) * f.re, vbc)
    return (
        _log_residual(c.ic, f.ic), second, c.ic_vbe, c.ic_vbc,
        np.where(stated, 1.0 + f.re * c.ib_vbe, 0.0), np.where(stated, -1.0 + f.re * c.ib_vbc, 1.0),
    )  # fmt: skip


def saturation_system(c: Currents, f: Forced, vbe: Floats, vbc: Floats) -> System:
    """Two residuals and their Jacobian at forced IC and IB."""
    return c.ic - f.ic, _log_residual(c.ib, f.other), c.ic_vbe, c.ic_vbc, c.ib_vbe, c.ib_vbc


def newton(
    p: Point,
    f: Forced,
    system: Callable[[Currents, Forced, Floats, Floats], System],
    vbe: Floats,
    vbc: Floats,
    *,
    tolerance: float = TOLERANCE,
    max_iterations: int = 60,
) -> tuple[Floats, Floats, Bools]:
    """Iterate until the step is below `tolerance`, leaving out finished points. Returns VBE, VBC and whether it was
    reached."""
    out_vbe, out_vbc = vbe.copy(), vbc.copy()
    reached = np.zeros(vbe.shape, dtype=bool)
    rows = np.arange(vbe.shape[0])
    with np.errstate(all="ignore"):
        for _ in range(max_iterations):
            c = currents(p, vbe, vbc)
            f1, f2, a, b, d, e = system(c, f, vbe, vbc)
            inv_det = 1.0 / (a * e - b * d)
            step_e = (f2 * b - f1 * e) * inv_det
            step_c = (f1 * d - f2 * a) * inv_det
            np.clip(step_e, -_STEP, _STEP, out=step_e)
            # A blocked collector junction may move freely, but must not land in hard conduction.
            low = np.where(vbc < 0.0, -np.inf, -_STEP)
            step_c = np.clip(step_c, low, np.maximum(0.2 - vbc, _STEP))
            vbe = vbe + step_e
            vbc = vbc + step_c
            worst = np.maximum(np.abs(step_e), np.abs(step_c))
            done = worst < tolerance
            n_done = int(np.count_nonzero(done))
            if n_done == done.shape[0]:
                out_vbe[rows], out_vbc[rows], reached[rows] = vbe, vbc, True
                break
            lost = ~np.isfinite(worst)
            if n_done * 4 > done.shape[0] or np.any(lost):
                out_vbe[rows], out_vbc[rows] = vbe, vbc
                reached[rows[done]] = True
                keep = np.flatnonzero(~(done | lost))
                if keep.shape[0] == 0:
                    break
                rows, vbe, vbc, p, f = rows[keep], vbe[keep], vbc[keep], p.pick(keep), f.pick(keep)
    return out_vbe, out_vbc, reached


def start_gain(p: Point, f: Forced) -> tuple[Floats, Floats]:
    """A first guess at forced IC and VCE: forward conduction, base charge by a few fixed-point steps."""
    with np.errstate(all="ignore"):
        forward = f.ic.copy()
        vbe = np.log1p(forward / p.is_) / p.inv_nf_vt
        inside = f.other - f.ic * (f.rc + f.re)  # VCE left over for the junctions
        stated = np.isfinite(inside)
        for _ in range(6):
            vbc = np.where(stated, vbe - inside, 0.0)
            q1 = 1.0 / np.maximum(1.0 - np.minimum(vbc, vbe) * p.inv_vaf - vbe * p.inv_var, 1e-2)
            qb = 0.5 * q1 * (1.0 + (1.0 + 4.0 * forward * p.inv_ikf) ** p.nkf)
            # Reverse injection at small VCE: (1 - e)/qb - e/BR of the forward current comes out.
            back = np.where(stated, np.exp(-np.maximum(inside, 1e-3) * p.inv_nf_vt), 0.0)
            share = np.maximum(1.0 - back * (1.0 + qb / p.br), 0.02)
            forward = np.minimum(f.ic * qb / share, 1e4 * f.ic)
            vbe = np.log1p(forward / p.is_) / p.inv_nf_vt
        vbc = np.where(stated, np.minimum(vbe - inside, vbe - 1e-3), 0.0)
    return vbe, vbc


def start_saturation(p: Point, f: Forced) -> tuple[Floats, Floats]:
    """A first guess at forced IC and IB: bisection on the forward current, the base current fixing the reverse one."""
    ic, ib = f.ic, f.other
    ne_over_nf = p.inv_nf_vt / p.inv_ne_vt
    nc_over_nr = p.inv_nr_vt / p.inv_nc_vt
    with np.errstate(all="ignore"):

        def base(x: Floats) -> Floats:
            return x / p.bf + p.ise * (x / p.is_) ** (1.0 / ne_over_nf)

        top = np.minimum(p.bf * ib, p.is_ * (ib / p.ise) ** ne_over_nf)  # ISE = 0 gives inf, min takes the other
        bottom = top * 0.5 ** np.maximum(ne_over_nf, 1.0)
        for _ in range(24):
            middle = 0.5 * (top + bottom)
            over = base(middle) > ib
            top, bottom = np.where(over, middle, top), np.where(over, bottom, middle)
        most = bottom

        def reverse_of(x: Floats) -> Floats:
            rest = np.maximum(ib - base(x), 1e-15 * ib)
            return np.minimum(p.br * rest, p.is_ * (rest / p.isc) ** nc_over_nr)

        def charge(x: Floats, y: Floats, vbc: Floats) -> Floats:
            vbe = np.log1p(x / p.is_) / p.inv_nf_vt
            q1 = 1.0 / np.maximum(1.0 - vbc * p.inv_vaf - vbe * p.inv_var, 1e-2)
            return 0.5 * q1 * (1.0 + (1.0 + 4.0 * (x * p.inv_ikf + y * p.inv_ikr)) ** p.nkf)

        low, high = np.zeros_like(most), most.copy()
        for _ in range(22):
            x = 0.5 * (low + high)
            y = reverse_of(x)
            vbc = np.log1p(y / p.is_) / p.inv_nr_vt
            leak_c = p.isc * (y / p.is_) ** (1.0 / nc_over_nr)
            enough = (x - y) / charge(x, y, vbc) - y / p.br - leak_c > ic
            low, high = np.where(enough, low, x), np.where(enough, x, high)
        vbe = np.log1p(high / p.is_) / p.inv_nf_vt
        vbc = np.log1p(reverse_of(high) / p.is_) / p.inv_nr_vt
        # Not enough even with the collector junction unbiased: only the Early effect can lift IC, at a VCE of volts.
        short = most / charge(most, np.zeros_like(most), np.zeros_like(most)) < ic
        wide = charge(most, np.zeros_like(most), np.zeros_like(most)) * ic / most
        vbe_most = np.log1p(most / p.is_) / p.inv_nf_vt
        vbc_short = -np.minimum((wide - 1.0) / p.inv_vaf, 1e4)
    return np.where(short, vbe_most, vbe), np.where(short, vbc_short, vbc)
