"""Pages that only read: one type, single readings, a plan, suppliers, an output stage."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.desk import TOML
from partscreen.page.posting import keep_uploads, post
from partscreen.page.render import desk_of, draw, settings_of, show, show_problems


def _asked(request: Request) -> dict[str, str]:
    """The query, fields that were filled in only."""
    return {name: value.strip() for name, value in request.query_params.items() if value.strip()}


async def types(request: Request) -> Response:
    """The library, or one type of it."""
    from partscreen.workflow import tell_types
    from partscreen.workflow.read_as import conditions_words

    name = _asked(request).get("name")
    try:
        listed, _ = await run_in_threadpool(tell_types, name, as_json=True)
        words = (await run_in_threadpool(tell_types, name))[0] if name else ""
    except PartscreenError as error:
        return show_problems(request, error, back="/types", status=404)
    return show(request, "types.html.jinja", name=name, found=json.loads(listed), full=words, at=conditions_words)


async def check(request: Request) -> Response:
    """A first answer about one part from single readings."""
    from partscreen.report.view import lot_views
    from partscreen.workflow import check_part

    asked = _asked(request)
    readings = [line.strip() for line in asked.get("readings", "").splitlines() if line.strip()]
    if "type" not in asked or not readings:
        return show(request, "check.html.jinja", asked=asked, part=None, lines=())
    try:
        outcome, words = await run_in_threadpool(check_part, asked["type"], readings)
    except PartscreenError as error:
        return show_problems(request, error, back="/check")
    ((seen,),) = (lot.parts for lot in lot_views(outcome.screening))
    return show(request, "check.html.jinja", asked=asked, part=seen, lines=words)


_WHOLE = ("lot_size", "allow", "sample", "found")
_SHARES = ("tolerable", "confidence", "good", "bad", "power", "false_alarm", "held")


async def plan(request: Request) -> Response:
    """How many parts of a lot to test."""
    from partscreen.report.plan_figure import curve_panel
    from partscreen.workflow import PlanOptions, make_plan
    from partscreen.workflow.plan import plan_lines

    asked = _asked(request)
    if not asked:
        return show(request, "plan.html.jinja", asked=asked, found=None, lines=(), figure=None)
    try:
        whole = {name: _whole(asked[name], name) for name in _WHOLE if name in asked}
        options = PlanOptions(**whole, **{name: asked[name] for name in _SHARES if name in asked})  # type: ignore[arg-type]
        found = await run_in_threadpool(make_plan, options)
    except PartscreenError as error:
        return show_problems(request, error, back="/plan")
    panel = curve_panel(found)
    figure = None if panel is None else draw(panel, "curve")
    return show(request, "plan.html.jinja", asked=asked, found=found, lines=plan_lines(found), figure=figure)


def _whole(told: str, name: str) -> int:
    try:
        return int(told)
    except ValueError:
        fix = "write a whole number"
        raise UnusableInput(
            [Problem("PAGE_NUMBER", f"{told!r} is no whole number", fix, name.replace("_", " "))]
        ) from None


async def suppliers(request: Request) -> Response:
    """What the bench book tells of each supplier."""
    from partscreen.report.figures_trust import trust_panels
    from partscreen.workflow import TrustOptions, weigh_suppliers

    try:
        found = await run_in_threadpool(weigh_suppliers, TrustOptions(book=settings_of(request).book))
    except PartscreenError as error:
        return show_problems(request, error)
    figures = [draw(panel, f"trust{i}") for i, panel in enumerate(trust_panels(found), 1)]
    return show(request, "suppliers.html.jinja", found=found, figures=figures)


async def stage(request: Request) -> Response:
    """Where the file of an output stage is brought."""
    return show(request, "stage_page.html.jinja", found=None, rows=(), figures=())


async def check_stage_file(request: Request, form: FormData) -> Response:
    """Every check of an output stage, from its file."""
    desk = desk_of(request)
    tray = desk.new_tray()
    try:
        files, problems = await keep_uploads(form, "stage", tray, TOML)
        results, more = await keep_uploads(form, "results", tray, (".json",))
        problems += more
        if not files and not problems:
            problems.append(Problem("PAGE_NO_FILE", "no file came in", "choose the file of the stage", "stage"))
        if problems:
            raise UnusableInput(problems)
        found, rows, figures = await run_in_threadpool(_stage, files[0], results)
    except PartscreenError as error:
        return show_problems(request, error, back="/stage")
    finally:
        desk.forget(tray)
    return show(request, "stage_page.html.jinja", found=found, rows=rows, figures=figures)


def _stage(file: Path, results: list[Path]) -> tuple[Any, Any, list[tuple[str, str, str]]]:
    from partscreen.report.stage_page import stage_panels, told_once
    from partscreen.workflow import check_stage

    found = check_stage(file, results)
    panels = [(panel.title, panel.description, draw(panel, f"s{i}")) for i, panel in enumerate(stage_panels(found), 1)]
    return found, told_once(found.checks), panels


ROUTES: list[BaseRoute] = [
    Route("/types", types),
    Route("/check", check),
    Route("/plan", plan),
    Route("/suppliers", suppliers),
    Route("/stage", stage),
    post("/stage", check_stage_file),
]
