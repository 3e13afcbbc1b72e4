"""Traces of very many samples, as a recording instrument writes them: noise is found, neighbours are averaged.

Hundreds of points say all that a sweep can say; thousands of noisy ones make the fit slow and, at the low end, are
noise alone. Samples that follow one another and stand close together in current become one point at their mean. Nothing
is picked by its value, so noise averages out instead of being selected; how many samples were averaged is told.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from partscreen.readings.findings import add_note
from partscreen.readings.tables import Batch, Bools, Floats, Ints, Points, Sweep
from partscreen.results import QualityNote

LONG = 100  # points from which on a sweep is a trace whose noise can be told (assumption: six windows and more)
MOST_POINTS = 200  # of a sweep; more add nothing a fit can use (assumption: 80 points a decade over 2.5 decades)
ABOVE_NOISE = (
    10.0  # currents below so many standard uncertainties of their noise are left out (assumption: 10 % of gain)
)
_CLOSE = 0.04  # first width of a block, as a share of its current: VBE bends by less than 0.02 mV over it
_WIDEST = 0.3  # last width tried: VBE bends by 0.6 mV
_SPREAD = 4.0  # standard uncertainties of the noise over which neighbours scatter
_WINDOW = 16  # samples over which noise is told apart from the course of the trace
_MEANS = ("ic", "ib", "vce", "vbe", "case_temp", "ambient", "time")


@dataclass(slots=True)
class _Found:
    """What is found for every row: number of its block, noise of ic, ib and vbe of one sample."""

    block: Ints
    noise: dict[str, Floats]


def average_long_traces(batch: Batch) -> Batch:
    """The batch with long sweeps averaged down and their noise in `hfe_noise` and `vbe_noise`; notices say how far.

    Output families, whose points are steps, stay as they are.
    """
    points = batch.points
    counts = np.bincount(points.run) if points.run.size else np.zeros(0, dtype=np.int64)
    long = [run for run in np.flatnonzero(counts >= LONG).tolist() if _is_trace(points, run)]
    if not long:
        return batch
    n = points.run.size
    found = _Found(np.arange(n, dtype=np.int64), {key: np.zeros(n) for key in ("ic", "ib", "vbe")})
    averaged_runs: list[int] = []
    for run in long:
        rows = np.flatnonzero(points.run == run)
        for key, noise in found.noise.items():
            noise[rows] = trace_noise(getattr(points, key)[rows])
        if rows.size > MOST_POINTS:
            noise_of_ic = float(found.noise["ic"][rows[0]])
            found.block[rows] = rows[0] + _blocks(points.ic[rows], points.use[rows], noise_of_ic)
            averaged_runs.append(run)
    averaged = _averaged(points, found)
    batch = _say_averaged(replace(batch, points=averaged), averaged_runs, counts)
    # Shorter traces keep their noisy end for the quality checks, which tell an offset or an unsteady reading by it.
    return _leave_out_noise(batch, np.isin(averaged.run, averaged_runs), _block_noise(found))


def _is_trace(points: Points, run: int) -> bool:
    row = int(np.argmax(points.run == run))
    return int(points.sweep[row]) != int(Sweep.OUTPUT)


def trace_noise(values: Floats) -> float:
    """Standard deviation of the noise of one sample of a trace; 0 where it cannot be told.

    From fourth differences, in which the course of the trace vanishes to third order (the sum of their squared weights
    is 70); the median over windows keeps edges and stretches without signal from deciding.
    """
    known = values[np.isfinite(values)]
    if known.size < LONG:
        return 0.0
    fourth = np.diff(known, 4)
    windows = fourth[: fourth.size // _WINDOW * _WINDOW].reshape(-1, _WINDOW)
    return float(np.median(np.sqrt(np.mean(windows**2, axis=1) / 70.0)))


def _blocks(ic: Floats, use: Bools, noise: float) -> Ints:
    """Number of the block each sample of a trace goes into, counted up along the trace."""
    width = _CLOSE
    while True:
        found = _greedy(ic, use, width, noise)
        if found[-1] < MOST_POINTS or width >= _WIDEST:
            return found
        width = min(width * 1.5, _WIDEST)


def _greedy(ic: Floats, use: Bools, width: float, noise: float) -> Ints:
    floor = 2.0 * _SPREAD * noise
    out = np.zeros(ic.size, dtype=np.int64)
    values, used = ic.tolist(), use.tolist()
    number, low, high, alike = 0, values[0], values[0], used[0]
    for i in range(1, len(values)):
        low_next, high_next = min(low, values[i]), max(high, values[i])
        allowed = max(width * abs(low_next + high_next) / 2.0, floor)
        if used[i] != alike or not high_next - low_next <= allowed:
            number, low, high, alike = number + 1, values[i], values[i], used[i]
        else:
            low, high = low_next, high_next
        out[i] = number
    return out


def _block_noise(found: _Found) -> dict[str, Floats]:
    """Noise of the mean of every block, per quantity."""
    _, first, block, size = _cut(found.block)
    del block
    return {key: noise[first] / np.sqrt(size) for key, noise in found.noise.items()}


def _cut(block: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    number, first, of_row, size = np.unique(block, return_index=True, return_inverse=True, return_counts=True)
    return number, first, of_row, size


def _averaged(points: Points, found: _Found) -> Points:
    """Means of every block; what names a point (row, file, marks) is that of its first sample."""
    _, first, block, size = _cut(found.block)

    def mean(values: Floats) -> Floats:
        known = ~np.isnan(values)
        total = np.bincount(block, weights=np.where(known, values, 0.0))
        count = np.bincount(block, weights=known.astype(float))
        with np.errstate(divide="ignore", invalid="ignore"):
            out: Floats = np.where(size == 1, values[first], np.where(count > 0, total / count, np.nan))
        return out

    means = {key: mean(getattr(points, key)) for key in _MEANS}
    noise = _block_noise(found)
    with np.errstate(divide="ignore", invalid="ignore"):
        worked = np.where(means["ib"] > 0, means["ic"] / means["ib"], np.nan)
        # A gain worked out from the currents is worked out again from their means: a mean of ratios is biased.
        own = np.isnan(points.hfe) | (np.abs(points.ic / points.ib / points.hfe - 1.0) < 1e-9)
        relative = np.hypot(noise["ic"] / np.abs(means["ic"]), noise["ib"] / np.abs(means["ib"]))
    all_own = np.bincount(block, weights=own.astype(float)) == size
    hfe = np.where((size > 1) & all_own, worked, mean(points.hfe))
    told = all_own & np.isfinite(relative) & np.isfinite(hfe)
    gain_noise = np.zeros(hfe.size)
    gain_noise[told] = relative[told] * np.abs(hfe[told])
    picked = _pick(points, first)
    return replace(
        picked,
        ic=means["ic"],
        ib=means["ib"],
        vce=means["vce"],
        vbe=means["vbe"],
        hfe=hfe,
        case_temp=means["case_temp"],
        ambient=means["ambient"],
        time=means["time"],
        hfe_noise=gain_noise,
        vbe_noise=noise["vbe"],
    )


def _pick(points: Points, rows: Ints) -> Points:
    """Some rows of a table of points, with everything that belongs to them."""
    picked: dict[str, Any] = {
        field.name: value[rows] for field in fields(points) if (value := getattr(points, field.name)) is not None
    }
    return replace(points, **picked)


def _say_averaged(batch: Batch, runs: list[int], counts: Ints) -> Batch:
    if not runs:
        return batch
    after = np.bincount(batch.points.run, minlength=counts.size)[runs].sum()
    parts = dict.fromkeys(int(part) for part in batch.points.part[np.isin(batch.points.run, runs)])
    names = [batch.part_names[part] for part in parts]
    shown = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
    notice = (
        f"{len(runs)} sweep(s) hold more than {MOST_POINTS} samples ({shown}): neighbours of like current were "
        f"averaged, {int(counts[runs].sum())} samples to {int(after)} points"
    )
    return replace(batch, notices=(*batch.notices, notice))


def _leave_out_noise(batch: Batch, traces: Bools, noise: dict[str, Floats]) -> Batch:
    """BELOW_NOISE: points of traces whose current is not ABOVE_NOISE times its noise are kept and not used."""
    points = batch.points
    with np.errstate(invalid="ignore"):
        low = (points.ic < ABOVE_NOISE * noise["ic"]) | (points.ib < ABOVE_NOISE * noise["ib"])
    low &= traces & points.use
    if not low.any():
        return batch
    batch = replace(batch, points=replace(points, use=points.use & ~low))
    for part, first, count in zip(*np.unique(points.part[low], return_index=True, return_counts=True), strict=True):
        row = int(np.flatnonzero(low)[first])
        least = ABOVE_NOISE * float(noise["ic"][row])
        sentence = (
            f"{count} point(s) have a collector or base current below {ABOVE_NOISE:g} times the noise of the "
            "recording: they say nothing of the part. Left out."
        )
        figures: dict[str, float | int | str | None] = {"points": int(count), "noise_limit_of_ic": least}
        batch = add_note(
            batch, int(part), QualityNote(code="BELOW_NOISE", sentence=sentence, figures=figures, used=False)
        )
    return batch
