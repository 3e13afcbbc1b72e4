"""Typing readings in: a line a part or a field a reading, kept as they come, answered while one lays in the next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.asking import problems_in, reworded, typed_of
from partscreen.page.desk import SHEETS, TOML, safe_name
from partscreen.page.files.bring import type_names
from partscreen.page.posting import keep_uploads, number_of, post, text
from partscreen.page.render import desk_of, settings_of, show, show_problems
from partscreen.page.typed.room import WORDS, OpenHere, TypingRoom

if TYPE_CHECKING:
    from partscreen.workflow import LotTold

_FIELDS = {
    "--lot": "Name of the bag",
    "--type": "Type marked on the parts",
    "--control": "Control piece",
    "--count": "How many parts",
    "--settle": "Seconds to settle",
    "--temperature": "Case temperature",
    "--out": "Name of the bag",
}
_FIGURES = ("count", "start", "settle", "temperature_c")


def room_of(request: Request) -> TypingRoom:
    """The sittings of this run."""
    found: TypingRoom = request.app.state.typing
    return found


async def _here(request: Request) -> OpenHere:
    name = request.path_params["sitting"]
    return await run_in_threadpool(room_of(request).open, name)


async def start(request: Request) -> Response:
    """Sittings that can be gone on with, and what a new one needs; a query fills the fields in."""
    return await _start_page(request, dict(request.query_params), ())


async def _start_page(
    request: Request, typed: dict[str, str], problems: tuple[Problem, ...], status: int = 200
) -> Response:
    from partscreen.workflow import kept_sittings, own_kits

    root = settings_of(request).folder
    kept = await run_in_threadpool(kept_sittings, root)
    kits = await run_in_threadpool(own_kits, root)
    return show(
        request, "typing_start.html.jinja", kept=kept, kits=kits, types=await run_in_threadpool(_types, root),
        typed=typed, problems=problems, status=status,
    )  # fmt: skip


def _types(root: Path | None) -> tuple[str, ...]:
    """Every type number that is known, the user's own first."""
    from partscreen.workflow import own_types

    own = [one.type_number for one in own_types(root) if not one.problems]
    return (*own, *(name for name in type_names() if name not in own))


async def begin(request: Request, form: FormData) -> Response:
    """Begin a sitting; what cannot be is told above the form, which comes back as it was typed."""
    from partscreen.workflow import begin_sitting

    desk = desk_of(request)
    root, typed = settings_of(request).folder, typed_of(form)
    tray = desk.new_tray()
    try:
        kits, problems = await keep_uploads(form, "kit_file", tray, TOML)
        told, more = await run_in_threadpool(_told, typed, kits, root)
        if problems or more:
            raise UnusableInput([*problems, *more])
        name = await run_in_threadpool(begin_sitting, told, root)
    except PartscreenError as error:
        return await _start_page(request, typed, reworded(problems_in(error), _FIELDS), 422)
    finally:
        desk.forget(tray)
    return RedirectResponse(f"/typing/{name}", 303)


def _told(typed: dict[str, str], kits: list[Path], root: Path | None) -> tuple[LotTold, list[Problem]]:
    """A form as the workflow takes it, and fields that hold no number."""
    from partscreen.workflow import LotTold, own_kits, own_types, usable_types

    figures: dict[str, float] = {}
    problems: list[Problem] = []
    for name in _FIGURES:
        try:
            if typed.get(name):
                figures[name] = number_of(typed[name], name)
        except UnusableInput as error:
            problems += error.problems
    for name in ("count", "start"):
        if name in figures and figures[name] != int(figures[name]):
            problems.append(Problem("PAGE_NUMBER", f"{typed[name]!r} is no whole number", "write it as 20", name))
    chosen = [one.path for one in own_kits(root) if one.stem == typed.get("kit") and not one.problems]
    return LotTold(
        lot=typed.get("lot", ""),
        type_name=typed.get("type", ""),
        supplier=typed.get("supplier", ""),
        maker=typed.get("maker", ""),
        gain_group=typed.get("gain_group", ""),
        known_good=typed.get("known_good") == "yes",
        ask=tuple(line.strip() for line in typed.get("ask", "").splitlines() if line.strip()),
        count=int(figures["count"]) if "count" in figures else None,
        start=int(figures.get("start", 1)),
        control=typed.get("control", ""),
        settle=figures.get("settle", 0.0),
        temperature_c=figures.get("temperature_c"),
        kit=next(iter([*kits, *chosen]), None),
        references=usable_types(own_types(root)),
    ), problems


