"""Slope of collector current against base-emitter voltage: millivolts per decade and emission coefficient."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.device.temperature import thermal_voltage
from partscreen.readings.tables import Floats


@dataclass(frozen=True, slots=True)
class GummelSlope:
    """`mv_per_decade` [mV] and emission coefficient `nf` [1], each with a standard uncertainty; `n_points` used."""

    mv_per_decade: float
    mv_per_decade_std: float
    nf: float
    nf_std: float
    n_points: int


def gummel_slope(
    ic: Floats, vbe: Floats, temp: float, *, temp_std: float = 0.0, ic_low: float = 1e-6, ic_high: float = 1e-4
) -> GummelSlope:
    """Least-squares slope of VBE against log10(IC) over a span of collector current.

    Parameters
    ----------
    ic, vbe : array, shape (n_points,)
        Collector current [A] and base-emitter voltage [V], magnitudes. Points outside the span, or not finite, are left
        out.
    temp, temp_std : float
        Junction temperature and its standard uncertainty. [K]
    ic_low, ic_high : float
        Span; 1 to 100 uA by default: above leakage and offsets, below resistance and high injection of most parts
        (assumption).

    Returns
    -------
    GummelSlope
        NaN with fewer than three points. The uncertainty of the slope is that of the scatter about the line; `nf_std`
        adds the temperature's.

    References
    ----------
    IC = IS exp(VBE / (NF kT/q)): one decade takes NF VT ln 10, 59.16 mV at 25 degC for NF = 1.
    """
    ic, vbe = np.asarray(ic, dtype=float), np.asarray(vbe, dtype=float)
    keep = np.isfinite(ic) & np.isfinite(vbe) & (ic >= ic_low) & (ic <= ic_high)
    n = int(keep.sum())
    decade_ideal = float(thermal_voltage(temp)) * np.log(10.0)
    if n < 3:
        return GummelSlope(np.nan, np.nan, np.nan, np.nan, n)
    x, y = np.log10(ic[keep]), vbe[keep]
    dx = x - x.mean()
    spread = float(dx @ dx)
    slope = float(dx @ y) / spread if spread > 0.0 else np.nan
    residual = y - y.mean() - slope * dx
    std = float(np.sqrt(residual @ residual / (n - 2) / spread)) if spread > 0.0 else np.nan
    nf = slope / decade_ideal
    nf_std = float(np.hypot(std / decade_ideal, nf * temp_std / temp))
    return GummelSlope(1e3 * slope, 1e3 * std, nf, nf_std, n)
