"""An interpreted table into the batch: who each row belongs to, which sweep it is part of, what had to be left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from partscreen.errors import Problem
from partscreen.quantities import bare
from partscreen.readings.builder import Block, Builder, SpotRow
from partscreen.readings.identity import find_repeats, numbered_per_bag
from partscreen.readings.interpret import Interpreted, also_in_rows
from partscreen.readings.lot_sheet import read_yes_no
from partscreen.readings.numbers import MIXED, BadCell, read_cell
from partscreen.readings.recognise import SWEEP_WORDS
from partscreen.readings.spot_rows import read_spots
from partscreen.readings.sweeps import classify, magnitudes, settle_gain
from partscreen.readings.tables import Bools, Floats, Ints, Sweep
from partscreen.readings.units import read_unit
from partscreen.results import NotJudged, QualityNote

LONGEST_PULSE = (
    1e-3  # s; above this the junction is not taken to stay at case temperature (assumption: data sheets use 300 us)
)
_SWEEP_KEYS = ("ic", "ib", "vce", "vbe", "hfe", "case_temp", "ambient", "time", "vce_sat")


@dataclass(slots=True)
class FileDraft:
    """One file on its way into the batch."""

    name: str
    number: int
    default_lot: str
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    run_labels: dict[str, int] = field(default_factory=dict)
    has_run: bool = False
    sweeps: dict[str, int] = field(default_factory=dict)
    n_parts: int = 0


def add_table(builder: Builder, draft: FileDraft, data: Interpreted) -> None:
    """Put the rows of one table into the batch. Problems go to the draft, never up as exceptions."""
    draft.problems += data.problems
    draft.notices += data.notices
    if not data.n:
        return
    lots = data.texts.get("lot") or [draft.default_lot] * data.n
    parts = _part_labels(draft, data)
    if parts is None:
        return
    keep = _rows_with_owner(builder, draft, data, lots, parts)
    if not keep.any():
        return
    codes = np.full(data.n, -1, dtype=np.int64)
    places = np.flatnonzero(keep)
    codes[places] = builder.part_codes([lots[i] for i in places], [parts[i] for i in places])
    draft.n_parts = len(np.unique(codes[places]))
    labels = data.texts.get("session") or [draft.name] * data.n
    sessions = builder.session_codes([label or draft.name for label in labels])
    for i in places[np.unique(codes[places], return_index=True)[1]]:
        builder.part_session.setdefault(int(codes[i]), int(sessions[i]))
    control = _flags(draft, data, "control")
    spot_text = data.texts.get("quantity") or [""] * data.n
    is_spot = np.array([bool(text) for text in spot_text], dtype=np.bool_)
    spots = read_spots(data, np.flatnonzero(keep & is_spot), draft.problems, draft.notices)
    for i, quantity, value, conditions in spots:
        builder.spots.append(
            SpotRow(
                int(codes[i]),
                int(sessions[i]),
                quantity,
                value,
                conditions,
                draft.number,
                int(data.row[i]),
                bool(control[i]),
            )
        )
    if spots:
        draft.sweeps["spot readings"] = draft.sweeps.get("spot readings", 0) + len(spots)
    rows = np.flatnonzero(keep & ~is_spot)
    if rows.size:
        _add_sweeps(builder, draft, data, rows, codes, sessions, control)


def _part_labels(draft: FileDraft, data: Interpreted) -> list[str] | None:
    """Part ids; a file without a part column is one part if it reads like one sweep, else nobody's."""
    if "part" in data.uses:
        return data.texts["part"]
    table = data.table
    known = [data.numbers[key] for key in ("ic", "ib", "vce", "vbe") if key in data.numbers]
    if not known or "quantity" in data.uses:
        alone = False
    else:
        points = np.nan_to_num(np.column_stack(known), nan=-1.0)
        _, counts = np.unique(points, axis=0, return_counts=True)
        alone = data.n == 1 or (len(counts) > 1 and counts.max() <= 2)
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


