"""A light SVG writer for panels: about a millisecond a figure, text as text, no outside fonts.

It exists because a report carries several small figures a part; `partscreen.report.drawing` draws the same panels
with matplotlib.
"""

from __future__ import annotations

import textwrap
from html import escape
from itertools import pairwise

import numpy as np

from partscreen.report.data import Bools
from partscreen.report.panels import Axis, Band, Floats, Label, Line, Panel, Points, tint

_LEFT, _RIGHT, _BOTTOM = 40.0, 14.0, 34.0
_FONT = 11.0
_LINE = 12.0  # from line to line [px]
_LETTER = 0.56 * _FONT  # mean width of a letter, to leave out words that would not fit


class _Frame:
    """Where the axes lie on the drawing, and where values lie on them. [px]"""

    def __init__(self, panel: Panel, width: float, height: float) -> None:
        self.panel = panel
        wide = min(panel.left_letters * _LETTER + 10.0, 0.4 * width)
        self.left, self.right = max(_LEFT, wide), width - _RIGHT
        self.top = 36.0 if panel.stretches else 20.0
        self.foot = _lines(panel.x.label, self.right - 2.0)
        self.bottom = height - _BOTTOM - _LINE * (len(self.foot) - 1)

    def x(self, value: Floats) -> Floats:
        return self.left + (self.right - self.left) * self.panel.x.place(value)

    def y(self, value: Floats) -> Floats:
        # Clipped a little beyond the axes: far outliers must not make the file carry enormous numbers.
        place = np.clip(self.panel.y.place(value), -1.0, 2.0)
        return self.bottom - (self.bottom - self.top) * place


def _lines(label: str, room: float) -> list[str]:
    """A label in as many lines as it needs."""
    return textwrap.wrap(label, max(12, int(room / _LETTER))) or [""]


def panel_svg(panel: Panel, identity: str, width: float = 228.0, height: float = 176.0) -> str:
    """The panel as an `<svg>` element for a page.

    `identity` is put before every id, so that many figures can stand on one page. Width and height are those of the
    coordinate system [px at natural size]; on the page the figure takes the width it is given.
    """
    frame = _Frame(panel, width, height)
    parts = [
        f'<svg viewBox="0 0 {width:g} {height:g}" role="img" aria-labelledby="{identity}-t {identity}-d">',
        f'<title id="{identity}-t">{escape(panel.title)}</title>',
        f'<desc id="{identity}-d">{escape(panel.description)}</desc>',
        f'<clipPath id="{identity}-c"><rect x="{frame.left:g}" y="{frame.top:g}" width="{frame.right - frame.left:g}"'
        f' height="{frame.bottom - frame.top:g}"/></clipPath>',
        *_grid(frame),
        f'<g clip-path="url(#{identity}-c)">',
        *(_mark(mark, frame) for mark in panel.marks if not isinstance(mark, Label)),
        "</g>",
        *(_label(mark, frame) for mark in panel.marks if isinstance(mark, Label)),
        *_frame_and_words(frame),
        "</svg>",
    ]
    return "".join(part for part in parts if part)


def _text(x: float, y: float, words: str, anchor: str = "start", tone: float = 0.85) -> str:
    place = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{x:.1f}" y="{y:.1f}"{place} fill="{tint(tone)}">{escape(words)}</text>'


def _tick_places(axis: Axis) -> Floats:
    return axis.place(np.array([at for at, _ in axis.ticks], dtype=float))


def _grid(frame: _Frame) -> list[str]:
    """Thin lines at the ticks, and the ticks' figures; figures that would touch are left out."""
    lines, words = [], []
    taken = -1e9
    for place, (_, text) in zip(_tick_places(frame.panel.x), frame.panel.x.ticks, strict=True):
        x = frame.left + (frame.right - frame.left) * float(place)
        lines.append(f"M{x:.1f} {frame.top:g}V{frame.bottom:g}")
        half = len(text) * _LETTER / 2
        if x - half > taken + 4:
            words.append(_text(x, frame.bottom + 13, text, "middle"))
            taken = x + half
    taken = 1e9
    for place, text in sorted(zip(_tick_places(frame.panel.y), (text for _, text in frame.panel.y.ticks), strict=True)):
        y = frame.bottom - (frame.bottom - frame.top) * float(place)
        lines.append(f"M{frame.left:g} {y:.1f}H{frame.right:g}")
        if y < taken - _FONT:
            words.append(_text(frame.left - 5, y + 4, text, "end"))
            taken = y
    return [f'<path d="{"".join(lines)}" stroke="{tint(0.12)}" stroke-width=".6"/>', *words]


