"""Figures of an impossible size: a slip of unit or decimal mark, a sensor that failed for one reading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partscreen.device.temperature import thermal_voltage
from partscreen.quantities import QUANTITIES
from partscreen.readings.findings import Desk, Finding, add_note
from partscreen.readings.runs import group_median, in_order
from partscreen.readings.tables import Batch, Bools, Floats, Sweep
from partscreen.results import QualityNote

SLIP = np.log(300.0)  # a slip of 1000 minus what parts may differ by (assumption: a factor 3.3)
# Bias makes a factor of 3, processes of one type up to 11 (0.73 and 8 nF read on one type): 30 is neither (assumption).
CAPACITANCE_SLIP = np.log(30.0)
MIN_OTHERS = 3  # parts or points needed to say what is usual
# One gain this far off both neighbours, which agree, is a slip (0,435 for 435): no curve falls and rises twentyfold
# within a decade of current on either side (assumption; neighbours of a sound part differ by less than 3).
NEIGHBOUR_SLIP = np.log(20.0)
NEIGHBOURS_AGREE = np.log(3.0)
TEMP_JUMP = 10.0  # K between a reading and the two before and after it, which agree within TEMP_AGREE (assumption)
TEMP_AGREE = 3.0  # K
SATURATION_CURRENT = (1e-19, 1e-6)  # A; IS of any silicon part from small-signal to 50 A, with room to spare (memory)


def impossible_size(desk: Desk) -> list[Finding]:
    """IMPOSSIBLE_SIZE against the bounds of the table of quantities, alone."""
    p, runs = desk.points, desk.runs
    rows = np.zeros(p.ic.shape[0], dtype=bool)
    value = np.full(rows.shape[0], np.nan)
    for name in ("ic", "ib", "vce", "vbe", "hfe", "case_temp"):
        column: Floats = getattr(p, name)
        bound = QUANTITIES[name]
        size = np.abs(column)
        low = bound.low if name in ("case_temp",) else 0.0  # a gain of zero is a dead part's and an honest reading
        wrong = desk.ok & ((size > bound.high) | (size < low) | np.isinf(column))
        value = np.where(wrong & ~rows, column, value)
        rows |= wrong
    hit = np.flatnonzero(runs.any(rows))
    figures = {"points": runs.count(rows)[hit].astype(float), "largest": runs.highest(np.abs(value))[hit]}
    sentence = (
        "{points:.0f} point(s) hold a figure no transistor or bench gives ({largest}): a slip of unit or decimal "
        "mark? Not used; "
        "put the file right and run again."
    )
    return [Finding("IMPOSSIBLE_SIZE", hit, sentence, figures, rows)]


def single_slips(desk: Desk) -> list[Finding]:
    """IMPOSSIBLE_SIZE of one gain between two neighbours that agree: a decimal mark slipped in one cell."""
    p, runs = desk.points, desk.runs
    gain = desk.ok & (p.hfe > 0.0) & (p.ic > 0.0) & (p.sweep != Sweep.OUTPUT)
    order = in_order(runs.of_row, p.ic, gain)
    rows = np.zeros(p.ic.shape[0], dtype=bool)
    if order.size >= 3:
        ln_hfe, ln_ic, run = np.log(p.hfe[order]), np.log(p.ic[order]), runs.of_row[order]
        together = (run[:-2] == run[2:]) & (np.diff(ln_ic)[:-1] < np.log(10.0)) & (np.diff(ln_ic)[1:] < np.log(10.0))
        low, mid, high = ln_hfe[:-2], ln_hfe[1:-1], ln_hfe[2:]
        off = np.minimum(np.abs(mid - low), np.abs(mid - high)) > NEIGHBOUR_SLIP
        rows[order[1:-1][together & off & (np.abs(high - low) < NEIGHBOURS_AGREE)]] = True
    return [_finding(desk, rows, p.hfe, "gain(s) lie far off both neighbours, which agree")]


def slips_of_thousand(desk: Desk) -> list[Finding]:
    """IMPOSSIBLE_SIZE against neighbours: about 1000 off the part's other points, or off the lot."""
    p, n = desk.points, desk.batch.n_parts
    gain = desk.ok & (p.hfe > 0.0) & ~((p.sweep == Sweep.OUTPUT) & (p.vce < 0.5))
    ln_hfe = np.where(gain, np.log(np.where(gain, p.hfe, 1.0)), np.nan)
    one_off = gain & (np.abs(ln_hfe - _others(desk, ln_hfe)) > SLIP)
    of_part = group_median(np.where(one_off, np.nan, ln_hfe), p.part, n)
    lot_off = _off_the_lot(desk, of_part)
    found = [
        _finding(desk, one_off, p.hfe, "gain(s) lie a factor of about 1000 off the other points of the part"),
        _finding(
            desk, gain & lot_off[p.part] & ~one_off, p.hfe, "gain(s) lie a factor of about 1000 off the rest of the lot"
        ),
    ]
    return [*found, *_current_slips(desk)]


