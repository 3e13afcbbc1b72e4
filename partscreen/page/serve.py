"""Listen and serve until Ctrl-C."""

from __future__ import annotations

import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

from partscreen.errors import Problem, UnusableInput
from partscreen.page.settings import PageSettings

WARNING = (
    "Warning: other machines can reach this page. Whoever has the address below, token included, can see your\n"
    "readings and your bench book. Nothing on the way is encrypted. Use it in a network you trust, and end it\n"
    "when you are done."
)


def serve(settings: PageSettings, *, browser: bool, say: Callable[[str], None]) -> None:
    """Serve the page. `say` gets the address, and a warning where other machines can reach it.

    Raises
    ------
    UnusableInput
        The settings cannot be, or the port is taken.
    """
    import uvicorn

    from partscreen.page.app import build_app

    if not settings.loopback and settings.token is None:
        settings = replace(settings, token=secrets.token_urlsafe(24))
    settings = settings.checked()
    with _listening(settings) as sock:
        settings = replace(settings, port=sock.getsockname()[1])
        url = address_of(settings)
        if not settings.loopback:
            say(WARNING)
        say(f"The page: {url}\nCtrl-C ends it; what was not downloaded or recorded is then gone.")
        if browser:
            threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
        config = uvicorn.Config(
            build_app(settings), log_level="warning", access_log=False, server_header=False, ws="none", http="h11",
            proxy_headers=False, timeout_graceful_shutdown=1,
        )  # fmt: skip
        with suppress(KeyboardInterrupt):  # the server ends in good order first, then tells of it
            uvicorn.Server(config).run(sockets=[sock])


def address_of(settings: PageSettings) -> str:
    """The address a person opens."""
    host = settings.address if settings.address in settings.hosts else settings.names[0]
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{settings.port}/" + (f"?token={settings.token}" if settings.token else "")


def _listening(settings: PageSettings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.address else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind((settings.address, settings.port))
        sock.listen(64)
    except OSError as error:
        sock.close()
        what = f"cannot listen on {settings.address}, port {settings.port}: {error.strerror or error}"
        fix = "end the program that uses it, or give another port: --port 0 takes any free one"
        raise UnusableInput([Problem("PAGE_ADDRESS", what, fix, "--port")]) from error
    return sock
