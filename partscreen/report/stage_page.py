"""The page of one output stage: cautions, checks, figures."""

from __future__ import annotations

from markupsafe import Markup

from partscreen.report.drawing import figure_svg
from partscreen.report.figures_stage import crossover_panel, load_line_panel
from partscreen.report.html import _environment
from partscreen.report.panels import Panel
from partscreen.results.stage import StageResult

OUTCOMES = {"ok": "[=] ok", "marginal": "[~] marginal", "not_ok": "[x] not ok", "not_known": "[?] not known"}
"""Mark and word of each outcome, as they stand on page and terminal."""


def stage_panels(result: StageResult) -> list[Panel]:
    """Every figure of a stage."""
    panels = [load_line_panel(drawn) for drawn in result.load_lines]
    crossover = crossover_panel(result.crossover)
    return panels if crossover is None else [*panels, crossover]


def render_stage(result: StageResult) -> str:
    """A page that stands alone: nothing is loaded from elsewhere."""
    figures = [
        (panel.title, panel.description, Markup(figure_svg(panel, f"s{number}")))
        for number, panel in enumerate(stage_panels(result), 1)
    ]
    page = _environment().get_template("stage.html.jinja")
    return page.render(
        result=result, figures=figures, outcomes=OUTCOMES, order=("not_ok", "not_known", "marginal", "ok")
    )
