"""Heat: early rise of a power pulse, derating, and moving a reading to another temperature."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SILICON_CONDUCTIVITY = 148.0  # [W/(m K)], near 300 K
SILICON_DENSITY = 2329.0  # [kg/m^3]
SILICON_HEAT = 705.0  # [J/(kg K)]


def early_rise(power: npt.ArrayLike, die_area: npt.ArrayLike, time: npt.ArrayLike) -> Floats:
    """Junction temperature rise early in a power pulse: heat running one-dimensionally into silicon. [K]

    Parameters
    ----------
    power : array
        [W]
    die_area : array, > 0
        [m^2]
    time : array, >= 0
        Since the pulse began [s]. Holds while `diffusion_length(time)` is below the die thickness; later the die
        attach and header decide.

    References
    ----------
    Semi-infinite solid under constant flux: (2 P/A) sqrt(t/(pi k rho c)); memory for the formula, silicon data as
    above.
    """
    effusivity = np.pi * SILICON_CONDUCTIVITY * SILICON_DENSITY * SILICON_HEAT
    flux = np.asarray(power, dtype=float) / die_area
    return np.asarray(2.0 * flux * np.sqrt(np.asarray(time, dtype=float) / effusivity))


def diffusion_length(time: npt.ArrayLike) -> Floats:
    """How far heat has gone into silicon after a time [s]: sqrt(alpha t). [m]"""
    alpha = SILICON_CONDUCTIVITY / (SILICON_DENSITY * SILICON_HEAT)
    return np.asarray(np.sqrt(alpha * np.asarray(time, dtype=float)))


def derated_power(power_25: npt.ArrayLike, case_temp: npt.ArrayLike, tj_max: npt.ArrayLike) -> Floats:
    """Permitted dissipation at a case temperature, temperatures in kelvin. [W]

    References
    ----------
    Common practice: P(TC) = P25 (TJmax - TC)/(TJmax - 25 degC); P25 up to 25 degC, zero from TJmax on.
    """
    top = np.asarray(tj_max, dtype=float)
    share = (top - np.asarray(case_temp, dtype=float)) / (top - 298.15)
    return np.asarray(power_25 * np.clip(share, 0.0, 1.0))


def shift_to_temperature(
    value: npt.ArrayLike,
    value_std: npt.ArrayLike,
    temp: npt.ArrayLike,
    temp_std: npt.ArrayLike,
    slope: npt.ArrayLike,
    slope_std: npt.ArrayLike,
    *,
    reference_temp: float,
) -> tuple[Floats, Floats]:
    """Move readings to one junction temperature, to first order; VBE or VCE(sat) in volts, hFE as its logarithm.

    Parameters
    ----------
    value, value_std : array
        Reading and its standard uncertainty.
    temp, temp_std : array, broadcastable to value
        Junction temperature during the reading. [K]
    slope, slope_std : array
        Change per kelvin (from `vbe_slope` or the dt_* of a prediction).
    reference_temp : float, > 0
        [K]

    Returns
    -------
    shifted, shifted_std : array
        NaN stays NaN. Inputs are treated as uncorrelated.

    Raises
    ------
    ValueError
        reference_temp is not above 0.

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2, equation (10).
    """
    if not reference_temp > 0.0:
        raise ValueError(f"reference_temp is {reference_temp} K; kelvin expected, did you pass degrees Celsius?")
    step = reference_temp - np.asarray(temp, dtype=float)
    rate = np.asarray(slope, dtype=float)
    shifted = np.asarray(value, dtype=float) + rate * step
    variance = (
        np.zeros_like(shifted)
        + np.asarray(value_std, dtype=float) ** 2
        + (step * np.asarray(slope_std, dtype=float)) ** 2
        + (rate * np.asarray(temp_std, dtype=float)) ** 2
    )
    return shifted, np.asarray(np.sqrt(variance))


def log_gain_slope(temp: npt.ArrayLike, xtb: npt.ArrayLike) -> Floats:
    """d ln hFE/dT where the ideal base current rules: XTB/T. [1/K]"""
    return np.asarray(np.asarray(xtb, dtype=float) / np.asarray(temp, dtype=float))
