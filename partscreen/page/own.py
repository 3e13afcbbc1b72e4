"""The user's own kits and types: looked at, brought, made by the questions of the commands, taken away."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from functools import partial

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.asking import problems_in, reworded
from partscreen.page.desk import TOML
from partscreen.page.posting import keep_uploads, post, text
from partscreen.page.render import desk_of, settings_of, show, show_problems
from partscreen.workflow.own.files import OwnKit, OwnType
from partscreen.workflow.own.questions import Asked, Making


@dataclass(frozen=True, slots=True)
class Shelf:
    """One sort of own files as the page names it. `at`: first part of its addresses."""

    making: Making
    at: str
    one: str
    title: str
    lead: str
    field: str
    hint: str


KITS = Shelf(
    "kits", "/kits", "kit", "My instruments",
    "A kit says what your instruments read, how well, and under which conditions. Then readings get their true "
    "uncertainty, and the next measurement is one that you can take.",
    "What do you call this bench?", "say repair bench",
)  # fmt: skip
TYPES = Shelf(
    "types", "/own-types", "type", "Types of my own",
    "A type that the library does not hold is copied from its data sheet once. VCEO, IC and one hFE row are enough to "
    "screen.",
    "Type number of the sheet", "as printed, say 2SC5200",
)  # fmt: skip
_WORDS = {"--new": "Type number of the sheet", "--out": "name"}


async def listed(request: Request, shelf: Shelf) -> Response:
    """What there is, what was begun, and how to get more."""
    return await _list(request, shelf, (), "")


async def _list(
    request: Request, shelf: Shelf, problems: tuple[Problem, ...], typed: str, status: int = 200
) -> Response:
    from partscreen.workflow import own_kits, own_types, questions_begun

    root = settings_of(request).folder
    files: tuple[OwnKit, ...] | tuple[OwnType, ...]
    files = await run_in_threadpool(own_kits if shelf.making == "kits" else own_types, root)
    begun = await run_in_threadpool(questions_begun, shelf.making, root)
    typed = typed or request.query_params.get("title", "")
    return show(
        request, "own.html.jinja", shelf=shelf, files=files, begun=begun, problems=problems, typed=typed, status=status
    )


async def begin(request: Request, form: FormData, shelf: Shelf) -> Response:
    """Begin the questions, or go on with those that were begun under this name."""
    from partscreen.workflow import begin_questions

    title = text(form, "title")
    try:
        stem = await run_in_threadpool(begin_questions, shelf.making, title, settings_of(request).folder)
    except UnusableInput as error:
        return await _list(request, shelf, reworded(problems_in(error), _WORDS), title, 422)
    return RedirectResponse(f"{shelf.at}/{stem}/ask", 303)


async def bring(request: Request, form: FormData, shelf: Shelf) -> Response:
    """Take a file into the user's folder, if it can be used."""
    from partscreen.workflow import keep_own_file

    desk = desk_of(request)
    tray = desk.new_tray()
    try:
        files, problems = await keep_uploads(form, "file", tray, TOML)
        if not files and not problems:
            problems.append(Problem("PAGE_NO_FILE", "no file came in", "choose a file", "file"))
        if problems:
            raise UnusableInput(problems)
        name, content = files[0].name, files[0].read_bytes()
        path = await run_in_threadpool(keep_own_file, shelf.making, name, content, settings_of(request).folder)
    except UnusableInput as error:
        return await _list(request, shelf, reworded(problems_in(error), _WORDS), "", 422)
    finally:
        desk.forget(tray)
    return RedirectResponse(f"{shelf.at}/{path.stem}", 303)


async def told(request: Request, shelf: Shelf) -> Response:
    """One file in words."""
    from partscreen.workflow import own_file, tell_kit, tell_types

    stem = request.path_params["stem"]
    try:
        path = await run_in_threadpool(own_file, shelf.making, stem, settings_of(request).folder)
        if shelf.making == "kits":
            lines = await run_in_threadpool(tell_kit, path)
        else:
            words, problems = await run_in_threadpool(partial(tell_types, validate=path))
            lines = tuple(words.replace(str(path), path.name).splitlines())
            if problems:
                raise UnusableInput(problems)
    except UnusableInput as error:
        return show(
            request, "problems.html.jinja", problems=reworded(problems_in(error), _WORDS), back=shelf.at, status=404
        )
    return show(
        request, "own_told.html.jinja", shelf=shelf, stem=stem, lines=lines, text=path.read_text(encoding="utf-8")
    )


async def file(request: Request, shelf: Shelf) -> Response:
    """The file itself, to keep or carry elsewhere."""
    from partscreen.workflow import own_file

    try:
        path = own_file(shelf.making, request.path_params["stem"], settings_of(request).folder)
    except UnusableInput as error:
        return show_problems(request, error, back=shelf.at, status=404)
    return FileResponse(path, filename=path.name, media_type="application/toml")