def _frame_and_words(frame: _Frame) -> list[str]:
    panel = frame.panel
    axes = f"M{frame.left:g} {frame.top:g}V{frame.bottom:g}H{frame.right:g}"
    out = [
        f'<path d="{axes}" stroke="{tint(0.7)}" fill="none"/>',
        _text(2.0, 11, panel.y.label, tone=1.0),
        *(
            _text(frame.right, frame.bottom + 28 + _LINE * i, line, "end", tone=1.0)
            for i, line in enumerate(frame.foot)
        ),
    ]
    for stretch in panel.stretches:
        ends = np.clip(frame.x(np.array([stretch.low, stretch.high])), frame.left, frame.right)
        left, right = float(ends[0]), float(ends[1])
        out.append(
            f'<rect x="{left:.1f}" y="{frame.top - 5:g}" width="{max(0.0, right - left - 1):.1f}" height="4"'
            f' fill="{tint(stretch.tone)}"/>'
        )
        if len(stretch.text) * _LETTER < right - left:
            out.append(_text((left + right) / 2, frame.top - 8, stretch.text, "middle", tone=0.7))
    return out


def _run(x: Floats, y: Floats) -> str:
    return "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True))


def _mark(mark: Line | Points | Band, frame: _Frame) -> str:
    if isinstance(mark, Line):
        return _line(mark, frame)
    if isinstance(mark, Band):
        return _band(mark, frame)
    return _points(mark, frame)


def _near(x: Floats, frame: _Frame) -> Bools:
    """Points within the axes and the first one beyond each end: the rest would be cut off anyway."""
    with np.errstate(invalid="ignore"):
        inside = (x >= frame.left) & (x <= frame.right)
    wide = np.concatenate([[False], inside, [False]])
    return np.asarray(wide[:-2] | wide[1:-1] | wide[2:])


def _line(mark: Line, frame: _Frame) -> str:
    x, y = frame.x(mark.x), frame.y(mark.y)
    known = np.isfinite(x) & np.isfinite(y) & _near(x, frame)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(int)))
    path = "".join("M" + _run(x[a:b], y[a:b]) for a, b in pairwise(edges) if known[a] and b - a > 1)
    if not path:
        return ""
    dash = f' stroke-dasharray="{" ".join(f"{d:g}" for d in mark.dash)}"' if mark.dash else ""
    return f'<path d="{path}" fill="none" stroke="{tint(mark.tone)}" stroke-width="{mark.weight:g}"{dash}/>'


def _band(mark: Band, frame: _Frame) -> str:
    x = frame.x(mark.x)
    low = np.where(np.isfinite(mark.low), frame.y(mark.low), frame.bottom)
    high = np.where(np.isfinite(mark.high), frame.y(mark.high), frame.top)
    closed = (np.isfinite(mark.low) | np.isfinite(mark.high)) & _near(x, frame)
    x, low, high = x[closed], low[closed], high[closed]
    if x.size < 2:
        return ""
    path = "M" + _run(np.concatenate([x, x[::-1]]), np.concatenate([low, high[::-1]])) + "Z"
    return f'<path d="{path}" fill="{tint(mark.tone)}"/>'


_SHAPES = {
    "disc": "m-{r} 0a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0",
    "ring": "m-{r} 0a{r} {r} 0 1 0 {d} 0a{r} {r} 0 1 0 -{d} 0",
    "diamond": "m0 -{r}l{r} {r}l-{r} {r}l-{r} -{r}z",
    "cross": "m-{r} -{r}l{d} {d}m0 -{d}l-{d} {d}",
    "up": "m0 -{r}l{r} {d}h-{d}z",
    "down": "m0 {r}l{r} -{d}h-{d}z",
    "bar": "m-{d} 0h{w}",
}


def shape_path(shape: str, size: float) -> str:
    """Relative path commands of a mark `size` px in radius."""
    return _SHAPES[shape].format(r=f"{size:g}", d=f"{2 * size:g}", w=f"{4 * size:g}")


def _points(mark: Points, frame: _Frame) -> str:
    x, y = frame.x(mark.x), frame.y(mark.y)
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        return ""
    body = shape_path(mark.shape, mark.size)
    path = "".join(f"M{a:.1f} {b:.1f}{body}" for a, b in zip(x[known], y[known], strict=True))
    ink = tint(mark.tone)
    fill = ink if mark.filled else "none" if mark.shape in ("cross", "bar") else "#fff"
    return f'<path d="{path}" fill="{fill}" stroke="{ink}" stroke-width="1"/>'


def _label(mark: Label, frame: _Frame) -> str:
    x, y = float(frame.x(np.array([mark.x]))[0]), float(frame.y(np.array([mark.y]))[0])
    return _text(x, y + 4, mark.text, mark.anchor, tone=1.0) if np.isfinite(x) and np.isfinite(y) else ""
