"""Figures of a lot as a whole, and evidence by reading: what is drawn is what the result says."""

from __future__ import annotations

import math

import numpy as np
import pytest

from partscreen.report.data import ControlCourse, Envelope, LimitPoint, LotData, PartData
from partscreen.report.figures import vbe_panel
from partscreen.report.figures_lot import area_panel, control_panels, groups_panel, whole_lot_panels
from partscreen.report.figures_part import evidence_panel
from partscreen.report.panels import Label, Line, Points
from partscreen.results import GroupsSeen, Interval, LotResult, PartResult, ReadingEvidence, Reason


def part(name, disposition="accept", ratio=None, **more):
    area = None if ratio is None else Interval(value=ratio, low=ratio * 0.9, high=ratio * 1.1)
    return PartResult(part=name, status="judged", disposition=disposition, area_ratio=area, **more)


def lot(parts, groups=None):
    return LotResult(lot="A1", n_parts=len(parts), judgement="use", parts=parts, groups=groups)


BAG = [part("A1-01", "accept", 1.02), part("A1-02", "reject", 0.5), part("A1-03", "hold", 0.8), part("A1-04", None)]


def points(panel):
    """Every mark of a panel as (x, row, shape)."""
    marks = [m for m in panel.marks if isinstance(m, Points)]
    return sorted((float(x), float(y), m.shape) for m in marks for x, y in zip(m.x, m.y, strict=True))


def test_areas_are_those_of_the_result_the_smallest_on_top_with_their_intervals():
    panel = area_panel(lot(BAG))
    assert points(panel) == [(0.5, 3.0, "cross"), (0.8, 2.0, "diamond"), (1.02, 1.0, "disc")]
    assert [word for _, word in panel.y.ticks] == ["A1-02", "A1-03", "A1-01"]
    bars = next(m for m in panel.marks if isinstance(m, Line) and np.isnan(m.x).any())
    drawn = np.column_stack([bars.x, bars.y])[~np.isnan(bars.x)].reshape(-1, 2, 2)
    expected = [[[r * 0.9, row], [r * 1.1, row]] for r, row in ((0.5, 3), (0.8, 2), (1.02, 1))]
    assert np.allclose(drawn, expected)
    assert {s.word for s in panel.key} == {"accepted", "held", "rejected"}  # the part without an area is not drawn
    assert "ratio" in panel.x.label
    assert "95 %" in panel.x.label


def test_a_lot_that_nothing_vouches_for_is_drawn_against_itself_and_the_figure_says_so():
    reason = Reason(code="NO_ABSOLUTE_REFERENCE", sentence="A whole lot of another die would look the same.")
    panel = area_panel(lot(BAG).model_copy(update={"reasons": [reason]}))
    assert "the lot's main population" in panel.x.label
    assert "smaller alike" in panel.description
    assert "the type's" in area_panel(lot(BAG)).x.label


def test_an_area_without_interval_has_a_mark_and_no_bar():
    bare = part("x").model_copy(update={"area_ratio": Interval(value=0.9)})
    panel = area_panel(lot([bare, part("y", ratio=1.0)]))
    assert len(points(panel)) == 2
    bars = next(m for m in panel.marks if isinstance(m, Line) and np.isnan(m.x).any())
    assert np.isfinite(bars.x).sum() == 2


def test_a_long_lot_names_the_rejected_parts_alone_while_they_are_few():
    many = [part(f"p{i:03d}", "accept", 1.0 + i / 1000) for i in range(100)]
    few = [part(f"r{i}", "reject", 0.5 + i / 100) for i in range(3)]
    panel = area_panel(lot(many + few))
    labels = [m for m in panel.marks if isinstance(m, Label)]
    assert sorted(m.text for m in labels) == ["r0", "r1", "r2"]
    places = np.sort(panel.y.place(np.array([m.y for m in labels])))
    assert np.diff(places).min() > 0.05  # neighbours in a long list, and still readable
    assert all(m.x > 0.52 * 1.1 for m in labels)  # right of the bars
    assert "103 parts" in panel.y.label
    assert panel.y.ticks == ()
    crowd = [part(f"r{i}", "reject", 0.5 + i / 100) for i in range(20)]
    assert not [m for m in area_panel(lot(many + crowd)).marks if isinstance(m, Label)]


