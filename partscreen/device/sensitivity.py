"""Parameters of parts at each point, and how the currents move with every coordinate at fixed junction voltages."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.intrinsic import Currents, Point
from partscreen.device.mapping import LEAK_CURRENT
from partscreen.device.parameters import INDEX
from partscreen.device.prior import TypeConstants
from partscreen.device.temperature import K_OVER_Q, log_is_ratio

Floats = npt.NDArray[np.float64]


def spread(value: npt.ArrayLike, n_parts: int, n_points: int) -> Floats:
    """Values of parts (n_parts, 1), of points (n_parts, n_points) or one for all, flat over (n_parts, n_points)."""
    array = np.asarray(value, dtype=float)
    if array.ndim == 0:
        return np.full(n_parts * n_points, array)
    if array.shape[1] == n_points:
        return array.ravel()
    return np.repeat(array[:, 0], n_points)


@dataclass(slots=True)
class Parts:
    """Coordinates of parts turned into values, each of shape (n_parts, 1)."""

    value: Floats  # exp(theta), shape (n_parts, n_parameters)
    qs: Floats
    ln_is: Floats  # ln(IS / LEAK_CURRENT)
    constants: TypeConstants

    def __getitem__(self, name: str) -> Floats:
        return np.asarray(self.value[:, INDEX[name], None])


def parts_from_theta(theta: Floats, constants: TypeConstants) -> Parts:
    """Values of coordinates of shape (n_parts, n_parameters)."""
    with np.errstate(over="ignore"):
        value = np.exp(theta)
    return Parts(value, theta[:, INDEX["qs"], None], theta[:, INDEX["is"], None] - np.log(LEAK_CURRENT), constants)


def points_of(parts: Parts, temp: Floats, n_points: int) -> tuple[Point, Floats]:
    """Parameters at junction temperature, flattened to (n_parts * n_points,), and ln IS(T)/IS at the shape of `temp`.

    `temp` has shape (n_parts, n_points), or (n_parts, 1) where all points of a part share it, which saves most of the
    work.
    """
    k = parts.constants
    n_parts = parts.value.shape[0]

    def flat(value: npt.ArrayLike) -> Floats:
        return spread(value, n_parts, n_points)

    rise = log_is_ratio(temp, k.tnom, k.eg, k.xti)
    gain = (temp / k.tnom) ** k.xtb
    nf, ne = parts["nf"], parts["ne"]
    vt = K_OVER_Q * temp
    inv_nf_vt = flat(1.0 / (nf * vt))
    point = Point(
        vt=flat(vt),
        is_=flat(parts["is"] * np.exp(rise)),
        inv_nf_vt=inv_nf_vt,
        inv_ne_vt=flat(1.0 / (ne * vt)),
        inv_nr_vt=inv_nf_vt,
        inv_nc_vt=flat(1.0 / (k.nc * vt)),
        bf=flat(parts["bf"] * gain),
        br=flat(parts["br"] * gain),
        ise=flat(parts["leak"] * np.exp((nf * parts.ln_is + rise) / ne) / gain),
        isc=flat(k.isc * np.exp(rise / k.nc) / gain),
        inv_vaf=flat(1.0 / parts["vaf"]),
        inv_var=flat(1.0 / k.var),
        inv_ikf=flat(1.0 / parts["ikf"]),
        inv_ikr=flat(1.0 / k.ikr),
        nkf=flat(parts["nkf"]),
    )
    return point, rise


def current_sensitivities(
    parts: Parts, p: Point, c: Currents, rise: Floats, vbe: Floats, vbc: Floats, n_points: int
) -> Iterator[tuple[int, Floats | None, Floats | None]]:
    """Derivatives of collector and base current to each coordinate, at fixed junction voltages and temperature.

    Yields (index of the coordinate, d ic, d ib), flat; None stands for zero. Resistances and QS do not act on the
    currents.
    """
    n_parts = parts.value.shape[0]

    def flat(value: Floats) -> Floats:
        return spread(value, n_parts, n_points)

    nf_over_ne = flat(parts["nf"] / parts["ne"])
    f_bf = c.forward / p.bf
    r_br = c.reverse / p.br
    yield INDEX["bf"], None, -f_bf
    yield INDEX["br"], r_br, -r_br
    yield INDEX["leak"], None, c.leak_e
    pull = c.transport * c.kappa * c.forward * p.inv_ikf
    yield INDEX["ikf"], pull, None
    yield INDEX["vaf"], c.transport * c.q1 * vbc * p.inv_vaf, None
    yield INDEX["nkf"], -c.transport * p.nkf * c.root * np.log(c.arg) / (1.0 + c.root), None
    yield (
        INDEX["is"],
        c.forward * c.ic_forward + c.reverse * c.ic_reverse,
        f_bf + r_br + c.leak_e * nf_over_ne,
    )
    x = vbe * p.inv_nf_vt
    d_forward = (c.forward + p.is_) * x
    d_reverse = (c.reverse + p.is_) * (vbc * p.inv_nr_vt)
    slide = nf_over_ne * flat(parts.ln_is)
    yield (
        INDEX["nf"],
        -d_forward * c.ic_forward - d_reverse * c.ic_reverse,
        c.leak_e * slide - d_forward / p.bf - d_reverse / p.br,
    )
    leak_slope = (c.leak_e + p.ise) * (vbe * p.inv_ne_vt)
    yield INDEX["ne"], None, -leak_slope - c.leak_e * (slide + flat(rise / parts["ne"]))


def temperature_sensitivity(
    parts: Parts, p: Point, c: Currents, vbe: Floats, vbc: Floats, temp: Floats, n_points: int
) -> tuple[Floats, Floats]:
    """Derivatives of collector and base current to junction temperature at fixed junction voltages. [A/K], flat."""
    k = parts.constants
    n_parts = parts.value.shape[0]
    inv_t = spread(1.0 / temp, n_parts, n_points)
    rate = (k.eg / p.vt + k.xti) * inv_t  # d ln IS / dT
    gain = k.xtb * inv_t
    inv_ne = spread(1.0 / parts["ne"], n_parts, n_points)
    d_forward = c.forward * rate - (c.forward + p.is_) * (vbe * p.inv_nf_vt) * inv_t
    d_reverse = c.reverse * rate - (c.reverse + p.is_) * (vbc * p.inv_nr_vt) * inv_t
    d_leak_e = c.leak_e * (rate * inv_ne - gain) - (c.leak_e + p.ise) * (vbe * p.inv_ne_vt) * inv_t
    d_leak_c = c.leak_c * (rate / k.nc - gain) - (c.leak_c + p.isc) * (vbc * p.inv_nc_vt) * inv_t
    r_br = c.reverse / p.br
    d_ic = d_forward * c.ic_forward + d_reverse * c.ic_reverse + r_br * gain - d_leak_c
    d_ib = (d_forward - c.forward * gain) / p.bf + (d_reverse - c.reverse * gain) / p.br + d_leak_e + d_leak_c
    return d_ic, d_ib
