"""Which points of an output sweep (IC against VCE at fixed IB) count as gain points."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.readings.tables import Points

Ints = npt.NDArray[np.int64]

# Active region of an output sweep: at least one volt, and at least twice the knee, which is the lowest VCE that carries
# 80 % of the step's current at its highest VCE (assumption: below that the collector resistance still shows).
ACTIVE_VCE = 1.0
KNEE_FACTOR = 2.0
KNEE_SHARE = 0.8
STEP_LN_IB = 0.02  # base currents closer than this are one step
MAX_PER_STEP = 4  # neighbouring points of one step share their errors: more of them would only feign certainty


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
    ic, vce = points.ic[rows], points.vce[rows]
    last = np.flatnonzero(np.concatenate((np.diff(step) != 0, [True])))
    flowing = ic >= KNEE_SHARE * ic[last][step]
    knee = np.full(last.size, np.inf)
    np.minimum.at(knee, step[flowing], vce[flowing])
    size = np.bincount(step)
    needed = np.where(size[step] > 2, np.maximum(ACTIVE_VCE, KNEE_FACTOR * knee[step]), ACTIVE_VCE)
    active = vce >= needed
    rows, step = rows[active], step[active]
    return _thin(rows, step)


def _thin(rows: Ints, step: Ints) -> Ints:
    """At most MAX_PER_STEP rows a step, spread evenly over the step's VCE, ends included."""
    if not rows.size:
        return rows
    _, index, count = np.unique(step, return_inverse=True, return_counts=True)
    start = np.concatenate(([0], np.cumsum(count)[:-1]))
    rank = np.arange(rows.size) - start[index]
    many = count[index]
    bins = np.floor(rank * (MAX_PER_STEP - 1) / np.maximum(many - 1, 1) + 1e-9)
    first = np.concatenate(([True], (np.diff(bins) > 0) | (np.diff(index) > 0)))
    return np.asarray(rows[(many <= MAX_PER_STEP) | first])
