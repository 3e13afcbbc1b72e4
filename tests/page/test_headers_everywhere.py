"""The headers of safety stand on every route's answer, also of errors (CSP 3, Fetch standard, RFC 9110, RFC 6266)."""

from __future__ import annotations

import re

import pytest
from starlette.routing import Route

from partscreen.page.app import build_app
from partscreen.page.guard import HEADERS
from partscreen.page.settings import PageSettings
from tests.page.bench import bench_page, record_bag

FILLED = {"sha256": "0" * 64}


def routes():
    return [r for r in build_app(PageSettings()).app.routes if isinstance(r, Route)]


def paths():
    """Every route with something in the places of its names: one that is there nowhere, and one that is hostile."""
    found = []
    for route in routes():
        names = re.findall(r"{(\w+)(?::\w+)?}", route.path)
        for word in ("none", "..%2F..%2Fetc%2Fpasswd", "%22%0d%0aSet-Cookie:%20a=b") if names else ("",):
            path = re.sub(r"{(\w+)(?::\w+)?}", lambda m, w=word: FILLED.get(m[1], w) if w == "none" else w, route.path)
            found.append(path)
    return sorted(set(found))


def assert_safe(answer):
    told = {name: answer.headers.get(name) for name in HEADERS}
    assert told == HEADERS
    assert "'unsafe" not in answer.headers["content-security-policy"]
    assert "set-cookie" not in answer.headers
    assert "server" not in answer.headers
    assert "x-powered-by" not in answer.headers
    assert "Traceback" not in answer.text
    if answer.content and answer.status_code != 304:
        assert answer.headers["content-type"]
    placed = answer.headers.get("content-disposition")
    if placed is not None:
        assert re.fullmatch(r"(inline|attachment); filename=\"[A-Za-z0-9_. -]+\"", placed), placed


def test_there_are_many_routes_and_each_is_asked():
    assert len(routes()) > 40
    assert len(paths()) >= len({route.path for route in routes()})


@pytest.mark.parametrize("path", paths())
def test_every_route_answers_with_the_headers_of_safety(client, path):
    for method in ("GET", "HEAD", "POST", "PUT"):
        answer = client.request(method, path, follow_redirects=False)
        assert_safe(answer)
        assert answer.status_code != 500, (method, path)


def test_a_crash_of_the_page_carries_them_too_and_shows_nothing_of_the_inside(client, monkeypatch):
    from partscreen.page import look_up

    def broken(*_, **__):
        raise RuntimeError("inside: /secret/place")

    monkeypatch.setattr(look_up, "show", broken)
    answer = client.get("/types")
    assert answer.status_code == 500
    assert_safe(answer)
    assert "/secret/place" not in answer.text


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    book = str(tmp_path_factory.mktemp("book") / "book.sqlite")
    record_bag(book)
    with bench_page(book) as opened:
        yield opened


def test_downloads_carry_them_too_under_safe_names(bench):
    seen: dict[str, str | None] = {}
    pages, done = ["/", "/book", "/day", "/suppliers", "/sheet", "/types"], set()
    while pages and len(done) < 60:
        page = pages.pop(0)
        if page in done:
            continue
        done.add(page)
        answer = bench.get(page)
        assert_safe(answer)
        if "text/html" not in answer.headers.get("content-type", ""):
            seen[page] = answer.headers.get("content-disposition")
            continue
        links = [link.replace("&amp;", "&").split("#")[0] for link in re.findall(r'href="(/[^"]*)"', answer.text)]
        pages = [link for link in links if re.search(r"file|figure|photo|down|book", link)] + pages + links
    assert any(word and word.startswith("attachment") for word in seen.values()), seen
