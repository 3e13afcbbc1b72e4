"""Readings of a lot against its parts' fits, all rows in one call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants
from partscreen.readings.tables import Points, Sweep
from partscreen.reference.population_spreads import load_spreads

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Residuals:
    """Of some rows of `Points`, ascending: reading minus fit in standard uncertainties, the model's own error included;
    NaN where there is no fit or no reading. hfe: of ln hFE."""

    rows: Ints
    hfe: Floats
    vbe: Floats
    vce_sat: Floats

    def at(self, rows: Ints) -> tuple[Floats, Floats, Floats]:
        """hfe, vbe and vce_sat of some of the rows."""
        place = np.searchsorted(self.rows, rows)
        return self.hfe[place], self.vbe[place], self.vce_sat[place]


def residuals_of(
    points: Points, rows: Ints, fits: Mapping[int, Sequence[float]], constants: TypeConstants | None
) -> Residuals:
    """Residuals of the rows of a lot.

    Parameters
    ----------
    rows : rows of `points` with a collector current above 0
    fits : coordinates of the parts that have a fit, by number
    constants : of the type; None: nothing is known of it, all residuals are NaN
    """
    rows = np.sort(rows)
    out = Residuals(rows, *(np.full(rows.size, np.nan) for _ in range(3)))
    if constants is None:
        return out
    fitted = np.isin(points.part[rows], list(fits))
    sweep = points.sweep[rows]
    gain = np.flatnonzero(fitted & np.isin(sweep, (Sweep.GAIN, Sweep.GUMMEL, Sweep.OUTPUT)))
    sat = np.flatnonzero(fitted & (sweep == Sweep.SATURATION))
    model = load_spreads().readings  # the fit allows for its own error beside the instrument's; so do residuals
    if gain.size:
        i = rows[gain]
        at = predict_gain(
            _theta(points, i, fits), constants, points.ic[i, None], points.vce[i, None], points.case_temp[i, None],
            points.pulsed[i, None], jacobian=False,
        )  # fmt: skip
        with np.errstate(divide="ignore", invalid="ignore"):
            share = points.ic[i] / constants.ic_rated
            hfe_std = np.hypot(points.hfe_std[i] / points.hfe[i], model["hFE"].misfit_std(points.hfe[i], share))
            vbe_std = np.hypot(points.vbe_std[i], model["VBE"].misfit_std(points.vbe[i], share))
            out.hfe[gain] = np.log(points.hfe[i] / np.exp(at.ln_hfe[:, 0])) / hfe_std
            out.vbe[gain] = (points.vbe[i] - at.vbe[:, 0]) / vbe_std
    if sat.size:
        i = rows[sat]
        there = predict_saturation(
            _theta(points, i, fits), constants, points.ic[i, None], points.ib[i, None], points.case_temp[i, None],
            points.pulsed[i, None], jacobian=False,
        )  # fmt: skip
        error = model["VCE(sat)"].misfit_std(points.vce[i], points.ic[i] / constants.ic_rated)
        out.vce_sat[sat] = (points.vce[i] - there.vce[:, 0]) / np.hypot(points.vce_std[i], error)
    return out


def _theta(points: Points, rows: Ints, fits: Mapping[int, Sequence[float]]) -> Floats:
    """Coordinates of each row's part, shape (n_rows, n_parameters)."""
    return np.array([fits[part] for part in points.part[rows].tolist()])
