import re

import numpy as np
import pytest

from partscreen.report.drawing import draw_panel, figure_svg
from partscreen.report.panels import (
    Axis,
    Band,
    Label,
    Line,
    Panel,
    Points,
    Stretch,
    category_axis,
    linear_axis,
    log_axis,
    spread_labels,
    tint,
)
from partscreen.report.svg import panel_svg
from tests.report.page import Page

SHAPES = ("disc", "ring", "diamond", "cross", "up", "down", "bar")


def panel(name="P1"):
    x = np.array([0.01, 0.1, 1.0, 10.0])
    marks = [
        Band(x, np.array([40.0, 50, np.nan, 20]), np.array([120.0, 140, 130, np.nan]), 0.2),
        Line(x, np.array([80.0, np.nan, 90, 40]), dash=(4, 2)),
        *(Points(x[:1], np.array([30.0 + 10 * i]), shape) for i, shape in enumerate(SHAPES)),
        Label(1.0, 90.0, name),
    ]
    y = linear_axis("hFE", 0, 150)
    return Panel(
        f"Gain of {name}", "words", log_axis("IC", 0.01, 10, "A"), y, tuple(marks), (Stretch(0.01, 1, "limit", 0.5),)
    )


def test_ticks_of_a_logarithmic_axis_are_decades_in_engineering_units():
    axis = log_axis("IC", 0.008, 20, "A")
    assert [t for _, t in axis.ticks] == [
        "10\N{NO-BREAK SPACE}mA",
        "100\N{NO-BREAK SPACE}mA",
        "1\N{NO-BREAK SPACE}A",
        "10\N{NO-BREAK SPACE}A",
    ]


@pytest.mark.parametrize(("low", "high"), [(0, 160), (-0.013, 0.14), (1.1e-10, 2.6e-10), (99, 101), (-4.2, 4.2)])
def test_ticks_of_a_linear_axis_lie_inside_evenly_and_print_their_place(low, high):
    axis = linear_axis("y", low, high)
    at = np.array([t for t, _ in axis.ticks])
    assert 3 <= len(at) <= 8
    assert low - 1e-12 <= at.min()
    assert at.max() <= high + 1e-12
    assert np.allclose(np.diff(at), at[1] - at[0])
    assert np.allclose([float(t.replace("−", "-")) for _, t in axis.ticks], at, atol=1e-12)


def test_a_scaled_axis_prints_in_the_unit_of_its_label():
    assert [t for _, t in linear_axis("VBE [mV]", 0.6, 1.55, scale=1e-3, about=4).ticks] == [
        "750",
        "1000",
        "1250",
        "1500",
    ]
    assert [t for _, t in linear_axis("C [pF]", 1e-10, 3e-10, scale=1e-12).ticks] == ["100", "150", "200", "250", "300"]
    assert [t for _, t in log_axis("VCE(sat) [mV]", 0.02, 0.3, "1", scale=1e-3).ticks] == ["20", "50", "100", "200"]


def test_places_on_an_axis_run_from_0_to_1_and_unknown_stays_unknown():
    for axis in (Axis("x", 0.01, 100, True, ()), Axis("x", -1, 3, False, ())):
        middle = 1.0
        places = axis.place(np.array([axis.low, middle, axis.high, np.nan]))
        assert np.allclose(places[:3], [0, 0.5, 1])
        assert np.isnan(places[3])
    assert np.isnan(Axis("x", 0.01, 100, True, ()).place(np.array([-1.0, 0.0]))).all()


def test_labels_that_would_touch_are_moved_apart_and_stay_in_the_axes():
    y = linear_axis("hFE", 0, 100)
    moved = spread_labels([Label(1, v, str(v)) for v in (99.0, 98.0, 97.0, 20.0)], y)
    places = y.place(np.array([m.y for m in moved]))
    assert np.diff(np.sort(places)).min() > 0.0599
    assert places.max() <= 0.98 + 1e-9
    assert [m.text for m in moved] == ["20.0", "97.0", "98.0", "99.0"]


