"""Templates to answers: the report's look, filters and escape rules, with the page's own frame around."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import HTMLResponse

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.field_words import fields, sent

if TYPE_CHECKING:
    from jinja2 import Environment

    from partscreen.page.desk import Desk
    from partscreen.page.settings import PageSettings
    from partscreen.report.panels import Panel
    from partscreen.report.view import LotView, PartView
    from partscreen.results import ReadingEvidence

LITTLE = 1.15  # odds closer to even than that say little either way (as the report's sentence of odds)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from partscreen.report.html import sheet_environment

    env = sheet_environment("partscreen.page")
    env.globals = {**env.globals, "facing": facing}
    env.filters = {**env.filters, "fields": fields, "sent": sent}
    return env


@lru_cache(maxsize=4)
def asset(name: str) -> str:
    """Style sheet or script: `sheet.css` is the report's style with the page's after it."""
    own = (files("partscreen.page") / "static" / name).read_text(encoding="utf-8")
    if name != "sheet.css":
        return own
    return (files("partscreen.report") / "templates" / "report.css").read_text(encoding="utf-8") + own


def desk_of(request: Request) -> Desk:
    """The desk of this run."""
    found: Desk = request.app.state.desk
    return found


def settings_of(request: Request) -> PageSettings:
    """The settings of this run."""
    found: PageSettings = request.app.state.settings
    return found


def show(request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
    """A page from a template; every template gets the token of its forms and the place it stands at."""
    page = _environment().get_template(template)
    text = page.render(form_token=desk_of(request).form_token, here=request.url.path, **{"refresh": None, **values})
    return HTMLResponse(text, status_code=status)


def show_problems(request: Request, error: PartscreenError, *, back: str = "/", status: int = 422) -> HTMLResponse:
    """What could not be used, where, and the way out."""
    problems = (
        error.problems if isinstance(error, UnusableInput) else (Problem("", str(error), "look at what was typed"),)
    )
    return show(request, "problems.html.jinja", problems=problems, back=back, status=status)


def draw(panel: Panel, identity: str) -> str:
    """A large figure without any style of its own: the page's policy allows none."""
    from partscreen.report.svg import panel_svg

    return panel_svg(panel, identity, 460.0, panel.tall(320.0))


@dataclass(frozen=True, slots=True)
class Facing:
    """Readings of a part in two columns, the strongest first, and those that say little; each (reading, times)."""

    speaks_for: tuple[tuple[str, str], ...]
    speaks_against: tuple[tuple[str, str], ...]
    little: tuple[str, ...]


def facing(readings: list[ReadingEvidence] | None) -> Facing:
    """Sort the evidence of each reading by the side it speaks for (evidence above 0: against the marking)."""
    ordered = sorted(readings or (), key=lambda one: -abs(one.evidence))
    clear = [one for one in ordered if abs(one.evidence) >= math.log(LITTLE)]
    return Facing(
        tuple((one.reading, _times(one.evidence)) for one in clear if one.evidence < 0),
        tuple((one.reading, _times(one.evidence)) for one in clear if one.evidence > 0),
        tuple(one.reading for one in ordered if abs(one.evidence) < math.log(LITTLE)),
    )


def _times(evidence: float) -> str:
    ratio = math.exp(min(abs(evidence), 50.0))
    return "more than a million times" if ratio > 1e6 else f"about {float(f'{ratio:.2g}'):,.10g} times"


def with_figures(part: PartView) -> PartView:
    """A part that is drawn, whatever the size of its lot."""
    return replace(part, drawn=True, full=True)


def first_words(lot: LotView) -> list[tuple[str | None, tuple[PartView, ...]]]:
    """The parts of a lot by disposition, in the order a person wants to read them."""
    return [(key, lot.with_disposition(key)) for key in ("reject", "hold", None, "accept") if lot.with_disposition(key)]
