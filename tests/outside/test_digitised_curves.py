"""Digitised data-sheet curves, screened as if a tester had read them.

Source of every curve: the data sheet named in its reference file (reference_curves/*.toml, `[[curves]]` and
`[[sources]]`). Expectations are worked out apart from the program (tests/outside/curve_expectations.py): plain
interpolation of the curve against the rows of the reference file. A sheet's curves at 25 degC are used; where it states
no temperature, those (25 degC assumed, within 5 K).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from partscreen.reference.library import Library
from tests.outside.confusion import POLARITIES, Cell, other_markings, own_marking, table
from tests.outside.tester_files import DrawnPart, drawn_parts, imported

LIBRARY = Library.load()
PARTS = [part for polarity in POLARITIES for part in drawn_parts(LIBRARY, polarity)]
PAGE = Path(__file__).resolve().parents[2] / "docs" / "checks_outside.md"
# Types whose limits lie close to what many other types do, some of them printed by several makers.
SOME = {"NPN": ("2SC5200", "TIP41C"), "PNP": ("2SA1943", "MJL4302A")}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("curves")


@cache
def by_readings(polarity: str, folder: Path) -> list[Cell]:
    return other_markings(LIBRARY, polarity, folder)


def assert_as_expected(cells: list[Cell]) -> None:
    wrong = [str(c) for c in cells if c.rejected_for_gain and not c.expected.may_reject]
    wrong += [str(c) for c in cells if c.expected.must_reject and not c.rejected_for_gain]
    wrong += [str(c) for c in cells if c.expected.unconfirmed and not c.unconfirmed]
    assert wrong == []


def test_every_polarity_has_curves_of_a_dozen_types() -> None:
    for polarity in POLARITIES:
        assert len({p.type for p in PARTS if p.polarity == polarity}) >= 12


@pytest.mark.parametrize("part", PARTS, ids=lambda p: p.name)
def test_curve_is_not_rejected_under_its_own_marking_with_its_sheet_left_out_of_the_prior(
    part: DrawnPart, tmp_path: Path
) -> None:
    found = own_marking(LIBRARY, part, tmp_path)
    assert found.status == "judged"
    assert found.disposition in ("hold", "accept"), [r.sentence for r in found.reasons]
    assert not [r for r in found.reasons if r.code in ("LIMIT_BROKEN", "LIMIT_UNCONFIRMED", "EDITION_OPEN")]


@pytest.mark.parametrize("polarity", POLARITIES)
def test_under_every_other_marking_readings_are_rejected_where_the_curve_breaks_a_limit_and_nowhere_else(
    polarity: str, folder: Path
) -> None:
    cells = by_readings(polarity, folder)
    assert len(cells) >= 500
    assert_as_expected(cells)
    # The check must bite: dozens of markings are ruled out, dozens are open to the readings, some break memory only.
    assert sum(c.expected.must_reject for c in cells) >= 50
    assert sum(not c.expected.may_reject for c in cells) >= 100
    assert sum(c.expected.unconfirmed for c in cells) >= 20


@pytest.mark.parametrize("polarity", POLARITIES)
def test_with_population_and_fit_the_same_is_rejected_under_some_markings(polarity: str, folder: Path) -> None:
    cells = other_markings(LIBRARY, polarity, folder, markings=SOME[polarity], fitted=True)
    assert_as_expected(cells)
    assert sum(c.expected.must_reject for c in cells) >= 5


@pytest.mark.long
@pytest.mark.parametrize("polarity", POLARITIES)
def test_with_population_and_fit_the_same_is_rejected_under_every_other_marking(polarity: str, folder: Path) -> None:
    assert_as_expected(other_markings(LIBRARY, polarity, folder, fitted=True))


@pytest.mark.parametrize("polarity", POLARITIES)
def test_what_breaks_recalled_limits_only_is_held_and_never_rejected_for_gain(polarity: str, folder: Path) -> None:
    weak = [c for c in by_readings(polarity, folder) if c.expected.unconfirmed]
    assert not [str(c) for c in weak if c.rejected_for_gain]
    for cell in weak:
        if cell.found.disposition == "reject":  # by another quantity: said so first
            first = cell.found.reasons[0]
            assert first.code == "LIMIT_BROKEN"
            assert not (first.limit or "").startswith("hFE")


@pytest.mark.parametrize("polarity", POLARITIES)
def test_no_drawn_gain_or_vbe_is_called_unsteady(polarity: str, tmp_path: Path) -> None:
    parts = drawn_parts(LIBRARY, polarity)
    batch, _ = imported(tmp_path, parts, [parts[0].type])
    notes = [(batch.part_names[n], note.run, note.sentence) for n, all_ in batch.quality.items() for note in all_]
    # MJE15033 of ON15032R6 draws "VCE(sat)" up to 18 V at IC/IB = 20, where the gain is below 20: not saturated.
    assert all(name.startswith("MJE15033") and "VCE(sat)" in sentence for name, _, sentence in notes), notes


def test_one_point_moved_off_a_drawn_curve_is_still_found(tmp_path: Path) -> None:
    part = next(p for p in PARTS if p.type == "2SC5200")
    curve = part.gain[0]
    moved = curve.value.copy()
    moved[3] *= 1.1  # 10 % at 1 % of reading error
    spoilt = DrawnPart(part.type, part.polarity, part.source, (type(curve)(**{**vars(curve), "value": moved}),), (), ())
    batch, _ = imported(tmp_path, [spoilt], [part.type])
    assert [n.code for n in batch.quality[0]] == ["UNSTEADY"]
    left_out = batch.points.ic[~batch.points.use]
    assert left_out.size <= 3
    assert np.any(np.isclose(left_out, curve.ic[3]))


def test_table_in_the_docs_is_what_the_command_prints(folder: Path) -> None:
    page = PAGE.read_text(encoding="utf-8")
    for polarity in POLARITIES:
        assert table(by_readings(polarity, folder)) in page
