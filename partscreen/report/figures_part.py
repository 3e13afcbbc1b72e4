"""The small figures of one part: gain, base voltage, saturation, each as readings over the fit; residuals; evidence."""

from __future__ import annotations

import math

import numpy as np

from partscreen.report.data import Envelope, Floats, LotData, PartData
from partscreen.report.figures import band_key, band_marks, band_words, ic_label, limit_marks, short, stretches
from partscreen.report.numbers import odds
from partscreen.report.panels import (
    Axis,
    Band,
    Line,
    Mark,
    Panel,
    Points,
    Sign,
    category_axis,
    decade_range,
    linear_axis,
    log_axis,
    padded,
    span,
)
from partscreen.results import PartResult

_FIT_KEY = (Sign("ring", "reading"), Sign("", "fit", weight=1.0))
_FIT_WORDS = "Line: fit at 25 °C junction, in a band of two standard uncertainties."


def _told(what: str, part: PartResult, band: Envelope | None) -> str:
    """What a small figure shows."""
    return f"{what} readings of part {short(part.part)} over the fitted curve. {_FIT_WORDS} {band_words(band)}"


def _array(values: list[float | None]) -> Floats:
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def _fit_line(part: PartResult, name: str) -> tuple[Floats, Floats, Floats]:
    """Currents, fitted curve and its standard uncertainty (NaN where there is none)."""
    if part.curves is None:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    curve = _array(getattr(part.curves, name))
    std = getattr(part.curves, f"{name}_std", None)
    return _array(list(part.curves.ic)), curve, np.full(len(curve), np.nan) if std is None else _array(std)


def _current_axis(ic: Floats, conditions: str) -> Axis | None:
    ends = span([ic], positive=True)
    return None if ends is None else log_axis(ic_label(conditions), *decade_range(*ends, room=1.6), "A")


def _fit_marks(part: PartResult, name: str, readings: Points) -> list[Mark]:
    ic, curve, std = _fit_line(part, name)
    return [Band(ic, curve - 2 * std, curve + 2 * std, 0.3), Line(ic, curve, 1.0, 1.0), readings]


def gain_panel(part: PartResult, lot: LotData, read: PartData) -> Panel | None:
    """hFE readings of a part over its fit, in the envelope."""
    x = _current_axis(read.ic[np.isfinite(read.hfe)] if read.hfe.size else read.ic, lot.conditions)
    top = span([read.hfe, _near(part, "hfe", x)])
    if x is None or top is None:
        return None
    y = linear_axis("hFE", 0.0, top[1] * 1.25, about=4)
    marks = [
        *band_marks(lot.hfe, y),
        *_fit_marks(part, "hfe", Points(read.ic, read.hfe, "ring", 1.0, 2.0)),
        *limit_marks(lot.limits, "hfe"),
    ]
    words = _told("Gain", part, lot.hfe)
    key = (*_FIT_KEY, *band_key(lot.hfe, marks, y))
    return Panel(f"Gain of part {short(part.part)}", words, x, y, tuple(marks), stretches(lot.hfe), key)


def _near(part: PartResult, name: str, x: Axis | None) -> Floats:
    """The fitted curve within the shown currents."""
    ic, curve, _ = _fit_line(part, name)
    return curve if x is None else curve[(ic >= x.low) & (ic <= x.high)]


def vbe_panel(part: PartResult, lot: LotData, read: PartData) -> Panel | None:
    """VBE readings of a part over its fit."""
    x = _current_axis(read.ic[np.isfinite(read.vbe)] if read.vbe.size else read.ic, lot.conditions)
    ends = span([read.vbe, _near(part, "vbe", x)])
    if x is None or ends is None or not read.vbe.size:
        return None
    y = linear_axis("VBE [mV]", *padded(*ends, least=0.05), scale=1e-3, about=4)
    marks = [
        *band_marks(lot.vbe, y),
        *_fit_marks(part, "vbe", Points(read.ic, read.vbe, "ring", 1.0, 2.0)),
        *limit_marks(lot.limits, "vbe"),
    ]
    words = _told("Base-emitter voltage", part, lot.vbe)
    key = (*_FIT_KEY, *band_key(lot.vbe, marks, y))
    return Panel(f"Base-emitter voltage of part {short(part.part)}", words, x, y, tuple(marks), stretches(lot.vbe), key)


def sat_panel(part: PartResult, lot: LotData, read: PartData) -> Panel | None:
    """VCE(sat) readings of a part over its fit."""
    x = _current_axis(read.sat_ic, lot.sat_conditions)
    ends = span([read.vce_sat], positive=True)
    if x is None or ends is None:
        return None
    y = log_axis("VCE(sat) [mV]", *decade_range(*ends, room=1.6), "1", scale=1e-3)
    marks = [
        *band_marks(lot.vce_sat, y),
        *_fit_marks(part, "vce_sat", Points(read.sat_ic, read.vce_sat, "ring", 1.0, 2.0)),
        *limit_marks(lot.limits, "vce_sat"),
    ]
    words = _told("Saturation voltage", part, lot.vce_sat)
    key = (*_FIT_KEY, *band_key(lot.vce_sat, marks, y))
    return Panel(
        f"Saturation voltage of part {short(part.part)}", words, x, y, tuple(marks), stretches(lot.vce_sat), key
    )


