"""A visitor who follows links, looks at every kind of page and keeps the HTML of each.

A kind of page is a route with the names of its query (and the name of a form, where a route serves several). Of each
kind the first few links are fetched, the first is opened in the browser, and so is every address it was told to look
at. A link of a kind that was fetched often enough is not fetched; one that no route answers is lost.
"""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urljoin, urlsplit

from starlette.routing import Route

from tests.browser.tools import WAIT, Broken, broken_rules
from tests.browser.watched import Watched

FETCHED, OPENED = 3, 1  # pages of one kind
UNFOLD = "document.querySelectorAll('details').forEach(one => { one.open = true; })"
_SIDEWAYS = """() => {
  const root = document.documentElement;
  // Signs that a line of text hangs over its edge (blanks) are inline and scroll nothing.
  const out = [...document.querySelectorAll("body *")].filter(e => !e.closest(".scroll *, svg, .skip, datalist")
    && getComputedStyle(e).display !== "inline"
    && e.getBoundingClientRect().width > 0 && e.getBoundingClientRect().right > root.clientWidth + 1);
  return [root.scrollWidth - root.clientWidth, out.slice(0, 3).map(e => e.outerHTML.slice(0, 120))];
}"""


@dataclass(frozen=True, slots=True)
class Looked:
    """One page as it was seen. `sideways`: what makes it wider than 360 px."""

    name: str
    broken: tuple[Broken, ...]
    sideways: tuple[str, ...]
    headings: tuple[str, ...]


@dataclass(slots=True)
class Crawl:
    """What was seen. `folder`: HTML of each page; `kinds`: route and query names that were opened or fetched."""

    seen: Watched
    folder: Path
    routes: list[Route]
    pages: list[Looked] = field(default_factory=list)
    fetched: dict[str, int] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    visited: set[str] = field(default_factory=set)
    html: list[Path] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)  # by path: what was fetched that is no page

    kinds: Counter[str] = field(default_factory=Counter)

    def kind_of(self, url: str) -> str:
        """The kind of page that an address asks for."""
        split = urlsplit(url)
        route = self.route_of(split.path) or ""
        if route.endswith(("{form}", "{name}")):  # one form has many links that fill it in beforehand
            return split.path
        return f"{route} {sorted(parse_qs(split.query))}"

    def route_of(self, path: str) -> str | None:
        """The pattern of the GET route that answers a path; None: none."""
        for route in self.routes:
            if route.path_regex.match(path):
                return route.path
        return None

    def look(self, name: str) -> None:
        """Look at the page that the tab shows now, all of it unfolded: accessibility, a width of 360 px, headings."""
        tab = self.seen.tab
        tab.evaluate(UNFOLD)
        broken = broken_rules(tab)
        tab.set_viewport_size({"width": 360, "height": 800})
        over, which = tab.evaluate(_SIDEWAYS)
        tab.set_viewport_size({"width": 1280, "height": 900})
        headings = tuple(tab.locator("h1").all_inner_texts())
        sideways = (f"{over} px", *which) if over > 0 or which else ()
        self.pages.append(Looked(name, tuple(broken), sideways, headings))

    def keep(self, name: str, text: str) -> None:
        """Keep the HTML of a page for the checker, under a name that says which it is."""
        path = self.folder / f"{len(self.html):03d}{re.sub(r'[^a-zA-Z0-9]+', '_', name)[:80]}.html"
        path.write_text(text, encoding="utf-8")
        self.html.append(path)

    def open(self, url: str) -> None:
        """Open an address in the browser and look; a page of work loads itself again, so its end is waited for."""
        tab = self.seen.tab
        tab.goto("about:blank")  # a page of work would break off the next
        tab.goto(url)
        tab.locator("body:not(:has([data-progress]))").wait_for(state="attached", timeout=WAIT)
        self.visited.add(self.route_of(urlsplit(url).path) or "")
        self.kinds[self.kind_of(url)] += 1
        self.keep(urlsplit(url).path, self.seen.context.request.get(url).text())
        self.look(url.removeprefix(self.seen.address))

    def told(self, name: str, press: Any) -> None:
        """Look at the page that comes of a form: `press` sends it."""
        with self.seen.tab.expect_navigation() as waited:
            press()
        self.keep(name, waited.value.text())
        self.look(name)

    def shown(self) -> None:
        """Open what the tab came to once more, by its address, and look."""
        self.open(self.seen.tab.url)

    def follow(self, starts: Iterable[str]) -> None:
        """Fetch what links lead to from the start addresses on; open the first of each kind, and the starts."""
        address = self.seen.address
        asked = deque(address + one for one in starts)
        told, known, fetched = set(asked), set(asked), Counter[str]()
        while asked:
            url = asked.popleft()
            kind = self.kind_of(url)
            if url not in told and fetched[kind] >= FETCHED:
                continue
            fetched[kind] += 1
            text = self.fetch(url)
            if text is None:
                continue
            if url in told or self.kinds[kind] < OPENED:
                self.open(url)
            for link in links(text, url):
                if link.startswith(address + "/") and link not in known:
                    known.add(link)
                    asked.append(link)

    def fetch(self, url: str) -> str | None:
        """The HTML at an address; None: it is lost, or no page."""
        answer = self.seen.context.request.get(url)
        self.fetched[url] = answer.status
        if not answer.ok:
            self.lost.append(f"{answer.status} {url}")
            return None
        self.visited.add(self.route_of(urlsplit(url).path) or "")
        if not answer.headers.get("content-type", "").startswith("text/html"):
            if answer.headers.get("content-type", "").startswith("text/"):
                self.texts[urlsplit(url).path] = answer.text()
            return None
        return None if answer.headers.get("content-disposition", "").startswith("attachment") else answer.text()


def links(text: str, base: str) -> Iterator[str]:
    """Addresses that a page links to, without the place on the page."""
    import html

    for found in re.finditer(r'<(?:a|link|script)\b[^>]*?\b(?:href|src)="([^"]*)"', text):
        yield urljoin(base, html.unescape(found.group(1))).partition("#")[0]
