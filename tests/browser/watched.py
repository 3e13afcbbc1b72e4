"""A tab whose complaints and requests are written down, and which reaches nothing but one address."""

from __future__ import annotations

import re
from typing import Any

from tests.browser.tools import STEP

_NO_PAGE = re.compile(r"Failed to load resource: the server responded with a status of 4\d\d")


class Watched:
    """One browser context with one tab. `refusals`: an answer 4xx is asked for on purpose, which the browser tells."""

    def __init__(self, browser: Any, address: str, *, refusals: bool = False, wide: int = 1280, **more: Any) -> None:
        self.address, self.complaints, self.asked, self.stopped = address, [], [], []
        self.refusals = refusals
        self.context = browser.new_context(viewport={"width": wide, "height": 900}, **more)
        self.context.route("**/*", self._pass)
        self.tab = self.context.new_page()
        self.tab.set_default_timeout(STEP)
        self.tab.on("console", self._told)
        self.tab.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _pass(self, route: Any) -> None:
        url = route.request.url
        self.asked.append(url)
        if url.startswith((self.address + "/", "file:", "data:")):
            route.continue_()
        else:
            self.stopped.append(url)
            route.abort()

    def _told(self, message: Any) -> None:
        if message.type not in ("error", "warning"):
            return
        if not (self.refusals and _NO_PAGE.match(message.text)):
            self.complaints.append(f"{self.tab.url}: {message.text}")

    def end(self) -> None:
        """Close, and hold the page to it: no complaint, no request elsewhere."""
        self.context.close()
        assert self.complaints == []
        assert self.asked
        assert self.stopped == []
