"""What people come for, done in a browser: which parts go together, which supplier to trust, readings typed by hand.

Judging a fresh bag is in test_page_use.py. Each by mouse, and by keys alone with the focus in sight.
"""

from __future__ import annotations

import re
import shutil
import subprocess

import numpy as np
import pytest

from tests.browser.keys import tab_to
from tests.browser.steps import RESULT, arrive, bring
from tests.browser.tools import WAIT, need
from tests.browser.watched import Watched

TYPES = {"2SC5200", "2SA1943"}
ASK = "C_BE [nF] @ VEB=0 V\nC_CB [pF] @ VCB=10 V, f=1 MHz\nhFE @ IC=1 A, VCE=5 V"


def pairs_found(tab) -> list[str]:
    """The rows of what goes together, each with one part of either type."""
    tab.get_by_role("heading", name="The pairs").wait_for()
    rows = tab.get_by_role("region", name="What goes together").locator("tbody tr").all_inner_texts()
    assert rows
    for row in rows:
        assert all(row.count(one) == 1 for one in TYPES), row
        assert {*re.findall(r"\b([AK]\d)-\d\d", row)} <= {"A1", "A2"}
    return rows


def test_complementary_pairs_are_found_by_mouse_and_named_part_by_part(watched, tray):
    tab = watched.tab
    tab.goto(f"{watched.address}{tray}/result")
    tab.get_by_role("link", name="Which of these parts go together").first.click()
    for lot in ("A1", "A2"):
        tab.get_by_role("checkbox", name=re.compile(f"^{lot} ")).check()
    assert tab.get_by_role("radio", name="pairs of one NPN and one PNP").is_checked()
    tab.get_by_role("button", name="Match", exact=True).click()
    rows = pairs_found(tab)
    assert len(rows) == 12
    assert "within 10 % of hFE and 20 mV of VBE" in tab.inner_text("main")
    assert "Mains voltage kills" in tab.inner_text("main")
    with tab.expect_download() as given:
        tab.get_by_role("link", name="table (CSV)").click()
    assert b"A1-01" in given.value.path().read_bytes()


def test_complementary_pairs_are_found_by_keys_alone(watched, tray):
    tab = watched.tab
    tab.goto(f"{watched.address}{tray}/result")
    tab_to(tab, "Which of these parts go together")
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name="Which parts go together").wait_for()
    for lot in ("A1\n", "A2\n"):
        tab_to(tab, lot)
        tab.keyboard.press("Space")
    tab_to(tab, "How many, the best")
    tab.keyboard.type("3")
    tab.keyboard.press("Enter")
    assert len(pairs_found(tab)) == 3


def advice(book: str) -> dict[str, str]:
    """The sentence of each supplier, from the same question as the command asks."""
    from partscreen.workflow import TrustOptions, weigh_suppliers

    return {one.supplier or "": one.sentence for one in weigh_suppliers(TrustOptions(book=book)).suppliers}


def test_the_supplier_to_trust_is_read_by_mouse_down_to_the_lot(watched, filled):
    tab = watched.tab
    tab.goto(watched.address)
    tab.get_by_role("navigation", name="Pages").get_by_role("link", name="Suppliers").click()
    arrive(tab, "What your own lots tell of each supplier")
    words = re.sub(r"\s+", " ", tab.inner_text("main"))
    told = advice(filled)
    assert {"Alder", "Birch", "Cedar"} <= told.keys()
    assert all(sentence in words for sentence in told.values())
    assert told["Birch"] != told["Alder"]
    tab.get_by_role("heading", name="Birch").get_by_role("link").click()
    tab.get_by_role("heading", name="Birch", level=1).wait_for()
    tab.get_by_role("link", name="B1", exact=True).first.click()
    tab.get_by_role("heading", name="Lot B1", level=1).wait_for()
    assert "10 parts marked 2SC5200" in re.sub(r"\s+", " ", tab.inner_text("main"))


def test_the_supplier_to_trust_is_read_by_keys_alone(watched, filled):
    tab = watched.tab
    tab.goto(watched.address)
    tab_to(tab, "Suppliers")
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name="What your own lots tell of each supplier").wait_for()
    tab_to(tab, "Birch", exact=True)
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name="Birch", level=1).wait_for()
    tab_to(tab, "B1", exact=True)
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name="Lot B1", level=1).wait_for()