@pytest.mark.parametrize("draw", [panel_svg, figure_svg])
def test_a_drawn_figure_is_named_for_screen_readers_and_keeps_text_as_text(draw):
    svg = draw(panel(), "f1")
    page = Page(svg)
    assert not page.errors
    assert 'role="img"' in svg
    assert set(page.labelled) == {"f1-t", "f1-d"} <= set(page.ids)
    assert "Gain of P1" in page.text
    assert all(word in page.text for word in ("hFE", "IC", "limit", "P1", "150"))
    assert "metadata" not in svg
    assert "<style" not in svg


@pytest.mark.parametrize("draw", [panel_svg, figure_svg])
def test_two_figures_on_one_page_share_no_id_and_all_references_resolve(draw):
    page = Page(draw(panel(), "f1") + draw(panel(), "f2"))
    assert len(page.ids) == len(set(page.ids))
    assert page.references
    assert all(ref.startswith("#") and ref[1:] in page.ids for ref in page.references)


@pytest.mark.parametrize("draw", [panel_svg, figure_svg])
def test_the_same_figure_is_drawn_the_same_twice(draw):
    assert draw(panel(), "f1") == draw(panel(), "f1")


@pytest.mark.parametrize("draw", [panel_svg, figure_svg])
@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "$\\frac{", 'a"b&c', "木\N{GRINNING FACE}", "--><b>"])
def test_a_hostile_word_in_a_figure_is_drawn_as_text(draw, name):
    page = Page(draw(panel(name), "f1"))
    assert "script" not in page.tags
    assert "b" not in page.tags
    assert not page.errors
    assert name in page.text


def test_a_small_figure_is_small():
    assert len(panel_svg(panel(), "f1")) < 6000


def test_a_gap_in_the_data_breaks_the_line_and_nothing_unknown_is_written():
    svg = panel_svg(panel(), "f1")
    assert "nan" not in svg
    assert "inf" not in svg
    # Of the four points one is unknown and one stands alone: a single run of two is left.
    dashed = re.search(r'd="([^"]*)"[^>]*stroke-dasharray', svg)
    assert dashed is not None
    assert dashed.group(1).count("M") == 1
    assert dashed.group(1).count("L") == 1


def test_drawing_uses_the_axes_it_is_given_and_returns_it():
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    assert draw_panel(panel(), axes) is axes
    assert axes.get_xscale() == "log"
    assert axes.get_xlim() == (0.01, 10)
    assert len(axes.lines) == 1 + len(SHAPES)


def test_the_ink_is_one_colour_thinned():
    assert tint(0) == "#ffffff"
    assert tint(1) == "#1b2636"


def test_names_of_rows_are_all_written_whatever_their_order():
    names = ["A1-01", "A1-02", "A1-03", "all together"]
    rows = Panel("t", "d", linear_axis("x", 0, 1), category_axis("part", names), ())
    page = Page(panel_svg(rows, "f1"))
    assert all(name in page.text for name in names)
    assert rows.y.place(np.array([4.0]))[0] > rows.y.place(np.array([1.0]))[0]  # the first one stands on top


def test_a_figure_with_many_named_rows_grows_with_them():
    rows = Panel("t", "d", linear_axis("x", 0, 1), category_axis("part", [f"p{i}" for i in range(24)]), ())
    assert rows.tall(300.0) > 400
    assert panel("P1").tall(300.0) == 300
    page = Page(panel_svg(rows, "f1", 460.0, rows.tall(320.0)))
    assert all(f"p{i}" in page.text for i in range(24))


def test_a_long_label_is_written_in_lines_that_fit():
    long = "die area against the lot's main population (ratio), 95 % interval, of a lot with a very long story"
    svg = panel_svg(Panel("t", "d", linear_axis(long, 0, 1), linear_axis("y", 0, 1), ()), "f1", 228.0)
    written = re.findall(r'text-anchor="end"[^>]*>([^<]+)</text>', svg)
    lines = [line for line in written if not line.replace(".", "").isdigit()]
    assert " ".join(lines).replace("&#x27;", "'") == long
    assert len(lines) >= 3
