"""Long work on the bench book: copies, tables, whether it is unchanged, judging again, reading again, learning."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.asking import at_errand, brought, errand_of, problems_in, problems_of
from partscreen.page.book.pages import as_asked, asked_in
from partscreen.page.desk import READINGS, TOML
from partscreen.page.errands import Errand
from partscreen.page.posting import number_of, post
from partscreen.page.render import desk_of, settings_of, show

TITLES = {
    "verify": "Is the book unchanged?",
    "backup": "A copy of the whole book",
    "export": "Tables of the book",
    "learn": "What the lots of the book teach",
    "again": "Judging old readings again",
    "remeasure": "A part read again",
}
_PAGE_OF = {"again": "book_again", "remeasure": "book_remeasure"}


def _page(
    request: Request, kind: str, typed: Mapping[str, str], problems: Sequence[Problem] = (),
    errand: Errand | None = None,
) -> Response:  # fmt: skip
    """The form of a kind of work, as it was typed."""
    from partscreen.workflow import book_place

    return show(
        request, f"{_PAGE_OF.get(kind, 'book_keep')}.html.jinja", typed=typed, problems=problems, kind=kind,
        errand=errand, files=errand.files if errand else {}, place=book_place(settings_of(request).book),
        status=422 if problems else 200,
    )  # fmt: skip


async def keep(request: Request) -> Response:
    """Where the book is; copies of it, tables of it, and whether it is unchanged."""
    return _page(request, "keep", asked_in(request))


async def again(request: Request) -> Response:
    """Which lots are to be judged again."""
    return _page(request, "again", asked_in(request))


async def remeasure(request: Request) -> Response:
    """Which part was read again, and its readings of now."""
    return _page(request, "remeasure", asked_in(request))


async def begin(request: Request, form: FormData) -> Response:
    """Begin a piece of work with what was typed."""
    kind = request.path_params["kind"]
    if kind not in _ASK:
        raise HTTPException(404, "There is no such page.")
    desk, book = desk_of(request), settings_of(request).book
    errand = desk.errands.new(kind, "/book/done/{id}", TITLES[kind])
    fields: dict[str, Sequence[str]] = {"files": READINGS, "kit": TOML, "columns": TOML} if kind == "remeasure" else {}
    problems = await brought(request, form, errand, fields, single=("kit", "columns"))
    try:
        if problems:
            raise UnusableInput(problems)
        function, args, options = _ASK[kind](errand, book)
    except PartscreenError as error:
        return _page(request, kind, errand.typed, problems_in(error), errand)
    desk.errands.begin(errand, function, *args, words=TITLES[kind], **options)
    return RedirectResponse(errand.where, 303)


Asking = tuple[str, tuple[Any, ...], dict[str, Any]]


def _verify(errand: Errand, book: str | None) -> Asking:
    return "verify_book", (errand.typed.get("head") or None, book), {}


def _backup(errand: Errand, book: str | None) -> Asking:
    path = errand.path(f"bench_book_copy_{date.today().isoformat()}.sqlite")
    errand.given["made"] = {path.name: path}
    return "backup_book", (path, book), {}


def _export(errand: Errand, book: str | None) -> Asking:
    typed = errand.typed
    asked = as_asked({key: typed[key] for key in ("lot", "supplier", "type") if typed.get(key)})
    options = {"without_names": typed.get("without_names") == "yes", "where": book}
    return "export_book", (errand.path("bench_book"), typed.get("form") or "csv", asked), options


def _learn(errand: Errand, book: str | None) -> Asking:
    path = errand.path("learned_spreads.toml")
    errand.given["made"] = {path.name: path}
    return "learn_from_book", (book,), {"out": path}


def _again(errand: Errand, book: str | None) -> Asking:
    typed = errand.typed
    asked = as_asked({key: typed[key] for key in ("lot", "supplier", "type") if typed.get(key)})
    return "rescreen", (asked,), {"every": typed.get("every") == "yes", "where": book}


def _remeasure(errand: Errand, book: str | None) -> Asking:
    from partscreen.workflow import ScreenOptions, Signed

    typed, files = errand.typed, errand.files
    if not files["files"]:
        fix = "choose one or more files of readings"
        raise UnusableInput([Problem("PAGE_NO_FILE", "no file came in", fix, "files")])
    told = typed.get("temperature_c", "")
    options = ScreenOptions(
        kit=next(iter(files["kit"]), None), columns=next(iter(files["columns"]), None),
        temperature_c=number_of(told, "Case temperature") if told else None,
    )  # fmt: skip
    asked = as_asked({key: typed[key] for key in ("part", "lot", "supplier") if typed.get(key)})
    signed = Signed(typed.get("by") or None, typed.get("on") or None)
    return "remeasure", (tuple(files["files"]), asked, options), {"signed": signed, "where": book}


_ASK = {
    "verify": _verify, "backup": _backup, "export": _export, "learn": _learn, "again": _again,
    "remeasure": _remeasure,
}  # fmt: skip


async def work(request: Request) -> Response:
    """How far a piece of work is, and what came of it."""
    errand = errand_of(request)
    if errand.kind not in TITLES or errand.job is None:
        return RedirectResponse("/book/keep", 303)
    if (page := await at_errand(request, errand)) is not None:
        return page
    if errand.job.state == "refused":
        return _page(request, errand.kind, errand.typed, problems_of(errand), errand)
    if errand.kind == "export" and "made" not in errand.given:
        errand.given["made"] = await run_in_threadpool(_zipped, errand)
    lines = None
    if errand.kind == "learn" and errand.job.result is not None:
        from partscreen.workflow.judge.learned_words import learned_lines

        lines = learned_lines(errand.job.result)
    return show(
        request, "book_work.html.jinja", errand=errand, found=errand.job.result, lines=lines,
        made=errand.given.get("made", {}),
    )  # fmt: skip


def _zipped(errand: Errand) -> dict[str, Path]:
    """The tables as one file, as browsers fetch them."""
    name = f"bench_book_tables_{date.today().isoformat()}"
    path = Path(shutil.make_archive(str(errand.path(name)), "zip", errand.path("bench_book")))
    return {path.name: path}


ROUTES: list[BaseRoute] = [
    Route("/book/keep", keep),
    Route("/book/again", again),
    Route("/book/remeasure", remeasure),
    post("/book/keep/{kind}", begin),
    Route("/book/done/{errand}", work),
]
