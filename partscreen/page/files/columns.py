"""Columns put right by hand: a map for all files or for one, its header row and marks, remembered by name."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import Problem, UnusableInput
from partscreen.page.desk import Tray
from partscreen.page.files.bring import tray_of
from partscreen.page.posting import number_of, post, text
from partscreen.page.render import desk_of, show, show_problems

if TYPE_CHECKING:
    from partscreen.readings.columns.column_map import MapLine
    from partscreen.readings.columns.understanding import FileUnderstanding
    from partscreen.workflow import Columns, Understood

_CONSTANTS = 3  # lines for values that hold for every row
_MARKS = (
    ("", "as the file shows"), ("comma", "commas"), ("semicolon", "semicolons"), ("tab", "tabs"), ("pipe", "bars |"),
    ("spaces", "spaces"),
)  # fmt: skip


def _asked(tray: Tray, told: dict[str, str]) -> tuple[int, int, str]:
    """Place of the file, header row (0: as found) and separator that a request names."""
    place, row = (int(told[name]) if told.get(name, "").isdigit() else 0 for name in ("file", "row"))
    mark = told.get("mark", "")
    return min(place, len(tray.files) - 1), row, mark if mark in dict(_MARKS) else ""


def _read(tray: Tray, place: int, row: int, mark: str, anew: bool) -> tuple[Columns | None, FileUnderstanding | None]:
    """The columns of a file and how they are read now; `anew`: as they are recognised, cut at the row told."""
    from partscreen.workflow import cut_file

    path = tray.files[place]
    table, recognised = cut_file(path, row, mark) if row or mark else (None, None)
    if anew:
        return table, recognised
    job = tray.understanding
    found: Understood | None = job.result if job is not None and job.state == "done" else None
    shown = next((one for one in found.columns if one.file == path.name), None) if found else None
    of_file = next((one for one in found.files if one.file.rpartition("/")[2] == path.name), None) if found else None
    return table or shown or cut_file(path)[0], of_file


async def columns(request: Request) -> Response:
    """The columns of one file, each with what it is read as, to be put right."""
    from partscreen.workflow import column_roles, saved_column_maps

    tray = tray_of(request)
    place, row, mark = _asked(tray, dict(request.query_params))
    anew = bool(row or mark)
    in_map = _told_in_map(tray, tray.files[place].name)
    row, mark = row or int(in_map.get("header_row", 0)), mark or _mark_word(str(in_map.get("delimiter", "")))
    table, of_file = await run_in_threadpool(_read, tray, place, row, mark, anew)
    if table is None and not (row or mark):
        return RedirectResponse(f"/tray/{tray.id}", 303)
    known = {c.header: c for c in of_file.columns if c.constant is None} if of_file else {}
    constants = [c for c in of_file.columns if c.constant is not None] if of_file else []
    return show(
        request, "columns.html.jinja", tray=tray, table=table, known=known, roles=column_roles(), marks=_MARKS,
        constants=constants, lines=range(max(_CONSTANTS, len(constants) + 1)), place=place,
        row=row, mark=mark,
        decimal=of_file.decimal if of_file else "", saved=saved_column_maps(),
    )  # fmt: skip


def _mark_word(mark: str) -> str:
    return {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe", " ": "spaces"}.get(mark, mark)


def _told_in_map(tray: Tray, name: str) -> dict[str, Any]:
    """Header row and separator that the map of a file tells already."""
    told = tray.map_of.get(name)
    try:
        found: dict[str, Any] = tomllib.loads(told)["files"][0] if told else tomllib.loads(tray.map_base)
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}
    return found


async def put_right(request: Request, form: FormData) -> Response:
    """Write the column map a person told, and read the files again with it; or cut anew, or drop all maps."""
    from partscreen.workflow import map_text, remember_columns

    tray, told = tray_of(request), {name: text(form, name) for name in ("file", "row", "mark")}
    place, row, mark = _asked(tray, told)
    back = f"/tray/{tray.id}/columns?file={place}&row={row}&mark={mark}"
    if text(form, "do") == "drop":
        tray.map_base, tray.columns = "", None
        tray.map_of.clear()
        return _again(request, tray)
    if text(form, "do") == "cut":
        return RedirectResponse(back, 303)
    try:
        if told["row"] and not told["row"].isdigit():
            what = f"{told['row']!r} is no row"
            raise UnusableInput([Problem("PAGE_NUMBER", what, "write a whole number, from 1", "header row")])
        table, _ = await run_in_threadpool(_read, tray, place, row, mark, bool(row or mark))
        lines = _lines(form, table)
        made = map_text(lines, text(form, "decimal"), mark, row)
        if text(form, "remember") == "yes" and table is not None:
            await run_in_threadpool(remember_columns, made, table.headers, text(form, "title"))
        await run_in_threadpool(_use, tray, made, place, text(form, "scope") != "all")
    except UnusableInput as error:
        return show_problems(request, error, back=back)
    return _again(request, tray)


def _again(request: Request, tray: Tray) -> Response:
    desk_of(request).read_again(tray)
    return RedirectResponse(f"/tray/{tray.id}", 303)


def _use(tray: Tray, made: str, place: int, alone: bool) -> None:
    """Take a map into use, for one file or for all."""
    from partscreen.workflow import section_of, write_maps

    name = tray.files[place].name
    if alone and len(tray.files) > 1:
        base, sections = tray.map_base, {**tray.map_of, name: section_of(made, name)}
    else:
        base, sections = made, {}
    tray.columns = write_maps(base, sections.values(), tray.folder / "columns.toml")
    tray.map_base, tray.map_of = base, sections


def _lines(form: FormData, table: Columns | None) -> list[MapLine]:
    """Columns and fixed values as told.

    Raises
    ------
    UnusableInput
        A fixed value of a quantity is no number.
    """
    from partscreen.readings.columns.column_map import MapLine

    lines = [
        MapLine(role, header, text(form, f"unit{i}"), None, -1 if text(form, f"sign{i}") == "-" else 1)
        for i, header in enumerate(table.headers if table else ())
        if (role := text(form, f"role{i}"))
    ]
    fixed, problems = _constants(form)
    if problems:
        raise UnusableInput(problems)
    return [*lines, *(MapLine(role, "", unit, value) for role, unit, value in fixed)]


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


async def use_saved(request: Request, form: FormData) -> Response:
    """Read a file, or all of them, with a remembered map; or forget the map."""
    from partscreen.workflow import forget_columns, saved_column_maps

    tray = tray_of(request)
    place, _, _ = _asked(tray, {"file": text(form, "file")})
    known = {one.key: one for one in await run_in_threadpool(saved_column_maps)}
    chosen = known.get(text(form, "key"))
    back = f"/tray/{tray.id}/columns?file={place}"
    if chosen is None:
        fix = "choose one from the list"
        return show_problems(request, UnusableInput([Problem("MAP_NOT_SAVED", "no such map is saved", fix)]), back=back)
    if text(form, "do") == "forget":
        await run_in_threadpool(forget_columns, chosen.key)
        return RedirectResponse(back, 303)
    try:
        await run_in_threadpool(_use, tray, chosen.text, place, text(form, "scope") != "all")
    except (UnusableInput, tomllib.TOMLDecodeError) as error:
        told = error if isinstance(error, UnusableInput) else None
        fix = "forget it, and put the columns right by hand"
        wrong = told or UnusableInput([Problem("MAP_NOT_TOML", f"the saved map cannot be read: {error}", fix)])
        return show_problems(request, wrong, back=back)
    return _again(request, tray)


async def map_file(request: Request) -> Response:
    """The column map, to be kept and used again."""
    tray = tray_of(request)
    if tray.columns is None:
        raise HTTPException(404, "No column map was made for these files.")
    return FileResponse(tray.columns, filename="columns.toml", media_type="application/toml")


ROUTES: list[BaseRoute] = [
    Route("/tray/{tray}/columns", columns),
    post("/tray/{tray}/columns", put_right),
    post("/tray/{tray}/columns/saved", use_saved),
    Route("/tray/{tray}/columns.toml", map_file),
]