def _rows_with_owner(builder: Builder, draft: FileDraft, data: Interpreted, lots: list[str], parts: list[str]) -> Bools:
    """Rows that name a part and a lot and lie under no merged cell; the others are reported and kept out."""
    table = data.table
    keep = np.ones(data.n, dtype=np.bool_)
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
    for key, labels, code, fix in (
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
        draft.problems.append(Problem(code, what, fix, table.file, rows[0], column))
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


def _add_sweeps(
    builder: Builder, draft: FileDraft, data: Interpreted, rows: Ints, codes: Ints, sessions: Ints, control: Bools
) -> None:
    numbers = {key: data.numbers[key][rows].copy() for key in _SWEEP_KEYS if key in data.numbers}
    if not numbers:
        what = (
            f"no column of currents, voltages or gain is known (columns: {', '.join(filter(None, data.table.header))})"
        )
        fix = "name the columns ic, ib, vce, vbe, hfe with their units, or write a column map"
        draft.problems.append(Problem("NO_READINGS", what, fix, data.table.file, data.table.header_row))
        return
    part, session, row = codes[rows], sessions[rows], data.row[rows]
    unique, local = np.unique(part, return_inverse=True)
    contrary, sign = magnitudes(local, numbers, len(unique))
    for code, one in zip(unique.tolist(), sign.tolist(), strict=True):
        seen = builder.signs.setdefault(code, one)
        builder.signs[code] = one if seen in (0, one) else 0 if one else seen
    labels = data.texts.get("run")
    if labels:
        draft.has_run = True
    run_label = np.array(
        [draft.run_labels.setdefault(labels[i], len(draft.run_labels)) if labels else -1 for i in rows], dtype=np.int64
    )
    _, group = np.unique(local * (int(run_label.max()) + 2) + run_label + 1, return_inverse=True)
    _, group = np.unique(group * (int(session.max()) + 1) + session, return_inverse=True)
    sweep = _sweep_codes(draft, data, rows, group, numbers)
    extra = _saturation_beside_gain(data, numbers, sweep)
    lost = _lost(data, rows, numbers) | (sweep < 0)
    use = ~(contrary | lost)
    _say_left_out(builder, part, contrary, lost & ~contrary, row, data.table.file)
    numbers["hfe"], differ = _gain(data, rows, numbers)
    _say_hfe_differs(builder, draft, data, rows, part, differ)
    picked = np.concatenate((np.arange(len(rows)), extra))
    second = np.arange(len(picked)) >= len(rows)
    sweep = np.concatenate((sweep, np.full(len(extra), int(Sweep.SATURATION))))
    numbers = {key: values[picked] for key, values in numbers.items()}
    for key in ("ib", "vbe", "hfe"):
        if key in numbers:
            numbers[key][second] = np.nan
    if "vce_sat" in numbers:
        saturation = (sweep == int(Sweep.SATURATION)) & ~np.isnan(numbers["vce_sat"])
        vce = numbers.get("vce", np.full(len(picked), np.nan))
        numbers["vce"] = np.where(saturation, numbers.pop("vce_sat"), vce)
    known = sweep >= 0
    for kind in Sweep:
        count = int(np.count_nonzero(sweep == kind))
        if count:
            draft.sweeps[kind.name.lower()] = draft.sweeps.get(kind.name.lower(), 0) + count
    pulsed = _flags(draft, data, "pulse")[rows]
    place = picked[known]
    draft.blocks.append(
        Block(
            part[place],
            session[place],
            sweep[known],
            run_label[place],
            np.zeros(len(place), dtype=np.int64),
            {key: values[known] for key, values in numbers.items()},
            pulsed[place],
            control[rows][place],
            use[place],
            row[place],
            draft.number,
        )
    )


def _sweep_codes(draft: FileDraft, data: Interpreted, rows: Ints, group: Ints, numbers: dict[str, Floats]) -> Ints:
    texts = data.texts.get("sweep")
    said = np.full(len(rows), -1, dtype=np.int64)
    blank = np.ones(len(rows), dtype=np.bool_)
    if texts is not None:
        words = {text: SWEEP_WORDS.get(bare(text), -2) if text else -1 for text in dict.fromkeys(texts)}
        said = np.array([words[texts[i]] for i in rows], dtype=np.int64)
        blank = said == -1
        for word in [text for text, code in words.items() if code == -2]:
            at = [int(data.row[i]) for i in rows if texts[i] == word]
            if at:
                fix = "write gain, saturation, output or gummel"
                label = data.table.column_label(data.uses["sweep"].index) if data.uses["sweep"].index >= 0 else "sweep"
                what = f"{word!r} is no kind of sweep{also_in_rows(at)}"
                draft.problems.append(Problem("UNKNOWN_SWEEP", what, fix, data.table.file, at[0], label))
    if not blank.any():
        return np.maximum(said, -1)
    found = classify(group, numbers)
    lost = blank & (found < 0) & ~_lost(data, rows, numbers)
    if lost.any():
        at = [int(r) for r in data.row[rows[lost]]]
        what = f"it cannot be told what was swept: neither gain, base current, VBE nor VCE(sat) stands in the row{also_in_rows(at)}"
        fix = "add the missing reading, or a column sweep (gain, saturation, output, gummel)"
        draft.problems.append(Problem("UNKNOWN_SWEEP", what, fix, data.table.file, at[0]))
    return np.where(blank, found, np.maximum(said, -1)).astype(np.int64)


def _saturation_beside_gain(data: Interpreted, numbers: dict[str, Floats], sweep: Ints) -> Ints:
    """Rows that hold a gain and a VCE(sat) side by side: the row counts as gain, and once more as saturation."""
    if "vce_sat" not in numbers or "sweep" in data.uses:
        return np.zeros(0, dtype=np.int64)
    both = ~np.isnan(numbers["vce_sat"]) & ~np.isnan(numbers.get("hfe", np.full(len(sweep), np.nan)))
    sweep[both] = int(Sweep.GAIN)
    return np.flatnonzero(both)


def _lost(data: Interpreted, rows: Ints, numbers: dict[str, Floats]) -> Bools:
    """Rows whose point cannot stand: a current, collector voltage or the only gain was there and could not be read."""
    n = len(rows)

    def bad(key: str) -> Bools:
        return data.bad[key][rows] if key in data.bad else np.zeros(n, dtype=np.bool_)

    def absent(key: str) -> Bools:
        return np.isnan(numbers[key]) if key in numbers else np.ones(n, dtype=np.bool_)

    no_gain = absent("hfe") & (absent("ib") | absent("ic"))
    empty = np.ones(n, dtype=np.bool_)
    for key in ("ic", "ib", "vbe", "hfe", "vce_sat"):
        empty &= absent(key)
    return bad("ic") | bad("vce") | bad("vce_sat") | ((bad("hfe") | bad("ib")) & no_gain) | empty


def _gain(data: Interpreted, rows: Ints, numbers: dict[str, Floats]) -> tuple[Floats, Bools]:
    hfe, differ = settle_gain(numbers)
    if differ.any() and all(key in data.uses and data.uses[key].index >= 0 for key in ("ic", "ib", "hfe")):
        resolution = {key: np.zeros(len(rows)) for key in ("ic", "ib", "hfe")}
        for key, steps in resolution.items():
            use = data.uses[key]
            cells = data.table.columns[use.index]
            for i in np.flatnonzero(differ):
                steps[i] = _half_digit(cells[rows[i]]) * (use.unit.factor if use.unit else 1.0)
        hfe, differ = settle_gain(numbers, resolution)
    return hfe, differ


def _half_digit(cell: str) -> float:
    """Half a unit of the last digit written."""
    figure, _, exponent = cell.strip().lower().partition("e")
    decimals = len(figure.replace(",", ".").partition(".")[2])
    return 0.5 * 10.0 ** (int(exponent or 0) - decimals) if exponent.lstrip("+-").isdigit() or not exponent else 0.0


def _say_hfe_differs(
    builder: Builder, draft: FileDraft, data: Interpreted, rows: Ints, part: Ints, differ: Bools
) -> None:
    places = np.flatnonzero(differ)
    if not places.size:
        return
    given = data.numbers["hfe"][rows]
    worked = np.abs(data.numbers["ic"][rows] / data.numbers["ib"][rows])
    at = [int(r) for r in data.row[rows[places]]]
    i = places[0]
    draft.notices.append(
        f"HFE_DISAGREES in row {at[0]}: hFE is given as {given[i]:g}, IC/IB makes {worked[i]:.4g}; IC/IB was used{also_in_rows(at)}"
    )
    for code, first, count in zip(*np.unique(part[places], return_index=True, return_counts=True), strict=True):
        i = places[first]
        sentence = f"the gain given differs from IC/IB in {count} row(s), first in row {data.row[rows[i]]} of {draft.name}; IC/IB was used"
        figures: dict[str, float | int | str | None] = {
            "rows": int(count),
            "given": float(given[i]),
            "worked_out": float(worked[i]),
        }
        builder.note(int(code), QualityNote(code="HFE_DISAGREES", sentence=sentence, figures=figures))


def _say_left_out(builder: Builder, part: Ints, contrary: Bools, lost: Bools, row: Ints, file: str) -> None:
    kinds = (
        (contrary, "SIGN_MIXED", "have a sign that contradicts the part's other readings"),
        (lost, "BAD_CELLS", "have cells that could not be used"),
    )
    for mask, code, words in kinds:
        total = np.bincount(part)
        for one, first, count in zip(*np.unique(part[mask], return_index=True, return_counts=True), strict=True):
            sentence = (
                f"{count} of {total[one]} rows {words}, first in row {row[mask][first]} of {file}; they were left out"
            )
            figures: dict[str, float | int | str | None] = {"rows": int(count), "of": int(total[one])}
            builder.note(int(one), QualityNote(code=code, sentence=sentence, figures=figures, used=False))


def close_draft(builder: Builder, draft: FileDraft) -> None:
    """After the last table of a file: repeats and duplicates, one id in two lots; then its blocks join the batch."""
    names = list(builder.parts)
    if draft.blocks:
        _settle_repeats(builder, draft, lambda code: names[code])
    builder.blocks += draft.blocks


def _settle_repeats(builder: Builder, draft: FileDraft, name_of: Callable[[int], tuple[str, str]]) -> None:
    def joined(pick: str) -> Ints:
        return np.concatenate([getattr(block, pick) for block in draft.blocks])

    def figures(key: str) -> Floats:
        return np.concatenate([block.numbers.get(key, np.full(len(block.part), np.nan)) for block in draft.blocks])

    marked = joined("control").astype(np.bool_) | ~np.isnan(figures("time"))
    run_label = joined("run_label")
    found = find_repeats(
        joined("part"),
        joined("session"),
        joined("sweep"),
        run_label,
        marked,
        joined("row"),
        (figures("ic"), figures("ib"), figures("vce")),
    )
    at = 0
    for block in draft.blocks:
        block.repeat = np.where(block.run_label >= 0, 0, found.repeat[at : at + len(block.part)])
        at += len(block.part)
    for code, row in found.duplicates.items():
        lot, part = name_of(code)
        what = f"part {part} of lot {lot} is read a second time from row {row} on: two parts under one number, or one part read twice"
        fix = "give the second part its own number; a meant repeat needs a column run, time or control"
        draft.problems.append(Problem("DUPLICATE_PART", what, fix, draft.name, row, "part", part, lot))
        builder.unusable(code, "DUPLICATE_PART", f"{draft.name}, row {row}: {what}")


def find_parts_in_two_lots(builder: Builder, owners: dict[str, set[tuple[str, str]]]) -> dict[str, list[Problem]]:
    """One id in two lots: within a file, or across files when the id is not a bare number. Problems by file.

    `owners`: (lot, part) pairs by file.
    """
    found: dict[str, list[Problem]] = {}
    told: set[str] = set()
    for file, pairs in owners.items():
        by_part = _lots_of_parts(pairs)
        lots: dict[str, set[str]] = {}
        for lot, part in pairs:
            if part.isdigit():
                lots.setdefault(lot, set()).add(part)
        bare_numbers_are_fine = numbered_per_bag(list(lots.values()))
        for part, where in by_part.items():
            if len(where) > 1 and not (part.isdigit() and bare_numbers_are_fine):
                told.add(part)
                _say_two_lots(builder, found.setdefault(file, []), file, part, where)
        if bare_numbers_are_fine and any(len(where) > 1 for part, where in by_part.items() if part.isdigit()):
            builder.notices.append(
                f"{file}: several lots number their parts 1, 2, 3, ...; equal numbers were taken as different parts"
            )
    everywhere = _lots_of_parts(set().union(*owners.values()) if owners else set())
    for part, where in everywhere.items():
        if len(where) > 1 and not part.isdigit() and part not in told:
            files = sorted(file for file, pairs in owners.items() if any(pair[1] == part for pair in pairs))
            _say_two_lots(builder, found.setdefault(files[-1], []), files[-1], part, where)
    return found


def _lots_of_parts(pairs: set[tuple[str, str]]) -> dict[str, list[str]]:
    by_part: dict[str, list[str]] = {}
    for lot, part in sorted(pairs):
        by_part.setdefault(part, []).append(lot)
    return by_part


def _say_two_lots(builder: Builder, problems: list[Problem], file: str, part: str, lots: list[str]) -> None:
    what = f"part {part} stands in {len(lots)} lots: {', '.join(lots)}; a part belongs to one bag"
    fix = "correct the lot or the number of one of them"
    problems.append(Problem("PART_IN_TWO_LOTS", what, fix, file, 0, "lot", part, lots[0]))
    for lot in lots:
        builder.unusable(builder.parts[(lot, part)], "PART_IN_TWO_LOTS", what)
