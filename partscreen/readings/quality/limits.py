"""Points that tell of the instrument: supply at its limit, tester at its top, base current not read, too few points."""

from __future__ import annotations

import numpy as np

from partscreen.readings.findings import Desk, Finding
from partscreen.readings.instruments.uncertainty import resolution
from partscreen.readings.runs import in_order
from partscreen.readings.tables import Bools, Floats, Sweep

# Currents this close, or one digit apart, are one limit (assumption: regulation jitter; 5e-5 seen on one supply).
PILE = 2e-4
LEVEL = 1e-3  # forced currents this close are one level (assumption)
IB_RISE = 1.05  # base current that must have risen on the pile (assumption: above any reading's noise)
AT_TOP = 0.999  # share of the printed range at which a reading counts as clipped (assumption)
MIN_POINTS = 3  # below this a sweep has no shape to check (a line through two points fits anything)


def compliance(desk: Desk) -> list[Finding]:
    """COMPLIANCE: collector current stands still at its highest value while the base current rises.

    A current that is forced (the same levels read again at another VCE) repeats at every level and is no limit: a sweep
    whose lower levels repeat too is passed over. In base-stepped sweeps every point at the level found in the same
    session is left out.
    """
    points, runs = desk.points, desk.runs
    if runs.n == 0:
        return []
    known = desk.ok & np.isfinite(points.ic) & np.isfinite(points.ib) & (points.ib > 0.0) & (points.ic > 0.0)
    digit = 1.1 * resolution(points.ic[known], may_be_set=True)
    top = runs.highest(np.where(known, points.ic, np.nan))
    at_top = known & (points.ic >= top[runs.of_row] * (1.0 - PILE) - digit)
    ib_high = runs.highest(np.where(at_top, points.ib, np.nan))
    ib_low = runs.lowest(np.where(at_top, points.ib, np.nan))
    output = runs.sweep == Sweep.OUTPUT
    piled = (runs.count(at_top) >= 2) & (ib_high > IB_RISE * ib_low) & (runs.sweep != Sweep.SATURATION)
    below = known & ~at_top
    piled &= output | (~_lower_levels_repeat(desk, below) & (runs.count(below) >= 2))
    rows = at_top & piled[runs.of_row]
    rows |= _same_limit_elsewhere(desk, known, top, piled & output, digit)
    rows |= _kit_limit(desk, known)
    hit = np.flatnonzero(runs.any(rows))
    figures = {"limit_a": top[hit], "points_at_limit": runs.count(rows)[hit].astype(float)}
    sentence = (
        "The collector current stands still at {limit_a} A in {points_at_limit:.0f} point(s) although more base "
        "current was "
        "given: the supply was at its limit. These points say nothing about the part and are left out."
    )
    return [Finding("COMPLIANCE", hit, sentence, figures, rows)]


def _lower_levels_repeat(desk: Desk, rows: Bools) -> Bools:
    points, runs = desk.points, desk.runs
    order = in_order(runs.of_row, points.ic, rows)
    one, two = order[:-1], order[1:]
    same = (runs.of_row[one] == runs.of_row[two]) & (points.ic[two] < points.ic[one] * (1.0 + LEVEL))
    ratio = points.ib[two] / points.ib[one]
    apart = same & (np.maximum(ratio, 1.0 / ratio) > 1.0 + 0.3 * (IB_RISE - 1.0))
    return np.bincount(runs.of_row[one[apart]], minlength=runs.n) > 0


def _same_limit_elsewhere(desk: Desk, known: Bools, top: Floats, found: Bools, digit: float) -> Bools:
    points, runs = desk.points, desk.runs
    rows = np.zeros(points.ic.shape[0], dtype=bool)
    output = runs.sweep[runs.of_row] == Sweep.OUTPUT
    for session in np.unique(runs.session[found]):
        level = float(np.max(top[found & (runs.session == session)]))
        rows |= known & output & (points.session == session) & (np.abs(points.ic - level) <= PILE * level + digit)
    return rows


