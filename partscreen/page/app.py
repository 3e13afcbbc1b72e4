"""The application: routes, refusals, and the desk that lives as long as it runs."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from partscreen.errors import PartscreenError
from partscreen.page import asking, figures, look_up, own, result
from partscreen.page.after import matching, papers, planning, stage
from partscreen.page.book import errands as book_errands
from partscreen.page.book import pages as book_pages
from partscreen.page.book import write as book_write
from partscreen.page.desk import Desk
from partscreen.page.files import bring, columns
from partscreen.page.guard import Guard
from partscreen.page.render import asset, show, show_problems
from partscreen.page.settings import LARGEST_POST, PageSettings
from partscreen.page.typed import sheets, typing
from partscreen.page.typed.room import TypingRoom

_MEDIA = {"sheet.css": "text/css", "page.js": "text/javascript", "scan.js": "text/javascript"}


async def _asset(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in _MEDIA:
        raise HTTPException(404, "There is no such page.")
    return Response(asset(name), media_type=_MEDIA[name])


async def _no_icon(request: Request) -> Response:
    return Response(status_code=204)


async def _refused(request: Request, error: Exception) -> Response:
    """A request that cannot be answered, in words."""
    assert isinstance(error, HTTPException)
    words = "There is no such page." if error.status_code == 404 and error.detail == "Not Found" else error.detail
    return show(request, "refused.html.jinja", words=words, status=error.status_code)


async def _unusable(request: Request, error: Exception) -> Response:
    assert isinstance(error, PartscreenError)
    return show_problems(request, error)


async def _crashed(request: Request, error: Exception) -> Response:
    """A fault of ours; the traceback is on the terminal."""
    return PlainTextResponse(
        "This is a fault of partscreen, not of your readings. What happened stands in the terminal; please report it.",
        status_code=500,
    )


def build_app(settings: PageSettings, *, largest: int = LARGEST_POST) -> Guard:
    """The page as an ASGI application.

    Raises
    ------
    UnusableInput
        The settings cannot be.
    """
    settings = settings.checked()

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        app.state.desk, app.state.settings = Desk(), settings
        app.state.typing = TypingRoom(settings.folder, app.state.desk.worker)
        try:
            yield
        finally:
            app.state.typing.close_all()
            app.state.desk.close()

    routes = [
        *bring.ROUTES,
        *columns.ROUTES,
        *result.ROUTES,
        *book_pages.ROUTES,
        *book_write.ROUTES,
        *book_errands.ROUTES,
        *look_up.ROUTES,
        *asking.ROUTES,
        *papers.ROUTES,
        *planning.ROUTES,
        *sheets.ROUTES,
        *matching.ROUTES,
        *stage.ROUTES,
        *figures.ROUTES,
        *typing.ROUTES,
        *own.ROUTES,
        Route("/favicon.ico", _no_icon),
        Route("/{name}", _asset),
    ]
    handlers = {HTTPException: _refused, PartscreenError: _unusable, Exception: _crashed}
    return Guard(Starlette(routes=routes, exception_handlers=handlers, lifespan=lifespan), settings, largest)
