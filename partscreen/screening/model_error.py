"""How far the device model itself may be off a sound part, reading by reading.

The same for all parts of a type, so a lot shows it: what the parts of a lot have in common beyond the model is not held
against any of them. A part alone carries the whole of it as uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.device.prior import TypeConstants
from partscreen.reference.population_spreads import Spreads, load_spreads

Floats = npt.NDArray[np.float64]


class GradingLike(Protocol):
    """How sure a junction's capacitance is at another bias."""

    def ln_std(self, bias: npt.ArrayLike) -> Floats: ...


class PopulationLike(Protocol):
    """Of a type's population, what the model's error depends on."""

    @property
    def type_number(self) -> str: ...
    @property
    def constants(self) -> TypeConstants: ...
    @property
    def spreads(self) -> Spreads | None: ...


@dataclass(frozen=True, slots=True)
class Misfit:
    """Standard deviation of the model's own error, by reading.

    hfe (relative), vbe [V] : (n_parts, n_gain); vce_sat [V] : (n_parts, n_sat).
    """

    hfe: Floats
    vbe: Floats
    vce_sat: Floats


def misfit_for(o: Observations, population: PopulationLike) -> Misfit:
    """As learned for the type, where the population comes from learned spreads; else as for any type."""
    return misfit_of(o, population.constants.ic_rated, population.spreads, population.type_number)


def misfit_of(
    o: Observations, ic_rated: float, spreads: Spreads | None = None, type_number: str | None = None
) -> Misfit:
    """By collector current over rated current; 0 where there is no reading.

    `spreads`: None for those of `reference_curves/spreads.toml`; learned ones may know the type's own error.
    """
    figures = spreads or load_spreads()
    gain_share, sat_share = o.gain_ic / ic_rated, o.sat_ic / ic_rated
    with np.errstate(invalid="ignore"):
        return Misfit(
            np.nan_to_num(figures.misfit_std("hFE", o.hfe, gain_share, type_number)),
            np.nan_to_num(figures.misfit_std("VBE", o.vbe, gain_share, type_number)),
            np.nan_to_num(figures.misfit_std("VCE(sat)", o.vce_sat, sat_share, type_number)),
        )


def widened(o: Observations, misfit: Misfit, gradings: tuple[GradingLike, ...] = ()) -> Observations:
    """The observations with the model's error added to every reading's uncertainty, for the fit of a part by itself.

    `gradings`: base-emitter, collector-base; adds what a capacitance at another bias than the sheet's leaves open.
    """
    cap_ln_std = o.cap_ln_std
    for junction, grading in enumerate(gradings):
        with np.errstate(invalid="ignore"):
            wider = np.hypot(cap_ln_std, grading.ln_std(o.cap_bias))
        cap_ln_std = np.where((o.cap_junction == junction) & np.isfinite(wider), wider, cap_ln_std)
    return replace(
        o,
        hfe_ln_std=np.hypot(o.hfe_ln_std, misfit.hfe),
        vbe_std=np.hypot(o.vbe_std, misfit.vbe),
        vce_sat_std=np.hypot(o.vce_sat_std, misfit.vce_sat),
        cap_ln_std=cap_ln_std,
    )