def _kit_limit(desk: Desk, known: Bools) -> Bools:
    """Points at the current limit the kit states, where the current is not forced or VCE has collapsed."""
    reader = desk.kit.reader_of("ic") if desk.kit else None
    limit = reader.compliance.get("ic") if reader else None
    points, runs = desk.points, desk.runs
    if limit is None:
        return np.zeros(points.ic.shape[0], dtype=bool)
    usual = runs.highest(points.vce)[runs.of_row]
    loose = (points.sweep == Sweep.OUTPUT) | ((points.sweep != Sweep.SATURATION) & (points.vce < 0.8 * usual))
    at_limit: Bools = known & loose & (points.ic >= 0.995 * limit)
    return at_limit


def at_range_limit(desk: Desk) -> list[Finding]:
    """AT_RANGE_LIMIT: readings at the top of a range the kit states. Forced currents count only where they pile up."""
    if desk.kit is None or desk.runs.n == 0:
        return []
    points, runs = desk.points, desk.runs
    found = []
    for name, key in (("ic", "ic"), ("ib", "ib"), ("vbe", "vbe"), ("hfe", "hfe"), ("vce", "vce_sat")):
        reader = desk.kit.reader_of(key)
        top = reader.range.get(key) if reader else None
        if top is None:
            continue
        rows = desk.ok & (getattr(points, name) >= AT_TOP * top)
        if name == "vce":
            rows &= points.sweep == Sweep.SATURATION
        if name in ("ic", "ib"):
            rows &= (runs.count(rows) >= 2)[runs.of_row]
        hit = np.flatnonzero(runs.any(rows))
        count = runs.count(rows)[hit].astype(float)
        sentence = f"{{points_at_top:.0f}} point(s) stand at the top of the {key} range ({{range_top}}): left out."
        figures = {"range_top": np.full(hit.size, top), "points_at_top": count}
        found.append(Finding("AT_RANGE_LIMIT", hit, sentence, figures, rows))
    return found


def base_current_missing(desk: Desk) -> list[Finding]:
    """IB_NOT_RESOLVED: a collector current without base current, gain or VBE cannot be judged."""
    points, runs = desk.points, desk.runs
    usable = np.isfinite(points.hfe) | np.isfinite(points.ib) | np.isfinite(points.vbe)
    rows = desk.ok & np.isfinite(points.ic) & ~usable & (points.sweep != Sweep.SATURATION)
    hit = np.flatnonzero(runs.any(rows))
    sentence = (
        "{points:.0f} point(s) have a collector current but neither base current, gain nor VBE (often the first "
        "step, below the "
        "resolution of the base drive): kept, not judged."
    )
    return [Finding("IB_NOT_RESOLVED", hit, sentence, {"points": runs.count(rows)[hit].astype(float)}, rows)]


def too_few_points(desk: Desk) -> list[Finding]:
    """TOO_FEW_POINTS: fewer than three usable points left in a sweep; they stay in use."""
    points, runs = desk.points, desk.runs
    condition = np.zeros(desk.batch.n_parts, dtype=bool)
    condition[list(desk.batch.condition)] = True
    left = runs.count(desk.ok & ~points.control)
    only_control = runs.count(points.control) > 0
    hit = np.flatnonzero((left < MIN_POINTS) & ~condition[runs.part] & ~only_control)
    total = runs.count(np.ones(points.ic.shape[0], dtype=bool))[hit]
    sentence = (
        "Only {usable_points:.0f} of {points:.0f} point(s) of this sweep can be used: its shape cannot be checked, "
        "and little can be "
        "said about the part from it."
    )
    return [
        Finding(
            "TOO_FEW_POINTS", hit, sentence, {"usable_points": left[hit].astype(float), "points": total.astype(float)}
        )
    ]
