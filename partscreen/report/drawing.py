"""Panels on matplotlib axes (SVG, PNG, PDF), by the object interface only: no global figure, nothing shown."""

from __future__ import annotations

import io
import re
import warnings
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from partscreen.report.panels import Axis, Band, Label, Line, Panel, Points, tint

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKERS = {"disc": "o", "ring": "o", "diamond": "D", "cross": "x", "up": "^", "down": "v", "bar": "_"}
_POINT = 0.75  # points a CSS pixel
_FONT = 8.5  # [pt]


def dash_style(dash: tuple[float, ...], weight: float) -> Any:
    """Lengths on and off as matplotlib takes them: in line widths."""
    return (0, tuple(d / max(weight, 0.1) for d in dash)) if dash else "-"


def dressed_left(panel: Panel) -> float:
    """Room that the words at the left axis need. [pt]"""
    return max(28.0, panel.left_letters * 0.56 * _FONT + 8.0)


def draw_panel(panel: Panel, axes: Axes) -> Axes:
    """Draw a panel on a matplotlib axes and return it. Computes nothing but places."""
    _dress(panel, axes)
    for mark in panel.marks:
        if isinstance(mark, Line):
            style = dash_style(mark.dash, mark.weight)
            axes.plot(mark.x, mark.y, color=tint(mark.tone), lw=mark.weight, ls=style, solid_capstyle="butt")
        elif isinstance(mark, Points):
            _draw_points(mark, axes)
        elif isinstance(mark, Band):
            low = np.where(np.isfinite(mark.low), mark.low, panel.y.low)
            high = np.where(np.isfinite(mark.high), mark.high, panel.y.high)
            closed = np.isfinite(mark.low) | np.isfinite(mark.high)
            axes.fill_between(mark.x, low, high, where=closed.tolist(), color=tint(mark.tone), lw=0)
        else:
            _draw_label(mark, axes)
    _draw_stretches(panel, axes)
    return axes


def _draw_points(mark: Points, axes: Axes) -> None:
    ink = tint(mark.tone)
    axes.plot(
        mark.x,
        mark.y,
        ls="",
        marker=MARKERS[mark.shape],
        ms=mark.size * 2 * _POINT,
        mew=1.0,
        mec=ink,
        mfc=ink if mark.filled else "white",
    )


def _draw_label(mark: Label, axes: Axes) -> None:
    side = {"start": "left", "middle": "center", "end": "right"}[mark.anchor]
    axes.text(
        mark.x,
        mark.y,
        mark.text,
        ha=side,
        va="center",
        fontsize=_FONT,
        color=tint(1.0),
        parse_math=False,
        clip_on=False,
    )


def _dress(panel: Panel, axes: Axes) -> None:
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

    def scale(side: Any, axis: Axis) -> None:
        side.set_major_locator(FixedLocator([at for at, _ in axis.ticks]))
        side.set_major_formatter(FixedFormatter([text for _, text in axis.ticks]))
        side.set_minor_locator(NullLocator())

    axes.set_xscale("log" if panel.x.log else "linear")
    axes.set_yscale("log" if panel.y.log else "linear")
    axes.set_xlim(panel.x.low, panel.x.high)
    axes.set_ylim(panel.y.low, panel.y.high)
    scale(axes.xaxis, panel.x)
    scale(axes.yaxis, panel.y)
    axes.grid(True, color=tint(0.12), lw=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(length=0, labelsize=_FONT, labelcolor=tint(0.85))
    axes.tick_params(axis="x", pad=6)  # clear of a figure at the foot of the other axis
    for name, spine in axes.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_color(tint(0.7))
    axes.set_xlabel(panel.x.label, loc="right", fontsize=_FONT, color=tint(1.0), parse_math=False)
    axes.annotate(
        panel.y.label,
        (0, 1),
        xytext=(-dressed_left(panel), 20 if panel.stretches else 7),
        xycoords="axes fraction",
        textcoords="offset points",
        fontsize=_FONT,
        color=tint(1.0),
        parse_math=False,
    )


def _draw_stretches(panel: Panel, axes: Axes) -> None:
    """The bar above the axes that says where each stretch of the band comes from."""
    from matplotlib.patches import Rectangle

    places = axes.get_xaxis_transform()
    for stretch in panel.stretches:
        low, high = max(stretch.low, panel.x.low), min(stretch.high, panel.x.high)
        if high <= low:
            continue
        axes.add_patch(
            Rectangle((low, 1.01), high - low, 0.016, transform=places, clip_on=False, color=tint(stretch.tone), lw=0)
        )
        ends = panel.x.place(np.array([low, high]))
        room = float(ends[1] - ends[0]) * axes.get_position().width * axes.figure.get_figwidth() * 72  # type: ignore[union-attr]
        if len(stretch.text) * 0.56 * _FONT < room:
            middle = (low * high) ** 0.5 if panel.x.log else (low + high) / 2
            axes.text(
                middle,
                1.035,
                stretch.text,
                transform=places,
                ha="center",
                fontsize=_FONT,
                color=tint(0.7),
                parse_math=False,
            )


def figure_svg(panel: Panel, identity: str, width: float = 430.0, height: float | None = None) -> str:
    """One panel drawn by matplotlib as an `<svg>` element for a page; same input gives the same text.

    `identity` is put before every id, so that many figures can stand on one page; sizes in px at natural size.
    """
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    height = panel.tall(300.0) if height is None else height
    settings: Any = {
        "svg.fonttype": "none",
        "svg.hashsalt": identity,
        "font.family": "DejaVu Sans",
        "path.simplify": True,
    }
    with matplotlib.rc_context(settings), warnings.catch_warnings():
        # A part may be named in any script; the browser has the letters even where the layout font has not.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure = Figure(figsize=(width / 96, height / 96), facecolor="none")
        FigureCanvasSVG(figure)
        top = 44.0 if panel.stretches else 24.0
        left = max(48.0, dressed_left(panel) / _POINT + 8.0)
        box = (left / width, 40 / height, (width - left - 18) / width, (height - 40 - top) / height)
        draw_panel(panel, figure.add_axes(box, facecolor="none"))
        sink = io.StringIO()
        figure.savefig(sink, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return _for_a_page(sink.getvalue(), panel, identity)


def _for_a_page(text: str, panel: Panel, identity: str) -> str:
    """Take out what only a separate file needs, make ids unique on the page, add name and description."""
    text = text[text.index("<svg") :]
    box = re.search(r'viewBox="[^"]*"', text)
    assert box is not None  # the SVG canvas always writes one
    body = text[text.index(">") + 1 :].strip()
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.S)
    body = re.sub(r"<!--.*?-->\n?", "", body, flags=re.S)
    body = re.sub(r'\bid="([^"]+)"', lambda m: f'id="{identity}-{m.group(1)}"', body)
    body = re.sub(r'xlink:href="#([^"]+)"', lambda m: f'href="#{identity}-{m.group(1)}"', body)
    body = re.sub(r"url\(#([^)]+)\)", lambda m: f"url(#{identity}-{m.group(1)})", body)
    body = body.replace('<style type="text/css">*{stroke-linejoin: round; stroke-linecap: butt}</style>', "")
    body = re.sub(r"font: ([0-9.]+px) [^;\"]*", r"font-size: \1", body)  # the page's letters, not the layout's
    body = re.sub(r"\n\s*", "\n", body)
    head = f'<svg {box.group(0)} role="img" aria-labelledby="{identity}-t {identity}-d">'
    title = f'<title id="{identity}-t">{escape(panel.title)}</title>'
    return f'{head}{title}<desc id="{identity}-d">{escape(panel.description)}</desc>{body}'
