"""Figures to take along from the page."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

from tests.docs.bag import FOLDER

STAGE = Path(__file__).resolve().parents[2] / "docs" / "examples" / "stage.toml"


def archive(visitor, path: str) -> zipfile.ZipFile:
    """The archive behind a link, as a visitor without script gets at it."""
    ready = visitor.settle(visitor.get(path))
    assert ready.status_code == 200, ready.text
    link = re.search(r'href="(/errand/[^"]+\.zip)"', ready.text)[1]
    return zipfile.ZipFile(io.BytesIO(visitor.get(link).content))


def ends(packed: zipfile.ZipFile) -> dict[str, int]:
    names = packed.namelist()
    assert len(names) == len(set(names))
    return {end: sum(name.endswith(f".{end}") for name in names) for end in ("svg", "png", "pdf")}


def test_figures_of_a_result_come_as_one_archive_in_three_forms(visitor):
    tray = visitor.bring(("bag.csv", (FOLDER / "bag.csv").read_bytes())).url.path
    assert visitor.get(f"{tray}/figures").status_code == 404  # nothing is judged yet
    result = visitor.settle(visitor.post(tray, {"type0": "2SC5200", "supplier0": "Birch", "do": "screen"}))
    assert f'href="{tray}/figures"' in result.text
    packed = archive(visitor, f"{tray}/figures")
    counted = ends(packed)
    assert counted["svg"] == counted["png"] == counted["pdf"] >= 4
    assert packed.read(next(n for n in packed.namelist() if n.endswith("-gain.pdf"))).startswith(b"%PDF")


def test_the_figure_of_a_plan_is_behind_its_page(visitor):
    page = visitor.get("/plan?lot_size=50&tolerable=10%25&confidence=95%25")
    link = re.search(r'href="(/plan/figures[^"]+)"', page.text)[1].replace("&amp;", "&")
    packed = archive(visitor, link)
    assert packed.namelist() == ["operating-curve.svg", "operating-curve.png", "operating-curve.pdf"]


def test_figures_of_a_stage_are_behind_its_checks(visitor):
    page = visitor.settle(visitor.post("/stage", files=[("stage", ("stage.toml", STAGE.read_bytes()))]))
    link = re.search(r'href="(/stage/[\w-]+/figures)"', page.text)[1]
    names = archive(visitor, link).namelist()
    assert {"load-line-1.svg", "load-line-1.png", "load-line-1.pdf"} <= set(names)


def test_suppliers_without_lots_have_no_figure_and_the_page_says_so(visitor):
    answer = visitor.settle(visitor.get("/suppliers/figures"))
    assert answer.status_code == 422
    assert "BOOK_MISSING" in answer.text or "NO_FIGURE" in answer.text
