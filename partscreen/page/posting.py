"""Forms that come in: read within limits, refused without this run's token."""

from __future__ import annotations

import hmac
import math
from collections.abc import Awaitable, Callable
from itertools import chain, count
from pathlib import Path

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.desk import Tray, refuse_kind, safe_name
from partscreen.page.errands import Errand
from partscreen.page.render import desk_of
from partscreen.page.settings import LARGEST_FILE, MOST_FIELDS, MOST_FILES

Handler = Callable[[Request, FormData], Awaitable[Response]]
Refuser = Callable[[Request, FormData], Awaitable[Response | None]]
_CHUNK = 1 << 20


def post(path: str, handler: Handler, stale: Refuser | None = None) -> Route:
    """A route for a form. There is no other way to a POST route, so none can forget the token.

    `stale`: shows a form of an earlier run again as it was typed, with the token of this run and status 403; it must do
    nothing else. None from it: there is nothing to show.
    """

    async def taken(request: Request) -> Response:
        async with request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS) as form:
            told = form.get("form_token")
            if not isinstance(told, str) or not hmac.compare_digest(
                told.encode(), desk_of(request).form_token.encode()
            ):
                if stale is not None and (shown := await _as_typed(stale, request, form)) is not None:
                    return shown
                words = (
                    "This form is of an earlier run of the page, or not of this page. Open the page again and repeat."
                )
                raise HTTPException(403, words)
            return await handler(request, form)

    return Route(path, taken, methods=["POST"])


async def _as_typed(stale: Refuser, request: Request, form: FormData) -> Response | None:
    """The form as it was typed; what could tell whether a thing is there is the same as nothing to show."""
    try:
        return await stale(request, form)
    except (HTTPException, PartscreenError):
        return None


def text(form: FormData, name: str) -> str:
    """A field as text, without blanks around; empty where it is missing."""
    value = form.get(name)
    return value.strip() if isinstance(value, str) else ""


def number_of(told: str, name: str) -> float:
    """A number as typed, with decimal comma or point.

    Raises
    ------
    UnusableInput
        It is none.
    """
    try:
        value = float(told.replace(",", "."))
        if not math.isfinite(value):
            raise ValueError
        return value
    except ValueError:
        fix = "write it as 0.1 or 0,1"
        raise UnusableInput([Problem("PAGE_NUMBER", f"{told!r} is no number", fix, name.replace("_", " "))]) from None


def numbers(form: FormData, names: tuple[str, ...]) -> dict[str, float]:
    """Fields that hold a number each, those that were filled in.

    Raises
    ------
    UnusableInput
        Every field that holds none.
    """
    found: dict[str, float] = {}
    problems: list[Problem] = []
    for name in names:
        told = text(form, name)
        try:
            if told:
                found[name] = number_of(told, name)
        except UnusableInput as error:
            problems += error.problems
    if problems:
        raise UnusableInput(problems)
    return found


async def keep_uploads(
    form: FormData, name: str, tray: Tray | Errand, allowed: tuple[str, ...]
) -> tuple[list[Path], list[Problem]]:
    """Copy the uploads of one field into a tray or errand, each in a folder of its own.

    Of files of one name the second is called `name (2)`: a column map, a lot and a result name files by their names.
    """
    kept: list[Path] = []
    problems: list[Problem] = []
    for upload in form.getlist(name):
        if not isinstance(upload, UploadFile) or not upload.filename:
            continue
        first = await upload.read(4096)
        told = _another(safe_name(upload.filename), {path.name.casefold() for path in kept})
        problem = refuse_kind(told, first, upload.size or len(first), allowed, LARGEST_FILE)
        if problem is not None:
            problems.append(problem)
            continue
        folder = tray.folder / f"{name}{len(kept) + 1}"
        folder.mkdir(exist_ok=True)
        path = folder / told
        with path.open("wb") as sink:
            while first:
                sink.write(first)
                first = await upload.read(_CHUNK)
        kept.append(path)
    return kept, problems


def _another(name: str, taken: set[str]) -> str:
    """The name, or one behind it with a number where another file has it."""
    path = Path(name)
    names = chain([name], (f"{path.stem} ({n}){path.suffix}" for n in count(2)))
    return next(one for one in names if one.casefold() not in taken)
