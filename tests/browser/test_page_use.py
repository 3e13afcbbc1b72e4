"""The page in a real browser (Chromium, driven through Playwright): a bag judged by mouse, and by keyboard alone."""

from __future__ import annotations

import re

from tests.browser.keys import chooser_by_key, tab_to
from tests.browser.watched import Watched
from tests.docs.bag import FOLDER

FILES = [str(FOLDER / name) for name in ("bag.csv", "capacitance.csv")]
SHEET = str(FOLDER / "lots.csv")


def test_a_bag_is_judged_by_mouse_to_the_last_part_and_the_report(watched, tmp_path):
    tab = watched.tab
    tab.goto(watched.address)
    tab.set_input_files("#files", FILES)
    tab.get_by_text("I also have a lot sheet").click()
    tab.set_input_files("#lots", SHEET)
    tab.get_by_role("button", name="Read the files").click()
    tab.get_by_role("heading", name="How the files were understood").wait_for()
    assert tab.get_by_label("Type of lot bag").input_value() == "2SC5200"
    tab.get_by_role("button", name="Judge the parts").click()
    tab.get_by_role("heading", name="Which parts to fit").wait_for()
    assert "below the minimum of 35" in tab.inner_text("main")
    tab.get_by_role("link", name="T3").click()
    assert "rejected" in tab.inner_text("h1")
    assert tab.locator("figure svg").count() >= 3
    left, right = (
        tab.get_by_role("heading", name=f"Speaks {side} the marking").bounding_box() for side in ("for", "against")
    )
    assert left["y"] == right["y"]  # facing columns on a wide page
    assert left["x"] < right["x"]
    tab.get_by_text("How we know").click()
    assert "Chi-square" in tab.inner_text("main")
    tab.get_by_role("link", name="All lots").click()
    kept = {
        "table (CSV)": b"\xef\xbb\xbflot,part",
        "result (JSON)": b'{"schema"',
        "Download report.html": b"<!DOCTYPE html>",
    }
    for name, start in kept.items():
        if name == "Download report.html":
            tab.get_by_role("link", name="report to print or send").click()
            tab.get_by_role("heading", name="The report is ready").wait_for()
        with tab.expect_download() as given:
            tab.get_by_role("link", name=name).click()
        given.value.save_as(tmp_path / "kept")
        assert start in (tmp_path / "kept").read_bytes()[:200]


def test_a_bag_is_judged_by_keyboard_alone(watched):
    tab = watched.tab
    # The browser hands file choosers over only once it was told to, and being told takes a moment: long before the key.
    tab.on("filechooser", lambda chooser: None)
    tab.goto(watched.address)
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.innerText") == "To the content"
    tab_to(tab, "Choose files")
    chooser_by_key(tab).set_files(FILES[0])
    tab_to(tab, "Read the files")
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name="How the files were understood").wait_for()
    tab_to(tab, "Type of lot bag")
    tab.keyboard.type("2SC5200")
    tab_to(tab, "Supplier of lot bag")
    tab.keyboard.type("Birch")
    tab_to(tab, "Judge the parts")
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name="Which parts to fit").wait_for()
    tab_to(tab, "T3")
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name=re.compile("Part T3")).wait_for()
    tab_to(tab, "How we know")
    tab.keyboard.press("Enter")
    assert "Chi-square" in tab.inner_text("main")
    tab_to(tab, "Next part")
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name=re.compile("Part T4")).wait_for()


def test_without_script_the_essentials_work_and_fit_360_px_and_paper(browser, address, tmp_path):
    plain = Watched(browser, address, java_script_enabled=False)
    tab = plain.tab
    tab.set_viewport_size({"width": 360, "height": 800})
    tab.goto(address)
    tab.set_input_files("#files", FILES[0])
    tab.get_by_role("button", name="Read the files").click()
    tab.get_by_role("heading", name="How the files were understood").wait_for()
    tab.get_by_label("Type of lot bag").fill("2SC5200")
    tab.get_by_role("button", name="Judge the parts").click()
    tab.get_by_role("heading", name="Which parts to fit").wait_for()  # the page loads itself again until then
    here = tab.url.removesuffix("/result")
    paths = ("", "/columns", "/result", "/lot/1", "/lot/1/part/3", "/match?kind=groups&k=2&held=yes")
    for path in (
        *(here.removeprefix(address) + one for one in paths),
        "/",
        "/types?name=2SC5200",
        "/check",
        "/plan?lot_size=50",
        "/stage",
    ):
        tab.goto(address + path)
        main = tab.locator("main").bounding_box()
        assert main["x"] + main["width"] <= 360, path
        assert tab.locator("h1").bounding_box()["width"] <= 360
    tab.goto(f"{here}/lot/1/part/3")
    paper = tab.pdf(path=str(tmp_path / "part.pdf"), format="A4")
    assert paper.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= 4
    plain.end()
