"""The low end of a sweep, where offsets and leakage drown the part."""

from __future__ import annotations

import numpy as np

from partscreen.device.temperature import thermal_voltage
from partscreen.readings.findings import Desk, Finding
from partscreen.readings.runs import Runs, in_order
from partscreen.readings.tables import Bools, Floats, Ints, Sweep

# ASTM F528-99 (2005): ICEO below 10 % of the collector current, base shunt leakage below 10 % of the base current.
LEAK_SHARE = 0.1
# mV per decade at 25 degC over the ideal 59.16: outside, no junction draws it (assumption).
SLOPE = (50.0 / 59.16, 75.0 / 59.16)
SLOPE_SIGMA = 4.0
SPAN = 0.5  # decades over which a local slope is taken (assumption)
RUNAWAY_SIGMA = 4.5
RUNAWAY = 0.15  # ln hFE beyond the straight line through the points above (assumption)


def offsets(desk: Desk) -> list[Finding]:
    """OFFSET: signs that change, a VBE slope no junction has, or a gain that runs away, at the low end of a sweep."""
    found = _wrong_sign(desk)
    found.append(_slope(desk))
    found.append(_runaway(desk))
    return found


def _junction(desk: Desk) -> Bools:
    sweep = desk.points.sweep
    rows: Bools = desk.ok & ((sweep == Sweep.GAIN) | (sweep == Sweep.GUMMEL))
    return rows


def _wrong_sign(desk: Desk) -> list[Finding]:
    p, runs = desk.points, desk.runs
    rows = _junction(desk) & ((p.ic < 0.0) | (p.ib < 0.0) | (p.hfe < 0.0))
    rows &= runs.any(_junction(desk) & (p.ic > 0.0))[runs.of_row]
    hit = np.flatnonzero(runs.any(rows))
    with np.errstate(invalid="ignore"):
        lowest = np.minimum(np.nan_to_num(p.ic), np.nan_to_num(p.ib))
    figures = {
        "points": runs.count(rows)[hit].astype(float),
        "lowest_a": runs.lowest(np.where(rows, lowest, np.nan))[hit],
    }
    sentence = (
        "{points:.0f} point(s) have a current of the wrong sign (down to {lowest_a} A): an offset of the "
        "instrument, larger than the "
        "current itself. Left out."
    )
    return [Finding("OFFSET", hit, sentence, figures, rows)]


def _slope(desk: Desk) -> Finding:
    """Local slope over half a decade, from the bottom up to the first point where it is a junction's again.

    A slope too steep counts only if it is steeper than the one further up: series resistance and high injection steepen
    the top.
    """
    p, runs = desk.points, desk.runs
    rows = _junction(desk) & (p.ic > 0.0) & np.isfinite(p.vbe) & np.isfinite(p.case_temp) & np.isfinite(p.vbe_std)
    order = in_order(runs.of_row, p.ic, rows)
    decade = np.log10(p.ic[order])
    run = runs.of_row[order]
    partner = _partner(run, decade, np.arange(order.size), SPAN)
    has = partner >= 0
    other = np.where(has, partner, 0)
    width = np.where(has, decade[other] - decade, 1.0)
    ideal = thermal_voltage(p.case_temp[order]) * np.log(10.0)
    slope = np.where(has, (p.vbe[order][other] - p.vbe[order]) / width / ideal, np.nan)
    ic_relative = np.nan_to_num(p.ic_std[order] / p.ic[order])
    noise = np.hypot(p.vbe_std[order], p.vbe_std[order][other]) / ideal
    std = np.hypot(noise, np.hypot(ic_relative, ic_relative[other]) / np.log(10.0)) / width
    above = np.where(has, slope[other], np.nan)
    with np.errstate(invalid="ignore"):
        shallow = slope < SLOPE[0] - SLOPE_SIGMA * std
        steep = (slope > SLOPE[1] + SLOPE_SIGMA * std) & (slope > above + SLOPE_SIGMA * std)
    bad = _from_the_bottom(run, shallow | steep)
    flagged = np.zeros(p.ic.shape[0], dtype=bool)
    flagged[order[bad]] = True
    hit = np.flatnonzero(runs.any(flagged))
    worst = np.full(runs.n, np.nan)
    places = np.flatnonzero(bad)[::-1]  # the lowest point of a run is written last
    worst[run[places]] = 1e3 * slope[places] * ideal[places]
    highest = runs.highest(np.where(flagged, p.ic, np.nan))
    sentence = (
        "Below {ic_a} A the collector current moves by one decade for {mv_per_decade} mV of VBE, outside what a "
        "junction does "
        "(50 to 75 mV at 25 degC): an offset spoils the low end. Left out."
    )
    return Finding("OFFSET", hit, sentence, {"ic_a": highest[hit], "mv_per_decade": worst[hit]}, flagged)


