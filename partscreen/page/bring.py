"""Bringing files: the start page, how files were understood, putting lots and columns right by hand."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import Problem, UnusableInput
from partscreen.page.desk import READINGS, SHEETS, TOML, Tray
from partscreen.page.posting import keep_uploads, number_of, numbers, post, text
from partscreen.page.render import desk_of, settings_of, show, show_problems
from partscreen.page.work import Job

if TYPE_CHECKING:
    from partscreen.readings.tables import Lot
    from partscreen.workflow import Columns, Understood

PATIENCE = 0.8  # seconds a page waits for work before it shows how far it is
NUMBERS = ("temperature_c", "prior_share", "risk", "reach", "cost")
_CONSTANTS = 3  # lines for values that hold for every row


async def start(request: Request) -> Response:
    """What can be done here, and what lies on the desk."""
    return show(
        request, "start.html.jinja", trays=list(desk_of(request).trays.values())[::-1], kinds=",".join(READINGS)
    )


async def bring(request: Request, form: FormData) -> Response:
    """Keep the files that came in and go on to how they are understood."""
    desk = desk_of(request)
    tray = desk.new_tray()
    tray.files, problems = await keep_uploads(form, "files", tray, READINGS)
    sheets, more = await keep_uploads(form, "lots", tray, SHEETS)
    kits, others = await keep_uploads(form, "kit", tray, TOML)
    maps, last = await keep_uploads(form, "columns", tray, TOML)
    problems += [*more, *others, *last]
    if not tray.files and not problems:
        problems.append(Problem("PAGE_NO_FILE", "no file came in", "choose one or more files of readings", "files"))
    if problems:
        desk.forget(tray)
        return show_problems(request, UnusableInput(problems))
    tray.lots, tray.kit, tray.columns = (next(iter(found), None) for found in (sheets, kits, maps))
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
    return {key: value for key, value in told.items() if value and value != known[key]}


def _table(tray: Tray) -> tuple[Understood, Columns] | None:
    """How the files were read and the first table that can be cut into columns; None: there is none yet."""
    job = tray.understanding
    if job is None or job.state != "done" or not job.result.columns:
        return None
    found: Understood = job.result
    return found, found.columns[0]


async def columns(request: Request) -> Response:
    """The columns of the first file, each with what it is read as, to be put right."""
    from partscreen.workflow import column_roles

    tray = tray_of(request)
    read = _table(tray)
    if read is None:
        return RedirectResponse(f"/tray/{tray.id}", 303)
    found, table = read
    of_file = next((one for one in found.files if one.file == table.file), None)
    known = {c.header: c for c in of_file.columns if c.constant is None} if of_file else {}
    constants = [c for c in of_file.columns if c.constant is not None] if of_file else []
    decimal = of_file.decimal if of_file else ""
    return show(
        request, "columns.html.jinja", tray=tray, table=table, known=known, roles=column_roles(), decimal=decimal,
        constants=constants, lines=range(max(_CONSTANTS, len(constants) + 1)),
    )  # fmt: skip


async def put_right(request: Request, form: FormData) -> Response:
    """Write the column map a person told, and read the files again with it; or drop the map."""
    from partscreen.readings.columns.column_map import MapLine
    from partscreen.workflow import write_columns

    tray, desk = tray_of(request), desk_of(request)
    read = _table(tray)
    if text(form, "do") == "drop" or read is None:
        tray.columns = None
    else:
        lines = [
            MapLine(role, header, text(form, f"unit{i}"), None, -1 if text(form, f"sign{i}") == "-" else 1)
            for i, header in enumerate(read[1].headers)
            if (role := text(form, f"role{i}"))
        ]
        fixed, problems = _constants(form)
        lines += [MapLine(role, "", unit, value) for role, unit, value in fixed]
        try:
            if problems:
                raise UnusableInput(problems)
            tray.columns = write_columns(lines, text(form, "decimal"), tray.folder / "columns.toml")
        except UnusableInput as error:
            return show_problems(request, error, back=f"/tray/{tray.id}/columns")
    desk.read_again(tray)
    return RedirectResponse(f"/tray/{tray.id}", 303)


def _constants(form: FormData) -> tuple[list[tuple[str, str, float | str]], list[Problem]]:
    """Values that hold for every row: role, unit, value; numbers where the role is a quantity."""
    from partscreen.quantities import QUANTITIES

    found: list[tuple[str, str, float | str]] = []
    problems: list[Problem] = []
    for i in range(50):
        role, value = text(form, f"fixed{i}"), text(form, f"value{i}")
        if not role or not value:
            continue
        if role not in QUANTITIES:
            found.append((role, "", value))
            continue
        try:
            found.append((role, text(form, f"fixed_unit{i}"), number_of(value, QUANTITIES[role].symbol)))
        except UnusableInput as error:
            problems += error.problems
    return found, problems


async def map_file(request: Request) -> Response:
    """The column map, to be kept and used again."""
    tray = tray_of(request)
    if tray.columns is None:
        raise HTTPException(404, "No column map was made for these files.")
    return FileResponse(tray.columns, filename="columns.toml", media_type="application/toml")


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
    Route("/tray/{tray}/columns", columns),
    post("/tray/{tray}/columns", put_right),
    Route("/tray/{tray}/columns.toml", map_file),
    Route("/tray/{tray}/progress", progress),
    post("/tray/{tray}/cancel", cancel),
    post("/tray/{tray}/again", again),
    post("/tray/{tray}/forget", forget),
]
