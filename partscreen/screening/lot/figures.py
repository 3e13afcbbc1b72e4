"""Figures by which the parts of a lot are compared with each other: gain level, gain roll-off, VBE, capacitances.

Roll-off and level are taken at two collector currents that nearly all parts of the lot were read at, so that parts
read over different
ranges are compared at like currents.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.screening.limits.curve_model import REFERENCE_TEMPERATURE

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LIKE_VCE = 0.06  # readings within 6 % of the lot's usual VCE are like it
COVER = 1.15  # a part counts when its readings end within 15 % of the common current (assumption)
LEAST_RANGE = 1.5  # common currents nearer than this factor say nothing of roll-off (assumption)
XTB = 1.5
VBE_SLOPE = -2e-3


@dataclass(frozen=True, slots=True)
class LotFigure:
    """One figure per part (NaN where not known), with the standard uncertainty of its reading.

    `log`: values are natural logarithms. `words` and `unit` name what is shown; `at` tells the condition.
    """

    key: str
    words: str
    unit: str
    values: Floats
    std: float
    log: bool
    at: str

    def shown(self, index: int) -> float:
        """The figure of one part as people read it."""
        return float(np.exp(self.values[index])) if self.log else float(self.values[index])


@dataclass(frozen=True, slots=True)
class RollOff:
    """Gain at the upper common current over gain at the lower one, and last over first reading of each part."""

    figure: LotFigure
    low: float
    high: float
    last_over_first: Floats
    vce: float


def _usual_vce(o: Observations, read: Bools) -> float:
    """The VCE at which most parts were read; among equals the one nearest to 10 V (NaN where none is stated)."""
    stated = read & np.isfinite(o.gain_vce)
    if not stated.any():
        return float("nan")
    # Steps of a quarter of LIKE_VCE, so that read-back noise does not split one setting in two.
    code = np.round(np.log(np.where(stated, np.maximum(o.gain_vce, 1e-3), 1.0)) / (LIKE_VCE / 2)).astype(np.int64)
    best, best_rank = float("nan"), (-1, 0.0)
    for value in np.unique(code[stated]):
        here = stated & (code == value)
        # A part speaks for a VCE when it was read there at two currents at least.
        count = int((here.sum(axis=1) >= 2).sum())
        centre = float(np.median(o.gain_vce[here]))
        rank = (count, -abs(float(np.log(centre / 10.0))))
        if rank > best_rank:
            best, best_rank = centre, rank
    return best


def _like(o: Observations, read: Bools) -> tuple[Bools, float]:
    vce = _usual_vce(o, read)
    if np.isnan(vce):
        return read, vce
    with np.errstate(invalid="ignore"):
        return read & (np.abs(np.log(o.gain_vce / vce)) <= LIKE_VCE), vce


def _ends(ic: Floats, read: Bools) -> tuple[Floats, Floats]:
    some = read.any(axis=1)
    first = np.where(some, np.min(np.where(read, ic, np.inf), axis=1, initial=np.inf), np.nan)
    last = np.where(some, np.max(np.where(read, ic, -np.inf), axis=1, initial=-np.inf), np.nan)
    return first, last


def interpolate(ic: Floats, values: Floats, read: Bools, at: float) -> Floats:
    """Values at one current, linear in ln IC between the neighbours read; the nearest end up to 15 % outside; else
    NaN."""
    n, m = ic.shape
    if not m:
        return np.full(n, np.nan)
    with np.errstate(invalid="ignore"):
        below, above = read & (ic <= at), read & (ic >= at)
    left = np.where(below.any(axis=1), m - 1 - np.argmax(below[:, ::-1], axis=1), np.argmax(above, axis=1))
    right = np.where(above.any(axis=1), np.argmax(above, axis=1), left)
    row = np.arange(n)
    low, high = ic[row, left], ic[row, right]
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = np.log(at / low) / np.log(high / low)
        weight = np.where(np.isfinite(weight), np.clip(weight, 0, 1), 0.0)
        covered = read.any(axis=1) & (low / at <= COVER) & (at / high <= COVER)
        mixed = (1 - weight) * values[row, left] + weight * values[row, right]
    return np.where(covered, mixed, np.nan)


def gain_roll_off(o: Observations) -> RollOff | None:
    """Gain at the upper over the lower common current of a lot; None where the lot's readings have no common range."""
    read = np.isfinite(o.hfe) & np.isfinite(o.gain_ic)
    read, vce = _like(o, read)
    read &= read.sum(axis=1, keepdims=True) >= 2
    first, last = _ends(o.gain_ic, read)
    some = np.isfinite(first)
    if not some.any():
        return None
    low, high = float(np.quantile(first[some], 0.9)), float(np.quantile(last[some], 0.1))
    if high / low < LEAST_RANGE:
        return None
    ln = np.log(np.where(read, o.hfe, np.nan))
    values = interpolate(o.gain_ic, ln, read, high) - interpolate(o.gain_ic, ln, read, low)
    noise = float(np.nanmedian(np.where(read, o.hfe_ln_std, np.nan))) * 0.5
    at = f"{high:.3g} A over {low:.3g} A" + ("" if np.isnan(vce) else f", VCE {vce:.3g} V")
    figure = LotFigure("gain_roll_off", "gain roll-off", "1", values, noise, True, at)
    return RollOff(figure, low, high, _last_over_first(o, read), vce)