def _from_the_bottom(run: Ints, bad: Bools) -> Bools:
    """The bad points that reach down to the lowest point of their run without a break (one good point is bridged)."""
    if run.size == 0:
        return bad
    start = np.flatnonzero(np.concatenate(([True], np.diff(run) != 0)))
    number = np.cumsum(np.concatenate(([True], np.diff(run) != 0))) - 1
    bridged = bad.copy()
    bridged[:-1] |= bad[1:] & (number[1:] == number[:-1]) & (np.arange(run.size - 1) == start[number[:-1]])
    breaks = np.cumsum(~bridged)
    base: Ints = (breaks - (~bridged).astype(np.int64))[start]
    reached: Bools = bridged & (breaks == base[number])
    return reached


def _runaway(desk: Desk) -> Finding:
    """Gain at the low end above the straight line (ln hFE against ln IC) through the points above it.

    A transistor's ln hFE bends down on both sides of its top, so the line through higher points lies above the curve;
    an offset in the base or collector current bends it up.
    """
    p, runs = desk.points, desk.runs
    rows = _junction(desk) & (p.ic > 0.0) & (p.hfe > 0.0) & np.isfinite(p.hfe_std)
    order = in_order(runs.of_row, p.ic, rows)
    n = order.size
    flagged = np.zeros(p.ic.shape[0], dtype=bool)
    if n >= 4:
        x, y = np.log(p.ic[order]), np.log(p.hfe[order])
        s, run = p.hfe_std[order] / p.hfe[order], runs.of_row[order]
        one = _partner(run, x, np.arange(n), SPAN * np.log(10.0))
        two = _partner(run, x, np.where(one >= 0, one, 0), SPAN * np.log(10.0))
        has = (one >= 0) & (two >= 0)
        a, b = np.where(has, one, 0), np.where(has, two, 0)
        span = np.where(has, x[b] - x[a], 1.0)
        ratio = (x[a] - x) / span
        line = y[a] + (y[a] - y[b]) * ratio
        std = np.sqrt(s**2 + ((1.0 + ratio) * s[a]) ** 2 + (ratio * s[b]) ** 2)
        away = has & (y - line > RUNAWAY + RUNAWAY_SIGMA * std) & (y > y[a])
        flagged[order[_from_the_bottom(run, away)]] = True
    hit = np.flatnonzero(runs.any(flagged))
    highest = runs.highest(np.where(flagged, p.hfe, np.nan))
    ic = runs.highest(np.where(flagged, p.ic, np.nan))
    sentence = "Below {ic_a} A the gain runs away (to {hfe}): an offset of the instrument, not the part. Left out."
    return Finding("OFFSET", hit, sentence, {"ic_a": ic[hit], "hfe": highest[hit]}, flagged)


def _partner(run: Ints, x: Floats, start: Ints, span: float) -> Ints:
    """For each sorted starting point the first of its run at least `span` above; -1 where there is none."""
    if run.size == 0:
        return np.zeros(0, dtype=np.int64)
    offset = 1.0 + 2.0 * (x.max() - x.min()) + span
    axis = x + offset * run
    place = np.searchsorted(axis, axis[start] + span - 1e-9)
    inside = place < run.size
    same = inside & (run[np.where(inside, place, 0)] == run[start])
    return np.where(same, place, -1)


def leakage(desk: Desk) -> list[Finding]:
    """LEAKAGE: points where a known leakage is at least a tenth of the current it adds to (ASTM F528-99 (2005))."""
    p, runs = desk.points, desk.runs
    iceo = _known_leak(desk, "iceo")
    base: Floats = np.fmax(_known_leak(desk, "icbo"), _known_leak(desk, "iebo"))
    usable = desk.ok & (p.sweep != Sweep.SATURATION)
    with np.errstate(invalid="ignore"):
        collector = usable & (iceo[p.part] >= LEAK_SHARE * p.ic)
        ib = np.where(np.isfinite(p.ib), p.ib, p.ic / p.hfe)
        at_base = usable & (base[p.part] >= LEAK_SHARE * ib)
    return [
        _leak_finding(runs, collector, iceo, "ICEO", "collector"),
        _leak_finding(runs, at_base, base, "ICBO or IEBO", "base"),
    ]


def _leak_finding(runs: Runs, rows: Bools, leak: Floats, symbol: str, terminal: str) -> Finding:
    hit = np.flatnonzero(runs.any(rows))
    sentence = (
        f"{symbol} of {{leakage_a}} A is a tenth or more of the {terminal} current in {{points:.0f}} point(s): a "
        f"gain read there is not "
        "valid (ASTM F528-99). Left out."
    )
    figures = {"leakage_a": leak[runs.part[hit]], "points": runs.count(rows)[hit].astype(float)}
    return Finding("LEAKAGE", hit, sentence, figures, rows)


def _known_leak(desk: Desk, quantity: str) -> Floats:
    """Largest reading of a leakage of each part; NaN where it was not read."""
    spots = desk.batch.spots
    out = np.full(desk.batch.n_parts, -np.inf)
    read = spots.use & (spots.quantity == quantity) & np.isfinite(spots.value)
    np.maximum.at(out, spots.part[read], spots.value[read])
    return np.where(np.isfinite(out), out, np.nan)
