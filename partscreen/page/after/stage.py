"""The output stage: described by a form or a file, checked, with parts of a match in it, and its power-up card."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.after.papers import take, whole_of
from partscreen.page.after.stage_form import GROUPS, example, fuse_rows, on_form, text_of, told_of
from partscreen.page.asking import at_errand, brought, errand_of, problems_in, problems_of, reworded
from partscreen.page.desk import TOML
from partscreen.page.errands import Errand
from partscreen.page.figures import figures_errand
from partscreen.page.look_up import own_references
from partscreen.page.posting import post
from partscreen.page.render import desk_of, draw, show
from partscreen.page.sources import JSON, judged, references_of, results_of
from partscreen.whole_files import write_whole

WORDS = {
    "--match": "A match", "--set": "Set of the match", "--result": "Results", "--reference": "Reference files",
    "--warm-up": "Time of warm-up", "--soak": "Time of the soak", "--sets": "channel sets", "--pairs": "pairs",
    "--per-rail": "Devices in parallel on a rail",
}  # fmt: skip


async def stage(request: Request) -> Response:
    """The form: empty, with the example, or with a stage that was checked before."""
    asked = request.query_params
    typed: dict[str, str] = {}
    if asked.get("example") == "yes":
        typed, _ = told_of(example())
    before = desk_of(request).errands.find(asked.get("from", ""), "stage")
    if before is not None:
        typed = dict(before.typed)
    if "match" in asked:
        typed["from_match"] = asked["match"]
    return _page(request, typed=typed)


async def ask(request: Request, form: FormData) -> Response:
    """Begin to check a stage, or only fill the form from a file."""
    errands = desk_of(request).errands
    errand = errands.new("stage", "/stage/{id}", "Checking the stage")
    fields = {"stage": TOML, "results": JSON, "match": JSON, "reference": TOML}
    problems = await brought(request, form, errand, fields, single=("stage", "match"))
    # The file has gone into the fields: what is put right there must not be overruled by the file the next time.
    uploads = errand.files.pop("stage")
    file = next(iter(uploads), None)
    try:
        if file is not None:
            told, strange = told_of(file.read_text(encoding="utf-8-sig", errors="replace"), file.name)
            kept = {name: value for name, value in errand.typed.items() if "." not in name}
            errand.typed = kept | told
            problems += strange
        elif not problems:
            file = errand.path("stage.toml")
            write_whole(file, text_of(errand.typed))
    except PartscreenError as error:
        problems += problems_in(error)
    set_number = take(errand.typed, "set_number", "Set of the match", whole_of, problems)
    await references_of(request, errand, problems)
    if problems or file is None:
        return _page(request, errand, reworded(on_form(problems), WORDS))
    if errand.typed.get("do") == "fill":
        return _page(request, errand)
    return await _begin(request, errand, file, set_number)


async def _begin(request: Request, errand: Errand, file: Path, set_number: int | None) -> Response:
    errands = desk_of(request).errands
    results = await results_of(request, errand)
    match = next(iter(errand.files["match"]), None)
    chosen = errands.find(errand.typed.get("from_match", ""), "match")
    if match is None and chosen is not None and "made" in chosen.given:
        match = chosen.given["made"]["match.json"]
        results = list(dict.fromkeys([*results, *chosen.given["results"]]))
    name = errand.typed.get("stage.name") or f"{errand.typed.get('stage.npn')} and {errand.typed.get('stage.pnp')}"
    errand.name = name
    errand.given |= {
        "file": file, "results": results, "match": match, "set": set_number, "made": {"stage.toml": file},
    }  # fmt: skip
    errands.begin(
        errand, "check_stage", file, tuple(results), references=errand.given["references"], match=match,
        set_number=set_number,
    )  # fmt: skip
    return RedirectResponse(errand.where, 303)


async def checked(request: Request) -> Response:
    """Every check of a stage, its figures, its papers; the form below is as it was sent."""
    errand = errand_of(request, "stage")
    if (page := await at_errand(request, errand)) is not None:
        return page
    if problems := problems_of(errand):
        return _page(request, errand, reworded(on_form(problems), WORDS))
    if errand.shown is None:
        errand.shown = await run_in_threadpool(_ready, errand)
    return _page(request, errand, found=errand.shown)


def _ready(errand: Errand) -> dict[str, Any]:
    from partscreen.report.stage_page import stage_panels, told_once

    assert errand.job is not None
    found = errand.job.result
    figures = [(panel.title, panel.description, draw(panel, f"s{i}")) for i, panel in enumerate(stage_panels(found), 1)]
    return {"result": found, "rows": told_once(found.checks), "figures": figures}


def _page(
    request: Request,
    errand: Errand | None = None,
    problems: Sequence[Problem] = (),
    *,
    typed: dict[str, str] | None = None,
    found: dict[str, Any] | None = None,
) -> Response:
    errands = desk_of(request).errands
    told = errand.typed if errand is not None else typed or {}
    refused = errands.find(request.query_params.get("refused", ""), "paper") if found else None
    of_card = reworded(problems_of(refused), WORDS) if refused is not None else ()
    return show(
        request,
        "stage.html.jinja",
        errand=errand,
        typed=told,
        files=errand.files if errand is not None else {},
        problems=problems,
        found=found,
        groups=GROUPS,
        fuses=fuse_rows(told),
        trays=judged(request),
        matches=errands.done("match"),
        card=refused.typed if refused is not None else {"set_number": told.get("set_number", "")},
        card_problems=of_card,
        status=422 if problems or of_card else 200,
    )


async def stage_figures(request: Request) -> Response:
    """Begin the figures of a stage as files."""
    errand = errand_of(request, "stage")
    if not errand.done or errand.job is None:
        return RedirectResponse(errand.where, 303)
    return RedirectResponse(figures_errand(request, errand.job.result, "stage", errand.where).where, 303)


async def card(request: Request, form: FormData) -> Response:
    """Begin the power-up card of a stage that was checked."""
    from partscreen.workflow import CardOptions

    of, errands = errand_of(request, "stage"), desk_of(request).errands
    if not of.done:
        return RedirectResponse(of.where, 303)
    errand = errands.new("paper", "/paper/{id}", "Power-up card")
    problems = await brought(request, form, errand, {})
    errand.given |= {
        "back": of.where, "refused": of.where, "made": {"power-up card.pdf": errand.path("power-up card.pdf")},
    }  # fmt: skip
    set_number = take(errand.typed, "set_number", "Set of the match", whole_of, problems)
    if problems:
        return show(request, "problems.html.jinja", problems=problems, back=of.where, status=422)
    told = of.given
    options = CardOptions(
        results=tuple(told["results"]),
        match=told["match"],
        set_number=set_number if told["match"] is not None else None,
        warm_up=errand.typed.get("warm_up") or None,
        soak=errand.typed.get("soak") or None,
        references=of.given["references"],
    )
    errands.begin(errand, "paper_card", told["file"], errand.path("power-up card.pdf"), options)
    return RedirectResponse(errand.where, 303)


async def replace(request: Request) -> Response:
    """Which types could take the place of one."""
    from partscreen.page.files.bring import type_names
    from partscreen.workflow import replace_type

    asked = {name: value.strip() for name, value in request.query_params.items() if value.strip()}
    errands = desk_of(request).errands
    of = errands.find(asked.get("stage", ""), "stage")
    problems: Sequence[Problem] = ()
    found, told = None, {}
    if "name" in asked:
        try:
            if "stage" in asked and of is None:
                fix = "check the stage again, then choose it"
                raise UnusableInput([Problem("PAGE_GONE", "this stage is no longer here", fix, "Output stage")])
            file = of.given["file"] if of is not None else None
            references = of.given["references"] if of is not None else await own_references(request)
            found = await run_in_threadpool(replace_type, asked["name"], file, references=references)
            told = _told(found)
        except PartscreenError as error:
            problems = on_form(problems_in(error))
    return show(
        request, "replace.html.jinja", asked=asked, found=found, told=told, problems=problems, types=type_names(),
        stages=errands.done("stage"), status=422 if problems else 200,
    )  # fmt: skip


def _told(found: Any) -> dict[str, Any]:
    """Checks of the stage by candidate, each said once."""
    from partscreen.report.stage_page import told_once

    return {candidate.type: told_once(candidate.stage) for candidate in found.candidates}


ROUTES: list[BaseRoute] = [
    Route("/stage", stage),
    post("/stage", ask),
    Route("/stage/{errand}", checked),
    Route("/stage/{errand}/figures", stage_figures),
    post("/stage/{errand}/card", card),
    Route("/replace", replace),
]