async def from_sheet(request: Request, form: FormData) -> Response:
    """The lots of a lot sheet, each to be typed in."""
    from partscreen.workflow import lots_to_type

    desk = desk_of(request)
    tray = desk.new_tray()
    try:
        sheets, problems = await keep_uploads(form, "sheet", tray, SHEETS)
        if not sheets and not problems:
            problems.append(Problem("PAGE_NO_FILE", "no file came in", "choose a lot sheet", "lot sheet"))
        if problems:
            return show_problems(request, UnusableInput(problems), back="/typing")
        lots, found, notices = await run_in_threadpool(lots_to_type, sheets[0])
    finally:
        desk.forget(tray)
    return show(request, "typing_lots.html.jinja", lots=lots, problems=found, notices=notices)


async def sitting(request: Request) -> Response:
    """Where lines are typed."""
    try:
        here = await _here(request)
    except UnusableInput as error:
        return show_problems(request, error, back="/typing", status=404)
    return _typing_page(request, here, dict(request.query_params))


def _typing_page(request: Request, here: OpenHere, asked: dict[str, str], status: int = 200, **more: Any) -> Response:
    from partscreen.readings.typed.sitting import HELP

    sitting_ = here.live.opened.sitting
    right = next((e for e in sitting_.entries if e.part == asked.get("right") and not e.control), None)
    shown = {"problems": (), "again": here.again, "cells": {}, "wanting": -1, "wrong": {}, "name": "", **more}
    return show(
        request,
        "typing.html.jinja",
        room=here,
        live=here.live,
        sitting=sitting_,
        words=WORDS,
        help=HELP,
        status=status,
        fielded=asked.get("form") == "fields",
        right=None if right is None or right.skipped else right,
        **shown,
    )


async def line(request: Request, form: FormData) -> Response:
    """Take a line, or the answer to a question, and show what came of it."""
    from partscreen.workflow.typed.live_sitting import Sent

    here = await _here(request)
    typed = typed_of(form)
    asked = {"form": "fields"} if typed.get("form") == "fields" else {}
    if not (text(form, "say") or text(form, "line")):
        return RedirectResponse(_address(here, asked), 303)  # Enter once too often
    sent = Sent(
        text(form, "say") or text(form, "line"), text(form, "part"), _whole(text(form, "seen")), text(form, "asked"),
        text(form, "asked_line"), text(form, "replaces"),
    )  # fmt: skip
    try:
        told = await run_in_threadpool(here.live.send, sent)
    except UnusableInput as error:
        room_of(request).close(here.live.name)  # what is on disk counts; it is read again with the next line
        return _typing_page(request, here, asked, 507, problems=problems_in(error), again=sent.line)
    here.heard(told)
    if told.reply is not None and told.reply.end:
        return await _end(request, here)
    return RedirectResponse(_address(here, asked), 303)


def _address(here: OpenHere, asked: dict[str, str]) -> str:
    return f"/typing/{here.live.name}" + ("?form=fields" if asked else "")


def _whole(told: str) -> int:
    return int(told) if told.isdigit() else -1


async def fields(request: Request, form: FormData) -> Response:
    """Take the fields of a part as one line; while one is empty the page comes back with it in focus."""
    from partscreen.workflow.typed.live_sitting import Sent

    here = await _here(request)
    columns = here.live.opened.columns
    cells = [text(form, f"cell{i}") for i in range(len(columns))]
    asked = {"form": "fields", **({"right": text(form, "replaces")} if text(form, "replaces") else {})}
    wanting = next((i for i, cell in enumerate(cells) if not cell), -1)
    part = text(form, "name")
    cells_ = dict(enumerate(cells))
    if wanting >= 0:
        return _typing_page(request, here, asked, wanting=wanting, cells=cells_, name=part)
    if wrong := here.live.wrong_cells(cells):
        return _typing_page(request, here, asked, 422, wanting=min(wrong), wrong=wrong, cells=cells_, name=part)
    named = part and part != text(form, "part") and not text(form, "replaces")
    words = " ".join(cells)
    sent = Sent(
        f"{part.rstrip(':')}: {words}" if named else words, text(form, "part"), _whole(text(form, "seen")),
        text(form, "asked"), text(form, "asked_line"), text(form, "replaces"),
    )  # fmt: skip
    try:
        told = await run_in_threadpool(here.live.send, sent)
    except UnusableInput as error:
        room_of(request).close(here.live.name)
        return _typing_page(request, here, asked, 507, problems=problems_in(error), cells=cells_, name=part)
    here.heard(told)
    if told.again:
        here.again = ""
        return _typing_page(request, here, asked, 422, cells=cells_, name=part)
    return RedirectResponse(_address(here, {"form": "fields"}), 303)


