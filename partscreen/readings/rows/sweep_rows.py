"""Sweep rows of a table: kind of sweep, magnitudes, gain, and which rows cannot stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.errors import Problem
from partscreen.quantities import bare
from partscreen.readings.columns.interpret import Interpreted, also_in_rows
from partscreen.readings.columns.numbers import written_resolution
from partscreen.readings.columns.recognise import SWEEP_WORDS
from partscreen.readings.rows.builder import Block, Builder
from partscreen.readings.rows.file_draft import FileDraft
from partscreen.readings.rows.sweeps import Signs, classify, magnitudes, settle_gain
from partscreen.readings.tables import Bools, Floats, Ints, Sweep
from partscreen.results import QualityNote

_SWEEP_KEYS = ("ic", "ib", "vce", "vbe", "hfe", "case_temp", "ambient", "time", "vce_sat")


@dataclass(frozen=True, slots=True)
class Owned:
    """What is known of every row of a table besides its figures: part, session, control piece, pulsed, and whether the
    row itself says so."""

    part: Ints
    session: Ints
    control: Bools
    pulsed: Bools
    pulse_stated: Bools


def add_sweeps(builder: Builder, draft: FileDraft, data: Interpreted, rows: Ints, owned: Owned) -> None:
    """Add the sweep rows of a table (`rows`: their places in it) to the draft."""
    numbers = {key: data.numbers[key][rows].copy() for key in _SWEEP_KEYS if key in data.numbers}
    if not set(numbers) - {"case_temp", "ambient", "time"}:
        what = (
            f"no column of currents, voltages or gain is known (columns: {', '.join(filter(None, data.table.header))})"
        )
        fix = "name the columns ic, ib, vce, vbe, hfe with their units, or write a column map"
        if not any(problem.file == draft.name for problem in draft.problems):
            draft.problems.append(Problem("NO_READINGS", what, fix, data.table.file, data.table.header_row))
        return
    part, session, row = owned.part[rows], owned.session[rows], data.row[rows]
    signs = _settle_signs(builder, part, numbers)
    run_label = _run_labels(draft, data, rows)
    sweep = _sweep_codes(draft, data, rows, _groups(part, run_label, session), numbers)
    extra = _saturation_beside_gain(data, numbers, sweep)
    # Small reversed currents of gain and Gummel sweeps are offsets, which the quality checks weigh.
    held = (sweep == int(Sweep.OUTPUT)) | (sweep == int(Sweep.SATURATION))
    reversed_ = (numbers.get("ic", np.zeros(len(rows))) < 0) | (numbers.get("ib", np.zeros(len(rows))) < 0)
    contrary = signs.voltage | signs.current | (held & reversed_)
    lost = _lost(data, rows, numbers) | (sweep < 0)
    _say_left_out(builder, part, contrary, lost & ~contrary, row, data.table.file)
    numbers["hfe"], differ = _gain(data, rows, numbers)
    _fill_collector_current(draft, numbers)
    _say_hfe_differs(builder, draft, data, rows, part, differ)
    picked = np.concatenate((np.arange(len(rows)), extra))
    sweep = np.concatenate((sweep, np.full(len(extra), int(Sweep.SATURATION))))
    numbers = _with_saturation({key: values[picked] for key, values in numbers.items()}, sweep, len(rows))
    for kind in Sweep:
        count = int(np.count_nonzero(sweep == kind))
        if count:
            draft.sweeps[kind.name.lower()] = draft.sweeps.get(kind.name.lower(), 0) + count
    known = sweep >= 0
    place = picked[known]
    draft.blocks.append(
        Block(
            part=part[place],
            session=session[place],
            sweep=sweep[known],
            run_label=run_label[place],
            repeat=np.zeros(len(place), dtype=np.int64),
            numbers={key: values[known] for key, values in numbers.items()},
            pulsed=owned.pulsed[rows][place],
            control=owned.control[rows][place],
            use=~(contrary | lost)[place],
            row=row[place],
            file=draft.number,
            pulse_stated=owned.pulse_stated[rows][place],
        )
    )


def _settle_signs(builder: Builder, part: Ints, numbers: dict[str, Floats]) -> Signs:
    """Magnitudes in place; the sign of each part goes to the batch (0 where two files disagree)."""
    unique, local = np.unique(part, return_inverse=True)
    signs = magnitudes(local, numbers, len(unique))
    for code, one in zip(unique.tolist(), signs.part.tolist(), strict=True):
        seen = builder.signs.setdefault(code, one)
        if one and seen and one != seen:
            builder.signs[code] = 0
        elif one:
            builder.signs[code] = one
    return signs


def _run_labels(draft: FileDraft, data: Interpreted, rows: Ints) -> Ints:
    labels = data.texts.get("run")
    if labels is None:
        return np.full(len(rows), -1, dtype=np.int64)
    known = draft.run_labels
    return np.array([known.setdefault(labels[i], len(known)) for i in rows], dtype=np.int64)


def _groups(*codes: Ints) -> Ints:
    """One number for each combination that occurs."""
    group = np.zeros(len(codes[0]), dtype=np.int64)
    for code in codes:
        _, local = np.unique(code, return_inverse=True)
        _, group = np.unique(group * (int(local.max()) + 1) + local, return_inverse=True)
    return group


def _with_saturation(numbers: dict[str, Floats], sweep: Ints, n_first: int) -> dict[str, Floats]:
    """VCE(sat) is the collector voltage of a saturation row; the second reading of a row that held a gain as well keeps
    neither that gain nor its base readings."""
    second = np.arange(len(sweep)) >= n_first
    for key in ("ib", "vbe", "hfe"):
        if key in numbers:
            numbers[key][second] = np.nan
    if "vce_sat" in numbers:
        saturation = (sweep == int(Sweep.SATURATION)) & ~np.isnan(numbers["vce_sat"])
        vce = numbers.get("vce", np.full(len(sweep), np.nan))
        numbers["vce"] = np.where(saturation, numbers.pop("vce_sat"), vce)
    return numbers


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
    lost = (
        blank & (found < 0) & ~np.any([bad[rows] for bad in data.bad.values()], axis=0)
    )  # a bad cell was told already
    if lost.any():
        at = [int(r) for r in data.row[rows[lost]]]
        what = "it cannot be told what was swept: no gain, base current, VBE or VCE(sat)" + also_in_rows(at)
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
        resolution = {}
        for key in ("ic", "ib", "hfe"):
            use = data.uses[key]
            factor = use.unit.factor if use.unit else 1.0
            resolution[key] = written_resolution(data.table.columns[use.index], numbers[key] / factor) * factor
        hfe, differ = settle_gain(numbers, resolution)
    return hfe, differ


def _fill_collector_current(draft: FileDraft, numbers: dict[str, Floats]) -> None:
    """A base current with the gain read at it states the collector current."""
    if "ib" not in numbers:
        return
    worked = numbers["hfe"] * numbers["ib"]
    ic = numbers.get("ic", np.full(len(worked), np.nan))
    filled = np.isnan(ic) & ~np.isnan(worked)
    if filled.any():
        numbers["ic"] = np.where(filled, worked, ic)
        draft.notices.append(f"IC worked out as hFE x IB in {np.count_nonzero(filled)} row(s)")


def _say_hfe_differs(
    builder: Builder, draft: FileDraft, data: Interpreted, rows: Ints, part: Ints, differ: Bools
) -> None:
    places = np.flatnonzero(differ)
    if not places.size:
        return
    given, worked = data.numbers["hfe"][rows], np.full(len(rows), np.nan)
    worked[places] = np.abs(data.numbers["ic"][rows[places]] / data.numbers["ib"][rows[places]])
    at = [int(r) for r in data.row[rows[places]]]
    i = places[0]
    figures_said = f"hFE is given as {given[i]:g}, IC/IB makes {worked[i]:.4g}"
    draft.notices.append(f"HFE_DISAGREES in row {at[0]}: {figures_said}; IC/IB was used{also_in_rows(at)}")
    for code, first, count in zip(*np.unique(part[places], return_index=True, return_counts=True), strict=True):
        i = places[first]
        where = f"first in row {data.row[rows[i]]} of {draft.name}"
        sentence = f"the gain given differs from IC/IB in {count} row(s), {where}; IC/IB was used"
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
        total, rows = np.bincount(part), row[mask]
        for one, first, count in zip(*np.unique(part[mask], return_index=True, return_counts=True), strict=True):
            sentence = f"{count} of {total[one]} rows {words}, first in row {rows[first]} of {file}; they were left out"
            figures: dict[str, float | int | str | None] = {"rows": int(count), "of": int(total[one])}
            builder.note(int(one), QualityNote(code=code, sentence=sentence, figures=figures, used=False))
