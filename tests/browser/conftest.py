"""For all looks at the page: one browser, one page that is served, one tray with the demo judged and recorded."""

from __future__ import annotations

import pytest

from tests.browser.served import served
from tests.browser.steps import bring, judge
from tests.browser.tools import FLAGS, need_chromium
from tests.browser.watched import Watched


@pytest.fixture(scope="package")
def browser():
    path = need_chromium()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        opened = player.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture(scope="package")
def book(tmp_path_factory):
    """Where the bench book of the page lies."""
    return str(tmp_path_factory.mktemp("book") / "book.db")


@pytest.fixture(scope="package")
def address(book):
    with served(book) as found:
        yield found


@pytest.fixture
def watched(browser, address):
    seen = Watched(browser, address)
    yield seen
    seen.end()


@pytest.fixture(scope="package")
def demo(tmp_path_factory):
    """The folder of the demo's files."""
    from partscreen.simulate.make_demo import make_demo

    folder = tmp_path_factory.mktemp("demo")
    make_demo(folder)
    return folder


@pytest.fixture(scope="package")
def tray(browser, address, demo):
    """The path of the tray in which the whole demo lies, judged and recorded in the bench book, by mouse."""
    seen = Watched(browser, address)
    readings = sorted(p for p in demo.iterdir() if p.suffix in (".csv", ".txt", ".xlsx") and p.name != "lots.csv")
    bring(seen.tab, address, readings, lots=demo / "lots.csv", kit=demo / "kit.toml")
    path = judge(seen.tab, record=True)
    seen.end()
    return path


@pytest.fixture(scope="package")
def filled(tray, book):
    """The bench book with the demo in it and what people wrote: a job, bias, an outcome, a change of mind."""
    from partscreen.workflow import Asked, Signed, record_bias, record_fitted, record_outcome, record_override

    signed = Signed(by="bench one")
    for place, lot in (("Q1", "A1"), ("Q2", "A2")):
        asked = Asked(part=f"{lot}-01", lot=lot)
        record_fitted(asked, "village hall, left", place, channel="left", signed=signed, where=book)
    record_bias(
        "village hall, left", ["Q1=11.2 mV", "Q2=10.8 mV"], resistor="0.22 ohm", ambient=24.0, minutes=20.0,
        signed=signed, where=book,
    )  # fmt: skip
    record_outcome(
        "passed_soak", Asked(job="village hall, left"), days=None, cause=None, note="warm", signed=signed, where=book
    )
    record_override(Asked(part="C2-10", lot="C2"), "reject", reason="a cracked lead", signed=signed, where=book)
    return book
