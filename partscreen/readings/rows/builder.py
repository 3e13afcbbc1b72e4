"""A batch in the making: parts, lots and sessions get their numbers; the arrays of all files are joined and sorted."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from partscreen.errors import Problem
from partscreen.readings.rows.date_codes import settled_codes
from partscreen.readings.tables import SEVERAL_TYPES, Batch, Bools, Floats, Ints, Lot, PartCondition, Points, Spots
from partscreen.results import InputFile, InputProblem, NotJudged, QualityNote


@dataclass(slots=True)
class Block:
    """Sweep rows of one file, all of one length."""

    part: Ints
    session: Ints
    sweep: Ints
    run_label: Ints
    repeat: Ints
    numbers: dict[str, Floats]
    pulsed: Bools
    control: Bools
    use: Bools
    row: Ints
    file: int
    pulse_stated: Bools


@dataclass(frozen=True, slots=True)
class SpotRow:
    """One spot reading."""

    part: int
    session: int
    quantity: str
    value: float
    conditions: dict[str, float | str]
    file: int
    row: int
    control: bool


@dataclass(slots=True)
class Builder:
    """Everything collected so far."""

    lot_rows: dict[str, Lot] = field(default_factory=dict)
    type_name: str | None = None
    lots: dict[str, int] = field(default_factory=dict)
    parts: dict[tuple[str, str], int] = field(default_factory=dict)
    sessions: dict[str, int] = field(default_factory=dict)
    blocks: list[Block] = field(default_factory=list)
    spots: list[SpotRow] = field(default_factory=list)
    inputs: list[InputFile] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    not_judged: list[NotJudged] = field(default_factory=list)
    quality: dict[int, list[QualityNote]] = field(default_factory=dict)
    condition: dict[int, PartCondition] = field(default_factory=dict)
    signs: dict[int, int] = field(default_factory=dict)
    date_codes: dict[int, str] = field(default_factory=dict)
    types: dict[int, dict[str, tuple[str, int]]] = field(default_factory=dict)  # part: type in its rows: file, row

    def part_codes(self, lots: list[str], parts: list[str]) -> Ints:
        """Numbers of parts, new ones added in order of appearance."""
        known = self.parts
        codes = np.array([known.setdefault(pair, len(known)) for pair in zip(lots, parts, strict=True)], dtype=np.int64)
        for lot in dict.fromkeys(lots):
            self.lots.setdefault(lot, len(self.lots))
        return codes

    def session_codes(self, labels: list[str]) -> Ints:
        """Numbers of sessions."""
        known = self.sessions
        return np.array([known.setdefault(label, len(known)) for label in labels], dtype=np.int64)

    def note(self, part: int, note: QualityNote) -> None:
        """Add a quality note to a part."""
        self.quality.setdefault(part, []).append(note)

    def unusable(self, part: int, code: str, sentence: str) -> None:
        """Mark a part whose readings cannot be used (the first reason stands)."""
        self.condition.setdefault(part, PartCondition("unusable", code, sentence))

    def close_file(self, file: str, sha256: str | None, rows: int, problems: list[Problem]) -> None:
        """Record a file and its problems."""
        self.problems += problems
        told = [
            InputProblem(code=p.code, row=p.row or None, column=p.column or None, what=p.what, fix=p.fix)
            for p in problems
        ]
        self.inputs.append(InputFile(file=file, sha256=sha256, rows=rows, problems=told))

    def finish(self) -> Batch:
        """The batch: points sorted by part, run and the order in which they were read."""
        points = _points(self.blocks)
        self._say_no_readings(points)
        date_codes, unknown = settled_codes(self.date_codes, self.lot_rows, self.parts, self.lots)
        self.notices += unknown
        names = tuple(part for _, part in self.parts)
        return Batch(
            part_names=names,
            part_lot=np.array([self.lots[lot] for lot, _ in self.parts], dtype=np.int64),
            lots=tuple(self._lot(name) for name in self.lots),
            sessions=tuple(self.sessions),
            points=points,
            spots=_spots(self.spots),
            inputs=tuple(self.inputs),
            problems=tuple(self.problems),
            notices=tuple(self.notices),
            not_judged=tuple(self.not_judged),
            quality={part: tuple(notes) for part, notes in sorted(self.quality.items())},
            condition=dict(sorted(self.condition.items())),
            date_codes=date_codes,
            part_sign=np.array([self.signs.get(part, 0) for part in range(len(names))], dtype=np.int64),
        )

    def _lot(self, name: str) -> Lot:
        lot = self.lot_rows.get(name, Lot(name))
        if lot.type is None and self.type_name is not None and SEVERAL_TYPES not in lot.extra:
            return replace(lot, type=self.type_name)
        return lot

    def _say_no_readings(self, points: Points) -> None:
        read = np.zeros(len(self.parts), dtype=np.bool_)
        read[points.part[points.use]] = True
        read[[spot.part for spot in self.spots]] = True
        for ((lot, part), code), has_readings in zip(self.parts.items(), read.tolist(), strict=True):
            if not has_readings and code not in self.condition:
                self.unusable(code, "NO_USABLE_READING", f"part {part} of lot {lot} has no reading that could be used")


def _points(blocks: list[Block]) -> Points:
    def joined(pick: str) -> Ints:
        return np.concatenate([getattr(block, pick) for block in blocks]) if blocks else np.zeros(0, dtype=np.int64)

    def figures(key: str) -> Floats:
        if not blocks:
            return np.zeros(0)
        return np.concatenate([block.numbers.get(key, np.full(len(block.part), np.nan)) for block in blocks])

    part = joined("part")
    file = np.concatenate([np.full(len(b.part), b.file, dtype=np.int64) for b in blocks]) if blocks else part
    run = _run_numbers(part, joined("sweep"), joined("session"), joined("run_label"), joined("repeat"), file)
    order = np.lexsort((np.arange(len(part)), run))
    blank = np.full(len(part), np.nan)

    def flags(pick: str) -> Bools:
        return joined(pick)[order].astype(np.bool_)

    return Points(
        part=part[order],
        run=run[order],
        sweep=joined("sweep")[order],
        session=joined("session")[order],
        **{key: figures(key)[order] for key in ("ic", "ib", "vce", "vbe", "hfe", "case_temp", "ambient", "time")},
        pulsed=flags("pulsed"),
        control=flags("control"),
        file=file[order],
        row=joined("row")[order],
        ic_std=blank.copy(),
        hfe_std=blank.copy(),
        vbe_std=blank.copy(),
        vce_std=blank.copy(),
        use=flags("use"),
        pulse_stated=flags("pulse_stated"),
    )


def _run_numbers(part: Ints, *labels: Ints) -> Ints:
    """One number per (part, sweep, session, repeat): numbered by part, then by first appearance."""
    if not len(part):
        return part
    key = np.zeros(len(part), dtype=np.int64)
    for code in (part, *labels):
        _, code = np.unique(code, return_inverse=True)
        key = key * (int(code.max()) + 1) + code
        _, key = np.unique(key, return_inverse=True)  # keeps the product of ranges small
    _, first = np.unique(key, return_index=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.lexsort((first, part[first]))] = np.arange(len(first))
    return np.asarray(rank[key], dtype=np.int64)


def _spots(spots: list[SpotRow]) -> Spots:
    spots = sorted(spots, key=lambda spot: spot.part)

    def whole(pick: str) -> Ints:
        return np.array([getattr(spot, pick) for spot in spots], dtype=np.int64)

    return Spots(
        part=whole("part"),
        session=whole("session"),
        quantity=np.array([spot.quantity for spot in spots], dtype=np.str_),
        value=np.array([spot.value for spot in spots], dtype=np.float64),
        std=np.full(len(spots), np.nan),
        conditions=tuple(spot.conditions for spot in spots),
        file=whole("file"),
        row=whole("row"),
        control=np.array([spot.control for spot in spots], dtype=np.bool_),
        use=np.ones(len(spots), dtype=np.bool_),
    )
