"""A figure as a file of its own: SVG, PNG or PDF, with its title, its signs in words and what it shows.

The same figure gives the same bytes: no dates, no random names. Letters are drawn (SVG) or embedded (PDF), so that it
looks alike everywhere.
"""

from __future__ import annotations

import io
import textwrap
import threading
import warnings
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from partscreen.report.drawing import draw_panel, dressed_left
from partscreen.report.panels import Panel, Sign, tint

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Form = Literal["svg", "png", "pdf"]
FORMS: tuple[Form, ...] = ("svg", "png", "pdf")

_WIDTH = 6.4  # [in]
_PLOT = 3.3  # height of the axes [in]
_ROW = 0.17  # height of a named row [in]
_DPI = 150
_TITLE, _TEXT = 10.0, 8.5  # [pt]
_LINE = 1.45 * _TEXT / 72  # from line to line [in]
_MARGIN = 0.14  # [in]
_LETTERS = 96  # of the caption that fit on a line; of the title two thirds
_SETTINGS = {
    "svg.fonttype": "path",
    "svg.hashsalt": "partscreen",
    "pdf.fonttype": 3,  # letters as drawings: embedded whole, four times as quick as cutting a TrueType font
    "font.family": "DejaVu Sans",
    "path.simplify": True,
}
_NO_DATES: dict[str, dict[str, Any]] = {
    "svg": {"Date": None, "Creator": None, "Format": None, "Type": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None, "ModDate": None},
}
_one_at_a_time = threading.Lock()  # matplotlib's settings are those of the whole process


def figure_file(panel: Panel, form: Form) -> bytes:
    """The figure as the content of a file."""
    return figure_forms(panel, (form,))[form]


def figure_forms(panel: Panel, forms: tuple[Form, ...] = FORMS) -> dict[Form, bytes]:
    """The figure in several forms, laid out once."""
    import matplotlib

    settings: Any = _SETTINGS
    with _one_at_a_time, matplotlib.rc_context(settings), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure = laid_out(plain_panel(panel))
        return {form: _saved(figure, form, panel) for form in forms}


def _saved(figure: Figure, form: Form, panel: Panel) -> bytes:
    sink = io.BytesIO()
    about = dict(_NO_DATES[form])
    if form in ("svg", "pdf"):
        about["Title"] = printable(panel.title)
    figure.savefig(sink, format=form, dpi=_DPI, metadata=about)
    return sink.getvalue()


def laid_out(panel: Panel) -> Figure:
    """The figure on its page, with title, signs and what it shows."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    title = textwrap.wrap(panel.title, int(0.8 * _LETTERS)) or [""]
    said = textwrap.wrap(panel.description, _LETTERS)
    key = _key_lines(panel.key)
    head = _MARGIN + len(title) * 1.2 * _LINE + len(key) * _LINE + (0.42 if panel.stretches else 0.28)
    foot = 0.48 + len(said) * _LINE + _MARGIN
    plot = max(_PLOT, _ROW * len(panel.y.ticks))
    height = head + plot + foot
    left, right = max(0.62, dressed_left(panel) / 72 + 0.1), 0.24
    figure = Figure(figsize=(_WIDTH, height), facecolor="white")
    FigureCanvasAgg(figure)
    box = (left / _WIDTH, foot / height, (_WIDTH - left - right) / _WIDTH, plot / height)
    draw_panel(panel, figure.add_axes(box))
    top = height - _MARGIN
    for line in title:
        top -= 1.2 * _LINE
        _write(figure, _MARGIN, top, line, _TITLE, height, weight="bold")
    for row in key:
        top -= _LINE
        _draw_key(figure, row, top, height)
    below = foot - 0.48
    for line in said:
        below -= _LINE
        _write(figure, _MARGIN, below, line, _TEXT, height)
    return figure


def _write(figure: Figure, x: float, y: float, text: str, size: float, height: float, **more: Any) -> None:
    figure.text(x / _WIDTH, y / height, text, fontsize=size, color=tint(1.0), parse_math=False, va="bottom", **more)


def _key_lines(key: tuple[Sign, ...]) -> list[list[Sign]]:
    """The signs in lines that fit."""
    lines: list[list[Sign]] = []
    room = 0.0
    for sign in key:
        need = _wide(sign)
        if not lines or need > room:
            lines.append([])
            room = _WIDTH - 2 * _MARGIN
        lines[-1].append(sign)
        room -= need
    return lines


def _wide(sign: Sign) -> float:
    return 0.42 + len(sign.word) * 0.58 * _TEXT / 72


def _draw_key(figure: Figure, row: list[Sign], y: float, height: float) -> None:
    from matplotlib.lines import Line2D

    from partscreen.report.drawing import MARKERS, dash_style

    x = _MARGIN
    middle = (y + 0.5 * _LINE) / height
    for sign in row:
        if sign.shape:
            look: Any = {"marker": MARKERS[sign.shape], "ms": 5.0, "mfc": tint(1.0) if sign.filled else "white"}
            at = [(x + 0.08) / _WIDTH]
        else:
            look = {"lw": sign.weight, "ls": dash_style(sign.dash, sign.weight)}
            at = [x / _WIDTH, (x + 0.24) / _WIDTH]
        figure.add_artist(Line2D(at, [middle] * len(at), color=tint(1.0), mec=tint(1.0), mew=1.0, **look))
        _write(figure, x + (0.18 if sign.shape else 0.3), y, sign.word, _TEXT, height)
        x += _wide(sign)


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap())


def printable(text: str) -> str:
    """A text with the number of each letter that the font has not, or that is not shown, in its place."""
    known = _letters()
    return "".join(c if ord(c) in known and (c.isprintable() or c in _SPACES) else f"⟨U+{ord(c):04X}⟩" for c in text)


_SPACES = "\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}"


def plain_panel(panel: Panel) -> Panel:
    """The panel with nothing in its words that cannot be drawn."""
    from dataclasses import replace

    from partscreen.report.panels import Axis, Label

    def axis(one: Axis) -> Axis:
        return replace(one, label=printable(one.label), ticks=tuple((at, printable(text)) for at, text in one.ticks))

    marks = tuple(replace(m, text=printable(m.text)) if isinstance(m, Label) else m for m in panel.marks)
    key = tuple(replace(sign, word=printable(sign.word)) for sign in panel.key)
    return replace(
        panel,
        title=printable(panel.title),
        description=printable(panel.description),
        x=axis(panel.x),
        y=axis(panel.y),
        marks=marks,
        key=key,
    )
