"""What came of a screening: every lot, one part, downloads."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from partscreen.page.desk import Tray
from partscreen.page.files.bring import at_work, tray_of, type_names
from partscreen.page.render import desk_of, draw, first_words, show, with_figures

if TYPE_CHECKING:
    from partscreen.report.view import LotView
    from partscreen.workflow import Outcome

TITLE = "Judging the parts"


async def _judged(request: Request) -> tuple[Tray, Outcome, tuple[LotView, ...]] | Response:
    """Tray, outcome and lots ready for a page; or the page to show while there are none."""
    tray = tray_of(request)
    if tray.screening is None:
        return RedirectResponse(f"/tray/{tray.id}", 303)
    if (page := await at_work(request, tray, tray.screening, TITLE)) is not None:
        return page
    outcome: Outcome = tray.screening.result
    if tray.shown is None:
        from partscreen.report.view import lot_views

        tray.shown = await run_in_threadpool(lot_views, outcome.screening)
    return tray, outcome, tray.shown


async def result(request: Request) -> Response:
    """Every lot with one sentence a part; a single lot with its figures at once."""
    judged = await _judged(request)
    if isinstance(judged, Response):
        return judged
    tray, outcome, lots = judged
    return show(request, "result.html.jinja", tray=tray, outcome=outcome, lots=lots, first_words=first_words)


def _numbered(request: Request, name: str, most: int) -> int:
    number = int(request.path_params[name])
    if not 1 <= number <= most:
        raise HTTPException(404, f"There is no {name} of this number in the result.")
    return number - 1


async def lot(request: Request) -> Response:
    """One lot: what holds for all of it, its figures, what could be done with it."""
    from partscreen.report.html import lot_figures

    judged = await _judged(request)
    if isinstance(judged, Response):
        return judged
    tray, outcome, lots = judged
    number = _numbered(request, "lot", len(lots))
    figures = [] if outcome.report is None else lot_figures(lots[number], outcome.report, draw)
    return show(
        request, "lot_page.html.jinja", tray=tray, lot=lots[number], number=number + 1, figures=figures,
        first_words=first_words,
    )  # fmt: skip


async def part(request: Request) -> Response:
    """One part: curves in the envelope, evidence in two columns, closest types, next measurement, how we know."""
    from partscreen.report.html import part_figures
    from partscreen.report.view import hazard

    judged = await _judged(request)
    if isinstance(judged, Response):
        return judged
    tray, outcome, lots = judged
    number = _numbered(request, "lot", len(lots))
    one = lots[number]
    place = _numbered(request, "part", len(one.parts))
    seen = with_figures(one.parts[place])
    figures = [] if outcome.report is None else part_figures(one.result, seen, outcome.report)
    arrays = None
    if outcome.report is not None and one.result.lot in outcome.report.lots:
        arrays = outcome.report.lots[one.result.lot].parts.get(seen.result.part)
    step = seen.result.next_measurement
    return show(
        request, "part_page.html.jinja", tray=tray, lot=one, p=seen, figures=figures, arrays=arrays, number=number + 1,
        place=place + 1, risky=step is not None and hazard([step.reading, step.recipe]), library=type_names(),
    )  # fmt: skip


async def json_file(request: Request) -> Response:
    """The result as JSON."""
    return await _written(request, "result.json", "application/json")


async def table_file(request: Request) -> Response:
    """The result as a table, one row a part."""
    return await _written(request, "parts.csv", "text/csv")


async def _written(request: Request, name: str, media: str) -> Response:
    from partscreen.workflow import write_outcome

    judged = await _judged(request)
    if isinstance(judged, Response):
        return judged
    tray, outcome, _ = judged
    path: Path = tray.folder / name
    table, as_json = (path, None) if name.endswith(".csv") else (None, path)
    await run_in_threadpool(write_outcome, outcome, table=table, json_out=as_json)
    return FileResponse(path, filename=name, media_type=media)


async def report(request: Request) -> Response:
    """Where the report is fetched; it is drawn when it is first asked for."""
    judged = await _judged(request)
    if isinstance(judged, Response):
        return judged
    tray = judged[0]
    job = tray.report
    if job is None or job.state in ("cancelled", "crashed", "refused"):
        job = desk_of(request).draw_report(tray)
    if (page := await at_work(request, tray, job, "Writing the report")) is not None:
        return page
    return show(request, "report_ready.html.jinja", tray=tray)


async def report_file(request: Request) -> Response:
    """The report itself; to the page it is fetched from where it is not drawn yet."""
    tray = tray_of(request)
    job = tray.report
    if job is None or job.state != "done":
        return RedirectResponse(f"/tray/{tray.id}/report", 303)
    return FileResponse(job.result, filename="report.html", media_type="text/html")


ROUTES: list[BaseRoute] = [
    Route("/tray/{tray}/result", result),
    Route("/tray/{tray}/lot/{lot:int}", lot),
    Route("/tray/{tray}/lot/{lot:int}/part/{part:int}", part),
    Route("/tray/{tray}/result.json", json_file),
    Route("/tray/{tray}/parts.csv", table_file),
    Route("/tray/{tray}/report", report),
    Route("/tray/{tray}/report.html", report_file),
]
