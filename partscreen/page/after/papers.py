"""Papers of a result: lot report, refund sheet, labels, test record, and its rows for stock systems."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.asking import at_errand, brought, errand_of, problems_in, problems_of, reworded
from partscreen.page.desk import TOML
from partscreen.page.errands import Errand
from partscreen.page.posting import number_of, post
from partscreen.page.render import desk_of, settings_of, show
from partscreen.page.sources import JSON, Source, judged, references_of, source_of

if TYPE_CHECKING:
    from partscreen.workflow import PaperOptions

PHOTOS = (".jpg", ".jpeg", ".png")
LANGUAGES = (("en", "English"), ("de", "Deutsch"), ("es", "español"), ("pt", "português"))
_WORDS = {
    "--on": "Date on the paper", "--lot": "Lot", "--part": "Parts", "--language": "Language",
    "--listing": "Words of the listing", "--photo": "Photos", "--current": "Collector current of hFE and VBE",
    "--grid": "Sheet of stickers", "--first": "First free place", "--customer": "For whom",
    "--match": "Matched sets", "--reference": "Reference files", "--book": "Bench book",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper. `function`: of the workflow; `suffix`: of the file it makes; `files`: fields that bring files."""

    title: str
    function: str
    name: str
    suffix: str = ".pdf"
    files: tuple[tuple[str, tuple[str, ...]], ...] = ()


PAPERS = {
    "lot": Paper("Lot report", "paper_lot", "lot report", files=(("reference", TOML),)),
    "refund": Paper("Refund sheet", "paper_refund", "refund sheet", files=(("photo", PHOTOS),)),
    "labels": Paper("Labels", "paper_labels", "labels", files=(("match", JSON),)),
    "record": Paper("Test record", "paper_record", "test record"),
    "stock": Paper("Table for stock systems", "paper_stock", "stock table", ".csv"),
}


async def choose(request: Request) -> Response:
    """Which result papers are to be made of."""
    return show(request, "papers_start.html.jinja", trays=judged(request), problems=())


async def bring_result(request: Request, form: FormData) -> Response:
    """Keep a saved result and go on to its papers."""
    from partscreen.workflow import load_screening

    errands = desk_of(request).errands
    errand = errands.new("result", "/papers/{id}", "A saved result")
    try:
        problems = await brought(request, form, errand, {"result": JSON}, single=("result",))
        if problems or not errand.files["result"]:
            fix = "choose the JSON file that was downloaded here, or that `screen --json` wrote"
            raise UnusableInput(problems or [Problem("PAGE_NO_FILE", "no file came in", fix, "result")])
        screening = await run_in_threadpool(load_screening, errand.files["result"][0])
    except PartscreenError as error:
        errands.forget(errand)
        return show(
            request, "papers_start.html.jinja", trays=judged(request), problems=problems_in(error), status=422
        )  # fmt: skip
    errand.given["lots"] = [lot.lot for lot in screening.lots]
    return RedirectResponse(errand.where, 303)


def _source(request: Request) -> Source:
    found = source_of(request, request.path_params["source"])
    if found is None:
        raise HTTPException(404, "This result is no longer here, or its parts are not judged yet. Bring it again.")
    return found


async def papers(request: Request) -> Response:
    """Every paper of a result, each with its choices."""
    return _forms(request, _source(request))


def _forms(
    request: Request, source: Source, errand: Errand | None = None, problems: Sequence[Problem] = ()
) -> Response:
    asked = {} if errand is None else {errand.given["paper"]: errand}
    return show(
        request, "papers.html.jinja", source=source, asked=asked, problems=problems, languages=LANGUAGES,
        matches=desk_of(request).errands.done("match"), status=422 if problems else 200,
        open_paper=errand.given["paper"] if errand else request.query_params.get("paper", ""),
    )  # fmt: skip


async def make(request: Request, form: FormData) -> Response:
    """Begin one paper."""
    source, kind = _source(request), request.path_params["paper"]
    if kind not in PAPERS:
        raise HTTPException(404, "There is no such paper.")
    paper, errands = PAPERS[kind], desk_of(request).errands
    errand = errands.new("paper", "/paper/{id}", paper.title)
    errand.given |= {"paper": kind, "source": source.id, "back": f"/papers/{source.id}?paper={kind}"}
    problems = list(await brought(request, form, errand, dict(paper.files), single=("match",)))
    await references_of(request, errand, problems)
    out = errand.path(_file_name(source, errand.typed, paper))
    try:
        options = _options(request, errand, problems)
        if problems:
            raise UnusableInput(problems)
    except PartscreenError as error:
        return _forms(request, source, errand, reworded(problems_in(error), _WORDS))
    errand.given["made"] = {out.name: out}
    errands.begin(errand, paper.function, await source.written(errand.folder), out, options)
    return RedirectResponse(errand.where, 303)


