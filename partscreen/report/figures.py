"""Figures of a lot: gain, saturation, base voltage, capacitance against gain.

They arrange ready arrays and compute no statistics.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import groupby

import numpy as np

from partscreen.report.data import Envelope, Floats, LimitPoint, LotData, PartData, Region
from partscreen.report.numbers import exact, figure
from partscreen.report.panels import (
    Axis,
    Band,
    Label,
    Line,
    Mark,
    Panel,
    Points,
    Sign,
    Stretch,
    decade_range,
    linear_axis,
    log_axis,
    padded,
    span,
    spread_labels,
)
from partscreen.results import Disposition, LotResult, PartResult

LABELLED = 6  # so many parts carry their name in a figure; more would hide the curves
CROWDED = 40  # beyond so many rejected parts only the end of each curve is marked

# Shape plus word: the same marks stand beside the words on the page.
SHAPES = {"accept": "disc", "hold": "diamond", "reject": "cross", None: "bar"}
WORDS = {"accept": "accepted", "hold": "held", "reject": "rejected", None: "not usable"}
_ORIGIN_TONES = {"limit": 0.24, "typical curve": 0.17, "population": 0.10}
_DRAW_ORDER = {None: 0, "accept": 1, "hold": 2, "reject": 3}


def disposition_key(present: Iterable[Disposition | None]) -> tuple[Sign, ...]:
    """Shape and word of the dispositions that a figure shows."""
    seen = set(present)
    return tuple(Sign(SHAPES[d], WORDS[d], SHAPES[d] == "disc") for d in SHAPES if d in seen)


def band_key(envelope: Envelope | None, marks: Iterable[Mark], y: Axis) -> tuple[Sign, ...]:
    """Words for the typical curve and for the printed limits among the marks that lie within the axes."""
    typical = envelope is not None and np.isfinite(envelope.typical).any()
    limits = [m for m in marks if isinstance(m, Points) and m.shape in ("up", "down")]
    drawn = {(m.shape, m.filled) for m in limits if y.low <= m.y[0] <= y.high}
    words = {("up", True): "printed minimum", ("down", True): "printed maximum"}
    words |= {("up", False): "minimum from memory", ("down", False): "maximum from memory"}
    return (
        *((Sign("", "typical, or the population's centre", dash=(4, 3)),) if typical else ()),
        *(Sign(shape, word, filled) for (shape, filled), word in words.items() if (shape, filled) in drawn),
    )


def _lot_key(
    lot: LotResult, names: Iterable[str], envelope: Envelope | None, marks: list[Mark], y: Axis
) -> tuple[Sign, ...]:
    drawn = set(names)
    return (*disposition_key(p.disposition for p in lot.parts if p.part in drawn), *band_key(envelope, marks, y))


def ic_label(conditions: str) -> str:
    """Label of a current axis with the conditions of the readings."""
    return f"IC, {conditions}" if conditions else "IC (conditions not stated)"


def short(name: str, length: int = 12) -> str:
    """A part name short enough for a figure."""
    printable = "".join(c if c.isprintable() else "·" for c in name)
    return printable if len(printable) <= length else printable[: length - 1] + "…"


def stretches(envelope: Envelope | None) -> tuple[Stretch, ...]:
    """The pieces of an envelope's current axis that have one origin each, joined without gaps."""
    if envelope is None:
        return ()
    out: list[Stretch] = []
    ic = envelope.ic
    for origin, run in groupby(range(len(ic)), key=lambda i: envelope.origin[i]):
        places = list(run)
        low = out[-1].high if out else float(ic[places[0]])
        end = min(places[-1] + 1, len(ic) - 1)
        high = float(ic[places[-1]] if end == places[-1] else np.sqrt(ic[places[-1]] * ic[end]))
        out.append(Stretch(low, high, origin, _ORIGIN_TONES.get(origin, 0.10) * 2.2))
    return tuple(out)


def band_words(envelope: Envelope | None) -> str:
    """Where the band comes from, stretch by stretch from low currents to high, as one sentence."""
    pieces = stretches(envelope)
    if not pieces:
        return "No band is known for this type."
    told = [f"{_PLAIN.get(s.text, s.text)} to {figure(s.high, 'A', 2)}" for s in pieces]
    return f"Band, from {figure(pieces[0].low, 'A', 2)} up: {', '.join(told)}."


_PLAIN = {"limit": "printed limits", "typical curve": "typical curve", "population": "population of the type"}


