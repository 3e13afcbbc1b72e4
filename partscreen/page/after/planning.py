"""How many parts of a lot to test: one form a question, and past lots from a file or the bench book."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem, UnusableInput
from partscreen.page.after.papers import take, whole_of
from partscreen.page.asking import brought, errand_of, in_words, problems_in, reworded
from partscreen.page.errands import Errand
from partscreen.page.figures import figures_errand
from partscreen.page.posting import number_of, post
from partscreen.page.render import desk_of, draw, settings_of, show

if TYPE_CHECKING:
    from partscreen.results.plan import PlanResult
    from partscreen.workflow import PlanOptions

WORDS = {
    "--lot-size": "Parts in the lot", "--tolerable": "Bad share to rule out", "--confidence": "How sure to be of it",
    "--allow": "Bad parts still allowed", "--sample": "Parts tested", "--found": "of these bad",
    "--good": "Bad share that should pass", "--bad": "Bad share that should not",
    "--producer-risk": "Chance of refusing the good lot", "--consumer-risk": "Chance of accepting the bad lot",
    "--sequential": "part by part", "--so-far": "Parts so far", "--aql": "AQL", "--level": "Inspection level",
    "--severity": "Severity", "--history": "Table of past lots", "--history-of": "Supplier",
    "--allow-reduced": "past lots may lead to reduced inspection", "--price": "Price of one part",
    "--minutes": "Minutes to read one part", "--minute-value": "What one minute costs",
    "--held-minutes": "Minutes that settle a held part", "--harm": "What a bad part costs once fitted",
    "--refund": "Share of the price back", "--return-cost": "Cost of sending a lot back",
    "--destroy-minutes": "Minutes of a test that costs the part", "--destroy-power": "Bad parts that such a test finds",
    "--prior-share": "Bad share expected before", "--stop-at-first": "stop at the first suspect",
    "--power": "Bad parts the readings find", "--false-alarm": "Good parts they reject",
    "--held": "Parts they leave undecided", "--held-if-bad": "The same of bad parts",
    "--held-counts": "What a held part counts", "--draw": "draw the pieces", "--seed": "Number that repeats a drawing",
    "--json": "the result as JSON",
}  # fmt: skip
_WHOLE = ("lot_size", "allow", "sample", "found", "seed")
_AMOUNTS = ("price", "minutes", "minute_value", "held_minutes", "harm", "return_cost", "destroy_minutes")
_TEXTS = (
    "tolerable", "confidence", "good", "bad", "producer_risk", "consumer_risk", "refund", "destroy_power",
    "prior_share", "power", "false_alarm", "held", "held_if_bad", "aql",
)  # fmt: skip
_PLAIN = ("so_far", "level", "severity", "held_counts", "history_of")
_TABLES = (".csv", ".txt", ".tsv")
_TICKS = ("sequential", "allow_reduced", "stop_at_first", "draw")


async def plan(request: Request) -> Response:
    """The forms; with a query, the answer to its question above them."""
    asked = {name: value.strip() for name, value in request.query_params.items() if value.strip()}
    if not asked:
        return _page(request, asked)
    try:
        return _page(request, asked, await _answer(request, asked, None))
    except PartscreenError as error:
        return _page(request, asked, problems=reworded(problems_in(error), WORDS))


async def with_history(request: Request, form: FormData) -> Response:
    """The same for the tables, with a file of past lots."""
    errand = desk_of(request).errands.new("plan", "/plan/{id}", "How many to test")
    problems = await brought(request, form, errand, {"history": _TABLES}, single=("history",))
    if problems:
        return _page(request, _asked(errand), errand=errand, problems=reworded(problems, WORDS))
    return RedirectResponse(errand.where, 303)


def _asked(errand: Errand) -> dict[str, str]:
    return {name: value for name, value in errand.typed.items() if value and name not in ("earlier", "keep_history")}


async def _answer(request: Request, asked: dict[str, str], errand: Errand | None) -> PlanResult:
    from partscreen.workflow import make_plan

    return await run_in_threadpool(make_plan, plan_options(asked, settings_of(request).book, errand))


def plan_options(asked: dict[str, str], book: str | None = None, errand: Errand | None = None) -> PlanOptions:
    """What a form asks of a plan; `errand` holds the file of past lots.

    Raises
    ------
    UnusableInput
        Every field that holds no number.
    """
    from partscreen.workflow import PlanOptions

    problems: list[Problem] = []
    told: dict[str, Any] = {name: take(asked, name, _said(name), whole_of, problems) for name in _WHOLE}
    told |= {name: take(asked, name, _said(name), number_of, problems) for name in _AMOUNTS}
    told |= {name: asked[name].replace(",", ".") for name in _TEXTS if name in asked}
    told |= {name: asked[name] for name in _PLAIN if asked.get(name)}
    told |= {name: asked.get(name) == "yes" for name in _TICKS}
    if problems:
        raise UnusableInput(problems)
    files = errand.files.get("history", []) if errand is not None else []
    return PlanOptions(**told, history=next(iter(files), None), book=book if told.get("history_of") else None)


def _said(name: str) -> str:
    return WORDS["--" + name.replace("_", "-")]


def _page(
    request: Request,
    asked: dict[str, str],
    found: PlanResult | None = None,
    *,
    errand: Errand | None = None,
    problems: Sequence[Problem] = (),
) -> Response:
    from partscreen.report.plan_figure import curve_panel
    from partscreen.workflow.after.plan import plan_lines

    panel = curve_panel(found) if found is not None else None
    return show(
        request,
        "plan.html.jinja",
        asked=asked,
        found=found,
        problems=problems,
        files=errand.files if errand is not None else {},
        errand=errand,
        lines=[in_words(line, WORDS) for line in plan_lines(found)] if found is not None else (),
        figure=draw(panel, "curve") if panel is not None else None,
        question=_question(asked, found),
        say=lambda text: in_words(text, WORDS),
        status=422 if problems else 200,
    )


def _question(asked: dict[str, str], found: PlanResult | None) -> str:
    """Which form is open: the one that was sent."""
    return found.question if found is not None else asked.get("question", "size")


async def plan_figures(request: Request) -> Response:
    """Begin the figure of a plan; the query is that of its page."""
    asked = {name: value.strip() for name, value in request.query_params.items() if value.strip()}
    errand = desk_of(request).errands.find(asked.pop("of", ""), "plan")
    found = await _answer(request, asked, errand)
    return RedirectResponse(figures_errand(request, found, "operating-curve", f"/plan?{request.url.query}").where, 303)


async def kept(request: Request) -> Response:
    """A plan with a file of past lots, once more."""
    errand = errand_of(request, "plan")
    asked = _asked(errand)
    try:
        return _page(request, asked, await _answer(request, asked, errand), errand=errand)
    except PartscreenError as error:
        return _page(request, asked, errand=errand, problems=reworded(problems_in(error), WORDS))


ROUTES: list[BaseRoute] = [
    Route("/plan", plan),
    post("/plan", with_history),
    Route("/plan/figures", plan_figures),
    Route("/plan/{errand}", kept),
]
