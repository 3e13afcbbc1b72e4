"""Figures of a stage: every curve is in them, nothing is worked out in them."""

from __future__ import annotations

import numpy as np

from partscreen.report.drawing import figure_svg
from partscreen.report.figures_stage import crossover_panel, load_line_panel, sharing_panel
from partscreen.report.panels import Label, Line, Points
from partscreen.results.stage import AreaLine, GainCurve, LoadLineFigure, PlaceShare, SharingFigure

DRAWN = LoadLineFigure(
    about="NPN INVENTED, resistive load 8 ohm", vce=[50.0, 25.0, 1.0], ic=[0.0, 3.0, 6.0],
    limits=[AreaLine(name="dc", vce=[1.0, 10.0, 100.0], ic=[15.0, 15.0, 0.5])], case_temperature=340.0,
)  # fmt: skip


def test_load_line_and_every_limit_are_drawn_and_named():
    panel = load_line_panel(DRAWN)
    lines = [mark for mark in panel.marks if isinstance(mark, Line)]
    assert len(lines) == 2
    assert np.nanmax(lines[0].y) == 6.0
    assert [mark.text for mark in panel.marks if isinstance(mark, Label)] == ["dc"]
    assert "66.9" in panel.description
    assert panel.x.log
    assert panel.y.log


def test_a_type_without_safe_area_still_gets_its_load_line():
    panel = load_line_panel(DRAWN.model_copy(update={"limits": [], "case_temperature": None}))
    assert "none known" in panel.description
    assert "<svg" in figure_svg(panel, "x")


def test_each_bias_is_one_named_line():
    curves = [
        GainCurve(name=n, bias=b, current=[-1.0, 0.0, 1.0], gain=[0.97, g, 0.98])
        for n, b, g in (("a", 0.015, 0.95), ("b", 0.022, 0.97))
    ]
    panel = crossover_panel(curves)
    assert panel is not None
    assert len([mark for mark in panel.marks if isinstance(mark, Line)]) == 2
    assert "15.0" in panel.description
    assert "22.0" in panel.description
    assert crossover_panel([]) is None


def test_sharing_figure_shows_every_place_warm_and_cold():
    places = [
        PlaceShare(place="NPN 1", part="A1-01", resistor=0.22, current=0.06, drop=0.0132, cold_drop=0.011),
        PlaceShare(place="NPN 2", part="A1-02", resistor=0.22, current=0.08, drop=0.0176, cold_drop=0.015),
    ]
    panel = sharing_panel(SharingFigure(about="NPN 2SC5200", basis="warm", places=places))
    warm, cold = (mark for mark in panel.marks if isinstance(mark, Points))
    assert warm.y.tolist() == [0.0132, 0.0176]
    assert cold.y.tolist() == [0.011, 0.015]
    assert [text for _, text in panel.x.ticks] == ["NPN 1", "NPN 2"]
    assert "A1-02" in panel.description


def test_one_place_draws_no_sharing_figure():
    alone = [PlaceShare(place="NPN 1", resistor=0.22, current=0.06, drop=0.0132)]
    assert sharing_panel(SharingFigure(about="NPN", basis="warm", places=alone)) is None
