"""Figures of a lot as a whole: die areas of its parts, two groups, the control piece. No statistics here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from partscreen.report.data import ControlCourse, Floats, LotData
from partscreen.report.figures import LABELLED, SHAPES, disposition_key, short
from partscreen.report.panels import (
    Axis,
    Label,
    Line,
    Mark,
    Panel,
    Points,
    category_axis,
    linear_axis,
    log_axis,
    padded,
    span,
    spread_labels,
)
from partscreen.results import GroupsSeen, LotResult, PartResult

NAMED_ROWS = 24  # so many rows carry the names of their parts; in longer lots the rejected ones alone
EVERY_ROW = 60  # beyond so many parts a row has no bar of its own weight, else the bars run into each other
_DASHES: tuple[tuple[float, ...], ...] = ((), (5.0, 2.5), (1.2, 2.0), (7.0, 2.0, 1.2, 2.0))


def _rows(parts: Sequence[PartResult]) -> tuple[Axis, Floats]:
    """The axis of rows, the first part on top, and the place of each; a short lot has names at its rows."""
    n = len(parts)
    rows = np.arange(float(n), 0.0, -1.0)
    if n <= NAMED_ROWS:
        return category_axis("part", [short(part.part) for part in parts]), rows
    room = 0.05 * n  # the first and the last ones stand clear of the edges
    return Axis(f"{n} parts in this order", 1.0 - room, n + room, False, ()), rows


def _row_names(parts: Sequence[PartResult], at: Floats, rows: Floats, x: Axis, y: Axis) -> list[Label]:
    """In a long lot the names of rejected parts beside their marks, while they are few."""
    rejected = [i for i, part in enumerate(parts) if part.disposition == "reject"]
    if len(parts) <= NAMED_ROWS or len(rejected) > LABELLED:
        return []
    place = x.place(at) + 0.03
    beyond = x.low * (x.high / x.low) ** place if x.log else x.low + place * (x.high - x.low)
    return spread_labels([Label(float(beyond[i]), float(rows[i]), short(parts[i].part)) for i in rejected], y)


def _row_marks(parts: Sequence[PartResult], x: Floats, y: Floats) -> list[Mark]:
    """One mark a row in the shape of the part's disposition."""
    marks: list[Mark] = []
    for disposition, shape in SHAPES.items():
        here = np.array([p.disposition == disposition for p in parts])
        if here.any():
            marks.append(Points(x[here], y[here], shape, 1.0, 3.0, filled=shape == "disc"))
    return marks


def area_panel(lot: LotResult) -> Panel | None:
    """Effective die area of each part against the type's, with its 95 % interval, the smallest on top.

    None where no part has one.
    """
    told = [(p, p.area_ratio.value) for p in lot.parts if p.area_ratio is not None and p.area_ratio.value is not None]
    if not told:
        return None
    parts = [part for part, _ in sorted(told, key=lambda pair: pair[1])]
    value, low, high = (_of_interval(parts, end) for end in ("value", "low", "high"))
    y, rows = _rows(parts)
    ends = span([value, low, high]) or (0.5, 1.0)
    alone = any(reason.code == "NO_ABSOLUTE_REFERENCE" for reason in lot.reasons)
    whose = "the lot's main population" if alone else "the type's"
    x = linear_axis(f"die area against {whose} (ratio), 95 % interval", 0.0, 1.06 * max(1.2, ends[1]))
    marks: list[Mark] = [Line(np.ones(2), np.array([y.low, y.high]), 0.8, 0.55, (4, 3))]
    weight = 0.9 if len(parts) <= EVERY_ROW else 0.5
    marks.append(Line(*_bars(low, high, rows), weight, 0.6))
    marks += [*_row_marks(parts, value, rows), *_row_names(parts, np.fmax(high, value), rows, x, y)]
    words = (
        f"Die area of {len(parts)} parts of lot {short(lot.lot, 24)} against {whose}, with 95 % intervals. "
        f"Dashed: the same area."
    )
    if alone:
        words += " Nothing is known that vouches for the lot as a whole: all its dies could be smaller alike."
    key = disposition_key([p.disposition for p in parts])
    return Panel("Die area of each part", words, x, y, tuple(marks), key=key)


