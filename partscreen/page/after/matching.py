"""Which parts go together: of one or several results, in every way that matching knows; and the papers of a match."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.errors import PartscreenError, Problem
from partscreen.page.after.papers import lines_of, take, whole_of
from partscreen.page.after.stage_form import on_form
from partscreen.page.asking import at_errand, brought, errand_of, in_words, problems_in, problems_of, reworded
from partscreen.page.desk import TOML
from partscreen.page.errands import Errand
from partscreen.page.figures import figures_errand
from partscreen.page.files.bring import tray_of
from partscreen.page.posting import number_of, post, text
from partscreen.page.render import desk_of, draw, settings_of, show
from partscreen.page.sources import JSON, judged, lots_of, references_of, results_of

if TYPE_CHECKING:
    from partscreen.matching.options import MatchOptions
    from partscreen.results.matching import Matching, MatchKind

DRAWN = 12  # sets with figures on the page; all of them are drawn by `match --figures`
AIMS = (
    ("sum", "smallest sum of differences"),
    ("worst", "smallest worst set"),
    ("count", "most within tolerance"),
    ("worst-then-sum", "smallest worst set, then smallest sum"),
)
WORDS = {
    "--pairs": "pairs of one NPN and one PNP", "--groups": "groups of one polarity", "--sets": "channel sets",
    "--per-rail": "Devices in parallel on a rail", "--aim": "Aim", "--best": "Only the best",
    "--tolerance-hfe": "Tolerance of hFE", "--tolerance-vbe": "Tolerance of VBE", "--held": "take held parts too",
    "--lot": "Only these lots", "--by-vbe": "groups by VBE alone", "--ways": "Ways to tell",
    "--prove": "Seconds to prove",
    "--yield": "Sets wanted, to be bought for", "--power": "Sine power", "--load": "Load", "--signal": "Signal",
    "--crest": "Crest factor", "--idle": "Idle current a device", "--emitter-resistor": "Emitter resistor",
    "--brief": "the short form", "--reference": "Reference files",
}  # fmt: skip
_NUMBERS = ("hfe", "vbe", "prove", "power", "load", "crest", "idle", "emitter_resistor")
_WHOLE = ("k", "per_rail", "best", "ways", "buy_for")
_SAID = {
    "hfe": "Tolerance of hFE", "vbe": "Tolerance of VBE", "prove": "Seconds to prove", "power": "Sine power",
    "load": "Load", "crest": "Crest factor", "idle": "Idle current a device", "emitter_resistor": "Emitter resistor",
    "k": "Parts in a group", "per_rail": "Devices in parallel on a rail", "best": "How many", "ways": "Ways to tell",
    "buy_for": "Sets wanted",
}  # fmt: skip


async def match(request: Request) -> Response:
    """What is to be matched, and how; a query that says so is begun at once."""
    asked = request.query_params
    if "kind" in asked and "trays" in asked:
        errand = desk_of(request).errands.new("match", "/match/{id}", "Matching the parts")
        errand.typed = {name: "\n".join(asked.getlist(name)) for name in asked}
        return await _begin(request, errand, [])
    typed = {"kind": "pairs", **{name: "\n".join(asked.getlist(name)) for name in asked}}
    found = judged(request)
    if "trays" not in typed and len(found) == 1:
        typed["trays"] = found[0].id
    return _page(request, typed=typed)


async def of_tray(request: Request) -> Response:
    """The same for one result."""
    tray = tray_of(request)
    query = f"&{request.url.query}" if request.url.query else ""
    return RedirectResponse(f"/match?trays={tray.id}{query}", 303)


async def ask(request: Request, form: FormData) -> Response:
    """Begin to match."""
    errand = desk_of(request).errands.new("match", "/match/{id}", "Matching the parts")
    fields = {"results": JSON, "saved": JSON, "reference": TOML}
    return await _begin(request, errand, await brought(request, form, errand, fields, single=("saved",)))


async def _begin(request: Request, errand: Errand, problems: list[Problem]) -> Response:
    errands, files = desk_of(request).errands, errand.files
    results = await results_of(request, errand)
    options = _options(errand.typed, problems)
    references = await references_of(request, errand, problems)
    saved = next(iter(files.get("saved", ())), None)
    if not results and saved is None and not problems:
        fix = "tick a result that was judged here, or bring one that was saved"
        problems.append(Problem("PAGE_NO_RESULT", "no result is chosen", fix, "Results"))
    if problems:
        return _page(request, errand, reworded(problems, WORDS))
    names = [path.stem for path in results]
    errand.name = ", ".join(names[:3]) + (" and more" if len(names) > 3 else "")
    if saved is not None:
        errand.name = saved.name
        errands.begin(errand, "reopen_match", saved, results, references=references, sets=DRAWN)
    else:
        errands.begin(errand, "match_and_draw", results, options, references=references, sets=DRAWN)
    return RedirectResponse(errand.where, 303)


def _options(typed: dict[str, str], problems: list[Problem]) -> MatchOptions:
    """The choices of the form; fields that cannot be are added to `problems`."""
    from partscreen.matching.options import MatchOptions

    kinds: dict[str, MatchKind] = {"pairs": "pairs", "groups": "groups", "sets": "sets"}
    kind = kinds.get(typed.get("kind", ""), "pairs")
    told = {name: take(typed, name, _SAID[name], number_of, problems) for name in _NUMBERS}
    told |= {name: take(typed, name, _SAID[name], whole_of, problems) for name in _WHOLE}

    def given(name: str, otherwise: float) -> float:
        value = told[name]
        return otherwise if value is None else value

    k = {"pairs": 1, "groups": told["k"] if told["k"] is not None else 2, "sets": told["per_rail"] or told["k"]}[kind]
    if k is None:
        fix = "say how many devices stand in parallel on each rail"
        problems.append(Problem("PAGE_EMPTY", "is left empty; channel sets need it", fix, _SAID["per_rail"]))
    return MatchOptions(
        kind=kind,
        k=int(k or 1),
        aim=typed.get("aim") or "sum",
        best=told["best"],
        tolerance_hfe=given("hfe", 10.0),
        tolerance_vbe=given("vbe", 20.0),
        held=typed.get("held") == "yes",
        lots=tuple(lines_of(typed.get("lots", ""))),
        by_vbe=typed.get("by_vbe") == "yes",
        ways=int(given("ways", 1)),
        prove=given("prove", 0.0),
        power=told["power"],
        load=told["load"],
        signal=typed.get("signal") or "sine",
        crest=told["crest"],
        idle=None if told["idle"] is None else told["idle"] / 1e3,
        per_rail=told["per_rail"] or (k if kind == "sets" else None),
        emitter_resistor=told["emitter_resistor"],
        buy_for=told["buy_for"],
    )


async def matched(request: Request) -> Response:
    """What goes together, with figures, table and papers; the form below it is as it was sent."""
    errand = errand_of(request, "match")
    if (page := await at_errand(request, errand)) is not None:
        return page
    if problems := problems_of(errand):
        return _page(request, errand, reworded(problems, WORDS))
    if errand.shown is None:
        errand.shown = await run_in_threadpool(_ready, errand)
    refused = desk_of(request).errands.find(request.query_params.get("refused", ""), "paper")
    problems = problems_of(refused) if refused is not None else ()
    return _page(request, errand, reworded(on_form(problems), WORDS), found=errand.shown, of_list=refused)


def _ready(errand: Errand) -> dict[str, object]:
    """Files and figures of a match, made once."""
    from partscreen.matching.words import matching_lines
    from partscreen.report import figure_set
    from partscreen.workflow import write_match_table, write_matching

    assert errand.job is not None
    found: Matching
    found, panels = errand.job.result
    errand.given["made"] = {
        "match.json": write_matching(found, errand.path("match.json")),
        "match.csv": write_match_table(found, errand.path("match.csv")),
    }
    figures = [(draw(hfe, f"m{i}h"), draw(vbe, f"m{i}v")) for i, (hfe, vbe) in enumerate(panels, 1)]
    return {
        "matching": found,
        "figures": figures,
        "archive": figure_set.match_set(panels) if panels else None,
        "lines": [in_words(line, WORDS) for line in matching_lines(found)],
    }


def _page(
    request: Request,
    errand: Errand | None = None,
    problems: Sequence[Problem] = (),
    *,
    typed: dict[str, str] | None = None,
    found: dict[str, object] | None = None,
    of_list: Errand | None = None,
    to_book: dict[str, str] | None = None,
) -> Response:
    errands, trays = desk_of(request).errands, judged(request)
    return show(
        request,
        "matching.html.jinja",
        errand=errand,
        typed=errand.typed if errand is not None else typed or {},
        files=errand.files if errand is not None else {},
        problems=problems,
        trays=trays,
        lots=lots_of(trays),
        found=found,
        aims=AIMS,
        say=lambda text: in_words(text, WORDS),
        stages=errands.done("stage"),
        asked_list=of_list.typed if of_list is not None else {},
        to_book=to_book or {},
        in_book=errand.given.get("in_book") if errand is not None else None,
        status=422 if problems else 200,
    )


async def match_figures(request: Request) -> Response:
    """Begin the figures of a match as files."""
    errand = errand_of(request, "match")
    if errand.shown is None or errand.shown["archive"] is None:
        raise HTTPException(404, "This match has no figures.")
    archive = figures_errand(request, errand.shown["archive"], "matched-sets", errand.where)
    return RedirectResponse(archive.where, 303)


async def keep(request: Request, form: FormData) -> Response:
    """Write the sets of a match into the bench book."""
    from partscreen.workflow import record_matches

    errand = errand_of(request, "match")
    file: Path | None = errand.given.get("made", {}).get("match.json")
    if file is None:
        raise HTTPException(404, "This match is not ready.")
    name, supplier = text(form, "name"), text(form, "supplier")
    try:
        errand.given["in_book"] = await run_in_threadpool(
            record_matches, file, name=name or None, supplier=supplier or None, where=settings_of(request).book
        )
    except PartscreenError as error:
        told = {"name": name, "supplier": supplier, "refused": "yes"}
        return _page(request, errand, reworded(problems_in(error), WORDS), found=errand.shown, to_book=told)
    return RedirectResponse(f"{errand.where}#in-book", 303)


async def pairs(request: Request, form: FormData) -> Response:
    """Begin the pair list of a match; with a stage, what each part should read there."""
    from partscreen.workflow import CardOptions

    match_errand, errands = errand_of(request, "match"), desk_of(request).errands
    file: Path | None = match_errand.given.get("made", {}).get("match.json")
    if file is None:
        raise HTTPException(404, "This match is not ready.")
    errand = errands.new("paper", "/paper/{id}", "Pair list")
    problems = await brought(request, form, errand, {"stage": TOML}, single=("stage",))
    errand.given |= {
        "back": match_errand.where, "refused": match_errand.where,
        "made": {"pair list.pdf": errand.path("pair list.pdf")},
    }  # fmt: skip
    if problems:
        return _page(request, match_errand, problems, found=match_errand.shown)
    stage = next(iter(errand.files["stage"]), None)
    chosen = errands.find(errand.typed.get("from_stage", ""), "stage")
    if stage is None and chosen is not None:
        stage = chosen.given["file"]
    results = tuple(match_errand.given["results"]) if stage is not None else ()
    options = CardOptions(results=results, references=match_errand.given["references"])
    errands.begin(errand, "paper_pairs", file, errand.path("pair list.pdf"), stage, options)
    return RedirectResponse(errand.where, 303)


ROUTES: list[BaseRoute] = [
    Route("/match", match),
    post("/match", ask),
    Route("/match/{errand}", matched),
    Route("/match/{errand}/figures", match_figures),
    post("/match/{errand}/book", keep),
    post("/match/{errand}/pairs", pairs),
    Route("/tray/{tray}/match", of_tray),
]