def _current_slips(desk: Desk) -> list[Finding]:
    """ln IS implied by IC and VBE at low injection: alike within a part and a lot, whatever the gain."""
    p, n = desk.points, desk.batch.n_parts
    rows = desk.ok & (p.ic > 0.0) & (p.vbe > 0.2) & ((p.sweep == Sweep.GAIN) | (p.sweep == Sweep.GUMMEL))
    temp = np.where(np.isfinite(p.case_temp), p.case_temp, 298.15)
    ln_is = np.where(rows, np.log(np.where(rows, p.ic, 1.0)) - p.vbe / thermal_voltage(temp), np.nan)
    # resistance and high injection only lower it: the highest of a part is its low-injection figure
    best = np.full(n, -np.inf)
    np.maximum.at(best, p.part[rows], ln_is[rows])
    best = np.where(np.isfinite(best), best, np.nan)
    lot_off = _off_the_lot(desk, best)
    with np.errstate(invalid="ignore"):
        no_silicon = (best < np.log(SATURATION_CURRENT[0])) | (best > np.log(SATURATION_CURRENT[1]))
    return [
        _finding(
            desk,
            rows & lot_off[p.part],
            p.ic,
            "collector current(s) fit the part's VBE only if they are wrong by about 1000",
        ),
        _finding(
            desk,
            rows & no_silicon[p.part] & ~lot_off[p.part],
            p.ic,
            "collector current(s) fit no silicon junction at that VBE",
        ),
    ]


def _finding(desk: Desk, rows: Bools, values: Floats, words: str) -> Finding:
    hit = np.flatnonzero(desk.runs.any(rows))
    figures = {
        "points": desk.runs.count(rows)[hit].astype(float),
        "largest": desk.runs.highest(np.where(rows, values, np.nan))[hit],
    }
    sentence = (
        f"{{points:.0f}} {words} (largest {{largest}}): a slip of unit or decimal mark? Not used; put the file right."
    )
    return Finding("IMPOSSIBLE_SIZE", hit, sentence, figures, rows)


def _others(desk: Desk, values: Floats) -> Floats:
    """Median over a part's own points, per row; NaN where it has fewer than three."""
    n = desk.batch.n_parts
    count = np.bincount(desk.points.part[np.isfinite(values)], minlength=n)
    median = group_median(values, desk.points.part, n)
    usual: Floats = np.where(count >= MIN_OTHERS, median, np.nan)[desk.points.part]
    return usual


def _off_the_lot(desk: Desk, values: Floats) -> Bools:
    lot = desk.batch.part_lot
    n = len(desk.batch.lots)
    count = np.bincount(lot[np.isfinite(values)], minlength=n)
    median = np.where(count >= MIN_OTHERS, group_median(values, lot, n), np.nan)
    with np.errstate(invalid="ignore"):
        off: Bools = np.abs(values - median[lot]) > SLIP
    return off


