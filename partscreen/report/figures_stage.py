"""Figures of an output stage: the load line in the safe area, the gain near crossover. Ready arrays in, panels out."""

from __future__ import annotations

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.report.numbers import exact, figure
from partscreen.report.panels import (
    Axis,
    Label,
    Line,
    Mark,
    Panel,
    Points,
    Sign,
    decade_range,
    linear_axis,
    log_axis,
    padded,
    span,
    spread_labels,
)
from partscreen.results.stage import GainCurve, LoadLineFigure, SharingFigure

LOWEST_CURRENT = 0.03  # [A]; below that a load line is idle and would only stretch the axis
_DASHES: tuple[tuple[float, ...], ...] = ((), (6, 2), (3, 2), (1, 2), (6, 2, 1, 2))


def load_line_panel(drawn: LoadLineFigure) -> Panel:
    """Load line of one device at full swing on logarithmic axes, with the permitted currents around it."""
    vce, ic = np.asarray(drawn.vce), np.asarray(drawn.ic)
    x_range = span([vce, *(np.asarray(line.vce) for line in drawn.limits)], positive=True) or (1.0, 100.0)
    y_range = span([ic, *(np.asarray(line.ic) for line in drawn.limits)], positive=True) or (0.1, 10.0)
    low, high = decade_range(max(1.0, x_range[0]), x_range[1], 1.1)
    x = log_axis("VCE of one device at full swing", low, high * 1.9, "V")  # room for the names at the ends of the lines
    hot = "" if drawn.case_temperature is None else figure(drawn.case_temperature - ZERO_CELSIUS, "degC")
    y = log_axis(
        f"IC of one device{f', limits at {hot} case' if hot else ''}",
        *decade_range(max(LOWEST_CURRENT, y_range[0]), y_range[1]),
        "A",
    )
    inside = (vce >= x.low) & (ic >= y.low)
    marks: list[Mark] = [Line(np.where(inside, vce, np.nan), np.where(inside, ic, np.nan), 1.8, 1.0)]
    labels = []
    for line, dash in zip(drawn.limits, _DASHES * 4, strict=False):
        at, permitted = np.asarray(line.vce), np.asarray(line.ic)
        marks.append(Line(at, permitted, 1.0, 0.65, dash))
        seen = np.flatnonzero(permitted >= y.low)
        if seen.size:
            labels.append(Label(float(at[seen[-1]]) * 1.03, float(permitted[seen[-1]]), line.name))
    marks += spread_labels(labels, y)
    names = ", ".join(line.name for line in drawn.limits) or "none known"
    thin = f"permitted current at {hot} case" if hot else "permitted current"
    words = f"Heavy: the load line of one device at full swing. Thin: {thin}: {names}."
    key = (Sign("", "load line", weight=1.8), Sign("", "permitted current", dash=_DASHES[1], weight=1.0))
    return Panel(f"Load line in the safe area: {drawn.about}", words, x, y, tuple(marks), key=key)


def crossover_panel(curves: list[GainCurve]) -> Panel | None:
    """Gain of the stage against output current, one line a bias; None without curves."""
    if not curves:
        return None
    current = [np.asarray(curve.current) for curve in curves]
    gain = [np.asarray(curve.gain) for curve in curves]
    x_range, y_range = span(current), span(gain)
    if x_range is None or y_range is None:
        return None
    loads = {c.load for c in curves}
    into = f" into {exact(curves[0].load, 'ohm')}" if len(loads) == 1 and curves[0].load is not None else ""
    x: Axis = linear_axis("output current [A], bias voltages as named", *padded(*x_range, 0.02))
    y: Axis = linear_axis(f"gain of the output stage (ratio){into}", *padded(*y_range))
    marks: list[Mark] = []
    labels = []
    for curve, i, g, dash in zip(curves, current, gain, _DASHES, strict=False):
        marks.append(Line(i, g, 1.2, 1.0, dash))
        middle = int(np.argmin(np.abs(i)))
        marks.append(Points(i[middle : middle + 1], g[middle : middle + 1], "disc" if not dash else "diamond"))
        beside = float(i[middle]) + 0.03 * (x.high - x.low)
        labels.append(Label(beside, float(g[middle]), f"{curve.name}, {figure(curve.bias, 'V')}"))
    marks += spread_labels(labels, y)
    told = "; ".join(f"{c.name}: {figure(c.bias, 'V')} across one emitter resistor" for c in curves)
    return Panel("Gain near crossover", f"Gain of the output stage against output current. {told}.", x, y, tuple(marks))


def sharing_panel(shared: SharingFigure) -> Panel | None:
    """Expected drop across each emitter resistor, place by place: warm and, where it can be told, cold."""
    if len(shared.places) < 2:
        return None
    at = np.arange(1.0, len(shared.places) + 1.0)
    warm = np.array([place.drop for place in shared.places])
    cold = np.array([np.nan if place.cold_drop is None else place.cold_drop for place in shared.places])
    known = bool(np.isfinite(cold).all())
    x = Axis(
        "place", 0.4, at[-1] + 1.1, False, tuple((float(i), p.place) for i, p in zip(at, shared.places, strict=True))
    )
    y = linear_axis(
        "across the emitter resistor at idle [mV]", 0.0, float(np.nanmax([*warm, *cold])) * 1.15, scale=1e-3
    )
    marks: list[Mark] = [Points(at, warm, "disc", size=4.0, filled=True)]
    labels: list[Mark] = []
    for place, values in zip(at, np.column_stack([warm, cold]), strict=True):
        told = values if known else values[:1]
        labels += spread_labels([Label(float(place) + 0.08, float(v), figure(float(v), "V")) for v in told], y)
    words = f"Disc: idle drop expected, {shared.basis}."
    if known:
        marks.append(Points(at, cold, "ring", size=4.0))
        words += " Ring: on switching on, if the bias circuit did not follow the heat at all."
    names = ", ".join(f"{p.place}: {p.part}" for p in shared.places if p.part)
    marks += labels
    key = (Sign("disc", "warm", filled=True), *((Sign("ring", "on switching on"),) if known else ()))
    return Panel(f"Sharing, {shared.about}", f"{words} {names}.", x, y, tuple(marks), key=key)
