"""What the limit judge asks of a fitted device, and plain temperature laws for parts without a fit."""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

REFERENCE_TEMPERATURE = 298.15
EARLY_VOLTAGE = 100.0


class CurveModel(Protocol):
    """Curves of fitted parts. `rows`: numbers of the parts within the group, shape (k,); other arrays (k, m); NaN =
    cannot reach.

    `temperature` is that of the case [K]; where `pulsed` the junction has it too. A NaN `vce` means not stated.
    """

    def gain(self, rows: Ints, ic: Floats, vce: Floats, temperature: Floats, pulsed: Bools) -> tuple[Floats, Floats]:
        """hFE and VBE at forced IC and VCE."""
        ...

    def gain_std(
        self, rows: Ints, ic: Floats, vce: Floats, temperature: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """hFE, VBE, and the posterior standard uncertainties of ln hFE and of VBE; pulsed."""
        ...

    def saturation(self, rows: Ints, ic: Floats, ib: Floats, temperature: Floats, pulsed: Bools) -> Floats:
        """VCE(sat) at forced IC and IB."""
        ...

    def saturation_std(self, rows: Ints, ic: Floats, ib: Floats, temperature: Floats) -> tuple[Floats, Floats]:
        """VCE(sat) and its posterior standard uncertainty; pulsed."""
        ...


class PlainLaws:
    """Laws of temperature and VCE alone, for parts without a usable fit (Darlingtons, no population, a misfit).

    hFE goes as T**1.5 (XTB 1.5, common practice, no source) and with an Early voltage of 100 V (assumption), VBE by
    -2 mV/K (typical, memory); the shape over current is left to the readings, so nothing can be carried.
    """

    def gain(self, rows: Ints, ic: Floats, vce: Floats, temperature: Floats, pulsed: Bools) -> tuple[Floats, Floats]:
        early = 1 + np.nan_to_num(vce) / EARLY_VOLTAGE
        hfe = (temperature / REFERENCE_TEMPERATURE) ** 1.5 * early * np.ones_like(ic)
        return hfe, 0.0257 * np.log(ic) - 2e-3 * (temperature - REFERENCE_TEMPERATURE)

    def gain_std(
        self, rows: Ints, ic: Floats, vce: Floats, temperature: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        unknown = np.full(ic.shape, np.nan)
        return unknown, unknown, unknown, unknown

    def saturation(self, rows: Ints, ic: Floats, ib: Floats, temperature: Floats, pulsed: Bools) -> Floats:
        return np.zeros_like(ic)

    def saturation_std(self, rows: Ints, ic: Floats, ib: Floats, temperature: Floats) -> tuple[Floats, Floats]:
        unknown = np.full(ic.shape, np.nan)
        return unknown, unknown
