"""Bringing files: the start page, how files were understood, putting lots and columns right by hand."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import Problem, UnusableInput
from partscreen.page.desk import READINGS, SHEETS, TOML, Tray
from partscreen.page.field_words import comes_back
from partscreen.page.posting import keep_uploads, numbers, post, text
from partscreen.page.render import desk_of, settings_of, show, show_problems
from partscreen.page.work import Job

if TYPE_CHECKING:
    from partscreen.readings.tables import Lot
    from partscreen.workflow import Understood

PATIENCE = 0.8  # seconds a page waits for work before it shows how far it is
NUMBERS = ("temperature_c", "prior_share", "risk", "reach", "cost")


async def start(request: Request) -> Response:
    """What can be done here, and what lies on the desk."""
    from partscreen.workflow import own_kits, own_types

    root = settings_of(request).folder
    kits = await run_in_threadpool(own_kits, root)
    types = await run_in_threadpool(own_types, root)
    trays = list(desk_of(request).trays.values())[::-1]
    return show(request, "start.html.jinja", trays=trays, kinds=",".join(READINGS), kits=kits, own_types=types)


async def bring(request: Request, form: FormData) -> Response:
    """Keep the files that came in and go on to how they are understood."""
    from partscreen.workflow import own_kits, references_to_use

    desk = desk_of(request)
    tray = desk.new_tray()
    tray.files, problems = await keep_uploads(form, "files", tray, READINGS)
    sheets, more = await keep_uploads(form, "lots", tray, SHEETS)
    kits, others = await keep_uploads(form, "kit", tray, TOML)
    maps, last = await keep_uploads(form, "columns", tray, TOML)
    own, least = await keep_uploads(form, "references", tray, TOML)
    problems += [*more, *others, *last, *least]
    if not tray.files and not problems:
        problems.append(Problem("PAGE_NO_FILE", "no file came in", "choose one or more files of readings", "files"))
    try:
        ticked = [one for one in form.getlist("own_type") if isinstance(one, str)]
        tray.references = await run_in_threadpool(references_to_use, own, ticked, settings_of(request).folder)
    except UnusableInput as error:
        problems += error.problems
    if problems:
        desk.forget(tray)
        return show_problems(request, UnusableInput(problems))
    tray.lots, tray.kit, tray.columns = (next(iter(found), None) for found in (sheets, kits, maps))
    if tray.kit is None:
        kept = {one.stem: one.path for one in await run_in_threadpool(own_kits, settings_of(request).folder)}
        tray.kit = kept.get(text(form, "own_kit"))
    if tray.columns is not None:
        tray.map_base = tray.columns.read_text(encoding="utf-8-sig", errors="replace")
    desk.read_again(tray)
    return RedirectResponse(f"/tray/{tray.id}", 303)


def tray_of(request: Request) -> Tray:
    """The tray a path names.

    Raises
    ------
    HTTPException
        It is not there, or no longer.
    """
    tray = desk_of(request).trays.get(request.path_params["tray"])
    if tray is None:
        raise HTTPException(
            404, "These files are no longer here: the page was started again, or they made room. Bring them again."
        )
    return tray


async def at_work(request: Request, tray: Tray, job: Job, title: str) -> Response | None:
    """The page of work that has not ended, or that ended without a result; None: there is one."""
    if not await job.settled(PATIENCE):
        return show(request, "working.html.jinja", tray=tray, job=job, title=title, refresh=1)
    if job.state == "refused":
        return show_problems(request, UnusableInput(job.problems), back=f"/tray/{tray.id}")
    if job.state != "done":
        status = 500 if job.state == "crashed" else 200
        return show(request, "stopped.html.jinja", tray=tray, job=job, title=title, status=status)
    return None


async def understood(request: Request) -> Response:
    """How the files were understood, and what is still to be told by hand."""
    tray = tray_of(request)
    job = tray.understanding or desk_of(request).read_again(tray)
    if (page := await at_work(request, tray, job, "Reading the files")) is not None:
        return page
    from partscreen.workflow import column_roles

    found: Understood = job.result
    roles = {role: words for role, words, _ in column_roles()}
    return show(
        request,
        "understood.html.jinja",
        tray=tray,
        found=found,
        roles=roles,
        types=type_names(),
        stems={p.stem for p in tray.files},
        names=[p.name for p in tray.files],
    )


@lru_cache(maxsize=1)
def type_names() -> tuple[str, ...]:
    """Every type of the library."""
    import json

    from partscreen.workflow import tell_types

    listed, _ = tell_types(as_json=True)
    return tuple(one["type"] for one in json.loads(listed)["types"])


async def tell(request: Request, form: FormData) -> Response:
    """Take what was told by hand of lots and settings; then read again or judge."""
    from partscreen.workflow import write_lots

    tray, desk = tray_of(request), desk_of(request)
    try:
        tray.numbers = numbers(form, NUMBERS)
    except UnusableInput as error:
        return show_problems(request, error, back=f"/tray/{tray.id}")
    tray.record = text(form, "record") == "yes"
    job = tray.understanding
    if job is not None and job.result is not None:
        told = {lot.name: _told_of(form, lot, i) for i, lot in enumerate(job.result.lots)}
        if any(told.values()):
            names = [path.name for path in tray.files]
            tray.lots = write_lots(job.result.lots, told, tray.folder / "lots.csv", names)
    if text(form, "do") == "screen":
        desk.judge(tray, settings_of(request).book)
        return RedirectResponse(f"/tray/{tray.id}/result", 303)
    desk.read_again(tray)
    return RedirectResponse(f"/tray/{tray.id}", 303)


def _told_of(form: FormData, lot: Lot, i: int) -> dict[str, str]:
    """What the form says of a lot that is not known of it yet."""
    known = {
        "lot": lot.name,
        "type": lot.type or "",
        "supplier": lot.supplier or "",
        "known_good": "yes" if lot.known_good else "no",
    }
    told = {key: text(form, f"{key}{i}") for key in known}
    return {key: value for key, value in told.items() if value and not comes_back(value, known[key])}


async def progress(request: Request) -> Response:
    """How far the newest work of a tray is, for the script that reloads the page when it has ended."""
    jobs = tray_of(request).jobs
    job = jobs[-1] if jobs else None
    if job is None:
        return JSONResponse({"ended": True})
    return JSONResponse({"ended": job.ended, "what": job.what, "done": job.done, "total": job.total})


async def cancel(request: Request, form: FormData) -> Response:
    """End the work of a tray."""
    tray = tray_of(request)
    desk_of(request).stop(tray)
    for job in tray.jobs:
        await job.settled(5.0)
    return RedirectResponse(f"/tray/{tray.id}{'/result' if tray.screening else ''}", 303)


async def forget(request: Request, form: FormData) -> Response:
    """Take a tray away."""
    desk_of(request).forget(tray_of(request))
    return RedirectResponse("/", 303)


async def again(request: Request, form: FormData) -> Response:
    """Begin work that was ended once more."""
    tray, desk = tray_of(request), desk_of(request)
    if tray.screening is not None:
        desk.judge(tray, settings_of(request).book)
        return RedirectResponse(f"/tray/{tray.id}/result", 303)
    desk.read_again(tray)
    return RedirectResponse(f"/tray/{tray.id}", 303)


ROUTES: list[BaseRoute] = [
    Route("/", start),
    post("/bring", bring),
    Route("/tray/{tray}", understood),
    post("/tray/{tray}", tell),
    Route("/tray/{tray}/progress", progress),
    post("/tray/{tray}/cancel", cancel),
    post("/tray/{tray}/again", again),
    post("/tray/{tray}/forget", forget),
]
