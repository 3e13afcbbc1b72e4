"""The bench book on the page: the day list, search, lots, one part, one lot, one supplier, jobs, entries, photos."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.book.forms import whole_of
from partscreen.page.render import draw, settings_of, show, show_problems, with_figures

if TYPE_CHECKING:
    from partscreen.results.bench import Hit
    from partscreen.workflow import Asked

SHOWN_AS_PICTURE = ("image/png", "image/jpeg", "image/gif", "image/webp", "image/bmp")
_PAGE_OF = {
    "part": "/book/part", "lot": "/book/lot", "supplier": "/book/supplier", "type": "/book", "job": "/book/job",
    "kit": "/book/do/kit-check",
}  # fmt: skip


def asked_in(request: Request) -> dict[str, str]:
    """The query, fields that were filled in only."""
    return {name: value.strip() for name, value in request.query_params.items() if value.strip()}


def as_asked(asked: dict[str, str]) -> Asked:
    """What a query asks about."""
    from partscreen.workflow import Asked

    return Asked(*(asked.get(key) for key in ("part", "lot", "supplier", "type", "job", "position")))


def address(path: str, **named: str | None) -> str:
    """A page with its query; what is not known is left out."""
    told = {name: value for name, value in named.items() if value}
    return f"{path}?{urlencode(told)}" if told else path


async def day(request: Request) -> Response:
    """What waits at the bench today, and what is overdue."""
    from partscreen.workflow import day_list
    from partscreen.workflow.book.day import AFTER, WITHIN

    asked = asked_in(request)
    problems: tuple[Problem, ...] = ()
    try:
        within, after = whole_of(asked, "within", WITHIN), whole_of(asked, "after", AFTER)
    except UnusableInput as error:
        (within, after), problems = (WITHIN, AFTER), error.problems
    try:
        found = await run_in_threadpool(day_list, within, after, settings_of(request).book)
    except UnusableInput as error:
        return show(request, "day.html.jinja", asked=asked, found=None, problems=(*problems, *error.problems))
    return show(request, "day.html.jinja", asked=asked, found=found, problems=problems)


async def find(request: Request) -> Response:
    """What is named as typed or scanned; of one thing alone its page at once."""
    from partscreen.workflow import find_in_book

    text = asked_in(request).get("text", "")
    if not text:
        return RedirectResponse("/day", 303)
    try:
        found = await run_in_threadpool(find_in_book, text, settings_of(request).book)
    except PartscreenError as error:
        return show_problems(request, error, back="/day")
    if found.exact and len(found.hits) == 1:
        return RedirectResponse(hit_address(found.hits[0]), 303)
    return show(request, "book_found.html.jinja", found=found, at=hit_address)


def hit_address(hit: Hit) -> str:
    """The page of something a search found."""
    if hit.kind == "entry":
        return f"/book/entry/{hit.entry}"
    named: dict[str, str | None] = {hit.kind: hit.name}
    if hit.kind in ("part", "lot"):
        named |= {"lot": hit.lot, "supplier": hit.supplier or "not stated"}
    return address(_PAGE_OF[hit.kind], **named)


async def book(request: Request) -> Response:
    """The bench book: every lot, or those of a supplier or a type; a part, a lot or a job has a page of its own."""
    from partscreen.workflow import show_book

    asked = asked_in(request)
    if "part" in asked or "lot" in asked:
        named = {key: asked.get(key) for key in ("part", "lot", "supplier")}
        return RedirectResponse(address("/book/part" if "part" in asked else "/book/lot", **named), 303)
    for kind in ("job", "supplier"):
        if kind in asked:
            return RedirectResponse(address(f"/book/{kind}", **{kind: asked[kind]}), 303)
    try:
        found = await run_in_threadpool(show_book, as_asked(asked), settings_of(request).book)
    except PartscreenError as error:
        return show_problems(request, error, back="/book" if asked else "/")
    return show(request, "book.html.jinja", asked=asked, found=found)


async def part(request: Request) -> Response:
    """One part: how it stands, why, its readings, its history with photos."""
    from partscreen.report.html import part_figures
    from partscreen.report.view import hazard, lot_views
    from partscreen.results import Screening
    from partscreen.workflow import show_in_full

    asked = asked_in(request)
    if "part" not in asked:
        return RedirectResponse("/day", 303)

    def ask() -> tuple[Any, Any, list[Any]]:
        found = show_in_full(as_asked(asked), settings_of(request).book, figures=True)
        if found.lot is None or found.report is None:
            return found, None, []
        one = lot_views(Screening(version="", settings={}, inputs=[], lots=[found.lot]))[0].parts[0]
        return found, one, part_figures(found.lot, with_figures(one), found.report)

    try:
        found, seen, figures = await run_in_threadpool(ask)
    except PartscreenError as error:
        return show_problems(request, error, back="/day")
    step = found.shown.result.next_measurement
    return show(
        request, "book_part.html.jinja", shown=found.shown, p=found.shown.result, stands=found.shown.parts[0],
        seen=seen, figures=figures, risky=step is not None and hazard([step.reading, step.recipe]),
    )  # fmt: skip


async def lot(request: Request) -> Response:
    """One lot: its judgements, how its parts stand, what happened to it, its files."""
    from partscreen.workflow import show_in_full

    asked = asked_in(request)
    named = {key: value for key, value in asked.items() if key != "part"}
    try:
        found = await run_in_threadpool(show_in_full, as_asked(named), settings_of(request).book)
    except PartscreenError as error:
        return show_problems(request, error, back="/book")
    return show(request, "book_lot.html.jinja", shown=found.shown)


async def where(request: Request) -> Response:
    """Every job that holds a part of a lot."""
    from partscreen.workflow import where_is

    asked = asked_in(request)
    try:
        found = await run_in_threadpool(
            where_is, asked.get("lot", ""), asked.get("supplier"), settings_of(request).book
        )
    except PartscreenError as error:
        return show_problems(request, error, back="/book")
    return show(request, "where.html.jinja", found=found)


async def supplier(request: Request) -> Response:
    """One supplier: lots, what became of their parts, and what is known of the share of unfit parts over time."""
    from partscreen.report.figures_trust import trust_panels
    from partscreen.workflow import supplier_in_book

    name = asked_in(request).get("supplier", "")
    try:
        shown, trust = await run_in_threadpool(supplier_in_book, name, settings_of(request).book)
    except PartscreenError as error:
        return show_problems(request, error, back="/suppliers")
    figures = [draw(panel, f"trust{i}") for i, panel in enumerate(trust_panels(trust), 1)]
    return show(request, "book_supplier.html.jinja", name=name, shown=shown, trust=trust, figures=figures)


async def jobs(request: Request) -> Response:
    """Every job on a line."""
    from partscreen.workflow import list_jobs

    try:
        found = await run_in_threadpool(list_jobs, where=settings_of(request).book)
    except PartscreenError as error:
        return show_problems(request, error, back="/day")
    return show(request, "book_jobs.html.jinja", found=found)


async def job(request: Request) -> Response:
    """One job: what sits where; for the day it comes back, the siblings of its parts and what to read."""
    from partscreen.workflow import job_in_book

    name = asked_in(request).get("job", "")
    try:
        found = await run_in_threadpool(job_in_book, name, settings_of(request).book)
    except PartscreenError as error:
        return show_problems(request, error, back="/book/jobs")
    return show(request, "book_job.html.jinja", found=found)


async def entry(request: Request) -> Response:
    """An entry by its number: its page is the form that puts it right."""
    return RedirectResponse(f"/book/do/correct?entry={request.path_params['entry']}", 303)


async def photo(request: Request) -> Response:
    """A photo, shown; any other file of the book is fetched, never shown."""
    from partscreen.workflow import fetch_file

    try:
        found = await run_in_threadpool(fetch_file, request.path_params["sha256"], settings_of(request).book)
    except PartscreenError as error:
        raise HTTPException(404, str(error)) from None
    picture = found.media_type in SHOWN_AS_PICTURE
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_. ") else "_" for c in found.name)
    headers = {"Content-Disposition": f'{"inline" if picture else "attachment"}; filename="{kept}"'}
    return Response(
        found.content, media_type=found.media_type if picture else "application/octet-stream", headers=headers
    )  # fmt: skip


ROUTES: list[BaseRoute] = [
    Route("/day", day),
    Route("/find", find),
    Route("/book", book),
    Route("/book/part", part),
    Route("/book/lot", lot),
    Route("/book/where", where),
    Route("/book/supplier", supplier),
    Route("/book/jobs", jobs),
    Route("/book/job", job),
    Route("/book/entry/{entry:int}", entry),
    Route("/book/file/{sha256}", photo),
]