async def stale(request: Request, form: FormData) -> Response | None:
    """A line of a form that an earlier run wrote: shown again, to be sent with this run's token; nothing is kept."""
    try:
        here = await _here(request)
    except UnusableInput:
        return None
    words = "This form is of an earlier run of the page. What was typed stands in the field and is not kept yet"
    told = Problem("PAGE_STALE", words, "look at it, and press Enter", "this line")
    cells = {i: text(form, f"cell{i}") for i in range(len(here.live.opened.columns))}
    asked = {"form": "fields"} if any(cells.values()) else {}
    return _typing_page(request, here, asked, 403, problems=(told,), again=text(form, "line"), cells=cells)


async def answer(request: Request) -> Response:
    """The answer about the newest line, for the script that puts it in while the next part is laid in."""
    here = await _here(request)
    newest = here.newest
    job = here.job(newest) if newest is not None else None
    if newest is None or job is None:
        return JSONResponse({"ended": True, "part": ""})
    told = {"ended": job.ended, "part": newest.part}  # before the answer: it may come between the two
    found = here.answer(newest)
    if found is not None:
        told |= {"word": WORDS[found.disposition], "first": found.first, "following": found.following}
    return JSONResponse(told)


async def end(request: Request, form: FormData) -> Response:
    """End the sitting: its files go on to the judgement of the whole lot."""
    return await _end(request, await _here(request), text(form, "record") == "yes")


async def _end(request: Request, here: OpenHere, record: bool = False) -> Response:
    from partscreen.workflow import files_of_sitting

    desk = desk_of(request)
    tray = desk.new_tray()
    try:
        found = await run_in_threadpool(files_of_sitting, here.live, tray.folder)
    except UnusableInput as error:
        desk.forget(tray)
        return _typing_page(request, here, {}, 422, problems=problems_in(error))
    tray.files, tray.lots, tray.kit = list(found.files), found.lots, found.kit
    tray.references = found.references
    if found.temperature_c is not None:
        tray.numbers["temperature_c"] = found.temperature_c
    tray.record = record
    here.end()
    desk.judge(tray, settings_of(request).book)
    return RedirectResponse(f"/tray/{tray.id}/result", 303)


async def table(request: Request) -> Response:
    """The lines so far, as the file that `read` and `screen` take."""
    live = (await _here(request)).live
    return FileResponse(live.opened.options.out, filename=safe_name(f"{live.about.lot}.csv"), media_type="text/csv")


async def ask_drop(request: Request) -> Response:
    """Ask before lines are taken away."""
    from partscreen.workflow import kept_sittings

    name = request.path_params["sitting"]
    found = [one for one in await run_in_threadpool(kept_sittings, settings_of(request).folder) if one.name == name]
    if not found:
        raise HTTPException(404, "There is no such sitting.")
    return show(request, "typing_drop.html.jinja", one=found[0])


async def drop(request: Request, form: FormData) -> Response:
    """Take a sitting away with all its lines."""
    from partscreen.workflow import drop_sitting

    name = request.path_params["sitting"]
    room_of(request).close(name)
    await run_in_threadpool(drop_sitting, name, settings_of(request).folder)
    return RedirectResponse("/typing", 303)


ROUTES: list[BaseRoute] = [
    Route("/typing", start),
    post("/typing", begin),
    post("/typing/sheet", from_sheet),
    Route("/typing/{sitting}", sitting),
    post("/typing/{sitting}", line, stale),
    post("/typing/{sitting}/fields", fields, stale),
    Route("/typing/{sitting}/answer", answer),
    Route("/typing/{sitting}/readings.csv", table),
    post("/typing/{sitting}/end", end),
    Route("/typing/{sitting}/drop", ask_drop),
    post("/typing/{sitting}/drop", drop),
]
