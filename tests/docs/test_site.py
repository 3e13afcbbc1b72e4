"""The site is built strictly, asks for nothing from outside, and a broken page would be found."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from tests.docs.pages import PAGES, ROOT
from tests.docs.site import build

OUTSIDE = re.compile(r"^(?:[a-z]+:)?//", re.IGNORECASE)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    out = tmp_path_factory.mktemp("site") / "site"
    ran = build(out)
    assert ran.returncode == 0, ran.stderr
    return out


class Loaded(HTMLParser):
    """What a page makes a browser fetch, and where its links lead."""

    def __init__(self):
        super().__init__()
        self.fetched, self.links, self.inline = [], [], 0

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag in ("link", "script", "img", "iframe", "source") and (told.get("href") or told.get("src")):
            self.fetched.append(told.get("href") or told.get("src"))
        if tag == "script" and "src" not in told:
            self.inline += 1
        if tag == "a" and told.get("href"):
            self.links.append(told["href"])


def seen(path):
    found = Loaded()
    found.feed(path.read_text(encoding="utf-8"))
    return found


def test_every_page_is_in_the_site(site):
    for page in PAGES:
        assert (site / page.relative_to(ROOT)).with_suffix(".html").exists(), page


def test_site_fetches_nothing_from_outside(site):
    pages = sorted(site.rglob("*.html"))
    assert len(pages) > 30
    for page in pages:
        found = seen(page)
        assert [one for one in found.fetched if OUTSIDE.match(one)] == [], page
        assert found.inline == 0, page
        for one in found.fetched:
            assert (page.parent / one.split("?")[0]).exists(), (page, one)
    for sheet in site.rglob("*.css"):
        assert not re.search(r"@import|url\(", sheet.read_text(encoding="utf-8")) or sheet.name in ("basic.css",), sheet


def test_what_may_scroll_sideways_can_be_reached_by_keyboard(site):
    text = (site / "docs" / "files.html").read_text(encoding="utf-8")
    assert text.count('<pre tabindex="0">') >= 5
    assert text.count('<table tabindex="0"') >= 5
    assert "<pre>" not in text
    assert "<table class" not in text


def test_links_inside_the_site_lead_to_a_file_that_is_there(site):
    for page in site.rglob("*.html"):
        for link in seen(page).links:
            name = link.split("#")[0].split("?")[0]
            if name and not re.match(r"[a-z]+:", name):
                assert (page.parent / name).exists(), (page, link)


def test_text_of_a_page_needs_no_script(site):
    assert seen(site / "docs" / "result.html").fetched == ["../_static/sheet.css"]


def test_every_kind_of_wrong_link_fails_the_building(tmp_path):
    wrong = {
        "[there](nowhere.md)": "nowhere.md",
        "[there](page.md#no-such-heading)": "no-such-heading",
        "[there](nowhere.csv)": "nowhere.csv",
        "![there](nowhere.png)": "nowhere.png",
    }
    docs = tmp_path / "docs"
    docs.mkdir()
    (docs / "index.md").write_text("# Start\n\n## All\n\n- [A page](page.md)\n", encoding="utf-8")
    (docs / "page.md").write_text("# A page\n\n" + "\n\n".join(wrong) + "\n", encoding="utf-8")
    ran = build(tmp_path / "out", tmp_path)
    assert ran.returncode == 1
    complaints = ran.stderr.splitlines()
    for complaint in wrong.values():
        assert any("WARNING" in line and complaint in line for line in complaints), (complaint, ran.stderr)


def test_page_that_the_start_page_does_not_list_fails_the_building(tmp_path):
    docs = tmp_path / "docs"
    docs.mkdir()
    (docs / "index.md").write_text("# Start\n\n## All\n\n- [A page](page.md)\n", encoding="utf-8")
    (docs / "page.md").write_text("# A page\n\nText.\n", encoding="utf-8")
    assert build(tmp_path / "out", tmp_path).returncode == 0
    (docs / "alone.md").write_text("# Alone\n\nText.\n", encoding="utf-8")
    ran = build(tmp_path / "out", tmp_path)
    assert ran.returncode == 1
    assert "alone" in ran.stderr
