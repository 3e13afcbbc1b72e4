"""What stands before every page: who may ask, how much may come in, what the browser may do with the answer."""

from __future__ import annotations

import hmac
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from partscreen.page.settings import LARGEST_POST, MIB, PageSettings

COOKIE = "partscreen_page"
# Everything from this machine's page, nothing from elsewhere; no inline script, no inline style, no frame, no plug-in.
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # not no-referrer: posts of our own forms must tell their origin
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cache-Control": "no-store",
}
_TOO_MUCH = "More than {} MiB came in at once, and was not kept. Bring fewer files a time."
_DRAINED = 8 * LARGEST_POST  # bytes of a refused upload that are read and thrown away, so that the answer is seen


class Guard:
    """ASGI wrapper: foreign Host, missing token, cross-site post and oversize body are refused; headers are put on."""

    def __init__(self, app: ASGIApp, settings: PageSettings, largest: int = LARGEST_POST) -> None:
        self.app, self.settings, self.largest = app, settings, largest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no websocket is served

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
            await send(message)

        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await refusal(scope, receive, guarded)
        elif _stated_length(headers) > self.largest:
            await _drain(receive, _DRAINED)
            await _too_much(self.largest)(scope, receive, guarded)
        else:
            await self.app(scope, self._counted(receive), guarded)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        if not self._own_host(headers.get("host", "")):
            return _refused(
                421, "This page answers only to its own address. Open the address that the program printed."
            )
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _refused(405, "This page knows reading and sending forms only.")
        if scope["method"] == "POST" and not _same_site(headers):
            return _refused(403, "A form of another site was refused. Open the page itself and send its own form.")
        return self._without_token(scope, headers)

    def _own_host(self, host: str) -> bool:
        try:
            split = urlsplit(f"//{host}")
            name, port = split.hostname or "", split.port or 80
        except ValueError:
            return False
        return name in self.settings.hosts and port == self.settings.port

    def _without_token(self, scope: Scope, headers: Headers) -> Response | None:
        token = self.settings.token
        if token is None:
            return None
        if hmac.compare_digest(_cookie(headers).encode(), token.encode()):
            return None
        asked = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [""])[0]
        if scope["method"] == "GET" and hmac.compare_digest(asked.encode(), token.encode()):
            answer = Response(status_code=303, headers={"Location": "/"})
            answer.set_cookie(COOKIE, token, httponly=True, samesite="strict")
            return answer
        return _refused(403, "This page asks for its token. Open the whole address that the program printed.")

    def _counted(self, receive: Receive) -> Receive:
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self.largest:
                raise HTTPException(413, _TOO_MUCH.format(self.largest // MIB))
            return message

        return counted


def _refused(status: int, words: str) -> Response:
    return PlainTextResponse(words + "\n", status_code=status)


def _too_much(largest: int) -> Response:
    return _refused(413, _TOO_MUCH.format(largest // MIB))


def _same_site(headers: Headers) -> bool:
    """Whether a post comes from a page of ours, as far as the browser tells (Fetch standard: Sec-Fetch-Site, Origin).

    A program that tells neither still needs the token of the form.
    """
    site = headers.get("sec-fetch-site")
    if site is not None and site != "same-origin":
        return False
    origin = headers.get("origin")
    return origin is None or origin == f"http://{headers.get('host', '')}"


def _cookie(headers: Headers) -> str:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found is not None else ""


def _stated_length(headers: Headers) -> int:
    stated = headers.get("content-length", "0")
    return int(stated) if stated.isdecimal() and len(stated) < 20 else 0


async def _drain(receive: Receive, most: int) -> None:
    taken = 0
    while taken < most:
        message = await receive()
        taken += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            return