def _file_name(source: Source, typed: dict[str, str], paper: Paper) -> str:
    from partscreen.page.desk import safe_name

    lot = typed.get("lot") or (source.lots[0] if len(source.lots) == 1 else "")
    return safe_name(f"{lot} {paper.name}".strip() + paper.suffix)


def _options(request: Request, errand: Errand, problems: list[Problem]) -> PaperOptions:
    """The choices of a form; a field that cannot be is added to `problems`."""
    from partscreen.workflow import PaperOptions

    typed, files = errand.typed, errand.files
    match = next(iter(files.get("match", ())), None)
    chosen = desk_of(request).errands.find(typed.get("from_match", ""), "match")
    if match is None and chosen is not None:
        match = chosen.given["made"]["match.json"]
    current = take(typed, "current", "Collector current of hFE and VBE", number_of, problems)
    first = take(typed, "first", "First free place", whole_of, problems)
    return PaperOptions(
        lot=typed.get("lot") or None,
        parts=tuple(lines_of(typed.get("parts", ""))),
        language=typed.get("language") or "en",
        on=typed.get("on") or None,
        listing=typed.get("listing") or None,
        customer=typed.get("customer") or None,
        photos=tuple(files.get("photo", ())),
        references=errand.given["references"],
        book=(settings_of(request).book or "") if typed.get("book") == "yes" else None,
        grid=typed.get("grid") or None,
        first=1 if first is None else first,
        outline=typed.get("outline") == "yes",
        bag=typed.get("bag") == "yes",
        current=current,
        match=match,
    )


def lines_of(told: str) -> list[str]:
    """What stands on the lines of a field, empty ones left out."""
    return [line.strip() for line in told.splitlines() if line.strip()]


def whole_of(told: str, name: str) -> int:
    """A whole number as typed.

    Raises
    ------
    UnusableInput
        It is none.
    """
    try:
        return int(told)
    except ValueError:
        raise UnusableInput(
            [Problem("PAGE_NUMBER", f"{told!r} is no whole number", "write a whole number", name)]
        ) from None


def take(typed: dict[str, str], name: str, words: str, read: Callable[[str, str], Any], problems: list[Problem]) -> Any:
    """A field that was filled in, read; None where it is empty, or where it cannot be, which is added to `problems`."""
    told = typed.get(name, "")
    try:
        return read(told, words) if told else None
    except UnusableInput as error:
        problems += error.problems
        return None


async def paper(request: Request) -> Response:
    """A paper that is under way, refused, or ready."""
    errand = errand_of(request, "paper")
    if (page := await at_errand(request, errand)) is not None:
        return page
    if (problems := problems_of(errand)) and errand.given.get("paper") in PAPERS:
        source = source_of(request, errand.given["source"])
        if source is None:
            raise HTTPException(404, "The result of this paper is no longer here. Bring it again.")
        return _forms(request, source, errand, reworded(problems, _WORDS))
    if problems:  # the form it came from shows them beside what was typed
        return RedirectResponse(f"{errand.given['refused']}?refused={errand.id}", 303)
    return ready(request, errand)


def ready(request: Request, errand: Errand) -> Response:
    """Where the files of an errand are fetched."""
    result = errand.job.result if errand.job is not None else None
    made: dict[str, Path] = errand.given["made"]
    files = [(name, path.name, path.stat().st_size) for name, path in made.items()]
    return show(
        request, "paper_ready.html.jinja", errand=errand, files=files, notices=getattr(result, "notices", ()),
        forbidden=getattr(result, "forbidden", ()), back=errand.given["back"],
    )  # fmt: skip


ROUTES: list[BaseRoute] = [
    Route("/papers", choose),
    post("/papers", bring_result),
    Route("/papers/{source}", papers),
    post("/papers/{source}/{paper}", make),
    Route("/paper/{errand}", paper),
]
