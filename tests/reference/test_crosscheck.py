"""Ratings that do not fit each other stay visible as notes."""

from __future__ import annotations

import pytest

from partscreen.reference import Library
from partscreen.reference.crosscheck import check_derating, contradictions
from tests.reference.test_library import MINIMAL

LIBRARY = Library.load()


def test_contradictions_of_the_library_are_notes_with_their_source():
    found = {kind.name: [n for n in kind.notes if n.computed and "W/degC" in n.text] for kind in LIBRARY}
    assert {name for name, notes in found.items() if notes} == {
        *("2SA1943", "2SC5200", "MJL1302A", "MJL21193", "MJL21194", "MJL3281A"),
    }
    assert all(n.source for notes in found.values() for n in notes)
    assert "1.6 W/degC" in found["MJL21194"][0].text


def test_sheets_that_differ_in_a_rating_are_named():
    notes = [n.text for n in LIBRARY.type("BD140").notes if n.computed]
    assert any("sheets differ in VCBO: 80 V (STBD140, ONBD140); 100 V (PHBD140)" in text for text in notes)
    assert not [n for n in LIBRARY.type("2N3055").notes if n.computed]  # 1.5 and 1.52 degC/W are one figure, rounded


@pytest.mark.parametrize(("derating", "found"), [(1.2, False), (1.15, False), (1.3, True), (0.12, True)])
def test_a_note_appears_when_the_printed_slope_leaves_the_tolerance(derating, found):
    from partscreen.reference.validate import build

    rows = "".join(
        f'[[ratings]]\nsymbol = "{symbol}"\nvalue = {value}\nunit = "{unit}"\nsource = "S"\n'
        for symbol, value, unit in (("PC", 150, "W"), ("TJ", 150, "degC"), ("DERATING", derating, "W/degC"))
    )
    import tomllib

    kind, problems = build(tomllib.loads(MINIMAL + rows), "own.toml")
    assert not problems
    assert bool(contradictions(kind)) is found


@pytest.mark.parametrize(("p25", "tj", "rth"), [(100, 25, None), (0, 150, None), (100, 150, 0)])
def test_figures_that_cannot_be_are_refused(p25, tj, rth):
    with pytest.raises(ValueError, match="cannot be"):
        check_derating(p25, tj, None, rth)
