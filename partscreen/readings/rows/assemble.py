"""An interpreted table into the batch: who each row belongs to, and what had to be left out."""

from __future__ import annotations

import numpy as np

from partscreen.errors import Problem
from partscreen.readings.columns.interpret import Interpreted, also_in_rows
from partscreen.readings.columns.numbers import MIXED, BadCell, read_cell
from partscreen.readings.columns.units import read_unit
from partscreen.readings.rows.builder import Builder
from partscreen.readings.rows.date_codes import plain_code
from partscreen.readings.rows.file_draft import FileDraft
from partscreen.readings.rows.lot_sheet import read_yes_no
from partscreen.readings.rows.markings import note_markings
from partscreen.readings.rows.spot_rows import read_spots
from partscreen.readings.rows.sweep_rows import Owned, add_sweeps
from partscreen.readings.rows.wide_rows import LONGEST_PULSE, add_wide, rows_not_read_yet
from partscreen.readings.tables import Bools, Ints
from partscreen.results import NotJudged


def add_table(builder: Builder, draft: FileDraft, data: Interpreted) -> None:
    """Put the rows of one table into the batch. Problems go to the draft, never up as exceptions."""
    draft.problems += data.problems
    draft.notices += data.notices
    if not data.n:
        return
    if draft.claimed_by and "lot" not in data.texts:
        what = f"the files of lots {' and '.join(draft.claimed_by)} all name this file, and its rows name no lot"
        fix = f"name it in one lot, or write a column lot; its rows were taken as lot {draft.default_lot}"
        draft.problems.append(Problem("FILE_OF_TWO_LOTS", what, fix, data.table.file, data.table.header_row))
    lots = data.texts.get("lot") or [draft.default_lot] * data.n
    parts = _part_labels(draft, data)
    if parts is None:
        return
    keep = _rows_with_owner(builder, draft, data, lots, parts)
    if data.wide:
        keep &= ~rows_not_read_yet(draft, data, keep, parts)
    if not keep.any():
        return
    codes = np.full(data.n, -1, dtype=np.int64)
    places = np.flatnonzero(keep)
    codes[places] = builder.part_codes([lots[i] for i in places], [parts[i] for i in places])
    draft.n_parts = len(np.unique(codes[places]))
    note_markings(builder, draft, data, codes)
    _note_date_codes(builder, draft, data, codes)
    sitting = draft.name
    if draft.sitting and "part" not in data.uses:
        sitting = draft.sitting
        draft.shares_sitting = "session" not in data.uses
    labels = data.texts.get("session") or [sitting] * data.n
    sessions = builder.session_codes([label or sitting for label in labels])
    first = places[np.unique(codes[places], return_index=True)[1]]
    draft.first_rows.append((codes[first], np.asarray(data.row, dtype=np.int64)[first]))
    draft.told_apart |= "run" in data.uses or "time" in data.uses
    control = _flags(draft, data, "control")
    spot_text = data.texts.get("quantity") or [""] * data.n
    is_spot = np.array([bool(text) for text in spot_text], dtype=np.bool_)
    spots = read_spots(data, np.flatnonzero(keep & is_spot), draft.problems, draft.notices)
    draft.add_spots(spots, codes, sessions, control, data.row)
    rows = np.flatnonzero(keep & ~is_spot)
    if rows.size:
        pulsed = _flags(draft, data, "pulse")
        stated = np.array([bool(text.strip()) for text in data.texts.get("pulse", [""] * data.n)], dtype=np.bool_)
        owned = Owned(codes, sessions, control, pulsed, stated)
        if data.wide:
            rows = add_wide(builder, draft, data, rows, owned)
        if rows.size:
            add_sweeps(builder, draft, data, rows, owned)


def _part_labels(draft: FileDraft, data: Interpreted) -> list[str] | None:
    """Part ids; a file without a part column is one part if it reads like one sweep, else nobody's."""
    if "part" in data.uses:
        return data.texts["part"]
    if draft.default_part is not None:
        return [draft.default_part] * data.n
    table = data.table
    known = [data.numbers[key] for key in ("ic", "ib", "vce", "vbe") if key in data.numbers]
    if not known or "quantity" in data.uses:
        alone = bool(data.wide) and data.n == 1
    else:
        points = np.nan_to_num(np.column_stack(known), nan=-1.0)
        _, counts = np.unique(points, axis=0, return_counts=True)
        alone = data.n == 1 or (len(counts) > 1 and counts.max() <= 2) or _is_recording(data)
    if alone:
        name = table.file.rsplit(".", 1)[0] + (f" {table.sheet}" if table.sheet else "")
        draft.notices.append(f"no part column: the rows were taken as one part, named {name!r}")
        return [name] * data.n
    if data.uses:
        what = f"the file has no column that names the part (columns: {', '.join(filter(None, table.header))})"
        fix = "add a column part with the number on each part's sticker, or name that column in a column map"
        draft.problems.append(Problem("MISSING_PART", what, fix, table.file, table.header_row))
    elif not draft.problems:
        what = f"none of the columns could be used (columns: {', '.join(filter(None, table.header))})"
        draft.problems.append(Problem("NO_USABLE_COLUMN", what, "write a column map", table.file, table.header_row))
    return None


