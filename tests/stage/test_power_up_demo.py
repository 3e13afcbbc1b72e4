"""The end of the demo: accepted parts matched, the stage checked, pair list and cards written. Frozen demo lots."""

from __future__ import annotations

import json

import pytest

from partscreen.results import Screening
from partscreen.simulate.scenario import demo_files
from partscreen.workflow.demo import FITTING_FILES, SETS, fit_parts
from tests.report.papers_read import FROZEN, flat, needs_poppler, text_of


@pytest.fixture(scope="module")
def screening():
    """Five of the demo's lots in one result, the known-good one among them."""
    files = [FROZEN / f"{lot}.json" for lot in ("K1", "A1", "B1", "A2", "B2")]
    runs = [Screening.model_validate_json(file.read_bytes()) for file in files]
    return runs[0].model_copy(update={"lots": [lot for run in runs for lot in run.lots]})


@pytest.fixture(scope="module")
def folder(screening, tmp_path_factory):
    out = tmp_path_factory.mktemp("demo")
    fit_parts(screening, demo_files().stage, out, SETS)
    return out


def placed(folder):
    sets = json.loads((folder / "match.json").read_text(encoding="utf-8"))["sets"]
    return [[place["part"] for place in one["places"]] for one in sets]


def test_every_file_the_demo_names_is_written(folder):
    assert sorted(path.name for path in folder.iterdir()) == sorted(FITTING_FILES)


def test_known_good_and_rejected_parts_are_not_offered_for_fitting(folder, screening):
    accepted = {p.part for lot in screening.lots if not lot.known_good for p in lot.parts if p.disposition == "accept"}
    chosen = [part for one in placed(folder) for part in one]
    assert len(chosen) == 2 * SETS * 3
    assert set(chosen) <= accepted
    assert len(set(chosen)) == len(chosen)
    assert not any(part.startswith("K1") for part in chosen)


@needs_poppler
def test_cards_and_pair_list_hold_the_parts_of_the_match(folder, tmp_path):
    listed = flat(text_of((folder / "pairs.pdf").read_bytes(), tmp_path))
    cards = text_of((folder / "card.pdf").read_bytes(), tmp_path).split("\f")
    for one, sheet in zip(placed(folder), cards, strict=False):
        for part in one:
            assert part in sheet
            assert part in listed
    assert "Do not power up" not in "".join(cards)
    assert "invented" in cards[0]


def test_the_stage_page_names_the_parts_of_the_first_set(folder):
    page = (folder / "stage.html").read_text(encoding="utf-8")
    assert all(part in page for part in placed(folder)[0])
    assert "invented" in page
