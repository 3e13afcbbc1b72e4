"""Curves that no transistor draws: VBE that does not rise, jumps of a contact, oscillation."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from partscreen.device.temperature import thermal_voltage
from partscreen.readings.findings import Desk, Finding
from partscreen.readings.runs import group_median, in_order, steps_of_base_current
from partscreen.readings.tables import Bools, Floats, Ints, Sweep

FALL_SIGMA = 4.5  # about 1 in 300,000 for Gaussian noise, 1 in 1500 sweeps of 200 points (assumption)
MIN_STEP = 0.02  # ln of two collector currents that count as different (assumption: above the noise of a reading)
JUMP_SIGMA = 4.5
# Allowance, as a share of the difference of a cubic and a straight line through the neighbours (assumption: bends of
# real curves).
CURVATURE_SHARE = 0.5
FLOOR = {"hFE": 5e-3, "VBE": 5e-4, "VCE(sat)": 1e-2, "IC": 5e-3}  # ln hFE, V, ln V, ln A (assumption)
WHOLE = 0.25  # share of bad points above which the whole sweep is left out (assumption)
TEMP_APART = 2.0  # K; points further apart in temperature are not compared
ACTIVE_VCE = 1.0  # V; below, output curves bend too sharply to be compared with their neighbours (assumption)
SATURATED = 0.2  # V of forward bias at the collector junction: the gain collapses there, no fault of the readings
# The top of many noisy points lies 2 to 3 standard deviations high; 6 leaves 3 for the dip (assumption).
DIP_SIGMA = 6.0
DIP = 0.03  # ln hFE (assumption)
# Of ln IC over VBE/VT: 50 mV per decade at 25 degC (assumption, as in the check of the low end).
STEEPEST = 59.16 / 50.0
ISLAND = 10  # readings between two breaks that are taken for a fault of their own (assumption)
VBE_PER_KELVIN = 2.5e-3  # V/K: no silicon junction moves faster at these currents (2.3 mV/K at 0.50 V)


@dataclass(frozen=True, slots=True)
class Jumps:
    """Residuals from the smooth curve through the neighbours; `sigma`: standard deviations beyond the allowance."""

    index: Ints
    sigma: Floats
    residual: Floats


def vbe_not_rising(desk: Desk) -> list[Finding]:
    """VBE_NOT_RISING: VBE falls with rising collector current by more than the noise of the readings."""
    points, runs = desk.points, desk.runs
    junction = (points.sweep == Sweep.GAIN) | (points.sweep == Sweep.GUMMEL)
    rows = desk.ok & junction & np.isfinite(points.vbe) & (points.ic > 0.0)
    order = in_order(runs.of_row, points.ic, rows)
    if order.size < 2:
        return []
    one, two = order[:-1], order[1:]
    with np.errstate(invalid="ignore"):
        alike = ~(np.abs(points.vce[two] - points.vce[one]) > 0.2 * np.abs(points.vce[one]))
        warmer = points.case_temp[two] - points.case_temp[one]
    alike &= (runs.of_row[one] == runs.of_row[two]) & ~(np.abs(warmer) > TEMP_APART)
    alike &= np.log(points.ic[two] / points.ic[one]) > MIN_STEP
    noise = np.hypot(points.vbe_std[one], points.vbe_std[two])
    allowance = VBE_PER_KELVIN * np.nan_to_num(np.abs(warmer))
    fall = points.vbe[one] - points.vbe[two]
    bad = alike & (fall > FALL_SIGMA * noise + allowance)
    flagged = np.zeros(points.ic.shape[0], dtype=bool)
    flagged[one[bad]] = flagged[two[bad]] = True
    flagged = _whole_runs(desk, flagged, rows)
    hit = np.flatnonzero(np.bincount(runs.of_row[one[bad]], minlength=runs.n))
    deepest = np.zeros(runs.n)
    np.maximum.at(deepest, runs.of_row[one[bad]], 1e3 * fall[bad])
    sentence = (
        "VBE falls by {largest_fall_mv} mV while the collector current rises: contact, oscillation, a range change "
        "or strong heating. "
        "The points on both sides are left out."
    )
    return [Finding("VBE_NOT_RISING", hit, sentence, {"largest_fall_mv": deepest[hit]}, flagged)]


def unsteady(desk: Desk) -> list[Finding]:
    """UNSTEADY: points off the smooth curve through their neighbours; many of them tell of oscillation."""
    points = desk.points
    junction = (points.sweep == Sweep.GAIN) | (points.sweep == Sweep.GUMMEL)
    with np.errstate(divide="ignore", invalid="ignore"):
        ln_ic, ln_hfe, ln_vce = np.log(points.ic), np.log(points.hfe), np.log(points.vce)
        hfe_std, ic_std = points.hfe_std / points.hfe, points.ic_std / points.ic
        sat_std = points.vce_std / points.vce
    of_run = desk.runs.of_row
    steps = steps_of_base_current(points, desk.runs)
    output = (points.sweep == Sweep.OUTPUT) & (points.vce > ACTIVE_VCE) & np.isfinite(points.ib)
    junction &= ~(points.vce < points.vbe - SATURATED)
    found = [
        _series(desk, "hFE", of_run, ln_ic, ln_hfe, hfe_std, junction),
        _series(desk, "VBE", of_run, ln_ic, points.vbe, points.vbe_std, junction),
        _series(desk, "VCE(sat)", of_run, ln_ic, ln_vce, sat_std, points.sweep == Sweep.SATURATION),
        _series(desk, "IC", steps, points.vce, ln_ic, ic_std, output),
        _series(desk, "hFE", of_run, ln_ic, ln_hfe, hfe_std, _one_row_a_step(desk, steps)),
    ]
    return [finding for finding in found if finding is not None]


def current_breaks(desk: Desk) -> list[Finding]:
    """UNSTEADY: collector current that leaps or falls between two readings further than their VBE allows.

    Between readings at one temperature ln IC rises by at most dVBE/VT times 59.16/50. The readings on both sides of a
    break are left out, and those between two breaks that are close together: they belong to neither side.
    """
    points, runs = desk.points, desk.runs
    junction = (points.sweep == Sweep.GAIN) | (points.sweep == Sweep.GUMMEL)
    rows = desk.ok & junction & (points.ic > 0.0) & np.isfinite(points.vbe) & np.isfinite(points.case_temp)
    index = np.flatnonzero(rows)
    if index.size < 2:
        return []
    one, two = index[:-1], index[1:]
    vt = thermal_voltage(points.case_temp)
    rise = (points.vbe[two] - points.vbe[one]) / vt[one]
    gain = np.log(points.ic[two] / points.ic[one]) * np.sign(rise)
    with np.errstate(divide="ignore", invalid="ignore"):
        std = np.hypot(points.ic_std / points.ic, points.vbe_std / vt)
        same = (runs.of_row[one] == runs.of_row[two]) & ~(np.abs(points.vce[two] / points.vce[one] - 1.0) > 0.2)
    noise = np.hypot(std[one], std[two])
    warmer = VBE_PER_KELVIN * np.abs(points.case_temp[two] - points.case_temp[one]) / vt[one]
    excess = np.maximum(gain - STEEPEST * np.abs(rise), -gain) - warmer
    broken = np.flatnonzero(same & (excess > FALL_SIGMA * noise))
    flagged = np.zeros(points.ic.shape[0], dtype=bool)
    flagged[one[broken]] = flagged[two[broken]] = True
    for left, right in pairwise(broken):
        if right - left <= ISLAND and runs.of_row[one[left]] == runs.of_row[two[right]]:
            flagged[index[left + 1 : right + 1]] = True
    largest = np.zeros(runs.n)
    np.maximum.at(largest, runs.of_row[one[broken]], np.exp(np.abs(np.log(points.ic[two] / points.ic[one]))[broken]))
    hit = np.flatnonzero(largest)
    sentence = (
        "Between two readings the collector current changes by a factor of {largest_factor}, further than VBE "
        "allows: range change, "
        "contact or oscillation. The readings beside the break are left out."
    )
    figures = {"largest_factor": largest[hit]}
    return [Finding("UNSTEADY", hit, sentence, figures, _whole_runs(desk, flagged, rows))]


def gain_dips(desk: Desk) -> list[Finding]:
    """UNSTEADY: gain that falls and rises again with collector current, at one VCE.

    ln hFE of a transistor has one top over ln IC (recombination below, high injection above). Which of the points are
    wrong is not known: they stay in use, with the dip added to their uncertainty.
    """
    points, runs = desk.points, desk.runs
    stepped = _one_row_a_step(desk, steps_of_base_current(points, runs))
    usual = group_median(points.vce, runs.of_row, runs.n)[runs.of_row]
    with np.errstate(invalid="ignore"):
        one_vce = ~(np.abs(points.vce - usual) > 0.1 * usual) & ~(points.vce < points.vbe - SATURATED)
    junction = ((points.sweep == Sweep.GAIN) | (points.sweep == Sweep.GUMMEL)) & one_vce
    rows = desk.ok & (junction | stepped) & (points.ic > 0.0) & (points.hfe > 0.0) & np.isfinite(points.hfe_std)
    order = in_order(runs.of_row, points.ic, rows)
    if order.size < 3:
        return []
    run, y = runs.of_row[order], np.log(points.hfe[order])
    relative = points.hfe_std[order] / points.hfe[order]
    apart = 1.0 + y.max() - y.min()  # places the runs one above the other, so that a running maximum starts anew
    left = np.maximum.accumulate(y + apart * run) - apart * run
    right = (np.maximum.accumulate((y - apart * run)[::-1])[::-1]) + apart * run
    depth = np.minimum(left, right) - y
    noisiest = np.full(runs.n, 0.0)
    np.maximum.at(noisiest, run, relative)
    bad = depth > DIP + DIP_SIGMA * np.hypot(relative, np.minimum(noisiest[run], 2.0 * relative))
    deepest = np.zeros(runs.n)
    np.maximum.at(deepest, run[bad], depth[bad])
    hit = np.flatnonzero(deepest)
    sentence = (
        "The gain falls by {dip_percent} % and rises again with collector current, which no transistor does at one "
        "VCE: contact, range "
        "change, or a base drive other than labelled. Kept; the dip is added to the uncertainty."
    )
    figures = {"dip_percent": -100.0 * np.expm1(-deepest[hit])}
    return [Finding("UNSTEADY", hit, sentence, figures, None, deepest[runs.of_row])]


def _series(desk: Desk, name: str, group: Ints, x: Floats, y: Floats, std: Floats, rows: Bools) -> Finding | None:
    rows = rows & desk.ok & np.isfinite(x) & np.isfinite(y) & np.isfinite(std)
    if rows.sum() < 5:
        return None
    flagged = np.zeros(rows.shape[0], dtype=bool)
    worst = np.zeros(desk.runs.n)
    for _ in range(4):  # a jump spoils its neighbours' residuals: take the worst first, then look again
        left = rows & ~flagged
        jumps = neighbour_jumps(_branches(group, x, left), group, x, y, std, FLOOR[name])
        peaks = _local_peaks(jumps)
        if peaks.size == 0:
            break
        flagged[jumps.index[peaks]] = True
        np.maximum.at(worst, desk.runs.of_row[jumps.index[peaks]], np.abs(jumps.residual[peaks]))
    count = desk.runs.count(flagged)
    hit = np.flatnonzero(count)
    if hit.size == 0:
        return None
    in_volts = name == "VBE"
    size = 1e3 * worst[hit] if in_volts else 100.0 * np.expm1(worst[hit])
    unit = "mV" if in_volts else "%"
    sentence = (
        f"{{unsteady_points:.0f}} point(s) jump off the smooth curve of {name}, by up to {{largest_jump}} {unit}: "
        f"contact, oscillation "
        "or a range change. Left out (the whole sweep, where more than a quarter jump)."
    )
    figures = {"unsteady_points": count[hit].astype(float), "largest_jump": size}
    return Finding("UNSTEADY", hit, sentence, figures, _whole_runs(desk, flagged, rows))


def _whole_runs(desk: Desk, flagged: Bools, rows: Bools) -> Bools:
    """The flagged rows, and every row of runs of which more than `WHOLE` is flagged."""
    share = desk.runs.count(flagged) / np.maximum(desk.runs.count(rows), 1)
    return flagged | (share > WHOLE)[desk.runs.of_row]


def _branches(group: Ints, x: Floats, rows: Bools) -> Ints:
    """Rows in reading order where a group turns at most three times (up, down), else sorted by x."""
    index = np.flatnonzero(rows)
    member = group[index]
    step = np.sign(np.diff(x[index]))
    turns = (member[2:] == member[:-2]) & (step[1:] * step[:-1] < 0) if index.size > 2 else np.zeros(0, dtype=bool)
    many = np.bincount(member[2:][turns], minlength=int(group.max()) + 1) > 3
    sort_key = np.where(many[group], x, np.arange(group.shape[0], dtype=float))
    return in_order(group, sort_key, rows)


def neighbour_jumps(order: Ints, group: Ints, x: Floats, y: Floats, std: Floats, floor: float) -> Jumps:
    """Residual of each point from the cubic through its two neighbours on either side.

    Parameters
    ----------
    order : array, shape (n,)
        Indices of rows, neighbours next to each other.
    group : array, shape (n_rows,)
        Sweep of each row.
    x, y, std : array, shape (n_rows,)
        Abscissa, value and standard uncertainty of the value.
    floor : float
        Allowance for what no curve is smooth to; unit of y.

    Only windows of five points with monotonic, not too uneven x are looked at: that also keeps windows inside one
    sweep. A knee read in wide steps, which a cubic does not follow, is no jump (`_outside_neighbours`).
    """
    if order.size < 5:
        empty = np.zeros(0)
        return Jumps(np.zeros(0, dtype=np.int64), empty, empty)
    windows = np.lib.stride_tricks.sliding_window_view(order, 5)
    xs, ys, ss = x[windows], y[windows], std[windows]
    gaps = np.diff(xs, axis=1)
    size = np.abs(gaps)
    monotonic = np.all(gaps > 0, axis=1) | np.all(gaps < 0, axis=1)
    together = group[windows[:, 0]] == group[windows[:, 4]]
    good = monotonic & together & (size.min(axis=1) > 0.2 * size.max(axis=1))
    windows, xs, ys, ss = windows[good], xs[good], ys[good], ss[good]
    nodes, centre = xs[:, [0, 1, 3, 4]], xs[:, 2:3]
    weights = np.ones_like(nodes)
    for i in range(4):
        for j in range(4):
            if i != j:
                weights[:, i] *= (centre[:, 0] - nodes[:, j]) / (nodes[:, i] - nodes[:, j])
    around, around_std = ys[:, [0, 1, 3, 4]], ss[:, [0, 1, 3, 4]]
    cubic = np.sum(weights * around, axis=1)
    share = (centre[:, 0] - xs[:, 1]) / (xs[:, 3] - xs[:, 1])
    line = ys[:, 1] * (1.0 - share) + ys[:, 3] * share
    noise = np.sqrt(ss[:, 2] ** 2 + np.sum((weights * around_std) ** 2, axis=1))
    residual = ys[:, 2] - cubic
    beyond = np.abs(residual) - CURVATURE_SHARE * np.abs(cubic - line) - floor
    beyond = np.minimum(beyond, _outside_neighbours(xs, ys))
    return Jumps(windows[:, 2], np.maximum(beyond, 0.0) / noise, residual)


def _outside_neighbours(xs: Floats, ys: Floats) -> Floats:
    """How far the middle point lies outside what its neighbours allow: the span of the chord between the nearest two
    and of the two outer segments drawn on to the middle. A knee bends between these lines, a jump leaves them."""
    centre = xs[:, 2]

    def drawn_on(i: int, j: int) -> Floats:
        value: Floats = ys[:, i] + (ys[:, j] - ys[:, i]) * (centre - xs[:, i]) / (xs[:, j] - xs[:, i])
        return value

    lines = np.stack((drawn_on(1, 3), drawn_on(0, 1), drawn_on(4, 3)))
    outside: Floats = np.maximum(np.maximum(ys[:, 2] - lines.max(axis=0), lines.min(axis=0) - ys[:, 2]), 0.0)
    return outside


def _local_peaks(jumps: Jumps) -> Ints:
    """Positions above the threshold that are the worst within two places."""
    over = jumps.sigma > JUMP_SIGMA
    if not over.any():
        return np.zeros(0, dtype=np.int64)
    padded = np.concatenate((np.zeros(2), jumps.sigma, np.zeros(2)))
    around = np.lib.stride_tricks.sliding_window_view(padded, 5).max(axis=1)
    return np.flatnonzero(over & (jumps.sigma >= around))


def _one_row_a_step(desk: Desk, steps: Ints) -> Bools:
    """Of each base-current step the row nearest to one VCE that every longer step reaches."""
    points, runs = desk.points, desk.runs
    rows = (points.sweep == Sweep.OUTPUT) & desk.ok & np.isfinite(points.hfe) & (points.vce > ACTIVE_VCE)
    chosen = np.zeros(points.ic.shape[0], dtype=bool)
    if not rows.any():
        return chosen
    reach = np.full(int(steps.max()) + 1, -np.inf)
    np.maximum.at(reach, steps[rows], points.vce[rows])
    reach[np.bincount(steps[rows], minlength=reach.size) < 5] = np.inf
    aim = runs.lowest(np.where(rows, reach[steps], np.nan))[runs.of_row]
    off = np.abs(points.vce - aim)
    order = in_order(steps, off, rows & np.isfinite(aim))
    first = np.ones(order.size, dtype=bool)
    first[1:] = np.diff(steps[order]) != 0
    near = order[first]
    chosen[near[off[near] < 0.1 * aim[near]]] = True
    return chosen
