"""What matching buys."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.matching.worth import shared_current, worth_reasons


def code(matched=(0.001,), **stage):
    told = {"per_rail": None, "resistor": None, "idle": None} | stage
    reasons = worth_reasons(np.array([0.004, 0.020]), np.array(matched), **told)
    return reasons[0].code


@pytest.mark.parametrize(
    ("total", "resistor", "split"),
    [(0.100, 0.22, (0.063, 0.037)), (0.100, 0.47, (0.060, 0.040)), (5.0, 0.22, (2.54, 2.46))],
)
def test_20_mv_splits_a_current_as_derived_by_hand(total, resistor, split):
    """Derived, kT/q at 25 degC: 100 mA split 63/37 with 0.22 ohm and 60/40 with 0.47 ohm; 5 A split 2.54/2.46."""
    more = shared_current(total, 0.020, resistor)
    digits = 3 if total < 1 else 2
    assert (round(more, digits), round(total - more, digits)) == split


@pytest.mark.parametrize(("volt", "resistor", "apart"), [(0.020, 0.22, 0.0909), (0.050, 0.22, 0.227)])
def test_at_large_currents_the_difference_tends_to_voltage_over_resistor(volt, resistor, apart):
    """Derived: the junctions hardly differ any more, so I1 - I2 tends to the VBE difference over the resistor."""
    total = 1000.0
    assert 2 * shared_current(total, volt, resistor) - total == pytest.approx(apart, rel=0.01)


def test_equal_parts_share_equally_and_no_resistor_leaves_the_junctions_alone():
    assert shared_current(1.0, 0.0, 0.22) == pytest.approx(0.5)
    ratio = np.exp(0.018 / (8.617333262e-5 * 298.15))  # of two junctions 18 mV apart
    assert shared_current(1.0, 0.018, 0.0) == pytest.approx(ratio / (1 + ratio))


def test_matching_is_called_pointless_just_at_one_pair_per_rail_with_good_resistors():
    assert code(per_rail=1, resistor=0.22) == "MATCHING_POINTLESS"
    assert code(per_rail=1, resistor=0.01) == "ONE_PAIR"
    assert code(per_rail=1) == "ONE_PAIR"
    assert code(per_rail=2, resistor=0.22, idle=0.05) == "MATCHING_BUYS"
    assert code(per_rail=2, resistor=0.22, idle=1.5) == "MATCHING_BUYS_LITTLE"
    assert code(per_rail=2, resistor=0.22, idle=0.05, matched=[0.019]) == "MATCHING_BUYS_LITTLE"
    assert code(per_rail=2) == "SHARING_NOT_TOLD"
    assert code() == "STAGE_NOT_TOLD"


def test_currents_and_resistors_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="above 0"):
        shared_current(0.0, 0.02, 0.22)
    with pytest.raises(ValueError, match="above 0"):
        shared_current(0.1, 0.02, -0.22)
