"""Small recorded runs for the tests of the book's domain: the worked bag, under any supplier's name."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from partscreen.book.facts import Facts
from partscreen.book.places import find_lot, find_part
from partscreen.workflow import ScreenOptions, screen_files
from partscreen.workflow.book.record import keep, raw_files, run_of
from tests.docs.bag import FOLDER

FILES = (FOLDER / "bag.csv", FOLDER / "capacitance.csv")
KIT = FOLDER.parent / "kit_four_wire_10a.toml"


def options(supplier="Birch", **more):
    told = f"bag type=2SC5200 supplier={supplier} files='bag.csv; capacitance.csv'" if supplier else "bag type=2SC5200"
    return ScreenOptions(lot_texts=(told,), kit=KIT, **more)


@lru_cache(maxsize=8)
def judged(supplier="Birch", risk=0.02):
    """The worked bag as judged: outcome and options."""
    chosen = options(supplier, risk=risk)
    return screen_files(FILES, chosen, figures=False), chosen


def bag_run(supplier="Birch", risk=0.02):
    outcome, chosen = judged(supplier, risk)
    return run_of(outcome, raw_files(outcome, FILES, chosen), chosen)


def record_bag(book, supplier="Birch", risk=0.02, **changes):
    """Record the worked bag and give the facts of the book."""
    keep(book, Facts(book), replace(bag_run(supplier, risk), **changes))
    return Facts(book)


def part(facts, name="T1", lot="bag", supplier=None):
    return find_part(facts, name, lot, supplier)


def lot(facts, name="bag", supplier=None):
    return find_lot(facts, name, supplier)


def write(book, *drafts, blobs=None):
    """Append drafts and give fresh facts."""
    book.append([draft[0] if isinstance(draft, tuple) else draft for draft in drafts], blobs or {})
    return Facts(book)


def slipped_bag(folder: Path) -> Path:
    """The bag's sweeps with one base current of T1 typed ten times too large."""
    text = FILES[0].read_text(encoding="utf-8")
    assert "T1,gain,7,94.891," in text
    path = folder / "bag.csv"
    path.write_text(text.replace("T1,gain,7,94.891,", "T1,gain,7,948.91,"), encoding="utf-8")
    return path