def band_marks(envelope: Envelope | None, axis: Axis) -> list[Mark]:
    """The envelope as bands toned by origin, with the typical curve dashed."""
    if envelope is None:
        return []
    marks: list[Mark] = []
    for piece in stretches(envelope):
        # One point beyond each end, so that neighbouring stretches meet.
        inside = (envelope.ic >= piece.low * 0.999) & (envelope.ic <= piece.high * 1.001)
        inside = inside | np.roll(inside, 1) & (np.arange(len(inside)) > 0)
        tone = piece.tone / 2.2
        marks.append(Band(envelope.ic[inside], envelope.low[inside], envelope.high[inside], tone))
    marks.append(Line(envelope.ic, envelope.typical, 0.8, 0.55, (4, 3)))
    return marks


def limit_marks(limits: tuple[LimitPoint, ...], quantity: str) -> list[Mark]:
    """Printed limits: a triangle that points to the permitted side; hollow where the figure is from memory."""
    marks: list[Mark] = []
    for limit in limits:
        if limit.quantity == quantity:
            shape = "up" if limit.side == "min" else "down"
            at, value = np.array([limit.ic]), np.array([limit.value])
            marks.append(Points(at, value, shape, 1.0, 3.6, filled=limit.basis != "memory"))
    return marks


def curve_marks(lot: LotResult, curves: dict[str, tuple[Floats, Floats]]) -> list[Mark]:
    """One line a part, marked at its end; rejected ones heavier, dashed, marked at each reading while few."""
    marks: list[Mark] = []
    crowded = sum(p.disposition == "reject" for p in lot.parts) > CROWDED
    for part in sorted(lot.parts, key=lambda p: _DRAW_ORDER[p.disposition]):
        if part.part not in curves:
            continue
        x, y = curves[part.part]
        known = np.isfinite(x) & np.isfinite(y)
        if not known.any():
            continue
        x, y = x[known], y[known]
        shape = SHAPES[part.disposition]
        if part.disposition == "reject":
            at = slice(-1, None) if crowded else slice(None)
            marks += [Line(x, y, 1.4, 1.0, (6, 2)), Points(x[at], y[at], shape, 1.0, 2.4)]
        else:
            tone = 0.35 if part.disposition is None else 0.6
            marks += [Line(x, y, 0.7, tone), Points(x[-1:], y[-1:], shape, 0.8, 2.6, filled=shape == "disc")]
    return marks


def name_marks(lot: LotResult, curves: dict[str, tuple[Floats, Floats]], y: Axis) -> list[Mark]:
    """The names of rejected parts beside the last point of their curves."""
    labels = []
    for part in lot.parts:
        if part.disposition == "reject" and part.part in curves:
            at, value = curves[part.part]
            known = np.flatnonzero(np.isfinite(at) & np.isfinite(value))
            if known.size:
                last = known[-1]
                labels.append(Label(float(at[last]) * 1.1, float(value[last]), short(part.part)))
    return list(spread_labels(labels, y)) if len(labels) <= LABELLED else []


def _room_for_names(lot: LotResult, high: float, low: float) -> float:
    """The high end of a logarithmic current axis, moved on where names stand beside the curves' ends."""
    rejected = [short(p.part) for p in lot.parts if p.disposition == "reject"]
    if not 0 < len(rejected) <= LABELLED:
        return high
    return float(high * (high / low) ** (0.018 * max(len(name) for name in rejected)))


def _describe(lot: LotResult, what: str, data: dict[str, tuple[Floats, Floats]], envelope: Envelope | None) -> str:
    rejected = [short(p.part) for p in lot.parts if p.disposition == "reject" and p.part in data]
    more = f" and {len(rejected) - LABELLED} more" if len(rejected) > LABELLED else ""
    told = f"Rejected: {', '.join(rejected[:LABELLED])}{more}." if rejected else "None of them is rejected."
    return f"{what} of {len(data)} parts of lot {short(lot.lot, 24)}. {told} {band_words(envelope)}"