def temperature_jumps(desk: Desk) -> list[Finding]:
    """SENSOR_FAULT: one case temperature far from the two before and after it, which agree."""
    p, runs = desk.points, desk.runs
    n = p.case_temp.shape[0]
    rows = np.zeros(n, dtype=bool)
    if n >= 5:
        windows = np.lib.stride_tricks.sliding_window_view(p.case_temp, 5)
        one_part = np.lib.stride_tricks.sliding_window_view(p.part, 5)
        around = windows[:, [0, 1, 3, 4]]
        steady = (around.max(axis=1) - around.min(axis=1) < TEMP_AGREE) & (one_part[:, 0] == one_part[:, 4])
        rows[2:-2] = steady & (np.abs(windows[:, 2] - around.mean(axis=1)) > TEMP_JUMP) & desk.ok[2:-2]
    hit = np.flatnonzero(runs.any(rows))
    figures = {"temperature_c": runs.highest(np.where(rows, p.case_temp, np.nan))[hit] - 273.15}
    sentence = (
        "A single case temperature of {temperature_c} degC among steady ones: the sensor failed. The point is left out."
    )
    return [Finding("SENSOR_FAULT", hit, sentence, figures, rows)]


def spot_sizes(batch: Batch) -> Batch:
    """IMPOSSIBLE_SIZE for spot readings: outside the bounds of the table of quantities."""
    spots = batch.spots
    wrong = np.zeros(spots.value.shape[0], dtype=bool)
    for name in np.unique(spots.quantity):
        bound = QUANTITIES.get(str(name))
        if bound is None:
            continue
        size = np.abs(spots.value)
        low = 0.0 if name == "hfe" else bound.low
        wrong |= (spots.quantity == name) & ((size > bound.high) | (size < low) | ~np.isfinite(spots.value))
    wrong &= spots.use
    for index in np.flatnonzero(wrong):
        name, value = str(spots.quantity[index]), float(spots.value[index])
        bound = QUANTITIES[name]
        sentence = (
            f"{bound.symbol} of {value:.4g} {bound.unit} is outside what any part has ({bound.low:.3g} to "
            f"{bound.high:.3g}): "
            "a slip of unit or decimal mark? Not used; put the file right."
        )
        figures: dict[str, float | int | str | None] = {
            "value": value if np.isfinite(value) else None,
            "low": bound.low,
            "high": bound.high,
        }
        note = QualityNote(code="IMPOSSIBLE_SIZE", sentence=sentence, run=bound.symbol, figures=figures, used=False)
        batch = add_note(batch, int(spots.part[index]), note)
    return without_spots(batch, wrong)


def capacitance_slips(batch: Batch) -> Batch:
    """IMPOSSIBLE_SIZE for capacitances 30 times off the lot: nF taken for pF, no contact, or an open part."""
    spots = batch.spots
    off = np.zeros(spots.value.shape[0], dtype=bool)
    usual = np.full(spots.value.shape[0], np.nan)
    n_lots = len(batch.lots)
    for name in ("c_be", "c_cb"):
        rows = spots.use & (spots.quantity == name) & (spots.value > 0.0)
        if rows.sum() <= MIN_OTHERS:
            continue
        lot = batch.part_lot[spots.part]
        ln_value = np.where(rows, np.log(np.where(rows, spots.value, 1.0)), np.nan)
        enough = np.bincount(lot[rows], minlength=n_lots) > MIN_OTHERS
        usual = np.where(rows, np.where(enough, group_median(ln_value, lot, n_lots), np.nan)[lot], usual)
        with np.errstate(invalid="ignore"):
            off |= rows & (np.abs(ln_value - usual) > CAPACITANCE_SLIP)
    for index in np.flatnonzero(off):
        symbol = QUANTITIES[str(spots.quantity[index])].symbol
        value, others = float(spots.value[index]), float(np.exp(usual[index]))
        sentence = (
            f"{symbol} of {value:.3g} F, the rest of the lot has {others:.3g} F: a slip of unit (nF, pF), no "
            f"contact, or an open part? "
            "Not used; read it again."
        )
        figures: dict[str, float | int | str | None] = {"value": value, "lot": others}
        note = QualityNote(code="IMPOSSIBLE_SIZE", sentence=sentence, run=symbol, figures=figures, used=False)
        batch = add_note(batch, int(spots.part[index]), note)
    return without_spots(batch, off)


def without_spots(batch: Batch, rows: Bools) -> Batch:
    return replace(batch, spots=replace(batch.spots, use=batch.spots.use & ~rows))