def seen(two):
    return GroupsSeen(
        quantity="gain at the higher current over gain at the lower",
        conditions="8 A over 0.01 A, VCE 5 V",
        parts=["A1-01", "A1-02", "A1-03"],
        values=[0.8, 0.2, 0.7],
        group=[2, 1, 2] if two else [1, 1, 1],
        two=two,
        statistic=44.0 if two else 3.0,
        bar=30.0,
    )


def test_the_view_of_two_groups_draws_every_value_and_the_gap_between_them():
    panel = groups_panel(lot(BAG, seen(True)))
    assert points(panel) == [(0.2, 3.0, "cross"), (0.7, 2.0, "diamond"), (0.8, 1.0, "disc")]
    gap = next(m for m in panel.marks if isinstance(m, Line))
    assert 0.2 < gap.x[0] == gap.x[1] < 0.7
    (label,) = [m for m in panel.marks if isinstance(m, Label)]
    assert label.text.split() == ["←", "1", "|", "2", "→"]
    assert "Two groups of 1 and 2 parts" in panel.description
    assert "44" in panel.description
    assert "8 A over 0.01 A, VCE 5 V" in panel.x.label


def test_one_group_is_said_to_be_one_and_nothing_is_drawn_between():
    panel = groups_panel(lot(BAG, seen(False)))
    assert not [m for m in panel.marks if isinstance(m, Line | Label)]
    assert "One group" in panel.description
    few = seen(False).model_copy(update={"statistic": None, "bar": None})
    assert "Too few parts" in groups_panel(lot(BAG, few)).description
    assert groups_panel(lot(BAG)) is None


def course(session="day 1", **more):
    given = {
        "at": np.array([1.0, 2.0, 3.0]),
        "timed": False,
        "temperature_known": True,
        "gain": np.array([0.0, 0.01, 0.02]),
        "gain_std": np.full(3, 0.001),
        "vbe": np.array([0.0, -1e-3, np.nan]),
        "vbe_std": np.full(3, 4e-4),
    }
    return ControlCourse(session=session, **{**given, **more})


def test_the_course_of_the_control_piece_is_drawn_with_its_uncertainty():
    gain, vbe = control_panels(LotData(control=(course(),), conditions="VCE = 5 V, case 25 °C"))
    (marks,) = [m for m in gain.marks if isinstance(m, Points)]
    assert np.array_equal(marks.y, [0.0, 0.01, 0.02])
    assert "[%]" in gain.y.label
    assert "[mV]" in vbe.y.label
    assert "VCE = 5 V" in gain.x.label
    bars = next(m for m in gain.marks if isinstance(m, Line) and np.isnan(m.y).any())
    assert np.allclose(bars.y[:2], [-0.002, 0.002])
    assert gain.y.low < -0.002
    assert gain.y.high > 0.022
    assert "taken out" in gain.description
    assert "not taken out" in control_panels(LotData(control=(course(temperature_known=False),)))[0].description


def test_sessions_differ_by_dash_and_name():
    both = LotData(control=(course(), course("day 2", gain=np.array([0.0, -0.01, -0.02]))))
    gain = control_panels(both)[0]
    lines = [m for m in gain.marks if isinstance(m, Line) and m.weight == 1.0]
    assert len({line.dash for line in lines}) == 2
    assert [m.text for m in gain.marks if isinstance(m, Label)] == ["day 2", "day 1"]


def test_clock_time_is_drawn_in_minutes_only_where_every_session_has_it():
    timed = course(at=np.array([0.0, 600.0, 1800.0]), timed=True)
    (marks,) = [m for m in control_panels(LotData(control=(timed,)))[0].marks if isinstance(m, Points)]
    assert np.array_equal(marks.x, [0, 10, 30])
    mixed = control_panels(LotData(control=(timed, course("day 2"))))[0]
    assert "number" in mixed.x.label