def _is_recording(data: Interpreted) -> bool:
    """Whether the rows follow one clock without a break, as one trace of one part does."""
    time = data.numbers.get("time")
    return time is not None and bool(np.all(np.diff(time) > 0))


def _rows_with_owner(builder: Builder, draft: FileDraft, data: Interpreted, lots: list[str], parts: list[str]) -> Bools:
    """Rows that name a part and a lot and lie under no merged cell; the others are reported and kept out."""
    table = data.table
    keep = np.ones(data.n, dtype=np.bool_)
    named = [i for i in range(data.n) if lots[i] and parts[i]] if table.blocked else []
    builder.part_codes([lots[i] for i in named], [parts[i] for i in named])  # numbered in the order of the sheet
    for i in range(data.n) if table.blocked else ():
        cells = table.blocked.get(int(data.row[i]))
        if cells is None:
            continue
        keep[i] = False
        if parts[i] and lots[i]:
            code = int(builder.part_codes([lots[i]], [parts[i]])[0])
            builder.unusable(
                code, "MERGED_CELLS", f"part {parts[i]}: its rows lie under merged cells {cells} of {table.file}"
            )
    for key, labels, problem, fix in (
        ("part", parts, "MISSING_PART", "write the part's number into every row"),
        (
            "lot",
            lots,
            "MISSING_LOT",
            "write the lot into every row, or leave the whole column out: then the file is the lot",
        ),
    ):
        blank = np.flatnonzero(keep & np.array([not label for label in labels], dtype=np.bool_))
        if not blank.size:
            continue
        keep[blank] = False
        rows = [int(data.row[i]) for i in blank]
        what = f"{len(rows)} row(s) without a {key}{also_in_rows(rows)}"
        column = table.column_label(data.uses[key].index) if data.uses[key].index >= 0 else ""
        draft.problems.append(Problem(problem, what, fix, table.file, rows[0], column))
        for i in blank[np.unique([lots[i] + "\0" + parts[i] for i in blank], return_index=True)[1]]:
            builder.not_judged.append(
                NotJudged(
                    part=parts[i] or None,
                    lot=lots[i] or None,
                    why=f"{table.file}, row {data.row[i]}: the row names no {key}",
                )
            )
    return keep


def _flags(draft: FileDraft, data: Interpreted, role: str) -> Bools:
    """A yes/no column; `pulse` may also hold durations (microseconds unless the unit is stated)."""
    texts = data.texts.get(role)
    if texts is None:
        return np.zeros(data.n, dtype=np.bool_)
    read = {text: _flag(text, role, data) for text in dict.fromkeys(texts)}
    bad = [i for i, text in enumerate(texts) if read[text] is None]
    if bad:
        rows = [int(data.row[i]) for i in bad]
        what = f"{texts[bad[0]]!r} is neither yes nor no{also_in_rows(rows)}"
        fix = "write yes or no" + (", or the pulse length in us" if role == "pulse" else "") + "; taken as no"
        label = data.table.column_label(data.uses[role].index) if data.uses[role].index >= 0 else role
        draft.problems.append(Problem("NOT_YES_NO", what, fix, data.table.file, rows[0], label))
    return np.array([bool(read[text]) for text in texts], dtype=np.bool_)


def _flag(text: str, role: str, data: Interpreted) -> bool | None:
    unit = data.uses[role].unit
    word = read_yes_no(text) if unit is None else None
    if word is not None or role != "pulse":
        return word
    read = read_cell(text, MIXED)
    if isinstance(read, BadCell):
        return None
    try:
        factor = read_unit(read[1], "s").factor if read[1] else unit.factor if unit else 1e-6
    except ValueError:
        return None
    return 0.0 < read[0] * factor <= LONGEST_PULSE


def _note_date_codes(builder: Builder, draft: FileDraft, data: Interpreted, codes: Ints) -> None:
    """Remember the date code of every part of a table. `codes` (n,): part numbers, -1 nobody's. Two codes on one part
    are a problem, and the first one holds."""
    told: set[int] = set()
    for part, row, text in zip(codes.tolist(), data.row.tolist(), data.texts.get("date_code", ()), strict=False):
        code = plain_code(text)
        if part < 0 or not code:
            continue
        first = builder.date_codes.setdefault(part, code)
        if first != code and part not in told:
            told.add(part)
            lot, name = list(builder.parts)[part]
            what = f"part {name} of lot {lot} has two date codes: {first} and {code}"
            fix = "correct the one that is wrong; the first was taken"
            draft.problems.append(Problem("DATE_CODE_TWICE", what, fix, draft.name, row, "date_code", name, lot))
