"""Rows of the wide form, one a part, into the batch."""

from __future__ import annotations

import numpy as np

from partscreen.errors import Problem
from partscreen.readings.columns.interpret import SHOWN_ROWS, Interpreted
from partscreen.readings.columns.numbers import BLANKS
from partscreen.readings.rows.builder import Builder
from partscreen.readings.rows.file_draft import FileDraft
from partscreen.readings.rows.owners import say_twice
from partscreen.readings.rows.sweep_rows import Owned, add_sweeps
from partscreen.readings.rows.wide_cells import WideReadings, read_wide
from partscreen.readings.tables import Bools, Ints

LONGEST_PULSE = 1e-3  # s; a longer pulse warms the junction (assumption; data sheets use 300 us)
_POINT_KEYS = ("ic", "ib", "vbe", "hfe", "vce_sat")


def rows_not_read_yet(draft: FileDraft, data: Interpreted, keep: Bools, parts: list[str]) -> Bools:
    """Rows of a sheet that name a part and hold no reading at all: parts still to be read, told and passed over."""
    columns = [data.table.columns[column.index] for column in data.wide]
    columns += [data.table.columns[u.index] for u in data.uses.values() if u.role in _POINT_KEYS and u.index >= 0]
    if "quantity" in data.uses and data.uses["quantity"].index >= 0:
        columns.append(data.table.columns[data.uses["quantity"].index])
    blank = keep.copy()
    for cells in columns:
        for i in np.flatnonzero(blank).tolist():
            blank[i] = cells[i].strip().lower() in BLANKS
    names = [parts[i] for i in np.flatnonzero(blank).tolist()]
    if names:
        shown = ", ".join(names[:SHOWN_ROWS]) + (
            f" and {len(names) - SHOWN_ROWS} more" if len(names) > SHOWN_ROWS else ""
        )
        draft.notices.append(f"{len(names)} row(s) hold no reading yet and were passed over: {shown}")
    if names and len(names) == int(keep.sum()):
        fix = "fill in what was read, one row a part"
        what = "the columns are known, but no row holds a reading"
        draft.problems.append(Problem("NO_READINGS", what, fix, data.table.file, data.table.header_row))
    return blank


def add_wide(builder: Builder, draft: FileDraft, data: Interpreted, rows: Ints, owned: Owned) -> Ints:
    """Add the columns of one reading a part; gives the rows that hold points of sweeps in columns of their own."""
    keep = np.zeros(data.n, dtype=np.bool_)
    keep[rows] = True
    told = len(data.problems), len(data.notices)
    found = read_wide(data, keep, LONGEST_PULSE)
    draft.problems += data.problems[told[0] :]
    draft.notices += data.notices[told[1] :]
    if not data.has_points:
        _find_parts_twice(builder, draft, data, found, owned)
    draft.add_spots(found.spots, owned.part, owned.session, owned.control, data.row)
    if found.sweeps is not None:
        of_row = found.of_row
        pulsed = np.where(found.stated, found.pulsed, owned.pulsed[of_row])
        stated = found.stated | owned.pulse_stated[of_row]
        points = Owned(owned.part[of_row], owned.session[of_row], owned.control[of_row], pulsed, stated)
        add_sweeps(builder, draft, found.sweeps, np.arange(found.sweeps.n), points)
    plain = np.zeros(data.n, dtype=np.bool_)
    for key in _POINT_KEYS:
        if key in data.numbers:
            plain |= ~np.isnan(data.numbers[key]) | data.bad[key]
    left = rows[plain[rows]] if data.has_points else rows[:0]
    return np.asarray(left, dtype=np.int64)


def _find_parts_twice(builder: Builder, draft: FileDraft, data: Interpreted, found: WideReadings, owned: Owned) -> None:
    """One row a part: a part that has a second row with the same column filled stands there twice."""
    if draft.told_apart:
        return
    names = list(builder.parts)
    cells = [data.table.columns[column.index] for column in data.wide]
    first: dict[tuple[int, int, int], int] = {}
    rows = np.flatnonzero(found.read)
    _, of_row, counts = np.unique(owned.part[rows], return_inverse=True, return_counts=True)
    for i in rows[counts[of_row] > 1].tolist():
        code = int(owned.part[i])
        filled = [k for k, column in enumerate(cells) if column[i].strip().lower() not in BLANKS]
        again = [first.setdefault((code, int(owned.session[i]), k), i) != i for k in filled]
        if any(again) and code not in draft.told_twice and not owned.control[i]:
            draft.told_twice.add(code)
            say_twice(builder, draft, code, *names[code], int(data.row[i]))