def hfe_panel(lot: LotResult, data: LotData) -> Panel | None:
    """hFE against IC of all parts in the type's envelope; None where no gain was read."""
    curves = {name: (p.ic, p.hfe) for name, p in data.parts.items() if np.isfinite(p.hfe).any()}
    ic = span((x for x, _ in curves.values()), positive=True)
    top = span([y for _, y in curves.values()])
    if ic is None or top is None:
        return None
    low, high = decade_range(*_with_limits(ic, data.limits, "hfe"))
    band = span([data.hfe.high, data.hfe.typical]) if data.hfe else None
    # A very wide band must not flatten the curves: it may add half of their height at most.
    y_high = max(
        top[1], *(v.value for v in data.limits if v.quantity == "hfe"), min(band[1], 1.5 * top[1]) if band else 0.0
    )
    y = linear_axis("hFE", 0.0, y_high * 1.08)
    x = log_axis(ic_label(data.conditions), low, _room_for_names(lot, high, low), "A")
    marks = [
        *band_marks(data.hfe, y),
        *curve_marks(lot, curves),
        *limit_marks(data.limits, "hfe"),
        *name_marks(lot, curves, y),
    ]
    words = _describe(lot, "Current gain against collector current", curves, data.hfe)
    key = _lot_key(lot, curves, data.hfe, marks, y)
    return Panel("Current gain against collector current", words, x, y, tuple(marks), stretches(data.hfe), key)


def sat_panel(lot: LotResult, data: LotData) -> Panel | None:
    """VCE(sat) against IC of all parts; None where no saturation voltage was read."""
    curves = {name: (p.sat_ic, p.vce_sat) for name, p in data.parts.items() if np.isfinite(p.vce_sat).any()}
    ic = span((x for x, _ in curves.values()), positive=True)
    vce = span((y for _, y in curves.values()), positive=True)
    if ic is None or vce is None:
        return None
    low, high = decade_range(*_with_limits(ic, data.limits, "vce_sat"))
    values = [v.value for v in data.limits if v.quantity == "vce_sat"]
    y_low, y_high = decade_range(vce[0], max([vce[1], *values]))
    y = log_axis("VCE(sat) [mV]", y_low, y_high, "1", scale=1e-3)
    x = log_axis(ic_label(data.sat_conditions), low, _room_for_names(lot, high, low), "A")
    marks = [
        *band_marks(data.vce_sat, y),
        *curve_marks(lot, curves),
        *limit_marks(data.limits, "vce_sat"),
        *name_marks(lot, curves, y),
    ]
    words = _describe(lot, "Saturation voltage against collector current", curves, data.vce_sat)
    key, title = _lot_key(lot, curves, data.vce_sat, marks, y), "Saturation voltage against collector current"
    return Panel(title, words, x, y, tuple(marks), stretches(data.vce_sat), key)


def _with_limits(ic: tuple[float, float], limits: tuple[LimitPoint, ...], quantity: str) -> tuple[float, float]:
    at = [limit.ic for limit in limits if limit.quantity == quantity]
    return min([ic[0], *at]), max([ic[1], *at])


