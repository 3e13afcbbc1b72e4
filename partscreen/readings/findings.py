"""What a quality check hands back, and how findings become notes, masks and wider uncertainties of a batch."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from partscreen.readings.instruments.kit import Kit
from partscreen.readings.runs import Runs, cut_runs, run_name
from partscreen.readings.tables import Batch, Bools, Floats, Ints, Lot, PartCondition, Points
from partscreen.results import QualityNote

PolarityOfLot = Callable[[Lot], str | None] | Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Desk:
    """What every check looks at. `ok`: rows still used; the order of rows and runs never changes between checks."""

    batch: Batch
    points: Points
    runs: Runs
    kit: Kit | None

    @property
    def ok(self) -> Bools:
        return self.points.use


@dataclass(frozen=True, slots=True)
class Finding:
    """One check's findings on some runs.

    `runs`: positions of the runs concerned; `sentence`: text with the names of figures in braces; `figures`: one array
    per name, as long as `runs`; `rows`: rows left out from now on, shape (n_points,), None = all stay in use;
    `hfe_add`, `vbe_add`: standard uncertainty to add in quadrature, per row, relative on hFE [1] and in VBE [V].
    """

    code: str
    runs: Ints
    sentence: str
    figures: dict[str, Floats] = field(default_factory=dict)
    rows: Bools | None = None
    hfe_add: Floats | None = None
    vbe_add: Floats | None = None


@dataclass(frozen=True, slots=True)
class PartFinding:
    """Parts that cannot be judged by their curves; `figures` as in `Finding`, one entry per part."""

    status: str
    code: str
    parts: Ints
    sentence: str
    figures: dict[str, Floats] = field(default_factory=dict)


def open_desk(batch: Batch, kit: Kit | None) -> Desk:
    return Desk(batch, batch.points, cut_runs(batch.points), kit)


def settle(desk: Desk, findings: Iterable[Finding]) -> Desk:
    """Write findings into the batch: one note per run concerned, rows masked, uncertainties widened."""
    points = desk.points
    quality = dict(desk.batch.quality)
    for finding in findings:
        if finding.runs.size == 0:
            continue
        left_out = np.zeros(desk.runs.n, dtype=np.int64)
        if finding.rows is not None:
            left_out = desk.runs.count(finding.rows)
            points = replace(points, use=points.use & ~finding.rows)
        points = _widened(points, finding)
        for place, run in enumerate(finding.runs):
            figures = _figures(finding.figures, place)
            figures["points_left_out"] = int(left_out[run])
            note = QualityNote(
                code=finding.code,
                sentence=finding.sentence.format(**figures),
                run=run_name(desk.runs, int(run)),
                figures=figures,
                used=int(left_out[run]) == 0,
            )
            part = int(desk.runs.part[run])
            quality[part] = (*quality.get(part, ()), note)
    batch = replace(desk.batch, points=points, quality=quality)
    return replace(desk, batch=batch, points=points)


def settle_parts(desk: Desk, findings: Iterable[PartFinding]) -> Desk:
    """Write part findings into the batch; the first one of a part stands. Its readings are left out from now on."""
    condition: dict[int, PartCondition] = dict(desk.batch.condition)
    quality = dict(desk.batch.quality)
    for finding in findings:
        for place, index in enumerate(finding.parts):
            part = int(index)
            if part in condition:
                continue
            figures = _figures(finding.figures, place)
            sentence = finding.sentence.format(**figures)
            condition[part] = PartCondition(finding.status, finding.code, sentence, dict(figures))
            note = QualityNote(code=finding.code, sentence=sentence, figures=figures, used=False)
            quality[part] = (*quality.get(part, ()), note)
    out = np.zeros(desk.batch.n_parts, dtype=bool)
    out[list(condition)] = True
    points = replace(desk.points, use=desk.points.use & ~out[desk.points.part])
    spots = replace(desk.batch.spots, use=desk.batch.spots.use & ~out[desk.batch.spots.part])
    batch = replace(desk.batch, points=points, spots=spots, quality=quality, condition=condition)
    return replace(desk, batch=batch, points=points)


def add_note(batch: Batch, part: int, note: QualityNote) -> Batch:
    return replace(batch, quality={**batch.quality, part: (*batch.quality.get(part, ()), note)})


def polarity(lots: tuple[Lot, ...], of_lot: PolarityOfLot | None) -> list[str | None]:
    """NPN, PNP or None of each lot."""
    if of_lot is None:
        return [None] * len(lots)
    if callable(of_lot):
        return [of_lot(lot) for lot in lots]
    return [of_lot.get(lot.name) for lot in lots]


def _widened(points: Points, finding: Finding) -> Points:
    if finding.hfe_add is not None:
        points = replace(points, hfe_std=np.hypot(points.hfe_std, finding.hfe_add * np.abs(points.hfe)))
    if finding.vbe_add is not None:
        points = replace(points, vbe_std=np.hypot(points.vbe_std, finding.vbe_add))
    return points


def _figures(columns: dict[str, Floats], place: int) -> dict[str, float | int | str | None]:
    row: dict[str, float | int | str | None] = {}
    for name, values in columns.items():
        value = float(values[place])
        row[name] = float(f"{value:.4g}") if np.isfinite(value) else None
    return row
