"""Names of parts that would do harm elsewhere, from the file to page, report, tables, JSON, papers and bench book.

Markup is shown as text, no cell of a table begins a formula (OWASP, CSV injection), signs that turn the direction of
writing are shown by their number in HTML and on paper (Unicode Technical Report 36, section 2.5), and nothing is lost.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

from partscreen.errors import UnusableInput
from partscreen.matching.options import MatchOptions
from partscreen.page.app import build_app
from partscreen.page.settings import PageSettings
from partscreen.report.papers.fonts import readable
from partscreen.report.papers.visible import visible
from partscreen.workflow import (
    Asked,
    PaperOptions,
    ScreenOptions,
    export_book,
    keep_screening,
    match_screenings,
    paper_labels,
    paper_lot,
    paper_record,
    paper_refund,
    screen_files,
    write_outcome,
    write_stock_table,
)
from partscreen.workflow.after.matching import write_match_table
from tests.browser.tools import need
from tests.docs.bag import FOLDER
from tests.page.visitor import BASE, Visitor
from tests.report.page import Page

NAMES = {
    "markup": "<img src=x onerror=alert(1)>",
    "script": "</script><script>alert(1)</script>",
    "plus": "+1+1",
    "minus": "-2+3+cmd|x!A0",
    "at": "@SUM(1+1)",
    "path": "../../etc/passwd",
    "other path": "C:\\x\\..\\y:z",
    "right to left": "abc\u202egnp.exe",
    "very long": "x" * 500,
    "emoji": "\U0001f525\U0001f39b",
    "quotes": '"O\'x" \u201cy\u201d',
    "template": "{{7*7}}{% raw %}",
    "typesetting": '#read("x") $x$ *b* \\',
    "line end": "line\nbreak",
    "format": "%s%n{0}",
    "no width": "\u200bzero\ufeff",
    "wide letters": "\uff1d\uff21\uff22",
    "entity": "a&amp;b&lt;i&gt;",
}
SUPPLIER = "=2+5+cmd|x!A0"
REFUSED = {"formula": '=HYPERLINK("http://x.example","y")', "formula after a tab": "\t=1+1"}
STICKERS = "63.5x38.1 mm, 3x7, margins 15.15/7.25, gaps 2.5/0"
FORMULA = re.compile(r"^[=+\-@\t\r]")
NUMBER = re.compile(r"^-?[\d.]+(e-?\d+)?$")


def hostile_bag(names: list[str], of: str = "T1") -> bytes:
    """The readings of one part of the bag (T1 is sound, T3 has a small die) under each name."""
    rows = list(csv.reader(io.StringIO((FOLDER / "bag.csv").read_text(encoding="utf-8").partition("\n")[2])))
    taken = [row for row in rows[1:] if row[0] == of]
    rng = np.random.default_rng(3)
    text = io.StringIO()
    write = csv.writer(text)
    write.writerow(rows[0])
    for name in names:
        shift = rng.normal(1.0, 0.01)
        for row in taken:
            write.writerow([name, *row[1:3], f"{float(row[3]) * shift:.5g}", *row[4:]])
    return text.getvalue().encode("utf-8")


@pytest.fixture(scope="module")
def chain(tmp_path_factory):
    """Everything written of a bag of hostile names: {name of the output: its text}."""
    folder = tmp_path_factory.mktemp("hostile")
    bag, sheet, book = folder / "bag.csv", folder / "lots.csv", str(folder / "book.db")
    bag.write_bytes(hostile_bag(list(NAMES.values())))
    sheet.write_text(f'lot,supplier,type,count,files\nbag,"{SUPPLIER}",2SC5200,18,bag.csv\n', encoding="utf-8")
    options = ScreenOptions(lots=sheet)
    outcome = keep_screening(screen_files([bag], options), [bag], options, book)
    assert outcome.not_recorded == ()
    assert [part.part for part in outcome.screening.lots[0].parts] == list(NAMES.values())
    out = folder / "out"
    write_outcome(outcome, out=out, title=NAMES["markup"])
    write_stock_table(outcome, out / "stock.csv", on=date(2026, 1, 2))
    asked = MatchOptions(kind="groups", k=2, held=True, tolerance_hfe=50.0)
    matching = match_screenings([(NAMES["script"], outcome.screening)], asked)
    assert matching.sets
    write_match_table(matching, out / "match.csv")
    export_book(out / "book", "csv", Asked(), where=book)
    for paper in (paper_lot, paper_labels, paper_record):
        # A sticker cannot hold a name of 500 letters and says so (below); every other paper can.
        on_it = tuple(name for name in NAMES.values() if paper is not paper_labels or name != NAMES["very long"])
        chosen = PaperOptions(parts=on_it, customer=NAMES["markup"], on="2026-01-02", grid=STICKERS)
        paper(out / "result.json", out / f"{paper.__name__}.pdf", chosen)
    bag_of_bad = folder / "bad.csv"
    bag_of_bad.write_bytes(hostile_bag(list(NAMES.values()), "T3"))
    write_outcome(
        screen_files([bag_of_bad], ScreenOptions(type_name="2SC5200"), figures=False), json_out=folder / "bad.json"
    )
    paper_refund(folder / "bad.json", out / "paper_refund.pdf", PaperOptions(on="2026-01-02"))
    return folder, out, on_the_page(bag, sheet, book, folder)


def on_the_page(bag: Path, sheet: Path, book: str, folder: Path) -> dict[str, str]:
    """The same bag through the page: HTML of every page that names a part, and the table."""
    shown = {}
    app = build_app(PageSettings(book=book, folder=folder / "own"))
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        visitor = Visitor(client)
        sent = [("files", ("bag.csv", bag.read_bytes())), ("lots", ("lots.csv", sheet.read_bytes()))]
        understood = visitor.settle(visitor.post("/bring", {}, files=sent))
        tray = understood.url.path
        judged = visitor.settle(visitor.post(tray, {"do": "screen"}))
        shown |= {"understood": understood.text, "result": judged.text}
        shown["parts.csv"] = visitor.get(f"{tray}/parts.csv").content.decode("utf-8-sig")
        for path in (f"{tray}/lot/1", "/book", "/suppliers", "/day", "/book/lot?lot=bag"):
            shown[path.removeprefix(tray)] = visitor.get(path).text
        for place in range(1, len(NAMES) + 1):
            shown[f"part {place}"] = visitor.get(f"{tray}/lot/1/part/{place}").text
    return shown


@pytest.fixture(scope="module")
def tables(chain):
    """Every table that was written: its cells."""
    _, out, shown = chain
    texts = {path.name: path.read_text(encoding="utf-8-sig") for path in sorted(out.rglob("*.csv"))}
    assert {"parts.csv", "stock.csv", "match.csv"} < texts.keys()
    assert len(texts) > 6  # those of the book too
    texts["page parts.csv"] = shown["parts.csv"]
    return {name: [c for row in csv.reader(io.StringIO(text)) for c in row] for name, text in texts.items()}


@pytest.fixture(scope="module")
def pages(chain):
    """Every HTML that was written, as a browser reads it."""
    _, out, shown = chain
    texts = {name: text for name, text in shown.items() if name != "parts.csv"}
    texts["report"] = (out / "report.html").read_text(encoding="utf-8")
    return {name: Page(text) for name, text in texts.items()}


@pytest.fixture(scope="module")
def papers(chain):
    """The text of every PDF, without white space."""
    need(shutil.which("pdftotext"), "pdftotext", "apt-get install poppler-utils")
    _, out, _ = chain
    found = {}
    for path in out.glob("*.pdf"):
        ran = subprocess.run(["pdftotext", "-raw", str(path), "-"], capture_output=True, check=True)
        found[path.stem] = squeezed(ran.stdout.decode("utf-8"))
    assert len(found) == 4
    return found


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b\u00ad]+", "", text)


def test_no_cell_of_any_table_begins_a_formula(tables):
    for name, cells in tables.items():
        assert [one for one in cells if FORMULA.match(one) and not NUMBER.match(one)] == [], name


def test_no_page_gains_a_tag_or_a_handler(pages):
    for name, page in pages.items():
        assert page.handlers == [], name
        assert not {"img", "iframe", "object", "embed"} & set(page.tags), name
        assert page.tags.count("script") == (0 if name == "report" else 1), name
        assert page.errors == [], name


@pytest.mark.parametrize("kind", NAMES)
def test_a_hostile_name_goes_through_the_whole_chain_as_text(kind, chain, tables, pages, papers):
    folder, out, _ = chain
    name = NAMES[kind]
    result = json.loads((out / "result.json").read_text(encoding="utf-8"))
    assert name in [part["part"] for part in result["lots"][0]["parts"]]
    for table in ("parts.csv", "page parts.csv", "match.csv"):
        assert name in [cell.removeprefix("'") for cell in tables[table]], table
    place = list(NAMES).index(kind) + 1
    for page in ("result", "/lot/1", f"part {place}", "report", "/book/lot?lot=bag"):
        assert squeezed(visible(name.replace("\n", " "))) in squeezed(pages[page].text), page
    for paper in ("paper_lot", "paper_labels", "paper_record", "paper_refund"):
        if kind == "very long":  # broken at the ends of lines and pages, and too long for a sticker
            assert papers[paper].count("x" * 14) >= (0 if paper == "paper_labels" else 30), paper
        else:
            assert squeezed(readable(visible(name))) in papers[paper], paper
    assert not [path for path in folder.rglob("*") if path.name in ("passwd", "y:z")]


def test_a_name_too_long_for_a_sticker_is_told_with_a_way_out(chain):
    _, out, _ = chain
    chosen = PaperOptions(parts=(NAMES["very long"],), grid=STICKERS)
    with pytest.raises(UnusableInput, match="shorter names"):
        paper_labels(out / "result.json", out / "long.pdf", chosen)


@pytest.mark.parametrize("kind", REFUSED)
def test_a_name_that_is_a_formula_is_told_and_the_rest_goes_on(kind, tmp_path):
    (tmp_path / "bag.csv").write_bytes(hostile_bag(["T1", REFUSED[kind], "T2"]))
    outcome = screen_files([tmp_path / "bag.csv"], ScreenOptions(), figures=False)
    assert [part.part for lot in outcome.screening.lots for part in lot.parts] == ["T1", "T2"]
    problem = outcome.screening.inputs[0].problems[0]
    assert problem.code == "FORMULA_NO_VALUE"
    assert problem.column == "part"


def test_a_file_with_null_characters_is_refused_with_a_way_out(tmp_path):
    (tmp_path / "bag.csv").write_bytes(hostile_bag(["T\x001", "T2"]))
    outcome = screen_files([tmp_path / "bag.csv"], ScreenOptions(), figures=False)
    (problem,) = outcome.screening.inputs[0].problems
    assert problem.code == "BINARY_FILE"
    assert "export" in problem.fix
