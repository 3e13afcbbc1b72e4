"""The figure of supplier trust: what was known of each supplier, date by date. It computes no statistics."""

from __future__ import annotations

from datetime import date

import numpy as np

from partscreen.report.panels import Axis, Band, Label, Line, Mark, Panel, Points, Sign, linear_axis
from partscreen.report.svg import panel_svg
from partscreen.results.trust import SupplierTrust, Trust

MOST_PANELS = 12  # suppliers drawn, in the order of the result; more would be a wall
WIDTH, HEIGHT = 420.0, 150.0
_XMLNS = 'xmlns="http://www.w3.org/2000/svg"'


def time_axis(first: date, last: date) -> Axis:
    """Days as ordinals; ticks where years begin, or at both ends within one year."""
    low, high = first.toordinal(), max(last.toordinal(), first.toordinal() + 1)
    years = [date(y, 1, 1) for y in range(first.year, last.year + 2)]
    inside = [d for d in years if low <= d.toordinal() <= high]
    ticks = [(float(d.toordinal()), str(d.year)) for d in inside]
    if len(ticks) < 2:
        ticks = [(float(d.toordinal()), d.isoformat()) for d in (first, last)]
    room = 0.04 * (high - low)
    return Axis("date of the lots", low - room, high + room, False, tuple(ticks))


def trust_panel(one: SupplierTrust, x: Axis, y: Axis, tolerable: float) -> Panel | None:
    """Share of unfit parts over time with its 95 % interval, a mark a date; None without history."""
    known = [p for p in one.history if p.share_unfit.value is not None]
    if not known:
        return None
    at = np.array([float(p.date.toordinal()) for p in known])
    value = np.array([p.share_unfit.value for p in known], dtype=float)
    low = np.array([p.share_unfit.low for p in known], dtype=float)
    high = np.array([p.share_unfit.high for p in known], dtype=float)
    ends = np.array([x.low, x.high])
    marks: list[Mark] = [Line(ends, np.full(2, tolerable), 0.8, 0.55, (4, 3))]
    if at.size > 1:
        marks.append(Band(at, low, high, 0.14))
    for a, b, c in zip(at, low, high, strict=True):  # a bar a date, so that one date alone shows its interval too
        marks.append(Line(np.array([a, a]), np.array([b, c]), 0.7, 0.5))
    marks += [Line(at, value, 1.2), Points(at, value, "disc", 1.0, 2.4, filled=True)]
    last = known[-1]
    marks.append(
        Label(x.high, y.low + 0.96 * (y.high - y.low), f"{last.lots} lot{'' if last.lots == 1 else 's'}", "end")
    )
    key = (Sign("disc", "expected share", filled=True), Sign("", "share you tolerate", dash=(4, 3)))
    return Panel(one.supplier, f"{one.supplier}. {one.sentence}", x, y, tuple(marks), key=key)


def trust_panels(result: Trust) -> list[Panel]:
    """One panel a supplier on common axes, in the order of the result."""
    told = [s for s in result.suppliers if s.history][:MOST_PANELS]
    if not told:
        return []
    dates = [p.date for s in told for p in s.history]
    highs = [p.share_unfit.high for s in told for p in s.history if p.share_unfit.high is not None]
    x = time_axis(min(dates), max(dates))
    top = min(1.0, 1.05 * max([*highs, 2 * result.tolerable_share]))
    y = linear_axis("unfit parts [%], with 95 % interval", 0.0, top, scale=0.01, about=4)
    panels = (trust_panel(s, x, y, result.tolerable_share) for s in told)
    return [p for p in panels if p is not None]


def trust_svg(result: Trust, identity: str = "trust") -> str | None:
    """All panels below each other as the text of an SVG file; None where no lot has a date."""
    panels = trust_panels(result)
    if not panels:
        return None
    row = HEIGHT + 34.0
    height = row * len(panels) + 26.0
    out = [
        f'<svg {_XMLNS} viewBox="0 0 {WIDTH:g} {height:g}" width="{WIDTH:g}" height="{height:g}" '
        'font-family="sans-serif" font-size="11">',
        '<text x="4" y="14">Private, not for publication. Dashed: the share you tolerate.</text>',
    ]
    for i, panel in enumerate(panels):
        figure = panel_svg(panel, f"{identity}-{i}", WIDTH, HEIGHT)
        place = f'<svg x="0" y="{26.0 + i * row + 18.0:g}" width="{WIDTH:g}" height="{HEIGHT:g}" '
        out.append(f'<text x="4" y="{26.0 + i * row + 12.0:g}" font-weight="bold">{_plain(panel.title)}</text>')
        out.append(figure.replace("<svg ", place, 1))
    return "\n".join([*out, "</svg>"]) + "\n"


def _plain(text: str) -> str:
    from html import escape

    return escape("".join(c if c.isprintable() else "·" for c in text))
