"""Working currents and their shares."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.matching.usage import evenly, within, working_currents


def test_peak_current_of_100_w_into_8_ohm_is_5_a():
    """Derived: sqrt(2 * 100 / 8) = 5.0 A (40 V peak)."""
    usage = working_currents(power=100, load=8)
    assert usage.ic[-1] == pytest.approx(5.0, rel=1e-3)
    assert working_currents(power=100, load=8, per_rail=2).ic[-1] == pytest.approx(2.5, rel=1e-3)


def test_mean_current_of_a_sine_is_two_over_pi_of_its_peak():
    """Average of a half sine: 2/pi. The grid is coarse, so within a few percent."""
    usage = working_currents(power=100, load=8)
    assert usage.weight @ usage.ic == pytest.approx(5.0 * 2 / np.pi, rel=0.04)
    assert usage.weight.sum() == pytest.approx(1.0)


def test_programme_of_large_crest_factor_works_at_small_currents():
    """Half normal levels: their mean is sqrt(2/pi) of the root mean square."""
    rms = 5.0 / 10 ** (15 / 20)
    usage = working_currents(power=100, load=8, signal="programme", crest=15)
    assert usage.weight @ usage.ic == pytest.approx(np.sqrt(2 / np.pi) * rms, rel=0.05)
    quiet, loud = (working_currents(power=100, load=8, signal="programme", crest=c) for c in (20, 10))
    assert quiet.weight @ quiet.ic < loud.weight @ loud.ic


def test_no_device_conducts_less_than_its_idle_current_while_it_conducts():
    usage = working_currents(power=100, load=8, idle=0.05)
    assert usage.ic[0] == pytest.approx(0.05)
    # At the peak the other half is all but off: IN - IP = i with IN IP = I0^2.
    assert usage.ic[-1] == pytest.approx(2.5 + np.sqrt(2.5**2 + 0.05**2), rel=1e-3)


def test_idle_alone_weighs_the_idle_current_alone():
    usage = working_currents(idle=0.058)
    assert usage.ic.tolist() == [0.058]
    assert working_currents() is None


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"power": 100}, "belong together"),
        ({"power": -1, "load": 8}, "power is -1"),
        ({"power": 100, "load": 8, "signal": "programme"}, "needs its crest factor"),
        ({"power": 100, "load": 8, "signal": "noise"}, "sine or programme"),
        ({"idle": 0.0}, "idle current is 0"),
        ({"idle": 0.1, "per_rail": 0}, "at least 1"),
    ],
)
def test_half_a_stage_is_refused(wrong, says):
    with pytest.raises(ValueError, match=says):
        working_currents(**wrong)


def test_what_the_curves_do_not_cover_is_told_as_a_share():
    usage = working_currents(power=100, load=8)
    kept, lost = within(usage, 0.001, 2.0)
    assert kept.weight.sum() == pytest.approx(1.0)
    assert lost == pytest.approx(usage.weight[usage.ic > 2.0].sum())
    assert 0.4 < lost < 0.9  # a sine is above 2 of 5 A for 74 % of the half wave
    with pytest.raises(ValueError, match="no current in common"):
        within(usage, 6.0, 8.0)
    assert evenly(0.01, 1.0).weight.tolist() == pytest.approx([1 / 12] * 12)