def residual_panel(part: PartResult, lot: LotData, read: PartData) -> Panel | None:
    """What the fit leaves over, in standard uncertainties; the shaded band is two of them either way."""
    series = [
        (read.ic, read.hfe_residual, "ring", "gain"),
        (read.ic, read.vbe_residual, "cross", "base voltage"),
        (read.sat_ic, read.sat_residual, "diamond", "saturation"),
    ]
    shown = [s for s in series if s[1].size and np.isfinite(s[1]).any()]
    ends = span([s[1] for s in shown])
    x = _current_axis(np.concatenate([np.zeros(0), *(s[0] for s in shown)]), lot.conditions)
    if x is None or ends is None:
        return None
    high = max(3.0, abs(ends[0]), abs(ends[1])) * 1.15
    y = linear_axis("residual [standard uncertainties]", -high, high, about=5)
    edge = np.array([x.low, x.high])
    marks: list[Mark] = [Band(edge, np.full(2, -2.0), np.full(2, 2.0), 0.10), Line(edge, np.zeros(2), 0.8, 0.5)]
    marks += [Points(ic, values, shape, 0.9, 2.2) for ic, values, shape, _ in shown]
    words = (
        f"Residuals of part {short(part.part)}: {', '.join(s[3] for s in shown)}: reading less fit. Shaded: two "
        "standard uncertainties of reading and device model together."
    )
    key = tuple(Sign(shape, word) for _, _, shape, word in shown)
    return Panel(f"Residuals of part {short(part.part)}", words, x, y, tuple(marks), key=key)


def evidence_panel(part: PartResult) -> Panel | None:
    """What each reading says, in the order in which they were weighed, and all of them together; None without it.

    Places are the natural logarithm of the odds; the ticks say the odds.
    """
    if not part.evidence_by_reading or part.evidence is None:
        return None
    terms = [(short(e.reading, 22), e.evidence) for e in part.evidence_by_reading]
    rows = [*terms, ("all together", part.evidence)]
    value = np.array([v for _, v in rows])
    place = np.arange(float(len(rows)), 0.0, -1.0)
    x, y = _odds_axis(float(np.abs(value).max())), category_axis("reading, in the order weighed", [w for w, _ in rows])
    marks: list[Mark] = [Line(np.zeros(2), np.array([y.low, y.high]), 0.8, 0.55)]
    marks += [Line(np.array([0.0, v]), np.array([p, p]), 1.4, 0.6) for v, p in zip(value, place, strict=True)]
    each = value[:-1]
    for chosen, shape in ((each <= 0, "disc"), (each > 0, "cross")):
        if chosen.any():
            marks.append(Points(each[chosen], place[:-1][chosen], shape, 1.0, 3.2, filled=shape == "disc"))
    marks.append(Points(value[-1:], place[-1:], "diamond", 1.0, 4.0, filled=True))
    words = (
        f"Evidence of part {short(part.part)} by reading: how many times likelier each reading is on its side, after "
        f"those weighed before it. Left speaks for the marking, right against it. {odds(part.evidence)}"
    )
    key = (
        Sign("disc", "speaks for the marking", filled=True),
        Sign("cross", "speaks against it"),
        Sign("diamond", "all together", filled=True),
    )
    return Panel(f"Evidence by reading, part {short(part.part)}", words, x, y, tuple(marks), key=key)


_UPPER = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


def _odds_axis(far: float) -> Axis:
    """An axis of evidence, the same to both sides, with ticks at round odds."""
    tens = max(1, math.ceil(far / math.log(10.0) * 1.05))
    step = max(1, math.ceil(tens / 3))
    ticks = [(0.0, "1")]
    for power in range(step, tens + 1, step):
        text = f"{10**power:,}" if power <= 3 else "10" + str(power).translate(_UPPER)
        ticks += [(-power * math.log(10.0), text), (power * math.log(10.0), text)]
    end = 1.08 * max(far, math.log(10.0) * 1.05)
    inside = sorted(t for t in ticks if abs(t[0]) <= end)
    return Axis("times likelier: ← for | against →", -end, end, False, tuple(inside))


def part_panels(part: PartResult, lot: LotData) -> list[Panel]:
    """Every figure the readings and the judgement of a part allow."""
    read = lot.parts.get(part.part)
    if read is None:
        return []
    makers = (gain_panel, vbe_panel, sat_panel, residual_panel)
    drawn = [panel for panel in (make(part, lot, read) for make in makers) if panel is not None]
    evidence = evidence_panel(part)
    return drawn if evidence is None else [*drawn, evidence]