def _last_over_first(o: Observations, read: Bools) -> Floats:
    row = np.arange(read.shape[0])
    first, last = np.argmax(read, axis=1), read.shape[1] - 1 - np.argmax(read[:, ::-1], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(read.sum(axis=1) >= 2, o.hfe[row, last] / o.hfe[row, first], np.nan)


def _at_middle(o: Observations, key: str, words: str, grid: Floats, std: Floats, *, log: bool) -> LotFigure | None:
    read = np.isfinite(grid) & np.isfinite(o.gain_ic)
    read, vce = _like(o, read)
    first, last = _ends(o.gain_ic, read)
    some = np.isfinite(first)
    if not some.any():
        return None
    low, high = float(np.quantile(first[some], 0.9)), float(np.quantile(last[some], 0.1))
    at = float(np.sqrt(low * high)) if high > low else low
    step = o.gain_temp - REFERENCE_TEMPERATURE
    with np.errstate(invalid="ignore"):
        level = np.log(grid) - XTB * np.log(o.gain_temp / REFERENCE_TEMPERATURE) if log else grid - VBE_SLOPE * step
    values = interpolate(o.gain_ic, level, read, at)
    noise = float(np.nanmedian(np.where(read, std, np.nan)))
    told = f"{at:.3g} A" + ("" if np.isnan(vce) else f", VCE {vce:.3g} V") + ", brought to 25 degC"
    return LotFigure(key, words, "1" if log else "V", values, noise, log, told)


def _capacitance(o: Observations, junction: int) -> LotFigure | None:
    here = (o.cap_junction == junction) & np.isfinite(o.cap)
    if not here.any():
        return None
    # The bias that most readings were taken at; others are not comparable.
    biases, counts = np.unique(np.round(o.cap_bias[here], 2), return_counts=True)
    bias = float(biases[np.argmax(counts)])
    here &= np.abs(o.cap_bias - bias) <= 0.05 * max(bias, 0.2)
    row, first = np.arange(here.shape[0]), np.argmax(here, axis=1)
    values = np.where(here.any(axis=1), np.log(o.cap[row, first]), np.nan)
    noise = float(np.median(o.cap_ln_std[here])) if here.any() else 0.0
    key, words = ("c_cb", "C_CB") if junction else ("c_be", "C_BE")
    return LotFigure(key, words, "F", values, noise, True, f"{bias:.3g} V bias")


def lot_figures(o: Observations) -> tuple[LotFigure, ...]:
    """All figures of a lot that at least one part has."""
    roll = gain_roll_off(o)
    found = (
        _at_middle(o, "gain", "gain", o.hfe, o.hfe_ln_std, log=True),
        roll.figure if roll else None,
        _at_middle(o, "vbe", "VBE", o.vbe, o.vbe_std, log=False),
        _capacitance(o, 0),
        _capacitance(o, 1),
    )
    return tuple(f for f in found if f is not None)
