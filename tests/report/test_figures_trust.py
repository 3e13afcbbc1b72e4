"""The figure of supplier trust holds the figures of the result, untouched."""

from __future__ import annotations

from datetime import date, timedelta
from xml.etree import ElementTree

import numpy as np
import pytest

from partscreen.lots.trust import supplier_trust
from partscreen.lots.trust_records import LotRecord
from partscreen.report.figures_trust import MOST_PANELS, trust_panels, trust_svg
from partscreen.report.panels import Band, Label, Line, Points


def lots(supplier, signs, start=date(2024, 3, 1)):
    days = [start + timedelta(days=90 * i) for i in range(len(signs))]
    return [
        LotRecord(supplier, f"{supplier}{i}", "2SC5200", day, {str(k): 9.0 * sign for k in range(12)})
        for i, (sign, day) in enumerate(zip(signs, days, strict=True))
    ]


@pytest.fixture(scope="module")
def result():
    return supplier_trust([*lots("Alder", [-1] * 6), *lots("Birch & Co", [-1, 1, 1, -1])], version="0")


def test_panel_holds_the_history_of_its_supplier(result):
    panels = trust_panels(result)
    assert [p.title for p in panels] == ["Alder", "Birch & Co"]
    for panel, told in zip(panels, result.suppliers, strict=True):
        (points,) = (m for m in panel.marks if isinstance(m, Points))
        (band,) = (m for m in panel.marks if isinstance(m, Band))
        assert points.x.tolist() == [p.date.toordinal() for p in told.history]
        assert points.y.tolist() == [p.share_unfit.value for p in told.history]
        assert band.low.tolist() == [p.share_unfit.low for p in told.history]
        assert band.high.tolist() == [p.share_unfit.high for p in told.history]
        assert (band.high <= panel.y.high).all()
        assert told.sentence in panel.description


def test_tolerable_share_is_a_dashed_line_across_all_panels(result):
    for panel in trust_panels(result):
        (line,) = (m for m in panel.marks if isinstance(m, Line) and m.dash)
        assert line.y.tolist() == [result.tolerable_share] * 2
        assert (panel.x.low, panel.x.high) == tuple(line.x)


def test_panels_share_their_axes_and_name_the_number_of_lots(result):
    panels = trust_panels(result)
    assert len({(p.x.low, p.x.high, p.y.low, p.y.high) for p in panels}) == 1
    assert [m.text for p in panels for m in p.marks if isinstance(m, Label)] == ["6 lots", "4 lots"]


def test_one_date_alone_shows_its_interval():
    (panel,) = trust_panels(supplier_trust(lots("Alder", [-1]), version="0"))
    bars = [m for m in panel.marks if isinstance(m, Line) and not m.dash and np.ptp(m.x) == 0]
    assert len(bars) >= 1
    assert bars[0].y[0] < bars[0].y[1]


def test_figure_is_well_formed_and_says_that_it_is_private(result):
    text = trust_svg(result)
    root = ElementTree.fromstring(text)
    words = " ".join(root.itertext())
    assert "Private, not for publication" in words
    assert "Birch & Co" in words


def test_without_dates_there_is_no_figure():
    undated = [LotRecord("Alder", "A1", "2SC5200", None, {"1": -3.0})]
    assert trust_svg(supplier_trust(undated, version="0")) is None


def test_many_suppliers_are_cut_at_what_a_page_holds():
    many = [r for i in range(MOST_PANELS + 5) for r in lots(f"S{i}", [-1, -1])]
    assert len(trust_panels(supplier_trust(many, version="0"))) == MOST_PANELS
