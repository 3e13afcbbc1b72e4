"""Readings taken while the part was warming: up and down differ, gain climbs while the current stands."""

from __future__ import annotations

import numpy as np

from partscreen.readings.findings import Desk, Finding
from partscreen.readings.tables import Bools, Floats, Ints, Sweep

SIGMA = 4.0  # assumption; about 1 in 16,000 for each of two figures of a sweep
MIN_GAIN = 0.01  # ln hFE: 1 % is about 2 K (check: XTB 1.5 gives 0.5 % per kelvin)
MIN_VBE = 3e-3  # V: about 1.6 K
MIN_POINTS = 3
SAME_CURRENT = 0.02  # ln of collector currents that count as one level (assumption)
TEMP_APART = 2.0  # K; a case that is logged as warmer explains a difference, and the fit knows of it


def heating_drift(desk: Desk) -> list[Finding]:
    """HEATING_DRIFT: the readings stay in use, with the drift added to their uncertainty."""
    return [*_up_against_down(desk), *_standing_current(desk)]


def _rows(desk: Desk) -> Bools:
    p = desk.points
    rows: Bools = desk.ok & ((p.sweep == Sweep.GAIN) | (p.sweep == Sweep.GUMMEL)) & (p.ic > 0.0)
    return rows


def _directions(desk: Desk, rows: Bools) -> Ints:
    """+1 where the current rises from the point read before to the point read after, -1 where it falls, else 0."""
    p, of_run = desk.points, desk.runs.of_row
    index = np.flatnonzero(rows)
    out = np.zeros(p.ic.shape[0], dtype=np.int64)
    if index.size < 3:
        return out
    before, here, after = index[:-2], index[1:-1], index[2:]
    inside = of_run[before] == of_run[after]
    rising = (p.ic[before] < p.ic[here]) & (p.ic[here] < p.ic[after])
    falling = (p.ic[before] > p.ic[here]) & (p.ic[here] > p.ic[after])
    out[here[inside & rising]] = 1
    out[here[inside & falling]] = -1
    return out


def _up_against_down(desk: Desk) -> list[Finding]:
    """Mean difference of the way down from the curve of the way up; same part, kind of sweep and session."""
    p = desk.points
    rows = _rows(desk)
    way = _directions(desk, rows)
    group = _groups(desk)
    both = np.intersect1d(np.unique(group[way > 0]), np.unique(group[way < 0]))
    rows &= np.isin(group, both)
    gain = _branch_difference(desk, rows, way, group, np.log(np.where(p.hfe > 0, p.hfe, np.nan)), p.hfe_std / p.hfe)
    vbe = _branch_difference(desk, rows, way, group, p.vbe, p.vbe_std)
    hot = _significant(gain, MIN_GAIN) | _significant(vbe, MIN_VBE)
    groups = np.flatnonzero(hot)
    _, first = np.unique(group[desk.runs.first], return_index=True)
    hit = np.sort(first[np.isin(group[desk.runs.first][first], groups)])
    of = group[desk.runs.first][hit]
    figures = {"gain_change_percent": 100.0 * np.expm1(gain[0][of]), "vbe_change_mv": 1e3 * vbe[0][of]}
    sentence = (
        "The sweep down differs from the sweep up: gain by {gain_change_percent} %, VBE by {vbe_change_mv} mV. The "
        "part warmed while "
        "it was read. Kept; half of the difference is added to the uncertainty. Pulses, or a pause between points, "
        "cure it."
    )
    widen = 0.5 * np.nan_to_num(np.abs(gain[0])) * hot, 0.5 * np.nan_to_num(np.abs(vbe[0])) * hot
    return [Finding("HEATING_DRIFT", hit, sentence, figures, None, widen[0][group], widen[1][group])]


def _groups(desk: Desk) -> Ints:
    """One number per part, kind of sweep and session: an up and a down sweep may be two runs."""
    p = desk.points
    key = (p.part * 4 + p.sweep) * max(len(desk.batch.sessions), 1) + p.session
    _, group = np.unique(key, return_inverse=True)
    numbers: Ints = group.astype(np.int64)
    return numbers


