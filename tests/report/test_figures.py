from itertools import pairwise

import numpy as np
import pytest

from partscreen.report.data import Envelope, LotData, PartData
from partscreen.report.figures import (
    band_words,
    capacitance_panels,
    from_typical,
    hfe_panel,
    sat_panel,
    stretches,
    vbe_panel,
)
from partscreen.report.figures_part import part_panels
from partscreen.report.panels import Band, Label, Line, Points
from tests.report.invented import screening


@pytest.fixture(scope="module")
def lot():
    result, data = screening()
    return result.lots[0], data.lots["B1"]


def test_the_gain_figure_shows_every_read_part_with_its_readings_untouched(lot):
    result, data = lot
    panel = hfe_panel(result, data)
    drawn = [m.y for m in panel.marks if isinstance(m, Line) and m.tone in (0.6, 1.0)]
    assert len(drawn) == len(data.parts)
    for part in data.parts.values():
        assert any(np.array_equal(part.hfe, y) for y in drawn)


def test_rejected_parts_differ_by_shape_weight_and_name_not_by_colour_alone(lot):
    panel = hfe_panel(*lot)
    heavy = [m for m in panel.marks if isinstance(m, Line) and m.weight > 1]
    crosses = [m for m in panel.marks if isinstance(m, Points) and m.shape == "cross"]
    assert len(heavy) == len(crosses) == 1  # the dead part has no readings to draw
    assert heavy[0].dash
    assert [m.text for m in panel.marks if isinstance(m, Label)] == ["B1-04"]


def test_each_stretch_of_the_band_says_where_it_comes_from(lot):
    panel = hfe_panel(*lot)
    assert [s.text for s in panel.stretches] == ["population", "typical curve", "limit", "typical curve"]
    pieces = panel.stretches
    assert all(a.high == b.low for a, b in pairwise(pieces))
    assert pieces[0].low == lot[1].hfe.ic[0]
    assert pieces[-1].high == lot[1].hfe.ic[-1]
    tones = {s.text: s.tone for s in pieces}
    assert len(set(tones.values())) == 3
    words = band_words(lot[1].hfe)
    assert all(word in words for word in ("population", "typical curve", "printed limits"))
    assert words in panel.description


def test_bands_of_neighbouring_stretches_meet(lot):
    bands = [m for m in hfe_panel(*lot).marks if isinstance(m, Band)]
    assert len(bands) == 4
    assert all(a.x[-1] >= b.x[0] for a, b in pairwise(bands))


def test_limits_point_to_the_permitted_side_and_memory_is_hollow(lot):
    marks = [m for m in hfe_panel(*lot).marks if isinstance(m, Points) and m.shape in ("up", "down")]
    assert [(m.shape, m.filled, float(m.y[0])) for m in marks] == [
        ("up", True, 55),
        ("down", True, 160),
        ("up", False, 35),
    ]


def test_every_axis_carries_its_quantity_and_conditions(lot):
    result, data = lot
    panels = [
        hfe_panel(*lot),
        sat_panel(*lot),
        vbe_panel(*lot),
        *capacitance_panels(*lot),
        *part_panels(result.parts[0], data),
    ]
    for panel in panels:
        assert "=" in panel.x.label, panel.title
        assert panel.y.label
    assert "IC/IB = 10" in sat_panel(*lot).x.label
    assert "VCB = 10 V" in capacitance_panels(*lot)[0].y.label


def test_conditions_that_are_not_stated_are_said_not_to_be(lot):
    result, data = lot
    bare = LotData(parts=data.parts)
    assert "conditions not stated" in hfe_panel(result, bare).x.label
    assert "bias and frequency not stated" in capacitance_panels(result, bare)[0].y.label


def test_vbe_is_drawn_as_difference_from_the_typical_curve(lot):
    result, data = lot
    panel = vbe_panel(result, data)
    assert panel.y.label == "VBE less typical VBE [mV]"
    part = data.parts["B1-01"]
    drawn = [m for m in panel.marks if isinstance(m, Line) and m.tone == 0.6]
    expected = from_typical(part.ic, part.vbe, data.vbe)
    assert any(np.array_equal(m.y, expected[np.isfinite(expected)]) for m in drawn)
    assert np.abs(expected).max() < 0.01  # a part of the type's own area differs by millivolts


def test_from_typical_is_zero_on_the_curve_and_unknown_outside_it():
    ic = np.array([0.1, 1.0, 10.0])
    typical = np.array([0.6, 0.66, 0.72])
    nan = np.full(3, np.nan)
    envelope = Envelope(ic, nan, nan, typical, ("typical curve",) * 3)
    got = from_typical(np.array([0.1, np.sqrt(0.1), 10.0, 20.0]), np.array([0.6, 0.63, 0.75, 0.8]), envelope)
    assert np.allclose(got[:3], [0, 0, 0.03])
    assert np.isnan(got[3])


def test_without_a_typical_curve_vbe_itself_is_drawn(lot):
    result, data = lot
    assert vbe_panel(result, LotData(parts=data.parts)).y.label == "VBE [mV]"


def test_capacitance_against_gain_has_one_mark_a_part_in_the_shape_of_its_disposition(lot):
    (panel,) = capacitance_panels(*lot)
    counted = {m.shape: m.x.size for m in panel.marks if isinstance(m, Points)}
    assert counted == {"diamond": 10, "cross": 1}


def test_nothing_is_drawn_where_nothing_was_read(lot):
    result, _ = lot
    empty = LotData(parts={"B1-01": PartData()})
    assert hfe_panel(result, empty) is None
    assert sat_panel(result, empty) is None
    assert vbe_panel(result, empty) is None
    assert capacitance_panels(result, empty) == []
    assert part_panels(result.parts[0], empty) == []


def test_a_single_reading_still_gives_a_figure(lot):
    result, _ = lot
    one = PartData(ic=np.array([1.0]), hfe=np.array([90.0]), vbe=np.array([0.7]))
    data = LotData(parts={"B1-01": one})
    assert hfe_panel(result, data).x.low < 1.0 < hfe_panel(result, data).x.high
    assert vbe_panel(result, data).y.high - vbe_panel(result, data).y.low >= 0.1
    assert [p.y.label for p in part_panels(result.parts[0], data)] == ["hFE", "VBE [mV]"]


def test_the_figures_of_a_part_show_readings_fit_and_residuals(lot):
    result, data = lot
    part, read = result.parts[0], data.parts["B1-01"]
    gain, vbe, sat, residual = part_panels(part, data)
    for panel, values in ((gain, read.hfe), (vbe, read.vbe), (sat, read.vce_sat)):
        assert any(isinstance(m, Points) and np.array_equal(m.y, values, equal_nan=True) for m in panel.marks)
    assert any(isinstance(m, Line) and np.array_equal(m.y, np.array(part.curves.hfe)) for m in gain.marks)
    assert [m.shape for m in residual.marks if isinstance(m, Points)] == ["ring", "cross", "diamond"]
    assert residual.y.low == -residual.y.high


def test_an_envelope_of_unequal_lengths_is_refused():
    ic = np.array([0.1, 1.0])
    with pytest.raises(ValueError, match="each of its 2 currents"):
        Envelope(ic, ic, ic, ic, ("limit",))
    assert stretches(None) == ()