def test_twenty_parts_are_typed_in_by_keys_alone_and_judged(watched):
    tab = watched.tab
    tab.goto(f"{watched.address}/typing")
    for words, value in (("Name of the bag", "B20"), ("Type marked on the parts", "2SC5200"), ("Supplier", "Birch")):
        tab_to(tab, words)
        tab.keyboard.type(value)
    tab_to(tab, "Other readings, number of parts")
    tab.keyboard.press("Enter")
    tab_to(tab, "Readings to ask for")
    tab.keyboard.insert_text(ASK)
    tab_to(tab, "How many parts")
    tab.keyboard.type("20")
    tab.keyboard.press("Enter")  # sends the form, as in any other
    arrive(tab, "Lot B20, marked 2SC5200")
    rng = np.random.default_rng(20)
    for n in range(1, 21):
        tab.get_by_label(f"B20-T{n:04d}").wait_for(timeout=WAIT)
        tab.locator("#line:focus").wait_for(timeout=WAIT)  # the next line is typed without a hand moved
        c_be, c_cb, hfe = 1.9 * rng.normal(1, 0.02), 190 * rng.normal(1, 0.02), 95 * rng.normal(1, 0.05)
        tab.keyboard.insert_text(f"{c_be:.3f} {c_cb:.1f} {hfe:.0f}")
        tab.keyboard.press("Enter")
    tab.get_by_label("All parts are in").wait_for(timeout=WAIT)
    tab_to(tab, "End, and judge the lot")
    tab.keyboard.press("Enter")
    arrive(tab, RESULT)
    words = tab.inner_text("main")
    assert "20 parts marked 2SC5200" in re.sub(r"\s+", " ", words)
    assert len(set(re.findall(r"B20-T\d{4}", words))) == 20


def test_result_and_report_print_to_pdf_with_their_words(watched, tray, tmp_path):
    need(shutil.which("pdftotext"), "pdftotext", "apt-get install poppler-utils")
    tab = watched.tab
    for path in ("result", "lot/2", "report.html", "lot/6/part/1"):
        if path == "report.html":
            tab.goto(f"{watched.address}{tray}/report")
            with tab.expect_download() as given:
                tab.get_by_role("link", name="Download report.html").click()
            given.value.save_as(tmp_path / path)
            tab.goto((tmp_path / path).as_uri())
        else:
            tab.goto(f"{watched.address}{tray}/{path}")
        expected = tab.locator("h1").inner_text()
        tab.pdf(path=str(tmp_path / "page.pdf"), format="A4")
        ran = subprocess.run(["pdftotext", str(tmp_path / "page.pdf"), "-"], capture_output=True, check=True)
        printed = re.sub(r"\s+", " ", ran.stdout.decode("utf-8"))
        assert re.sub(r"\s+", " ", expected).strip() in printed
        if path in ("result", "report.html"):
            assert len(set(re.findall(r"\b[ABCK]\d-\d\d\b", printed))) == 80  # every part of every lot
            assert "Take away" not in printed  # buttons stay off the paper


@pytest.fixture(scope="module")
def one_tab(browser, address):
    """One tab for all files of the demo."""
    seen = Watched(browser, address)
    yield seen
    seen.end()


READINGS = (
    "A1.csv", "A2.csv", "A3.csv", "B1.xlsx", "B2.csv", "C1.txt", "C2.csv", "K1.csv", "capacitance.csv"
)  # fmt: skip


@pytest.mark.parametrize("name", [*READINGS, "lots.csv", "kit.toml", "stage.toml"])
def test_each_file_of_the_demo_is_brought_and_understood(one_tab, demo, name):
    from partscreen.workflow import ScreenOptions, understand_files

    tab = one_tab.tab
    if name == "stage.toml":
        tab.goto(f"{one_tab.address}/stage")
        tab.get_by_text("I have a file of the stage").click()
        tab.set_input_files("#stage", str(demo / name))
        tab.get_by_role("button", name="Fill in from the file").click()
        tab.locator("input[value='2SA1943']").wait_for()
        return
    files = [demo / (name if name in READINGS else "A1.csv")]
    sheets = {"lots": demo / name} if name == "lots.csv" else {"kit": demo / name} if name == "kit.toml" else {}
    bring(tab, one_tab.address, files, **sheets)
    words = re.sub(r"\s+", " ", tab.inner_text("main"))
    expected = understand_files(files, ScreenOptions(**sheets))
    assert f"{expected.n_parts} parts in {len(expected.lots)} lot" in words
    assert files[0].name in words
    assert all(problem.code in words for problem in expected.problems)
    tab.goto(one_tab.address)
    tab.get_by_role("button", name=f"Take away {files[0].name}").first.click()
    tab.get_by_role("heading", name="Is the part what its marking says?").wait_for()
