"""The site of the pages, as it is built, looked at from outside: a page of each shape, and the HTML of all."""

from __future__ import annotations

import pytest

from tests.browser.crawl import Crawl
from tests.browser.tools import html_errors
from tests.browser.watched import Watched
from tests.docs.site import build

SHAPES = ("docs/index", "README", "docs/commands", "docs/page", "docs/matching", "docs/safety", "search")


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    out = tmp_path_factory.mktemp("site") / "site"
    ran = build(out)
    assert ran.returncode == 0, ran.stderr
    return out


def test_a_page_of_each_shape_is_accessible_and_fits_360_px(browser, site, tmp_path):
    crawl = Crawl(Watched(browser, "file://"), tmp_path, [])
    for name in SHAPES:
        crawl.seen.tab.goto((site / f"{name}.html").as_uri())
        crawl.look(name)
    crawl.seen.end()
    assert [(page.name, page.broken, page.sideways) for page in crawl.pages if page.broken or page.sideways] == []
    assert all(len(page.headings) == 1 for page in crawl.pages)


def test_html_and_style_sheets_of_the_whole_site_are_valid(site):
    files = [path for kind in ("*.html", "*.css") for path in sorted(site.rglob(kind))]
    assert len(files) > 40
    told = html_errors(files)
    assert not told, "\n".join(told)
