"""The pages around an errand: under way, stopped, its files; and forms that come back as they were typed."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import Problem, UnusableInput
from partscreen.page.errands import Errand
from partscreen.page.posting import keep_uploads, post
from partscreen.page.render import desk_of, show
from partscreen.page.tasks import AskTask

PATIENCE = 0.8  # seconds a page waits for work before it shows how far it is
_OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]*[a-z]")


def errand_of(request: Request, kind: str | None = None) -> Errand:
    """The errand a path names.

    Raises
    ------
    HTTPException
        It is not there, or no longer.
    """
    found = desk_of(request).errands.find(request.path_params["errand"], kind)
    if found is None:
        words = "This is no longer here: the page was started again, or it made room. Ask for it again."
        raise HTTPException(404, words)
    return found


async def at_errand(request: Request, errand: Errand) -> Response | None:
    """The page of an errand that is under way or was stopped; None: it came back, or was refused with problems."""
    job = errand.job
    if job is None:
        return None
    if not await job.settled(PATIENCE):
        return show(request, "errand.html.jinja", errand=errand, job=job, refresh=1)
    if job.state in ("done", "refused"):
        return None
    status = 500 if job.state == "crashed" else 200
    return show(request, "errand.html.jinja", errand=errand, job=job, status=status)


def typed_of(form: FormData) -> dict[str, str]:
    """Every field of a form as typed, without blanks around, but for its token; of several values one a line."""
    told: dict[str, str] = {}
    for name, value in form.multi_items():
        if isinstance(value, str) and name != "form_token":
            told[name] = f"{told[name]}\n{value.strip()}" if name in told else value.strip()
    return told


async def brought(
    request: Request, form: FormData, errand: Errand, fields: Mapping[str, Sequence[str]], single: Sequence[str] = ()
) -> list[Problem]:
    """Files that came in with a form, and those an earlier errand holds that were left ticked; problems of them.

    `fields`: name of each field with the endings it takes. `single`: fields of one file, where a new one takes the
    place of the old one. An errand that is refused so shows the files it has beside each field.
    """
    errand.typed = typed_of(form)
    problems: list[Problem] = []
    earlier = desk_of(request).errands.find(errand.typed.get("earlier", ""))
    for name, allowed in fields.items():
        new, refused = await keep_uploads(form, name, errand, tuple(allowed))
        problems += refused
        ticked = errand.typed.get(f"keep_{name}", "").split("\n")
        old = [path for i, path in enumerate(earlier.files.get(name, ()) if earlier else ()) if str(i) in ticked]
        if not (name in single and new):
            new = [*_taken_over(old, errand, name), *new]
        errand.files[name] = new[:1] if name in single else new
    return problems


def _taken_over(old: Sequence[Path], errand: Errand, name: str) -> list[Path]:
    """Files of an earlier errand, copied, each into a folder of its own."""
    kept = []
    for i, path in enumerate(old):
        folder = errand.path(f"{name}-before{i}")
        folder.mkdir(exist_ok=True)
        kept.append(Path(shutil.copy2(path, folder / path.name)))
    return kept


def problems_of(errand: Errand) -> tuple[Problem, ...]:
    """Why it was refused; paths are shortened to the names of files, which is all a visitor knows."""
    found = errand.job.problems if errand.job is not None and errand.job.state == "refused" else ()
    return tuple(named(problem) for problem in found)


def named(problem: Problem) -> Problem:
    """A problem whose file is a name, not a path of this run."""
    return replace(problem, file=Path(problem.file).name) if "/" in problem.file or "\\" in problem.file else problem


def in_words(text: str, words: Mapping[str, str], mark: str = "“”") -> str:
    """A sentence that names options of a command, with fields of a page in their place; `words`: field by option."""
    return _OPTION.sub(lambda m: f"{mark[:1]}{words[m[0]]}{mark[1:]}" if m[0] in words else m[0], text)


def reworded(problems: Iterable[Problem], words: Mapping[str, str]) -> tuple[Problem, ...]:
    """Problems that name the fields of a page, not the options of a command."""
    return tuple(
        replace(one, file=in_words(one.file, words, ""), what=in_words(one.what, words), fix=in_words(one.fix, words))
        for one in problems
    )


def problems_in(error: Exception) -> tuple[Problem, ...]:
    """The problems of any error raised on purpose."""
    if isinstance(error, UnusableInput):
        return tuple(named(problem) for problem in error.problems)
    return (Problem("", str(error), "put it right above and send again"),)


async def _progress(request: Request) -> Response:
    job = errand_of(request).job
    if job is None:
        return JSONResponse({"ended": True})
    return JSONResponse({"ended": job.ended, "what": job.what, "done": job.done, "total": job.total})


async def _cancel(request: Request, form: FormData) -> Response:
    errand = errand_of(request)
    desk_of(request).errands.stop(errand)
    if errand.job is not None:
        await errand.job.settled(5.0)
    return RedirectResponse(errand.where, 303)


async def _again(request: Request, form: FormData) -> Response:
    """Begin work that was stopped once more."""
    errand = errand_of(request)
    if errand.job is not None and errand.job.ended and isinstance(errand.job.given, AskTask):
        told = errand.job.given
        desk_of(request).errands.begin(errand, told.function, *told.args, words=told.words, **told.options)
    return RedirectResponse(errand.where, 303)


async def file(request: Request) -> Response:
    """A file that an errand made."""
    errand = errand_of(request)
    made: dict[str, Path] = errand.given.get("made", {})
    path = made.get(request.path_params["name"])
    if not errand.done or path is None or not path.is_file():
        raise HTTPException(404, "There is no such file.")
    return FileResponse(path, filename=path.name, media_type=_MEDIA.get(path.suffix, "application/octet-stream"))


_MEDIA = {
    ".pdf": "application/pdf",
    ".csv": "text/csv",
    ".json": "application/json",
    ".toml": "application/toml",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
}

ROUTES: list[BaseRoute] = [
    Route("/errand/{errand}/progress", _progress),
    Route("/errand/{errand}/file/{name}", file),
    post("/errand/{errand}/cancel", _cancel),
    post("/errand/{errand}/again", _again),
]
