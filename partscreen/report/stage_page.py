"""The page of one output stage: cautions, checks, figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from partscreen.report.drawing import figure_svg
from partscreen.report.figures_stage import crossover_panel, load_line_panel, sharing_panel
from partscreen.report.html import _environment
from partscreen.report.panels import Panel
from partscreen.results.stage import StageCheck, StageResult

OUTCOMES = {"ok": "[=] ok", "marginal": "[~] marginal", "not_ok": "[x] not ok", "not_known": "[?] not known"}
"""Mark and word of each outcome, as they stand on page and terminal."""


@dataclass(frozen=True, slots=True)
class Told:
    """Checks that say the same of several things, told once. `about`: all of them; `check`: the first."""

    about: str
    check: StageCheck


def told_once(checks: Sequence[StageCheck]) -> list[Told]:
    """Checks with the same code, outcome and sentence together (usually the two sides), in their order."""
    groups: dict[tuple[str, str, str], list[StageCheck]] = {}
    for check in checks:
        groups.setdefault((check.code, check.result, check.sentence), []).append(check)
    return [Told(_together([check.about for check in same]), same[0]) for same in groups.values()]


def _together(abouts: list[str]) -> str:
    """ "NPN A, load" and "PNP B, load" as "NPN A and PNP B, load"."""
    tails = {about.partition(",")[2] for about in abouts}
    if len(tails) > 1:
        return "; ".join(abouts)
    heads = dict.fromkeys(about.partition(",")[0] for about in abouts)
    tail = tails.pop()
    return " and ".join(heads) + (f",{tail}" if tail else "")


def stage_panels(result: StageResult) -> list[Panel]:
    """Every figure of a stage."""
    panels = [load_line_panel(drawn) for drawn in result.load_lines]
    others = (crossover_panel(result.crossover), *(sharing_panel(shared) for shared in result.sharing))
    return [*panels, *(panel for panel in others if panel is not None)]


def render_stage(result: StageResult) -> str:
    """A page that stands alone: nothing is loaded from elsewhere."""
    figures = [
        (panel.title, panel.description, Markup(figure_svg(panel, f"s{number}")))
        for number, panel in enumerate(stage_panels(result), 1)
    ]
    page = _environment().get_template("stage.html.jinja")
    return page.render(
        result=result,
        rows=told_once(result.checks),
        figures=figures,
        outcomes=OUTCOMES,
        order=("not_ok", "not_known", "marginal", "ok"),
    )
