"""Work on many runs at once: sums, medians and neighbours within groups of rows, without a loop over parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.readings.tables import Bools, Floats, Ints, Points


@dataclass(frozen=True, slots=True)
class Runs:
    """Rows cut into runs (sweeps). `of_row`: position of a row's run, 0..n-1, in order of first appearance.

    `first`: first row of each run; `part`, `sweep`, `session`, `label` (run number of the table): shape (n_runs,).
    """

    of_row: Ints
    first: Ints
    part: Ints
    sweep: Ints
    session: Ints
    label: Ints

    @property
    def n(self) -> int:
        return int(self.first.shape[0])

    def count(self, rows: Bools) -> Ints:
        """Rows of each run for which `rows` holds."""
        return np.bincount(self.of_row[rows], minlength=self.n)

    def any(self, rows: Bools) -> Bools:
        return self.count(rows) > 0

    def highest(self, values: Floats) -> Floats:
        """Largest finite value of each run; -inf where it has none."""
        out = np.full(self.n, -np.inf)
        np.maximum.at(out, self.of_row, np.where(np.isfinite(values), values, -np.inf))
        return out

    def lowest(self, values: Floats) -> Floats:
        """Smallest finite value of each run; inf where it has none."""
        return -self.highest(-values)


def cut_runs(points: Points) -> Runs:
    """The runs of a table of points, which is sorted by part, then run, then order of reading."""
    n = points.run.shape[0]
    if n == 0:
        empty = np.zeros(0, dtype=np.int64)
        return Runs(empty, empty, empty, empty, empty, empty)
    new = np.ones(n, dtype=bool)
    new[1:] = (np.diff(points.run) != 0) | (np.diff(points.part) != 0)
    first = np.flatnonzero(new)
    of_row = np.cumsum(new) - 1
    return Runs(of_row, first, points.part[first], points.sweep[first], points.session[first], points.run[first])


def group_median(values: Floats, group: Ints, n_groups: int) -> Floats:
    """Median of the finite values of each group; NaN where a group has none."""
    ok = np.isfinite(values)
    kept, member = values[ok], group[ok]
    order = np.lexsort((kept, member))
    kept = kept[order]
    count = np.bincount(member, minlength=n_groups)
    start = np.concatenate(([0], np.cumsum(count)[:-1]))
    out = np.full(n_groups, np.nan)
    has = count > 0
    low = kept[start[has] + (count[has] - 1) // 2]
    high = kept[start[has] + count[has] // 2]
    out[has] = 0.5 * (low + high)
    return out


def in_order(group: Ints, key: Floats, rows: Bools) -> Ints:
    """Indices of the chosen rows, sorted by group and, within it, by key."""
    index = np.flatnonzero(rows)
    order: Ints = index[np.lexsort((key[index], group[index]))]
    return order


def steps_of_base_current(points: Points, runs: Runs) -> Ints:
    """Number of the base-current step each row belongs to, counted over the table.

    A step ends with its run, or (output sweeps) where the base current moves by more than 3 % (assumption: wider than
    the jitter of a set current, narrower than any useful step), becomes known or unknown, or VCE falls back by half.
    """
    n = points.ic.shape[0]
    if n == 0:
        return np.zeros(0, dtype=np.int64)
    new = np.zeros(n, dtype=bool)
    new[runs.first] = True
    before, after = points.ib[:-1], points.ib[1:]
    known = np.isfinite(before) & np.isfinite(after)
    moved = known & (np.abs(after - before) > 0.03 * np.maximum(np.abs(after), np.abs(before)))
    appeared = np.isfinite(before) != np.isfinite(after)
    fell = points.vce[1:] < 0.5 * points.vce[:-1]
    output = runs.sweep[runs.of_row[1:]] == 2
    new[1:] |= output & (moved | appeared | (fell & ~known))
    steps: Ints = np.cumsum(new) - 1
    return steps


def run_name(runs: Runs, position: int) -> str:
    """What a run is called in a note."""
    words = ("gain", "saturation", "output", "gummel")
    return f"{words[int(runs.sweep[position])]} sweep, run {int(runs.label[position])}"
