"""Figures to take along: those of a result as one archive of SVG, PNG and PDF."""

from __future__ import annotations

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.page.after.papers import ready
from partscreen.page.asking import at_errand, errand_of, problems_of
from partscreen.page.errands import Errand
from partscreen.page.files.bring import tray_of
from partscreen.page.render import desk_of, show

KIND = "figures"
TITLE = "Figures"


def figures_errand(request: Request, result: Any, name: str, back: str) -> Errand:
    """An errand that draws the figures of a result once its page is asked for. `name`: of the archive."""
    errand = desk_of(request).errands.new(KIND, "/figures/{id}", TITLE)
    archive = errand.path(f"{name}.zip")
    errand.given |= {"result": result, "made": {archive.name: archive}, "back": back}
    return errand


async def of_tray(request: Request) -> Response:
    """Begin the figures of a screening."""
    tray = tray_of(request)
    if tray.screening is None or tray.screening.state != "done":
        raise HTTPException(404, "These parts are not judged yet, so there is nothing to draw.")
    back = f"/tray/{tray.id}/result"
    return RedirectResponse(figures_errand(request, tray.screening.result, "figures", back).where, 303)


async def figures(request: Request) -> Response:
    """Figures that are under way, refused, or ready; begun when first asked for."""
    errand = errand_of(request, KIND)
    if errand.job is None:
        (archive,) = errand.given["made"].values()
        desk_of(request).errands.begin(errand, "draw_figures", errand.given["result"], archive, words="drawing figures")
    if (page := await at_errand(request, errand)) is not None:
        return page
    if problems := problems_of(errand):
        return show(request, "problems.html.jinja", problems=problems, back=errand.given["back"], status=422)
    return ready(request, errand)


ROUTES: list[BaseRoute] = [
    Route("/tray/{tray}/figures", of_tray),
    Route("/figures/{errand}", figures),
]