def test_a_control_piece_read_once_has_no_figure():
    assert control_panels(LotData()) == []
    once = course(gain=np.array([0.0, np.nan, np.nan]), vbe=np.full(3, np.nan))
    assert control_panels(LotData(control=(once,))) == []
    assert len(whole_lot_panels(lot(BAG), LotData(control=(course(),)))) == 3
    assert len(whole_lot_panels(lot(BAG), None)) == 1


TERMS = [("C_CB", -2.3), ("hFE", 4.0), ("VBE", 0.1)]


def weighed(terms=TERMS):
    by_reading = [ReadingEvidence(reading=name, evidence=value) for name, value in terms]
    return part("A1-01", "hold", evidence=sum(v for _, v in terms), evidence_by_reading=by_reading)


def test_evidence_by_reading_keeps_order_and_figures_and_ends_with_all_together():
    panel = evidence_panel(weighed())
    assert [word for _, word in panel.y.ticks] == ["C_CB", "hFE", "VBE", "all together"]
    together = (pytest.approx(1.8), 1.0, "diamond")
    assert points(panel) == [(-2.3, 4.0, "disc"), (0.1, 2.0, "cross"), together, (4.0, 3.0, "cross")]
    assert {sign.word for sign in panel.key} == {"speaks for the marking", "speaks against it", "all together"}
    assert evidence_panel(part("A1-01")) is None


@pytest.mark.parametrize("far", [0.2, 2.0, 40.0, 900.0])
def test_ticks_of_evidence_stand_at_the_odds_they_name_the_same_to_both_sides(far):
    panel = evidence_panel(weighed([("hFE", far), ("VBE", -far / 3)]))
    assert panel.x.low == -panel.x.high
    named = {text: at for at, text in panel.x.ticks if at > 0}
    assert named
    upper = {ord(a): b for a, b in zip("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789", strict=True)}
    for text, at in named.items():
        plain = text.replace(",", "").translate(upper)
        power = len(plain) - 1 if set(text) <= set("10,") else int(plain[2:])
        assert at == pytest.approx(power * math.log(10))
        assert (-at, text) in panel.x.ticks
    assert max(named.values()) <= panel.x.high


def test_a_printed_maximum_of_vbe_is_drawn_less_the_typical_curve_like_the_readings():
    ic = np.geomspace(0.01, 10, 30)
    typical = 0.6 + 0.05 * np.log10(ic / 0.01)
    envelope = Envelope(ic, typical - 0.05, typical + 0.05, typical, ("population",) * 30)
    read = PartData(ic=ic[::5], hfe=np.full(6, 80.0), vbe=typical[::5] + 0.01)
    limit = LimitPoint("vbe", float(ic[20]), float(typical[20]) + 0.03, "max", "data sheet")
    data = LotData(vbe=envelope, limits=(limit,), parts={"A1-01": read}, conditions="VCE = 5 V")
    (mark,) = [m for m in vbe_panel(lot(BAG), data).marks if isinstance(m, Points) and m.shape == "down"]
    assert mark.y[0] == pytest.approx(0.03, abs=1e-6)


def test_a_wide_band_does_not_flatten_the_readings_of_vbe():
    ic = np.geomspace(0.01, 10, 30)
    typical = 0.6 + 0.05 * np.log10(ic / 0.01)
    envelope = Envelope(ic, typical - 0.02, typical + np.where(ic > 3, 3.0, 0.02), typical, ("population",) * 30)
    read = PartData(ic=ic[::5], hfe=np.full(6, 80.0), vbe=typical[::5] + np.linspace(0, 0.03, 6))
    panel = vbe_panel(lot(BAG), LotData(vbe=envelope, parts={"A1-01": read}, conditions="VCE = 5 V"))
    assert panel.y.high - panel.y.low < 0.15
    assert panel.y.low < 0 < 0.03 < panel.y.high
