"""Papers from the page: each is the file that its workflow function writes; what was typed is kept."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from urllib.parse import unquote

import pytest

from partscreen.results import Screening
from partscreen.workflow import PaperOptions, SheetOptions, paper_labels, paper_lot, paper_record, paper_refund

from partscreen.workflow import paper_stock, write_sheet  # isort: skip
from tests.docs.bag import FOLDER
from tests.page.given import HOSTILE, TURNED, files_of, saved, text_of, typed_on
from tests.report.papers_invented import result as invented
from tests.report.papers_read import FROZEN, flat, needs_poppler
from tests.report.papers_read import text_of as read_back

ON = "2026-03-31"


def take(visitor, name="B1", content=None) -> str:
    """Path of the papers of a saved result."""
    files = saved(name, field="result") if content is None else [("result", (f"{name}.json", content))]
    answer = visitor.post("/papers", files=files)
    assert answer.status_code == 200, text_of(answer)
    return answer.url.path


def make(visitor, papers: str, paper: str, **told):
    return visitor.settle(visitor.post(f"{papers}/{paper}", told))


@pytest.mark.parametrize(
    ("paper", "typed", "function", "options"),
    [
        ("lot", {}, paper_lot, PaperOptions()),
        ("refund", {"language": "de", "on": ON}, paper_refund, PaperOptions(language="de", on=ON)),
        (
            "labels",
            {"on": ON, "current": "0,1", "bag": "yes", "outline": "yes", "first": "3"},
            paper_labels,
            PaperOptions(on=ON, current=0.1, bag=True, outline=True, first=3),
        ),
        ("record", {"on": ON, "customer": "hall"}, paper_record, PaperOptions(on=ON, customer="hall")),
        ("stock", {"on": ON}, paper_stock, PaperOptions(on=ON)),
    ],
)
def test_each_paper_is_what_its_workflow_function_writes(visitor, tmp_path, paper, typed, function, options):
    ready = make(visitor, take(visitor), paper, **typed)
    ((name, content),) = files_of(visitor, ready).items()
    assert content == function(FROZEN / "B1.json", tmp_path / "own", options).read_bytes()
    assert "B1" in unquote(name)


def test_papers_are_made_of_parts_that_were_judged_here(visitor):
    tray = visitor.bring(("bag.csv", (FOLDER / "bag.csv").read_bytes())).url.path
    result = visitor.settle(visitor.post(tray, {"type0": "2SC5200", "supplier0": "Birch", "do": "screen"}))
    papers = re.search(r'href="(/papers/[\w-]+)"', result.text)[1]
    ready = make(visitor, papers, "refund", language="pt", listing="6 transistores", parts="T3")
    assert next(iter(files_of(visitor, ready).values())).startswith(b"%PDF")
    assert papers in visitor.get("/papers").text


@pytest.mark.parametrize(
    ("paper", "typed", "told"),
    [
        ("record", {"on": "31.3.2026", "customer": "hall <b>"}, "Date on the paper"),
        ("labels", {"current": "much", "first": "x", "parts": "T1\nT2"}, "Collector current of hFE and VBE"),
        ("labels", {"grid": "9x9 cm"}, "Sheet of stickers"),
        ("labels", {"current": "-1"}, "Collector current"),
        ("labels", {"current": "nan"}, "Collector current"),
        ("record", {"parts": "nobody", "customer": "hall"}, "nobody"),
        ("refund", {"language": "xx"}, "language"),
    ],
)
def test_what_cannot_be_is_told_and_what_was_typed_stays(visitor, paper, typed, told):
    answer = make(visitor, take(visitor), paper, **typed)
    assert answer.status_code == 422
    assert told in text_of(answer)
    assert "→" in answer.text
    stand = typed_on(answer, paper)
    assert {name: stand[name] for name in typed if name != "language"} == {
        name: value for name, value in typed.items() if name != "language"
    }
    assert "/tmp" not in answer.text
    assert not re.search(r"(?<![\w-])--[a-z]", text_of(answer)), "an option of a command is named"


def test_photos_stay_with_a_form_that_was_refused(visitor):
    papers = take(visitor)
    png = b"\x89PNG\r\n\x1a\nnot really"
    refused = visitor.settle(visitor.post(f"{papers}/refund", {"on": "never"}, files=[("photo", ("bag <i>.png", png))]))
    assert refused.status_code == 422
    assert "brought before: bag _i_.png" in text_of(refused)
    earlier = re.search(r'name="earlier" value="([^"]+)"', refused.text)[1]
    again = visitor.settle(visitor.post(f"{papers}/refund", {"on": ON, "earlier": earlier, "keep_photo": "0"}))
    assert "PHOTO" in again.text  # it was looked at, and is no picture
    without = visitor.settle(visitor.post(f"{papers}/refund", {"on": ON, "earlier": earlier}))
    assert files_of(visitor, without)


@needs_poppler
@pytest.mark.parametrize("paper", ["lot", "labels", "record", "refund"])
def test_hostile_names_are_text_in_every_paper(visitor, tmp_path, paper):
    whole = invented()
    (lot,) = whole.lots
    names = [HOSTILE, TURNED]
    parts = [one.model_copy(update={"part": name}) for one, name in zip(lot.parts, names, strict=False)]
    changed = lot.model_copy(update={"parts": [*parts, *lot.parts[len(parts) :]], "supplier": "<i>=cmd()"})
    papers = take(visitor, "B<b>", whole.model_copy(update={"lots": [changed]}).model_dump_json(by_alias=True))
    assert "<b>" not in visitor.get(papers).text
    ready = make(visitor, papers, paper, on=ON, grid="99.1x67.7 mm, 2x4")  # names are long for small stickers
    assert ready.status_code == 200, text_of(ready)
    ((_, content),) = files_of(visitor, ready).items()
    read = flat(read_back(content, tmp_path))
    shown = [name for name in (HOSTILE, "=T⟨U+202E⟩4") if name in read.replace(" ", "")]
    assert shown or paper == "refund", read[:400]
    assert "\u202e" not in read


def test_the_stock_table_starts_no_formula(visitor):
    whole = Screening.model_validate_json((FROZEN / "B1.json").read_bytes())
    lots = [one.model_copy(update={"supplier": "=cmd()"}) for one in whole.lots]
    content = whole.model_copy(update={"lots": lots}).model_dump_json(by_alias=True)
    ready = make(visitor, take(visitor, "B1", content), "stock")
    ((_, table),) = files_of(visitor, ready).items()
    cells = [cell for row in csv.reader(io.StringIO(table.decode())) for cell in row]
    assert "'=cmd()" in cells
    assert not any(cell.startswith(("=", "+", "@")) for cell in cells)


def test_a_file_that_is_no_result_makes_no_papers(visitor):
    for content, told in ((b"{}", "NO_RESULT"), (b"words", "NO_RESULT"), (None, "PAGE_NO_FILE")):
        files = None if content is None else [("result", ("r.json", content))]
        answer = visitor.post("/papers", files=files)
        assert answer.status_code == 422
        assert told in answer.text
    assert visitor.get("/papers/none").status_code == 404
    assert visitor.post(f"{take(visitor)}/letter").status_code == 404


def test_the_empty_sheet_is_what_the_workflow_function_writes_with_choices(visitor, tmp_path):
    typed = {"type": "2SC5200", "lot": "Q1", "count": "5", "drawn_from": "50", "seed": "7", "supplier": "Birch"}
    made = files_of(visitor, visitor.settle(visitor.post("/sheet", typed)))
    own = write_sheet("2SC5200", SheetOptions(lot="Q1", count=5, drawn_from=50, seed=7, supplier="Birch", out=tmp_path))
    assert set(made) == {path.name for path in own.files}
    for path in own.files:
        if path.suffix != ".xlsx":  # openpyxl writes the hour into it
            assert made[path.name] == path.read_bytes(), path.name
    with zipfile.ZipFile(io.BytesIO(made["Q1.xlsx"])) as book:
        assert "xl/workbook.xml" in book.namelist()


def test_an_empty_sheet_that_cannot_be_is_told_field_by_field(visitor):
    typed = {"type": "2SC5200", "lot": "a/b", "count": "3", "grid": "huge", "supplier": "<b>Birch"}
    answer = visitor.settle(visitor.post("/sheet", typed))
    assert answer.status_code == 422
    assert "Name of the bag:" in text_of(answer).replace(" :", ":")
    assert "Sheet of stickers:" in text_of(answer).replace(" :", ":")
    assert {name: typed_on(answer)[name] for name in typed} == typed
    assert "<b>Birch" not in answer.text
    empty = visitor.post("/sheet", {"count": "many"})
    assert empty.text.count("PAGE_EMPTY") == 2
    assert "PAGE_NUMBER" in empty.text
