"""Drawn parts: seeded, spread as stated, other in the way their truth says."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.device.parameters import INDEX
from partscreen.simulate.cards import type_card
from partscreen.simulate.parts import AREA_WITHIN_LOT, BETWEEN_LOTS, WITHIN_LOT, Alternatives, Kind, draw_lot
from partscreen.simulate.physics import capacitance_points, gain_points

CARD = type_card("2SC5200")


def hfe(parts, ic: float, temp: float = 298.15) -> np.ndarray:
    one = np.ones((parts.n_parts, 1))
    return gain_points(parts.theta, parts.constants[0], ic * one, 5.0 * one, temp * one).hfe[:, 0]


def test_the_same_seed_draws_the_same_parts_and_another_seed_others():
    first, again, other = (draw_lot(CARD, [Kind.SOUND] * 5, seed) for seed in (3, 3, 4))
    assert np.array_equal(first.theta, again.theta)
    assert not np.any(first.theta[:, 0] == other.theta[:, 0])


@pytest.mark.parametrize("name", ["is", "cjc", "re", "leak", "vaf"])
def test_part_to_part_spread_is_as_asked(name):
    parts = draw_lot(CARD, [Kind.SOUND] * 4000, 11)
    area = {"is": 1.0, "cjc": 1.0, "re": -1.0, "leak": 0.45, "vaf": 0.0}[name]
    asked = np.hypot(WITHIN_LOT[name], area * AREA_WITHIN_LOT)
    # 4,000 parts: the standard deviation of a Gaussian is known to 1.1 % (1 sd).
    assert np.std(parts.theta[:, INDEX[name]]) == pytest.approx(asked, rel=0.045)


def test_lot_to_lot_spread_is_as_asked():
    means = np.array([draw_lot(CARD, [Kind.SOUND] * 30, [12, k]).theta.mean(axis=0) for k in range(300)])
    # Effects are cut at 2 sd, which leaves 0.96 of a clipped Gaussian's sd; the mean of 30 parts adds the rest.
    asked = np.hypot(0.96 * BETWEEN_LOTS["is"], np.hypot(WITHIN_LOT["is"], AREA_WITHIN_LOT) / np.sqrt(30))
    assert np.std(means[:, INDEX["is"]]) == pytest.approx(asked, rel=0.12)


@pytest.mark.parametrize("type_number", ["2SC5200", "2SA1943", "MJL21194", "MJL21193"])
def test_sound_parts_meet_the_gain_limits_of_their_sheet(type_number):
    card = type_card(type_number)
    for seed in range(8):
        parts = draw_lot(card, [Kind.SOUND] * 60, seed)
        for limit in card.final_test:
            gain = hfe(parts, limit.ic)
            assert gain.min() > limit.low
            assert gain.max() < limit.high


def test_a_smaller_die_scales_currents_and_capacitance_with_area_and_resistance_against_it():
    ways = Alternatives(area=(0.5, 0.5))
    parts = draw_lot(CARD, [Kind.SMALLER_DIE] * 3000, 5, alternatives=ways)
    whole = draw_lot(CARD, [Kind.SMALLER_DIE] * 3000, 5, alternatives=Alternatives(area=(1.0, 1.0)))
    shift = np.exp((parts.theta - whole.theta).mean(axis=0))
    for name, ratio in [("is", 0.5), ("ikf", 0.5), ("cje", 0.5), ("cjc", 0.5), ("re", 2.0), ("rc", 2.0), ("bf", 1.0)]:
        assert shift[INDEX[name]] == pytest.approx(ratio, rel=1e-9)
    cap = [capacitance_points(p.theta, CARD.constants, 1, 10.0) for p in (parts, whole)]
    assert np.median(cap[0] / cap[1]) == pytest.approx(0.5, rel=1e-9)
    assert all(truth.area == 0.5 and not truth.sound for truth in parts.truth)


def test_a_smaller_die_has_the_gain_of_a_whole_one_at_current_over_area():
    theta = CARD.theta[None]
    half = draw_lot(CARD, [Kind.SMALLER_DIE], 1, alternatives=Alternatives(area=(0.5, 0.5)))
    whole = draw_lot(CARD, [Kind.SMALLER_DIE], 1, alternatives=Alternatives(area=(1.0, 1.0)))
    assert theta.shape == half.theta.shape
    # Every current and resistance scales, except recombination (exponent 0.45 of area), which is small at amperes.
    assert hfe(half, 3.0)[0] == pytest.approx(hfe(whole, 6.0)[0], rel=0.02)


def test_gain_halves_near_the_knee_current_of_a_plain_card():
    # With NKF 0.5 and no other losses hFE is BF/(1 + IC/IKF): half at IC = IKF (Gummel-Poon, textbook).
    parts = draw_lot(CARD, [Kind.SOUND], 2)
    theta = parts.theta.copy()
    for name, value in {"nkf": 0.5, "leak": 1e-12, "vaf": 1e6, "re": 1e-6, "rc": 1e-6}.items():
        theta[0, INDEX[name]] = np.log(value)
    ikf, bf = (np.exp(theta[0, INDEX[name]]) for name in ("ikf", "bf"))
    one = np.ones((1, 1))
    at_knee = gain_points(theta, CARD.constants, ikf * one, 5.0 * one, 298.15 * one).hfe[0, 0]
    assert at_knee / bf == pytest.approx(0.5, abs=0.002)


def test_gain_of_sound_parts_falls_at_high_current():
    parts = draw_lot(CARD, [Kind.SOUND] * 20, 9)
    assert np.all(hfe(parts, 10.0) < 0.6 * hfe(parts, 1.0))


def test_a_leaky_part_loses_the_stated_factor_of_gain_at_ten_milliampere():
    for loss in (1.5, 5.0):
        leaky = draw_lot(CARD, [Kind.LEAK] * 40, 21, alternatives=Alternatives(leak_gain_loss=(loss, loss)))
        whole = draw_lot(CARD, [Kind.SOUND] * 40, 21)
        ratio = np.median(hfe(whole, 0.01)) / np.median(hfe(leaky, 0.01))
        assert ratio == pytest.approx(loss, rel=0.06)
        # With NE = 1.5 the leak grows as IC**(2/3): at 5 A it weighs an eighth of what it does at 10 mA.
        assert np.median(hfe(whole, 5.0) / hfe(leaky, 5.0)) < 1 + (loss - 1) / 5


def test_lower_gain_damaged_bond_and_worn_parts_differ_where_they_should():
    kinds = [Kind.LOW_GAIN, Kind.BOND, Kind.WORN, Kind.VOLTAGE_GRADE] * 30
    parts = draw_lot(CARD, kinds, 31)
    low, bond, worn, grade = (parts.of_kind(k) for k in (Kind.LOW_GAIN, Kind.BOND, Kind.WORN, Kind.VOLTAGE_GRADE))
    assert np.median(hfe(parts, 1.0)[low]) < 0.75 * np.median(hfe(parts, 1.0)[bond])
    assert np.all(np.exp(parts.theta[bond, INDEX["re"]]) > 0.02)
    assert np.all(np.isfinite(parts.shunt) == worn)
    assert np.median(parts.theta[grade, INDEX["rc"]]) < np.median(parts.theta[bond, INDEX["rc"]])


def test_another_type_under_the_print_carries_that_types_card_and_name():
    other = type_card("MJL21194")
    parts = draw_lot(CARD, [Kind.OTHER_TYPE] * 500, 41, alternatives=Alternatives(other=other))
    assert all(t.true_type == "MJL21194" and t.marked == "2SC5200" and np.isnan(t.area) for t in parts.truth)
    assert parts.constants[parts.card[0]].ic_rated == 16.0
    assert np.mean(parts.theta[:, INDEX["bf"]]) == pytest.approx(other.theta[INDEX["bf"]], abs=0.4)


def test_another_types_die_without_its_card_is_refused_with_the_way_out():
    with pytest.raises(ValueError, match="Alternatives"):
        draw_lot(CARD, [Kind.OTHER_TYPE], 1)


def test_reversed_leads_leave_the_reverse_gain():
    parts = draw_lot(CARD, [Kind.REVERSED, Kind.SOUND], 51)
    gain = hfe(parts, 0.5)
    # BR 6.6, two spreads of 15 % each, and 5 V across a 10 V reverse Early voltage.
    assert gain[0] < 20
    assert gain[1] > 55
