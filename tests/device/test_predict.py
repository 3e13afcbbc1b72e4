"""Predictions of the device model and their derivatives."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.device import (
    Card,
    card_from_theta,
    gain_at,
    predict_capacitance,
    predict_gain,
    predict_saturation,
    saturation_at,
    theta_from_card,
)
from partscreen.device.parameters import INDEX, N_PARAMETERS, NAMES
from tests.device.lots import CONSTANTS, Floats, population

IC = np.geomspace(0.01, 15.0, 9)[None, :]
VCE = np.array([[5.0, 5.0, np.nan, 1.0, 2.0, 3.0, 20.0, 5.0, 5.0]])


def some_parts(n: int = 3) -> Floats:
    mean, covariance = population()
    theta = np.random.default_rng(5).multivariate_normal(mean, covariance, n)
    theta[:, INDEX["qs"]] = 0.05
    return theta


@pytest.mark.parametrize("pulsed", [True, False])
def test_derivatives_agree_with_differences(pulsed: bool) -> None:
    theta, temp, step = some_parts(), 320.0, 1e-4

    def values(t: Floats, kelvin: float) -> list[Floats]:
        gain = predict_gain(t, CONSTANTS, IC, VCE, kelvin, pulsed, jacobian=False)
        sat = predict_saturation(t, CONSTANTS, IC, IC / 10.0, kelvin, pulsed, jacobian=False)
        return [gain.ln_hfe, gain.vbe, sat.vce, sat.vbe]

    gain = predict_gain(theta, CONSTANTS, IC, VCE, temp, pulsed)
    sat = predict_saturation(theta, CONSTANTS, IC, IC / 10.0, temp, pulsed)
    exact = (gain.d_ln_hfe, gain.d_vbe, sat.d_vce, sat.d_vbe)
    assert all(table is not None and table.shape == (3, 9, N_PARAMETERS) for table in exact)
    for index, name in enumerate(NAMES):
        nudge = np.zeros(N_PARAMETERS)
        nudge[index] = step
        for up, down, table in zip(values(theta + nudge, temp), values(theta - nudge, temp), exact, strict=True):
            assert table is not None
            assert (up - down) / (2 * step) == pytest.approx(table[..., index], rel=1e-5, abs=1e-7), name
    by_temp = (gain.dt_ln_hfe, gain.dt_vbe, sat.dt_vce, sat.dt_vbe)
    for up, down, table in zip(values(theta, temp + 1e-2), values(theta, temp - 1e-2), by_temp, strict=True):
        assert table is not None
        assert (up - down) / 2e-2 == pytest.approx(table, rel=1e-5, abs=1e-9)


def test_some_columns_are_those_of_the_whole_table() -> None:
    theta, columns = some_parts(), np.array([INDEX["rc"], INDEX["is"], INDEX["qs"]])
    whole = predict_saturation(theta, CONSTANTS, IC, IC / 10.0, 300.0)
    part = predict_saturation(theta, CONSTANTS, IC, IC / 10.0, 300.0, columns=columns)
    assert whole.d_vce is not None
    assert part.d_vce is not None
    assert np.array_equal(part.d_vce, whole.d_vce[:, :, columns])


def test_coordinates_and_their_card_predict_the_same() -> None:
    theta = some_parts()
    theta[:, INDEX["qs"]] = 0.0
    card, rth = card_from_theta(theta, CONSTANTS), np.exp(theta[:, [INDEX["rth"]]])
    by_theta, by_card = predict_gain(theta, CONSTANTS, IC, VCE, 310.0, False), gain_at(card, IC, VCE, 310.0, rth)
    assert np.exp(by_theta.ln_hfe) == pytest.approx(by_card.hfe, rel=1e-9)
    assert by_theta.vbe == pytest.approx(by_card.vbe, abs=1e-9)
    assert by_theta.junction_temp == pytest.approx(by_card.junction_temp)
    sat, sat_card = (
        predict_saturation(theta, CONSTANTS, IC, IC / 10.0, 310.0, False),
        saturation_at(card, IC, IC / 10.0, 310.0, rth),
    )
    assert sat.vce == pytest.approx(sat_card.vce, rel=1e-6)
    assert sat.vbe == pytest.approx(sat_card.vbe, abs=1e-7)


def test_coordinates_survive_the_way_to_a_card_and_back() -> None:
    theta = some_parts()
    rth = np.exp(theta[:, INDEX["rth"]])
    back = theta_from_card(card_from_theta(theta, CONSTANTS), CONSTANTS, qs=theta[:, INDEX["qs"]], rth=rth)
    assert back == pytest.approx(theta, abs=1e-9)


def test_card_at_another_temperature_is_not_taken_for_coordinates() -> None:
    with pytest.raises(ValueError, match=r"Card\.at"):
        theta_from_card(Card(tnom=350.0), CONSTANTS)


def test_leak_is_the_recombination_base_current_at_10_ma() -> None:
    theta = some_parts(1)
    card = card_from_theta(theta, CONSTANTS)
    vbe = np.log(0.01 / np.asarray(card.is_)) * np.asarray(card.nf) * 8.617333262e-5 * CONSTANTS.tnom
    leak = np.asarray(card.ise) * np.exp(vbe / (np.asarray(card.ne) * 8.617333262e-5 * CONSTANTS.tnom))
    assert leak == pytest.approx(np.exp(theta[:, [INDEX["leak"]]]), rel=1e-9)


def test_quasi_saturation_adds_its_drop_with_the_square_of_current() -> None:
    theta = some_parts(1)
    plain = theta.copy()
    plain[:, INDEX["qs"]] = 0.0
    more, less = (predict_saturation(t, CONSTANTS, IC, IC / 10.0, 300.0, jacobian=False).vce for t in (theta, plain))
    assert more - less == pytest.approx(0.05 * (IC / 15.0) ** 2, abs=1e-9)


def test_a_run_without_collector_voltage_does_not_see_the_early_voltage() -> None:
    found = predict_gain(some_parts(), CONSTANTS, IC, np.nan, 300.0)
    assert found.reached.all()
    assert found.d_ln_hfe is not None
    assert not found.d_ln_hfe[:, :, INDEX["vaf"]].any()


def test_where_a_part_cannot_be_there_is_no_number() -> None:
    theta = some_parts(2)
    theta[1, INDEX["rc"]] = np.log(2.0)  # 15 A through 2 ohm from 5 V
    gain = predict_gain(theta, CONSTANTS, np.array([[1.0, 15.0]]), 5.0, 300.0)
    assert gain.reached.tolist() == [[True, True], [True, False]]
    assert np.array_equal(np.isnan(gain.ln_hfe), ~gain.reached)
    assert np.array_equal(np.isnan(gain.vbe), ~gain.reached)
    sat = predict_saturation(theta, CONSTANTS, np.array([[1.0]]), np.array([[1e-3, 0.1]]), 300.0)
    assert sat.reached.tolist() == [[False, True], [False, True]]
    assert np.array_equal(np.isnan(sat.vce), ~sat.reached)


def test_capacitance_follows_its_bias_and_its_coordinate() -> None:
    theta = some_parts()
    found = predict_capacitance(theta, CONSTANTS, [[0, 1, 1]], [[0.0, 0.0, 10.0]])
    assert found.ln_c[:, 0] == pytest.approx(theta[:, INDEX["cje"]])
    assert found.ln_c[:, 1] == pytest.approx(theta[:, INDEX["cjc"]])
    assert found.ln_c[:, 2] - found.ln_c[:, 1] == pytest.approx(-CONSTANTS.mjc * np.log(1.0 + 10.0 / CONSTANTS.vjc))
    assert found.d_ln_c.sum(axis=2) == pytest.approx(np.ones((3, 3)))
