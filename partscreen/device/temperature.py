"""Physical constants and the temperature laws of the Gummel-Poon model."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

K_OVER_Q = 1.380649e-23 / 1.602176634e-19
"""Boltzmann constant over elementary charge [V/K]; both exact in the SI since 2019 (CODATA 2018)."""


def thermal_voltage(temp: npt.ArrayLike) -> Floats:
    """kT/q. [V] for kelvin."""
    return np.asarray(K_OVER_Q * np.asarray(temp, dtype=float))


def log_is_ratio(temp: npt.ArrayLike, tnom: npt.ArrayLike, eg: npt.ArrayLike, xti: npt.ArrayLike) -> Floats:
    """ln(IS(T)/IS(Tnom)).

    References
    ----------
    ngspice source, bjttemp.c, default temperature level: IS(T) = IS (T/Tn)^XTI exp[(T/Tn - 1) EG/VT(T)].
    """
    kelvin = np.asarray(temp, dtype=float)
    ratio = kelvin / np.asarray(tnom, dtype=float)
    gap = np.asarray(eg, dtype=float)
    return np.asarray((ratio - 1.0) * gap / (K_OVER_Q * kelvin) + np.asarray(xti, dtype=float) * np.log(ratio))


def vbe_slope(vbe: npt.ArrayLike, temp: npt.ArrayLike, eg: npt.ArrayLike, xti: npt.ArrayLike) -> Floats:
    """dVBE/dT of a junction at constant collector current, no series drop (also called the K factor). [V/K]

    Parameters
    ----------
    vbe : array
        Junction voltage at this current. [V]
    temp : array, > 0
        Junction temperature. [K]
    eg : energy gap [eV]; xti : exponent of IS, [1].

    References
    ----------
    IS(T) as in ngspice bjttemp.c, differentiated at fixed current: (VBE - EG - XTI VT)/T.
    """
    kelvin = np.asarray(temp, dtype=float)
    gap = np.asarray(eg, dtype=float) + np.asarray(xti, dtype=float) * K_OVER_Q * kelvin
    return np.asarray((np.asarray(vbe, dtype=float) - gap) / kelvin)