def _branch_difference(
    desk: Desk, rows: Bools, way: Ints, group: Ints, y: Floats, std: Floats
) -> tuple[Floats, Floats]:
    """Mean of (down - up) per group and its standard uncertainty; NaN where fewer than three points compare."""
    n = int(group.max()) + 1 if group.size else 0
    x = np.log(np.where(desk.points.ic > 0, desk.points.ic, np.nan))
    good = rows & np.isfinite(y) & np.isfinite(x)
    up, down = np.flatnonzero(good & (way > 0)), np.flatnonzero(good & (way < 0))
    empty = np.full(n, np.nan)
    if up.size < 2 or down.size == 0:
        return empty, empty
    up = up[np.lexsort((x[up], group[up]))]
    offset = 2.0 * (np.nanmax(x) - np.nanmin(x)) + 1.0  # places the groups one after the other on one axis
    axis, at = x[up] + offset * group[up], x[down] + offset * group[down]
    place = np.searchsorted(axis, at)
    inner = (place > 0) & (place < axis.size)
    left, right = up[np.clip(place - 1, 0, up.size - 1)], up[np.clip(place, 0, up.size - 1)]
    inner &= (group[left] == group[down]) & (group[right] == group[down])
    case = desk.points.case_temp
    inner &= ~(np.abs(case[left] - case[down]) > TEMP_APART)
    difference = y[down] - np.interp(at, axis, y[up])
    member, delta = group[down][inner], difference[inner]
    count = np.bincount(member, minlength=n)
    total = np.bincount(member, weights=delta, minlength=n)
    variance = np.bincount(member, weights=2.0 * std[down][inner] ** 2, minlength=n)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(count >= MIN_POINTS, total / count, np.nan)
        return mean, np.sqrt(variance) / count


def _significant(figure: tuple[Floats, Floats], least: float) -> Bools:
    with np.errstate(invalid="ignore"):
        return (np.abs(figure[0]) > SIGMA * figure[1]) & (np.abs(figure[0]) > least)


def _standing_current(desk: Desk) -> list[Finding]:
    """Gain rising and VBE falling over readings repeated at one current and voltage."""
    p, runs = desk.points, desk.runs
    rows = _rows(desk)
    index = np.flatnonzero(rows)
    if index.size < MIN_POINTS:
        return []
    same = runs.of_row[index[1:]] == runs.of_row[index[:-1]]
    same &= np.abs(np.log(p.ic[index[1:]] / p.ic[index[:-1]])) < SAME_CURRENT
    with np.errstate(invalid="ignore"):
        same &= ~(np.abs(p.vce[index[1:]] / p.vce[index[:-1]] - 1.0) > SAME_CURRENT)
        same &= ~(np.abs(p.case_temp[index[1:]] - p.case_temp[index[:-1]]) > TEMP_APART)
    level = np.concatenate(([0], np.cumsum(~same)))
    size = np.bincount(level)
    keep = size[level] >= MIN_POINTS
    index, level = index[keep], level[keep]
    with np.errstate(divide="ignore", invalid="ignore"):
        ln_hfe, relative = np.log(p.hfe[index]), p.hfe_std[index] / p.hfe[index]
    run = runs.of_row[index]
    gain = _climb(level, run, runs.n, ln_hfe, relative)
    vbe = _climb(level, run, runs.n, p.vbe[index], p.vbe_std[index])
    with np.errstate(invalid="ignore"):
        hot = _significant(gain, MIN_GAIN) & (gain[0] > 0) | _significant(vbe, MIN_VBE) & (vbe[0] < 0)
    hit = np.flatnonzero(hot)
    figures = {"gain_change_percent": 100.0 * np.expm1(gain[0][hit]), "vbe_change_mv": 1e3 * vbe[0][hit]}
    sentence = (
        "While the current stood still the gain moved by {gain_change_percent} % and VBE by {vbe_change_mv} mV: "
        "the part warmed. Kept; "
        "half of the change is added to the uncertainty."
    )
    widen = 0.5 * np.nan_to_num(np.abs(gain[0])) * hot, 0.5 * np.nan_to_num(np.abs(vbe[0])) * hot
    return [Finding("HEATING_DRIFT", hit, sentence, figures, None, widen[0][runs.of_row], widen[1][runs.of_row])]


def _climb(level: Ints, run: Ints, n_runs: int, y: Floats, std: Floats) -> tuple[Floats, Floats]:
    """Change from the first to the last reading of a level, from a straight line over the order of reading; per run."""
    ok = np.isfinite(y) & np.isfinite(std)
    level, run, y, std = level[ok], run[ok], y[ok], std[ok]
    if level.size == 0:
        return np.full(n_runs, np.nan), np.full(n_runs, np.nan)
    _, number, size = np.unique(level, return_inverse=True, return_counts=True)
    start = np.concatenate(([0], np.cumsum(size)[:-1]))
    place = np.arange(level.size) - start[number]
    centred = place - (size[number] - 1) / 2.0
    span = np.maximum(size - 1, 1)[number]
    scale = np.bincount(run, weights=(centred / span) ** 2, minlength=n_runs)
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.bincount(run, weights=centred / span * y, minlength=n_runs) / scale
        variance = np.bincount(run, weights=(centred / span * std) ** 2, minlength=n_runs) / scale**2
        return change, np.sqrt(variance)
