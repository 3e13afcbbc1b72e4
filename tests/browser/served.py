"""A page that is served in a thread of its own, on a free port and with a bench book of its own."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def served(book: str) -> Iterator[str]:
    """The address while it is served."""
    import uvicorn

    from partscreen.page.app import build_app
    from partscreen.page.settings import PageSettings

    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        sock.listen(32)
        settings = PageSettings(port=sock.getsockname()[1], book=book, folder=Path(book).parent / "own")
        config = uvicorn.Config(build_app(settings), log_level="warning", ws="none", access_log=False, http="h11")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        until = time.monotonic() + 30
        while not server.started and time.monotonic() < until:
            time.sleep(0.02)
        assert server.started, "the page did not start"
        yield f"http://127.0.0.1:{settings.port}"
        server.should_exit = True
        thread.join(15)
