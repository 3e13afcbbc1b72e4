"""Writing into the bench book, one way for all its forms: sent twice it writes once, refused it keeps its text."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import anyio
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.asking import brought, problems_in, typed_of
from partscreen.page.book.forms import FORMS, READINGS, BookForm, whole
from partscreen.page.book.pages import asked_in
from partscreen.page.desk import PICTURES
from partscreen.page.errands import Errand
from partscreen.page.pictures import picture_problems
from partscreen.page.posting import post
from partscreen.page.render import desk_of, settings_of, show, show_problems

if TYPE_CHECKING:
    from partscreen.results.book import Recorded

MOST_WRITTEN = (
    200  # answers kept, so that a form sent again is known (assumption: nobody sends the two-hundredth again)
)


@dataclass(slots=True)
class Written:
    """What one form wrote; `recorded` None: it is at it."""

    form: str
    typed: dict[str, str]
    recorded: Recorded | None = None


def _form(request: Request) -> tuple[str, BookForm]:
    name = request.path_params["form"]
    if name not in FORMS:
        raise HTTPException(404, "There is no such page.")
    return name, FORMS[name]


def _needed_of_book(name: str, typed: Mapping[str, str], book: str | None) -> Any:
    """What a form shows of the book: the places of a job, the fields of an entry, the kits."""
    from partscreen import workflow

    if name == "bias":
        return workflow.job_in_book(typed.get("job", ""), book)
    if name == "correct":
        return workflow.entry_in_book(whole(typed.get("entry", ""), "entry"), book)
    if name == "fitted":
        return _if_there(workflow.list_jobs, where=book)
    if name == "kit-check":
        return _if_there(workflow.kits_due, 0, book)
    return None


def _if_there(ask: Callable[..., Any], *told: Any, **more: Any) -> Any:
    """An answer that only helps to fill a form in; None where the book does not give it, which is told on writing."""
    try:
        return ask(*told, **more)
    except UnusableInput:
        return None


async def _show(
    request: Request, name: str, typed: Mapping[str, str], problems: Sequence[Problem] = (),
    errand: Errand | None = None, status: int = 200,
) -> Response:  # fmt: skip
    try:
        of_book = await run_in_threadpool(_needed_of_book, name, typed, settings_of(request).book)
    except PartscreenError as error:
        return show_problems(request, error, back="/day")
    return show(
        request, f"book_do_{name.replace('-', '_')}.html.jinja", name=name, form=FORMS[name], typed=typed,
        problems=problems, errand=errand, files=errand.files if errand else {}, of_book=of_book,
        once=secrets.token_urlsafe(9), reading=READINGS, status=status,
    )  # fmt: skip


async def fill_in(request: Request) -> Response:
    """A form, with what the page before knew of it."""
    name, _ = _form(request)
    return await _show(request, name, asked_in(request))


async def again(request: Request, form: FormData) -> Response:
    """A form of an earlier run of the page, as it was typed, to be sent again."""
    name = request.path_params["form"]
    what = "this form is of an earlier run of the page"
    if name not in FORMS:
        raise HTTPException(403, f"{what.capitalize()}. Open the page again and repeat.")
    problem = Problem("PAGE_STALE", what, "look at it and send it again", "this form")
    return await _show(request, name, typed_of(form), [problem], status=403)


async def take(request: Request, form: FormData) -> Response:
    """Write what was typed, then go on to what was written; a form that came in before leads there too."""
    name, kind = _form(request)
    desk, typed = desk_of(request), typed_of(form)
    once = typed.pop("once", "") or secrets.token_urlsafe(9)
    if once in desk.written:
        return RedirectResponse(f"/book/written/{once}", 303)
    while len(desk.written) >= MOST_WRITTEN:
        desk.written.pop(next(iter(desk.written)))
    told = desk.written[once] = Written(name, typed)
    errand = None
    try:
        photos: list[Path] = []
        if kind.photos:
            errand = desk.errands.new("photos", f"/book/do/{name}")
            problems = await brought(request, form, errand, {"photos": PICTURES})
            photos = errand.files["photos"]
            problems += await run_in_threadpool(picture_problems, photos)
            if problems:
                raise UnusableInput(problems)
        told.recorded = await run_in_threadpool(kind.write, typed, photos, settings_of(request).book)
    except PartscreenError as error:
        return await _show(request, name, typed, problems_in(error), errand, 422)
    finally:
        if told.recorded is None:
            desk.written.pop(once, None)
    if errand is not None:
        desk.errands.forget(errand)
    return RedirectResponse(f"/book/written/{once}", 303)


async def written(request: Request) -> Response:
    """What a form wrote, and where to go from there."""
    told: Written | None = desk_of(request).written.get(request.path_params["once"])
    for _ in range(200):  # the same form may be on its way from a second click
        if told is None or told.recorded is not None:
            break
        await anyio.sleep(0.05)
        told = desk_of(request).written.get(request.path_params["once"])
    if told is None or told.recorded is None:
        return RedirectResponse("/day", 303)
    kind = FORMS[told.form]
    kept = {name: told.typed[name] for name in kind.kept if told.typed.get(name)}
    return show(request, "book_written.html.jinja", told=told, found=told.recorded, form=kind, kept=kept)


ROUTES: list[BaseRoute] = [
    Route("/book/do/{form}", fill_in),
    post("/book/do/{form}", take, stale=again),
    Route("/book/written/{once}", written),
]
