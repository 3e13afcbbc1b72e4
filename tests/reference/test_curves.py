"""Curves as arrays, and the working point of a type."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.reference import Library
from partscreen.reference.curves import curves, typical_forced_gain, typical_vce

LIBRARY = Library.load()


def test_curves_come_as_arrays_with_kelvin_and_source():
    (cold, room, hot) = sorted(curves(LIBRARY.type("2SC5200"), "hFE", "IC"), key=lambda c: c.temperature)
    assert [c.temperature for c in (cold, room, hot)] == pytest.approx([248.15, 298.15, 398.15])
    assert room.conditions == {"VCE": 5.0}
    assert room.x.shape == room.y.shape == (13,)
    assert np.interp(7.0, room.x, room.y) == pytest.approx(77.0)  # Fairchild 2SC5200, Rev. A2
    assert "Fairchild" in room.source
    assert room.reading_error == 0.01


def test_curves_of_a_source_can_be_left_out():
    kind = LIBRARY.type("TIP35C")
    everything = curves(kind)
    left = curves(kind, leave_out={"STTIP35PDF"})
    assert len(everything) == 16
    assert {c.source_ids for c in left} == {("ONTIP35PDF",)}
    assert [kind.curves[c.index].quantity for c in left] == [c.quantity for c in left]


def test_every_curve_has_positive_figures_and_a_reading_error():
    for kind in LIBRARY:
        for curve in curves(kind):
            assert np.all(curve.y > 0), (kind.name, curve.index)
            assert np.all(curve.x >= 0), (kind.name, curve.index)
            assert curve.reading_error is not None


@pytest.mark.parametrize(
    ("name", "vce", "gain"),
    [("2SC5200", 5.0, 10.0), ("2N3055", 4.0, 10.0), ("MJL21194", 5.0, 10.0), ("TIP142", 4.0, 250.0)],
)
def test_working_point_is_the_sheets_own(name, vce, gain):
    kind = LIBRARY.type(name)
    assert (typical_vce(kind), typical_forced_gain(kind)) == (vce, gain)


def test_every_type_has_a_typical_vce():
    assert all(typical_vce(kind) for kind in LIBRARY)
