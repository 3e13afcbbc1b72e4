"""Which points of an output sweep (IC against VCE at fixed IB) count as gain points."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.readings.tables import Points

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Active region of an output sweep: at least one volt, and a fifth above the knee, which is the lowest VCE that carries
# 80 % of the step's current at its highest VCE (assumption: below that the collector resistance and quasi-saturation
# show, which the gain model does not have there). The knee goes with the current: a step that ends early (the supply's
# limit) takes it from the fuller steps of its run, as a resistance.
ACTIVE_VCE = 1.0
KNEE_FACTOR = 1.2
KNEE_SHARE = 0.8
FULL_STEP = 3.0  # a step shows its knee when it goes on to three times that VCE
STEP_LN_IB = 0.02  # base currents closer than this are one step
# Neighbouring points of one step share their errors, more of them would only feign certainty: steps with more than FEW
# points are thinned to those nearest to round levels of VCE.
FEW = 4
LEVEL_SPAN = 0.2  # in ln VCE
_LEVELS = np.array([f * 10.0**d for d in range(4) for f in (1.0, 2.0, 5.0)])


def active_rows(points: Points, rows: Ints) -> Ints:
    """Rows of output sweeps that count as gain points: active region, at most a few per base step."""
    rows = rows[np.isfinite(points.vce[rows]) & np.isfinite(points.ib[rows]) & (points.ib[rows] > 0)]
    if not rows.size:
        return rows
    ln_ib = np.log(points.ib[rows])
    order = np.lexsort((points.vce[rows], ln_ib, points.run[rows]))
    rows, ln_ib = rows[order], ln_ib[order]
    new_run = np.concatenate(([True], np.diff(points.run[rows]) != 0))
    step = np.cumsum(new_run | np.concatenate(([True], np.diff(ln_ib) > STEP_LN_IB))) - 1
    order = np.lexsort((points.vce[rows], step))
    rows, step = rows[order], step[order]
    active = points.vce[rows] >= _needed_vce(points.ic[rows], points.vce[rows], step, points.run[rows])
    rows, step = rows[active], step[active]
    return _thin(rows, step, points.vce[rows])


def _needed_vce(ic: Floats, vce: Floats, step: Ints, run: Ints) -> Floats:
    """Least VCE at which each point counts as active. Points sorted by step, then VCE. [V]"""
    last = np.flatnonzero(np.concatenate((np.diff(step) != 0, [True])))
    flowing = ic >= KNEE_SHARE * ic[last][step]
    first = np.full(last.size, ic.size - 1)
    np.minimum.at(first, step[flowing], np.flatnonzero(flowing))
    knee, size = vce[first], np.bincount(step)
    shown = (size > 2) & (vce[last] >= FULL_STEP * knee)
    _, of_run = np.unique(run[last], return_inverse=True)
    resistance = np.zeros(of_run.max() + 1)
    np.maximum.at(resistance, of_run[shown], knee[shown] / ic[first[shown]])
    own = np.where(shown[step], knee[step], resistance[of_run][step] * ic)
    needed: Floats = np.maximum(ACTIVE_VCE, KNEE_FACTOR * own)
    return needed


def _thin(rows: Ints, step: Ints, vce: Floats) -> Ints:
    """Of each step with many points those nearest to the levels 1, 2, 5, 10, 20, 50 V and so on: the same for every
    part."""
    if not rows.size:
        return rows
    _, index, count = np.unique(step, return_inverse=True, return_counts=True)
    away = np.abs(np.log(vce)[:, None] - np.log(_LEVELS)[None, :])
    level = np.argmin(away, axis=1)
    distance = away[np.arange(rows.size), level]
    order = np.lexsort((distance, level, index))
    nearest = np.concatenate(([True], (np.diff(level[order]) != 0) | (np.diff(index[order]) != 0)))
    chosen = np.zeros(rows.size, dtype=np.bool_)
    chosen[order[nearest]] = True
    chosen &= distance <= LEVEL_SPAN
    return np.asarray(rows[chosen | (count[index] <= FEW)])