async def drop(request: Request, form: FormData, shelf: Shelf) -> Response:
    """Take a file away."""
    from partscreen.workflow import drop_own_file

    try:
        drop_own_file(shelf.making, request.path_params["stem"], settings_of(request).folder)
    except UnusableInput as error:
        return show_problems(request, error, back=shelf.at, status=404)
    return RedirectResponse(shelf.at, 303)


async def question(request: Request, shelf: Shelf) -> Response:
    """The open question, or the one to be answered anew."""
    from partscreen.workflow import ask_on

    try:
        asked = await run_in_threadpool(
            ask_on, shelf.making, request.path_params["stem"], root=settings_of(request).folder
        )
    except UnusableInput as error:
        return show_problems(request, error, back=shelf.at, status=404)
    place = _place(request.query_params.get("change", ""))
    return _question_page(request, shelf, asked, place if place is not None and place < len(asked.answered) else None)


def _question_page(request: Request, shelf: Shelf, asked: Asked, place: int | None, status: int = 200) -> Response:
    open_, before = asked.question, ""
    if place is not None:
        open_, before = asked.answered[place]
    return show(
        request, "own_ask.html.jinja", shelf=shelf, asked=asked, q=open_, before=before, place=place, status=status
    )


def _place(told_: str) -> int | None:
    return int(told_) if told_.isdigit() else None


async def answer(request: Request, form: FormData, shelf: Shelf) -> Response:
    """Take an answer and go on to the next question; a wrong one comes back with what is wrong beside it."""
    from partscreen.workflow import ask_on

    root, stem = settings_of(request).folder, request.path_params["stem"]
    place = _place(text(form, "change"))
    given = "back" if text(form, "do") == "back" else text(form, "answer")
    try:
        asked = await run_in_threadpool(
            partial(ask_on, shelf.making, stem, given, place=place, seen=_place(text(form, "seen")), root=root)
        )
    except UnusableInput as error:
        return show_problems(request, error, back=shelf.at, status=404)
    if asked.wrong or asked.gone or given == "?":
        return _question_page(request, shelf, asked, place if asked.wrong else None, 422 if asked.wrong else 200)
    return RedirectResponse(f"{shelf.at}/{stem}/ask", 303)


async def stale(request: Request, form: FormData, shelf: Shelf) -> Response | None:
    """An answer of a form that an earlier run wrote: shown again, nothing is kept."""
    from dataclasses import replace

    from partscreen.workflow import ask_on

    try:
        asked = await run_in_threadpool(
            ask_on, shelf.making, request.path_params["stem"], root=settings_of(request).folder
        )
    except UnusableInput:
        return None
    words = "this form is of an earlier run of the page; the answer is not kept yet: send it again"
    return _question_page(request, shelf, replace(asked, wrong=words, tried=text(form, "answer")), None, 403)


async def write(request: Request, form: FormData, shelf: Shelf) -> Response:
    """Make the file of the answers."""
    from partscreen.workflow import write_asked

    stem = request.path_params["stem"]
    try:
        await run_in_threadpool(partial(write_asked, shelf.making, stem, root=settings_of(request).folder))
    except PartscreenError as error:
        return show_problems(request, error, back=f"{shelf.at}/{stem}/ask")
    return RedirectResponse(f"{shelf.at}/{stem}", 303)


async def forget(request: Request, form: FormData, shelf: Shelf) -> Response:
    """Forget the answers."""
    from partscreen.workflow import drop_questions

    try:
        await run_in_threadpool(drop_questions, shelf.making, request.path_params["stem"], settings_of(request).folder)
    except UnusableInput as error:
        return show_problems(request, error, back=shelf.at, status=404)
    return RedirectResponse(shelf.at, 303)


Page = Callable[[Request], Awaitable[Response]]


def _routes(shelf: Shelf) -> list[BaseRoute]:
    at, one = shelf.at, f"{shelf.at}/{{stem}}"

    def page(handler: Callable[[Request, Shelf], Awaitable[Response]]) -> Page:
        async def shown(request: Request) -> Response:
            return await handler(request, shelf)

        return shown

    def taken(
        path: str,
        handler: Callable[[Request, FormData, Shelf], Awaitable[Response]],
        again: Callable[[Request, FormData, Shelf], Awaitable[Response | None]] | None = None,
    ) -> Route:
        async def sent(request: Request, form: FormData) -> Response:
            return await handler(request, form, shelf)

        async def old(request: Request, form: FormData) -> Response | None:
            assert again is not None
            return await again(request, form, shelf)

        return post(path, sent, old if again is not None else None)

    return [
        Route(at, page(listed)),
        taken(at, begin),
        taken(f"{at}/bring", bring),
        Route(one, page(told)),
        Route(f"{one}/file", page(file)),
        taken(f"{one}/drop", drop),
        Route(f"{one}/ask", page(question)),
        taken(f"{one}/ask", answer, stale),
        taken(f"{one}/write", write),
        taken(f"{one}/forget", forget),
    ]


ROUTES: list[BaseRoute] = [*_routes(KITS), *_routes(TYPES)]
