"""An empty sheet to fill in: stickers, paper, workbooks and CSV for a bag whose parts are to be numbered."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import Problem
from partscreen.page.after.papers import ready, take, whole_of
from partscreen.page.asking import at_errand, brought, errand_of, problems_of, reworded
from partscreen.page.desk import TOML
from partscreen.page.errands import Errand
from partscreen.page.files.bring import type_names
from partscreen.page.posting import post
from partscreen.page.render import desk_of, settings_of, show
from partscreen.page.sources import references_of

if TYPE_CHECKING:
    from partscreen.workflow.own.files import OwnKit

_WORDS = {
    "--lot": "Name of the bag", "--count": "How many parts to number", "--control": "Name of the control piece",
    "--grid": "Sheet of stickers", "--first": "First free place", "--from": "Pieces in the bag",
    "--kit": "My instruments",
    "--start": "First part number", "--seed": "Number that repeats a drawing", "--reference": "Reference files",
}  # fmt: skip
_WHOLE = ("count", "first", "start", "drawn_from", "seed")


async def sheet(request: Request) -> Response:
    """What is to be numbered and read."""
    return await _form(request)


async def _kits(request: Request) -> Sequence[OwnKit]:
    """The user's own kits that can be used."""
    from partscreen.workflow import own_kits

    return [one for one in await run_in_threadpool(own_kits, settings_of(request).folder) if not one.problems]


async def _form(request: Request, errand: Errand | None = None, problems: Sequence[Problem] = ()) -> Response:
    told = dict(request.query_params) if errand is None else errand.typed
    return show(
        request, "sheet.html.jinja", typed=told, files={} if errand is None else errand.files, problems=problems,
        errand=errand, types=type_names(), kits=await _kits(request), status=422 if problems else 200,
    )  # fmt: skip


async def make(request: Request, form: FormData) -> Response:
    """Begin to write the sheet."""
    from partscreen.workflow import SheetOptions

    errands = desk_of(request).errands
    errand = errands.new("sheet", "/sheet/{id}", "Sheet and stickers")
    errand.given["back"] = "/sheet"
    problems = await brought(request, form, errand, {"kit": TOML, "reference": TOML}, single=("kit",))
    typed, files = errand.typed, errand.files
    words = {"count": "--count", "first": "--first", "start": "--start", "drawn_from": "--from", "seed": "--seed"}
    whole = {name: take(typed, name, words[name], whole_of, problems) for name in _WHOLE}
    for name, said in (("type", "Type"), ("lot", "--lot")):
        if not typed.get(name):
            problems.append(Problem("PAGE_EMPTY", "is left empty", "fill it in", said))
    if not typed.get("count"):
        problems.append(Problem("PAGE_EMPTY", "is left empty", "write how many stickers you need", "--count"))
    references = await references_of(request, errand, problems)
    kits = await _kits(request)
    chosen = next((one.path for one in kits if one.stem == typed.get("own_kit")), None)
    if problems:
        return await _form(request, errand, reworded(problems, _WORDS))
    options = SheetOptions(
        lot=typed["lot"],
        count=whole["count"],
        kit=next(iter(files["kit"]), chosen),
        supplier=typed.get("supplier") or None,
        out=errand.path("sheet"),
        grid=typed.get("grid") or None,
        first=1 if whole["first"] is None else whole["first"],
        start=1 if whole["start"] is None else whole["start"],
        outline=typed.get("outline") == "yes",
        control=typed.get("control") or "REF",
        drawn_from=whole["drawn_from"],
        seed=whole["seed"],
        references=references,
    )
    errands.begin(errand, "write_sheet", typed["type"], options)
    return RedirectResponse(errand.where, 303)


async def made(request: Request) -> Response:
    """The files, or what was wrong."""
    errand = errand_of(request, "sheet")
    if (page := await at_errand(request, errand)) is not None:
        return page
    if problems := problems_of(errand):
        return await _form(request, errand, reworded(problems, _WORDS))
    assert errand.job is not None
    errand.given["made"] = {path.name: path for path in errand.job.result.files}
    return ready(request, errand)


ROUTES: list[BaseRoute] = [Route("/sheet", sheet), post("/sheet", make), Route("/sheet/{errand}", made)]
