"""Devices in parallel: sums, symmetry, heat, and the loop gain against the working point it speaks of."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partscreen.device.card import Card
from partscreen.device.forward import gain_at
from partscreen.device.parallel import Cooling, Shared, loop_gain, share_current

ROOM = 300.15


def cards(offsets: list[float], **more: float) -> Card:
    """Devices whose VBE lie apart by `offsets` [V] at equal current."""
    scale = np.exp(-np.asarray(offsets)[:, None] / 0.025865)
    return Card(is_=1e-12 * scale, bf=100.0, **more)


def shared(offsets: list[float], total: float, ohms: float, **more: float) -> Shared:
    return share_current(cards(offsets, **more), total, 10.0, np.full(len(offsets), ohms), Cooling(ROOM))


def test_alike_devices_share_alike() -> None:
    found = shared([0.0, 0.0, 0.0], 0.3, 0.22)
    np.testing.assert_allclose(found.emitter, 0.1, rtol=1e-8)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(-0.05, 0.05), min_size=2, max_size=5), st.floats(0.02, 20.0), st.floats(0.05, 1.0),
    st.floats(0.0, 2.0),
)  # fmt: skip
def test_currents_add_up_and_every_device_stands_at_the_common_voltage(
    offsets: list[float], total: float, ohms: float, rise: float
) -> None:
    card = cards(offsets, re=0.01, rb=1.0, ikf=8.0)
    cooling = Cooling(310.0, junction_to_case=rise, case_to_sink=0.4, sink_to_air=0.2)
    found = share_current(card, total, 5.0, np.full(len(offsets), ohms), cooling)
    assert found.reached
    assert found.emitter.sum() == pytest.approx(total, rel=1e-6)
    alone = gain_at(card, found.collector[:, None], 5.0, found.junction[:, None])
    np.testing.assert_allclose(alone.vbe[:, 0] + found.drop, found.voltage, atol=1e-7)
    np.testing.assert_allclose(found.junction, cooling.junctions(found.power), atol=1e-9)


def test_the_device_of_lower_vbe_takes_more_and_gets_hotter() -> None:
    card = cards([0.0, -0.01])
    found = share_current(card, 1.0, 40.0, [0.22, 0.22], Cooling(308.0, 0.8, 0.4, 0.3))
    assert found.emitter[1] > found.emitter[0]
    assert found.junction[1] > found.junction[0]


def test_order_of_devices_changes_nothing() -> None:
    one, other = shared([0.0, 0.02, -0.01], 0.4, 0.22), shared([-0.01, 0.0, 0.02], 0.4, 0.22)
    np.testing.assert_allclose(one.emitter, other.emitter[[1, 2, 0]], rtol=1e-7)


def test_larger_emitter_resistors_share_better() -> None:
    spread = [float(np.ptp(shared([0.0, 0.02], 0.1, ohms).emitter)) for ohms in (0.1, 0.22, 0.47, 1.0)]
    assert spread == sorted(spread, reverse=True)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        shared([0.0, 0.0], 0.0, 0.22)
    with pytest.raises(ValueError, match="below zero"):
        shared([0.0, 0.0], 1.0, -0.1)


def warmed(rise: float, steps: int = 200) -> list[float]:
    """A device at a fixed base voltage, heated by itself step by step: its collector currents. [A]"""
    card, volts, junction, currents = cards([0.0]), 0.640, ROOM, []
    grid = np.geomspace(1e-3, 60.0, 4000)
    for _ in range(steps):
        point = gain_at(card, grid[None, :], 40.0, junction)
        voltage = point.vbe[0] + (grid + point.ib[0]) * 0.1
        ic = float(np.exp(np.interp(volts, voltage, np.log(grid))))
        currents.append(ic)
        junction = min(ROOM + rise * 40.0 * ic, 450.0)
    return currents


@pytest.mark.parametrize(("rise", "settles"), [(0.8, True), (12.0, False)])
def test_loop_gain_above_one_runs_away_and_below_it_settles(rise: float, settles: bool) -> None:
    history = warmed(rise)
    card = cards([0.0])
    gain = float(loop_gain(card, [history[0]], 40.0, [0.1], [rise], [ROOM])[0])
    if settles:
        end = float(loop_gain(card, [history[-1]], 40.0, [0.1], [rise], [ROOM + rise * 40.0 * history[-1]])[0])
        assert end < 1.0
        assert history[-1] == pytest.approx(history[-2], rel=1e-3)
        # the working point of warm currents is that of the loop: dI/I0 of a small rise grows by 1 / (1 - gain)
        assert history[1] > history[0]
    else:
        assert gain > 1.0
        assert history[-1] > 20.0 * history[0]


def test_bias_that_follows_the_heat_lowers_the_loop_gain_in_proportion() -> None:
    card = cards([0.0])
    none, half = (loop_gain(card, [0.1], 40.0, [0.22], [2.0], [ROOM], tracking=t) for t in (0.0, 0.5))
    np.testing.assert_allclose(half, none / 2.0)