def _bars(low: Floats, high: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Bars from low to high, one a place, as one line that breaks between them: along the bars, and across."""
    gap = np.full(low.size, np.nan)
    return np.column_stack([low, high, gap]).ravel(), np.column_stack([at, at, gap]).ravel()


def _of_interval(parts: Sequence[PartResult], end: str) -> Floats:
    values = [getattr(part.area_ratio, end) for part in parts]
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def groups_panel(lot: LotResult) -> Panel | None:
    """The figure in which two groups of parts are looked for, part by part, the smallest on top; None without one."""
    seen = lot.groups
    if seen is None or not seen.parts:
        return None
    by_name = {part.part: part for part in lot.parts}
    told = sorted(zip(seen.values, seen.group, seen.parts, strict=True))
    parts = [by_name[name] for _, _, name in told]
    value = np.array([v for v, _, _ in told])
    group = np.array([g for _, g, _ in told])
    y, rows = _rows(parts)
    low, high = float(value.min()), float(value.max())
    room = max((high / low) ** 0.12, 1.15)
    x = log_axis(f"gain ratio (number): {seen.conditions}", low / room, high * room, "1")
    marks: list[Mark] = [*_row_marks(parts, value, rows), *_row_names(parts, value, rows, x, y)]
    if seen.two:
        gap = float(np.sqrt(value[group == 1].max() * value[group == 2].min()))
        foot = y.low + 0.05 * (y.high - y.low)  # where the larger ones stand far to the right
        marks += [
            Line(np.array([gap, gap]), np.array([y.low, y.high]), 0.8, 0.55, (4, 3)),
            Label(gap, foot, f" ← {int((group == 1).sum())} | {int((group == 2).sum())} →", "middle"),
        ]
    key = disposition_key([p.disposition for p in parts])
    return Panel("Are there two groups in the lot?", _groups_words(lot, seen), x, y, tuple(marks), key=key)


def _groups_words(lot: LotResult, seen: GroupsSeen) -> str:
    what = f"{seen.quantity[0].upper()}{seen.quantity[1:]}, {seen.conditions}, of {len(seen.parts)} parts of lot "
    told = f"{what}{short(lot.lot, 24)}."
    if seen.statistic is None or seen.bar is None:
        return f"{told} Too few parts to look for two groups."
    split = f"best split {seen.statistic:.2g}; one clean lot of this size in 100 exceeds {seen.bar:.2g}"
    if not seen.two:
        return f"{told} One group ({split})."
    sizes = [seen.group.count(1), seen.group.count(2)]
    return f"{told} Two groups of {sizes[0]} and {sizes[1]} parts ({split}). Dashed: between them."


def control_panels(data: LotData) -> list[Panel]:
    """How the control pieces of a lot's sessions moved: gain, and VBE; what was not read twice has no panel."""
    panels = (
        _control_panel(data, "gain", "gain", "change of hFE since the first reading [%]", 0.01, 0.005),
        _control_panel(data, "vbe", "base-emitter voltage", "change of VBE since the first reading [mV]", 1e-3, 1e-3),
    )
    return [panel for panel in panels if panel is not None]


def _control_panel(
    data: LotData, key: Literal["gain", "vbe"], name: str, label: str, scale: float, least: float
) -> Panel | None:
    def of(course: ControlCourse) -> tuple[Floats, Floats]:
        return (course.gain, course.gain_std) if key == "gain" else (course.vbe, course.vbe_std)

    courses = [c for c in data.control if np.isfinite(of(c)[0]).sum() > 1]
    if not courses:
        return None
    timed = all(c.timed for c in courses)
    at = [c.at / 60.0 if timed else np.arange(1.0, c.at.size + 1.0) for c in courses]
    values = [of(c) for c in courses]
    ends = span([*(v - 2 * s for v, s in values), *(v + 2 * s for v, s in values), *(v for v, _ in values)])
    x = _control_axis(at, timed, data.conditions)
    y = linear_axis(label, *padded(*(ends or (0.0, 0.0)), least=least), scale=scale)
    marks: list[Mark] = [Line(np.array([x.low, x.high]), np.zeros(2), 0.8, 0.35)]
    labels = []
    for course, places, (value, std), dash in zip(courses, at, values, _DASHES * len(courses), strict=False):
        upright, across = _bars(value - 2 * std, value + 2 * std, places)
        marks.append(Line(across, upright, 0.8, 0.5))
        marks += [Line(places, value, 1.0, 1.0, dash), Points(places, value, "disc", 1.0, 2.6, filled=True)]
        last = int(np.flatnonzero(np.isfinite(value))[-1])
        labels.append(Label(float(places[last]) + 0.02 * (x.high - x.low), float(value[last]), short(course.session)))
    marks += spread_labels(labels, y)
    known = all(c.temperature_known for c in courses)
    taken = "What the case temperature explains is taken out." if known else "Temperature is not taken out."
    words = (
        f"Change of the {name} of the control piece, session by session; bars: two standard uncertainties. {taken} "
        "A course beyond three of them is corrected; a smaller one widens the uncertainty."
    )
    return Panel(f"Control piece: {name}", words, x, y, tuple(marks))


def _control_axis(at: list[Floats], timed: bool, conditions: str) -> Axis:
    low, high = span(at) or (0.0, 1.0)
    tail = f", {conditions}" if conditions else ""
    if timed:
        high = max(high, low + 1.0)
        return linear_axis(f"since its first reading [min]{tail}", low - 0.05 * (high - low), high + 0.3 * (high - low))
    ticks = tuple((float(i), str(i)) for i in range(1, int(high) + 1) if high < 12 or i % 5 == 0)
    return Axis(f"reading of the control piece (number){tail}", low - 0.3, high + 0.3 * (high - low), False, ticks)


def whole_lot_panels(lot: LotResult, data: LotData | None) -> list[Panel]:
    """Every figure of a lot as a whole that its results and readings allow."""
    panels = [panel for panel in (area_panel(lot), groups_panel(lot)) if panel is not None]
    return [*panels, *(control_panels(data) if data is not None else [])]
