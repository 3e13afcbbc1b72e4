"""Matched curves on top of each other."""

from __future__ import annotations

import re

import numpy as np
import pytest

from partscreen.matching.match import match_stock
from partscreen.matching.options import MatchOptions
from partscreen.matching.overlay import by_name, overlay
from partscreen.report.figures_matching import matched_gain_panel, matched_vbe_panel
from partscreen.report.panels import Band, Label, Line
from partscreen.report.svg import panel_svg
from partscreen.workflow.after.matching import match_screenings, matched_figures
from tests.matching.bags import COMPLEMENT, bag, stock_of


def laid(**options):
    stock = stock_of(bag(8, 8, 4))
    found = match_stock(stock, MatchOptions(**options), COMPLEMENT.get)
    return found, overlay(found.sets[0], by_name(stock.parts), found.currents[0])


def test_overlay_holds_the_fitted_curves_and_differences_that_sum_to_nothing():
    found, over = laid(kind="sets", k=2, best=2)
    low_current = over.hfe * (1 + over.ic / 8.0)  # the invented curves fall by a half at 8 A
    assert low_current == pytest.approx(np.broadcast_to(low_current[:, :1], low_current.shape), rel=1e-3)
    assert len(found.sets[0].places) == over.hfe.shape[0] == 4
    for rail in ("N", "P"):
        rows = [i for i, position in enumerate(over.positions) if position.startswith(rail)]
        assert over.vbe_from_rail[rows].sum(axis=0) == pytest.approx(np.zeros(over.ic.size), abs=1e-12)


def test_a_pair_is_shown_without_what_its_types_differ_by():
    found, over = laid(kind="pairs")
    apart = over.vbe_from_rail[0] - over.vbe_from_rail[1]
    assert np.abs(apart).max() * 1e3 == pytest.approx(found.sets[0].vbe_difference_mv, abs=0.1)
    assert over.ic[0] >= over.low * (1 - 1e-9)
    assert over.ic[-1] <= over.high * (1 + 1e-9)


@pytest.mark.parametrize("options", [{"kind": "pairs"}, {"kind": "groups", "k": 4}, {"kind": "pairs", "idle": 0.05}])
def test_every_part_has_a_line_with_its_name_over_the_tolerance(options):
    found, over = laid(**options)
    for panel in (matched_gain_panel(over, 1, 10.0), matched_vbe_panel(over, 1, 0.020)):
        assert sum(isinstance(mark, Line) for mark in panel.marks) == len(found.sets[0].parts)
        assert sum(isinstance(mark, Band) for mark in panel.marks) >= ("idle" not in options)
        labels = [mark.text for mark in panel.marks if isinstance(mark, Label)]
        assert sorted(label.split()[1] for label in labels) == sorted(found.sets[0].parts)
        drawn = panel_svg(panel, "figure")
        assert "nan" not in drawn.lower()
        assert len(re.findall(r"<path", drawn)) >= len(found.sets[0].parts)


def test_figures_of_a_match_come_in_its_order():
    runs = [("bag.json", bag(6, 6))]
    found = match_screenings(runs, MatchOptions(kind="pairs"))
    figures = matched_figures(runs, found, sets=3)
    assert [gain.title for gain, _ in figures] == ["Set 1: gain", "Set 2: gain", "Set 3: gain"]