def from_typical(ic: Floats, value: Floats, envelope: Envelope) -> Floats:
    """Values less the type's typical curve at the same currents (log interpolation); NaN outside the curve."""
    known = np.isfinite(envelope.typical)
    if known.sum() < 2:
        return np.full(len(ic), np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        at = np.log(ic)
    curve = np.interp(at, np.log(envelope.ic[known]), envelope.typical[known], left=np.nan, right=np.nan)
    return np.asarray(value - curve)


def vbe_panel(lot: LotResult, data: LotData) -> Panel | None:
    """VBE against IC, less the type's typical curve where there is one: the parts differ by millivolts."""
    read = {name: p for name, p in data.parts.items() if np.isfinite(p.vbe).any()}
    ic = span((p.ic for p in read.values()), positive=True)
    if ic is None:
        return None
    curves, band, label = _vbe_curves(read, data.vbe)
    read_span = span(y for _, y in curves.values())
    if read_span is None:
        return None
    values = read_span if band is None else _with_some_band(read_span, band, ic)
    least = 0.02 if band is not None else 0.1
    low, high = decade_range(*ic)
    y = linear_axis(label, *padded(*values, least=least), scale=1e-3)
    x = log_axis(ic_label(data.conditions), low, _room_for_names(lot, high, low), "A")
    limits = limit_marks(_moved(data.limits, data.vbe) if band else data.limits, "vbe")
    marks = [*band_marks(band, y), *curve_marks(lot, curves), *limits, *name_marks(lot, curves, y)]
    title = "Base-emitter voltage, difference from the typical curve" if band else "Base-emitter voltage"
    words = _describe(lot, title + " against collector current", curves, band)
    return Panel(title, words, x, y, tuple(marks), stretches(band), _lot_key(lot, curves, band, marks, y))


def _with_some_band(read: tuple[float, float], band: Envelope, ic: tuple[float, float]) -> tuple[float, float]:
    """The span of the readings with the band about it at their currents, which may add their height on either side."""
    here = (band.ic >= ic[0]) & (band.ic <= ic[1])
    wide = max(read[1] - read[0], 0.02)
    ends = span([band.low[here], band.high[here]]) or read
    return max(min(read[0], ends[0]), read[0] - wide), min(max(read[1], ends[1]), read[1] + wide)


def _moved(limits: tuple[LimitPoint, ...], envelope: Envelope | None) -> tuple[LimitPoint, ...]:
    """Limits of VBE less the typical curve at their currents; those outside the curve cannot be drawn beside it."""
    if envelope is None:
        return limits
    moved = []
    for limit in limits:
        if limit.quantity == "vbe":
            value = float(from_typical(np.array([limit.ic]), np.array([limit.value]), envelope)[0])
            moved += [replace(limit, value=value)] if np.isfinite(value) else []
    return tuple(moved)


def _vbe_curves(
    read: dict[str, PartData], envelope: Envelope | None
) -> tuple[dict[str, tuple[Floats, Floats]], Envelope | None, str]:
    if envelope is not None:
        curves = {name: (p.ic, from_typical(p.ic, p.vbe, envelope)) for name, p in read.items()}
        if span([y for _, y in curves.values()]) is not None:
            zero = np.where(np.isfinite(envelope.typical), 0.0, np.nan)
            low, high = envelope.low - envelope.typical, envelope.high - envelope.typical
            return curves, Envelope(envelope.ic, low, high, zero, envelope.origin), "VBE less typical VBE [mV]"
    return {name: (p.ic, p.vbe) for name, p in read.items()}, None, "VBE [mV]"


def capacitance_panels(lot: LotResult, data: LotData) -> list[Panel]:
    """Capacitance against gain, one panel a junction that was read."""
    kinds = (
        ("C_CB", "collector-base", "c_cb", data.c_cb_conditions, data.c_cb),
        ("C_BE", "base-emitter", "c_be", data.c_be_conditions, data.c_be),
    )
    panels = (_capacitance_panel(lot, data, *kind) for kind in kinds)
    return [panel for panel in panels if panel is not None]


def _capacitance_panel(
    lot: LotResult, data: LotData, symbol: str, junction: str, key: str, conditions: str, region: Region | None
) -> Panel | None:
    rows: list[tuple[PartResult, float, float]] = []
    for part in lot.parts:
        read = data.parts.get(part.part)
        value = getattr(read, key, None)
        if read is not None and value is not None and read.gain is not None:
            rows.append((part, read.gain, value))
    gains, values = np.array([r[1] for r in rows]), np.array([r[2] for r in rows])
    x_span, y_span = span([gains]), span([values, *([np.array([region.low, region.high])] if region else [])])
    if x_span is None or y_span is None:
        return None
    scale, unit = (1e-9, "nF") if y_span[1] >= 2e-9 else (1e-12, "pF")
    at = f" at IC = {exact(data.working_ic, 'A')}" if data.working_ic else ""
    x = linear_axis(f"hFE{at}", *padded(*x_span, share=0.18, least=0.1 * x_span[1]))
    y_low, y_high = padded(*y_span, share=0.12, least=0.2 * y_span[1])
    y = linear_axis(
        f"{symbol} [{unit}], {conditions or 'bias and frequency not stated'}", max(0.0, y_low), y_high, scale=scale
    )
    marks: list[Mark] = []
    if region is not None:
        edge = np.array([x.low, x.high])
        marks.append(Band(edge, np.full(2, region.low), np.full(2, region.high), 0.12))
    for disposition, shape in SHAPES.items():
        here = [i for i, (part, _, _) in enumerate(rows) if part.disposition == disposition]
        if here:
            marks.append(Points(gains[here], values[here], shape, 1.0, 3.2, filled=shape == "disc"))
    rejected = [(p, g, v) for p, g, v in rows if p.disposition == "reject"]
    nudge = 0.02 * (x.high - x.low)
    labels = [Label(g + nudge, v, short(p.part)) for p, g, v in rejected]
    marks += spread_labels(labels, y) if len(labels) <= LABELLED else []
    band = f" Shaded: the type's region, from {region.origin}." if region else ""
    title = f"{junction.capitalize()} capacitance against gain"
    words = f"{title} of {len(rows)} parts of lot {short(lot.lot, 24)}.{band}"
    return Panel(title, words, x, y, tuple(marks), key=disposition_key(part.disposition for part, _, _ in rows))
