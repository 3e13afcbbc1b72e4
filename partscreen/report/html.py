"""The report: one self-contained page, readable offline and on paper, without script."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from partscreen.report import numbers, view
from partscreen.report.data import LotData, ReportData
from partscreen.report.drawing import figure_svg
from partscreen.report.figures import SHAPES, WORDS, band_words, capacitance_panels, hfe_panel, sat_panel, vbe_panel
from partscreen.report.figures_lot import whole_lot_panels
from partscreen.report.figures_part import part_panels
from partscreen.report.panels import Panel
from partscreen.report.papers.visible import UNSEEN, number_of
from partscreen.report.svg import panel_svg, shape_path
from partscreen.report.view import LotView, PartView
from partscreen.results import LotResult, Screening


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawn figure and its caption."""

    svg: Markup
    title: str
    caption: str


def render_report(screening: Screening, data: ReportData, *, title: str, invented: bool = False) -> str:
    """The report of one screening as an HTML page.

    Parameters
    ----------
    screening : Screening
        The result; everything the page says comes from it.
    data : ReportData
        Arrays for the figures. A lot or part that is missing there is reported without figures.
    title : str
        Heading of the page.
    invented : bool
        The readings are made up (demo): said on top of the page.

    Returns
    -------
    str
        HTML without outside assets or script; the same input gives the same text.
    """
    page = _environment().get_template("report.html.jinja")
    return page.render(
        screening=screening,
        lots=view.lot_views(screening),
        data=data,
        title=title,
        invented=invented,
        part_arrays=lambda lot, part: data.lots[lot.lot].parts.get(part.part) if lot.lot in data.lots else None,
        lot_figures=lambda lot: lot_figures(lot, data),
        part_figures=lambda lot, part: part_figures(lot, part, data),
    )


def lot_figures(lot: LotView, data: ReportData, draw: Callable[[Panel, str], str] = figure_svg) -> list[Drawn]:
    """The figures of a lot, those its readings allow. `draw`: writes a panel as SVG under an identity."""
    arrays = data.lots.get(lot.result.lot)
    if arrays is None:
        return []
    made = [
        (hfe_panel(lot.result, arrays), band_words(arrays.hfe)),
        (sat_panel(lot.result, arrays), band_words(arrays.vce_sat)),
        *((panel, _region_words(arrays, panel.y.label)) for panel in capacitance_panels(lot.result, arrays)),
        (vbe_panel(lot.result, arrays), band_words(arrays.vbe)),
        *((panel, panel.description) for panel in whole_lot_panels(lot.result, arrays)),
    ]
    return [
        Drawn(Markup(draw(panel, f"{lot.anchor}-fig{i}")), panel.title, caption)
        for i, (panel, caption) in enumerate(made, 1)
        if panel is not None
    ]


def _region_words(arrays: LotData, label: str) -> str:
    region = arrays.c_cb if label.startswith("C_CB") else arrays.c_be
    return f"Shaded: the type's region, from {region.origin}." if region else "No region is known for this type."


def part_figures(lot: LotResult, part: PartView, data: ReportData) -> list[Drawn]:
    """The small figures of a part; none where it is not to be drawn."""
    arrays = data.lots.get(lot.lot)
    if arrays is None or not part.drawn:
        return []
    return [
        Drawn(Markup(panel_svg(panel, f"{part.anchor}-fig{i}")), panel.title, "")
        for i, panel in enumerate(part_panels(part.result, arrays), 1)
    ]


def mark(disposition: str | None) -> Markup:
    """The shape that stands beside the word of a disposition."""
    shape = SHAPES[disposition]
    path = f'<path d="M0 0{shape_path(shape, 4.5)}"/>'
    return Markup(f'<svg class="mark {shape}" viewBox="-7 -7 14 14" aria-hidden="true">{path}</svg>')


def sheet_environment(package: str) -> Environment:
    """The report's filters, marks and escape rules for the templates of another package, which see the report's too."""
    loader = ChoiceLoader([PackageLoader(package), PackageLoader("partscreen.report")])
    return _environment().overlay(loader=loader)


def _finalize(value: Any) -> Any:
    """Text of people's files: signs that are not seen or turn the direction of writing are shown by their number.

    Line ends and tabs stay: long texts of our own hold them, and a browser shows them as a blank.
    """
    if type(value) is not str:
        return value
    return UNSEEN.sub(lambda m: m.group() if m.group() in "\t\n\r" else number_of(m.group()), value)


def _setting(value: Any) -> str:
    if isinstance(value, dict | list | tuple):
        return json.dumps(value, ensure_ascii=False, default=str)
    return numbers.loose(value)


_cached: list[Environment] = []


def _environment() -> Environment:
    if _cached:
        return _cached[0]
    env = Environment(
        loader=PackageLoader("partscreen.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalize,
    )
    env.filters |= {
        "figure": numbers.figure,
        "exact": numbers.exact,
        "measured": numbers.measured,
        "probability": numbers.probability,
        "loose": numbers.loose,
        "odds": numbers.odds,
        "setting": _setting,
    }
    env.globals |= {
        "mark": mark,
        "words": WORDS,
        "parameter_rows": view.parameter_rows,
        "hazard": view.hazard,
        "reading_rows": view.reading_rows,
    }
    _cached.append(env)
    return env
