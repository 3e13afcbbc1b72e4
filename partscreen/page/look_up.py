"""Pages that only read: one type, single readings, a plan, suppliers, an output stage."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError
from partscreen.page.figures import figures_errand
from partscreen.page.render import draw, settings_of, show, show_problems


def asked_of(request: Request) -> dict[str, str]:
    """The query, fields that were filled in only."""
    return {name: value.strip() for name, value in request.query_params.items() if value.strip()}


async def own_references(request: Request) -> tuple[Path, ...]:
    """The user's own reference files that can be used."""
    from partscreen.workflow import own_types, usable_types

    return usable_types(await run_in_threadpool(own_types, settings_of(request).folder))


async def types(request: Request) -> Response:
    """The library with the user's own types, or one type."""
    from partscreen.workflow import tell_types
    from partscreen.workflow.papers.read_as import conditions_words

    name = asked_of(request).get("name")
    try:
        own = await own_references(request)
        listed, _ = await run_in_threadpool(partial(tell_types, name, references=own, as_json=True))
        words = (await run_in_threadpool(partial(tell_types, name, references=own)))[0] if name else ""
    except PartscreenError as error:
        return show_problems(request, error, back="/types", status=404)
    return show(request, "types.html.jinja", name=name, found=json.loads(listed), full=words, at=conditions_words)


async def check(request: Request) -> Response:
    """A first answer about one part from single readings."""
    from partscreen.report.view import lot_views
    from partscreen.workflow import ScreenOptions, check_part

    asked = asked_of(request)
    readings = [line.strip() for line in asked.get("readings", "").splitlines() if line.strip()]
    if "type" not in asked or not readings:
        return show(request, "check.html.jinja", asked=asked, part=None, lines=())
    try:
        options = ScreenOptions(references=await own_references(request))
        outcome, words = await run_in_threadpool(check_part, asked["type"], readings, options)
    except PartscreenError as error:
        return show_problems(request, error, back="/check")
    ((seen,),) = (lot.parts for lot in lot_views(outcome.screening))
    return show(request, "check.html.jinja", asked=asked, part=seen, lines=words)


async def suppliers(request: Request) -> Response:
    """What the bench book tells of each supplier."""
    from partscreen.report.figures_trust import trust_panels
    from partscreen.workflow import TrustOptions, weigh_suppliers

    try:
        found = await run_in_threadpool(weigh_suppliers, TrustOptions(book=settings_of(request).book))
    except PartscreenError as error:
        return show_problems(request, error)
    figures = [(panel.title, draw(panel, f"trust{i}")) for i, panel in enumerate(trust_panels(found), 1)]
    return show(request, "suppliers.html.jinja", found=found, figures=figures)


async def suppliers_figures(request: Request) -> Response:
    """Begin the figures of all suppliers."""
    from partscreen.workflow import TrustOptions, weigh_suppliers

    found = await run_in_threadpool(weigh_suppliers, TrustOptions(book=settings_of(request).book, history=True))
    return RedirectResponse(figures_errand(request, found, "suppliers", "/suppliers").where, 303)


ROUTES: list[BaseRoute] = [
    Route("/types", types),
    Route("/check", check),
    Route("/suppliers", suppliers),
    Route("/suppliers/figures", suppliers_figures),
]
