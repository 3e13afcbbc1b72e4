"""Every page of the page, and every HTML file we write, looked at from outside.

Accessibility: axe-core's rules (they follow WCAG 2, w3.org/TR/WCAG22). HTML and style sheets: the Nu Html Checker (HTML
Living Standard, html.spec.whatwg.org). Width: WCAG 2.2, 1.4.10 (reflow) asks for 320 px; we ask for 360 px without
scrolling sideways, tables in their own frame apart.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from urllib.parse import quote

import pytest

from tests.browser.crawl import Crawl, Looked
from tests.browser.tools import html_errors
from tests.browser.visits import VISITS
from tests.browser.watched import Watched

READING = quote("C_CB=118 pF @ VCB=10 V, f=1 MHz")
# Pages that no link leads to as they stand here: answers to a form that asks (GET).
ASKED = (
    f"/check?type=2SC5200&readings={READING}",
    "/types?name=2SC5200",
    "/plan?lot_size=50",
    "/plan?question=given&sample=20&found=1",
    "/find?text=A1-01",
    "/replace?name=2SC5200",
    "/favicon.ico",
)


def routes():
    """Every GET route of the application."""
    from partscreen.page.app import build_app
    from partscreen.page.settings import PageSettings

    return [route for route in build_app(PageSettings()).app.routes if "GET" in (route.methods or ())]


@pytest.fixture(scope="module")
def looked(browser, address, tray, filled, demo, tmp_path_factory):
    """Everything seen on one walk over all pages."""
    # Answers 4xx are asked for on purpose; the browser tells of each, which is not a fault of the page.
    crawl = Crawl(Watched(browser, address, refusals=True), tmp_path_factory.mktemp("html"), routes())
    crawl.open(f"{address}/nothing/here")
    reached = [page for visit in VISITS for page in visit(crawl, demo, tray)]
    crawl.follow(("/", tray, *ASKED, *reached))
    crawl.seen.context.close()
    return crawl


@pytest.fixture(scope="module")
def written(browser, address, tray, demo, tmp_path_factory):
    """HTML files that are read without the program: the report of the demo and its output stage; looked at."""
    from partscreen.workflow import check_stage, write_stage

    folder = tmp_path_factory.mktemp("written")
    crawl = Crawl(Watched(browser, address), folder, [])
    tab = crawl.seen.tab
    tab.goto(f"{address}{tray}/report")
    with tab.expect_download() as given:
        tab.get_by_role("link", name="Download report.html").click()
    given.value.save_as(folder / "report.html")
    write_stage(check_stage(demo / "stage.toml"), folder / "stage")
    for path in (folder / "report.html", folder / "stage" / "stage.html"):
        crawl.html.append(path)
        tab.goto(path.as_uri())
        crawl.look(path.name)
    crawl.seen.context.close()
    return crawl


def grave(pages: list[Looked]) -> list[str]:
    return [f"{page.name}: {one.rule} ({one.impact}), {one.help}: {one.where}" for page in pages for one in page.broken]


def none_of(found: Iterable[str]) -> None:
    """Nothing was found; else all of it is told."""
    told = list(found)
    assert not told, "\n".join(told)


def test_no_page_breaks_a_rule_of_accessibility(looked, written):
    assert len(looked.pages) > 40
    none_of(grave([*looked.pages, *written.pages]))


def test_no_page_scrolls_sideways_at_360_px(looked, written):
    none_of(f"{page.name}: {page.sideways}" for page in (*looked.pages, *written.pages) if page.sideways)


def test_html_and_style_sheets_are_valid(looked, written, address):
    style = looked.folder / "sheet.css"
    style.write_text(looked.texts["/sheet.css"], encoding="utf-8")
    none_of(html_errors([*looked.html, *written.html, style]))


def test_every_route_is_visited(looked):
    assert {route.path for route in looked.routes} - looked.visited == set()


def test_every_link_leads_somewhere(looked):
    assert len(looked.fetched) > 100
    none_of(looked.lost)


def test_links_within_a_page_have_their_place(looked, written):
    for path in (*looked.html, *written.html):
        text = path.read_text(encoding="utf-8")
        places = set(re.findall(r'\bid="([^"]+)"', text))
        assert set(re.findall(r'href="#([^"]+)"', text)) <= places, path.name


def test_every_page_has_one_heading_of_the_first_rank(looked, written):
    none_of(page.name for page in (*looked.pages, *written.pages) if len(page.headings) != 1)


def test_no_page_complains_in_the_console_or_asks_another_machine(looked, written):
    for crawl in (looked, written):
        none_of(crawl.seen.complaints)
        assert crawl.seen.asked
        none_of(crawl.seen.stopped)
