"""The simulated bench: what a kit writes down differs from the truth as the kit says, and in no other way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partscreen.simulate.bench import last_digit, read_lot, rounded, simulate_lot
from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import KITS, BenchKit, Plan, Sitting, plan_up_to
from partscreen.simulate.parts import Alternatives, Kind, draw_lot
from partscreen.simulate.states import true_states

CARD = type_card("2SC5200")
PERFECT = BenchKit(
    "perfect", 10.0, gain_noise=0, vbe_noise=0, sat_noise=0, sat_noise_relative=0, gain_error=0, voltage_error=0,
    step_current=1e-9, step_voltage=1e-9, capacitance_noise=0, step_capacitance=1e-18,
)  # fmt: skip


def sound(n: int, seed: int = 1):
    return draw_lot(CARD, [Kind.SOUND] * n, seed)


def test_the_same_seed_gives_the_same_readings():
    first, again, other = (simulate_lot("2SA1943", 6, seed)[0].to_frame() for seed in (5, 5, 6))
    assert first.equals(again)
    assert not first.equals(other)


def test_shares_of_unfit_parts_are_as_asked_and_named_in_the_truth():
    bad = {Kind.SMALLER_DIE: 0.2, Kind.LEAK: 0.1}
    readings, truths = simulate_lot("MJL21193", 200, 2, bad=bad)
    kinds = [t.kind for t in truths]
    assert kinds.count(Kind.SMALLER_DIE) == 40
    assert kinds.count(Kind.LEAK) == 20
    assert readings.names == tuple(t.name for t in truths)


def test_more_bad_parts_than_parts_are_refused():
    with pytest.raises(ValueError, match="sum to 12 of 10"):
        simulate_lot("2SC5200", 10, 1, bad={Kind.LEAK: 0.6, Kind.WORN: 0.6})


def test_a_perfect_kit_reads_the_truth():
    parts, plan = sound(20), plan_up_to(8.0)
    truth, read = true_states(parts, PERFECT, plan, Sitting()), read_lot(parts, PERFECT, plan, 3)
    assert np.allclose(read.hfe, truth.gain_ic / truth.gain_ib, rtol=1e-6)
    assert np.allclose(read.gain_vbe, truth.gain_vbe, atol=2e-9)
    assert np.allclose(read.vce_sat, truth.vce_sat, atol=2e-9)
    assert np.allclose(read.cap, truth.cap, rtol=1e-6)


def test_noise_of_readings_is_as_the_kit_says():
    kit = replace(PERFECT, gain_noise=0.004, vbe_noise=0.001, capacitance_noise=0.01)
    parts, plan = sound(2000), plan_up_to(5.0, n_gain=4, n_sat=0)
    truth, read = true_states(parts, kit, plan, Sitting()), read_lot(parts, kit, plan, 4)
    # 8,000 readings: the standard deviation is known to 0.8 % (1 sd), 4,000 capacitances to 1.1 %.
    assert np.std(np.log(read.hfe * truth.gain_ib / truth.gain_ic)) == pytest.approx(0.004, rel=0.04)
    assert np.std(read.gain_vbe - truth.gain_vbe) == pytest.approx(0.001, rel=0.04)
    assert np.std(read.cap / truth.cap) == pytest.approx(0.01, rel=0.05)


def test_gain_error_is_shared_by_a_session_and_differs_between_sessions():
    kit = replace(PERFECT, gain_error=0.02)
    parts, plan = sound(5), plan_up_to(5.0, n_sat=0)
    exact = read_lot(parts, PERFECT, plan, 1).hfe
    one, two = (read_lot(parts, kit, plan, seed, Sitting(session=9)).hfe / exact for seed in (1, 2))
    other = read_lot(parts, kit, plan, 1, Sitting(session=10)).hfe / exact
    assert np.ptp(one) < 1e-6
    assert np.allclose(one, two, rtol=1e-6)
    assert abs(one[0, 0] / other[0, 0] - 1) > 1e-4


def test_lead_resistance_adds_its_drop_to_saturation_and_fixture_its_picofarads():
    parts, plan = sound(5), plan_up_to(8.0)
    exact = read_lot(parts, PERFECT, plan, 1)
    two_wire = read_lot(parts, replace(PERFECT, lead=0.05, fixture=3e-12), plan, 1)
    assert np.allclose(two_wire.vce_sat - exact.vce_sat, 0.05 * plan.sat_ic, atol=1e-8)
    assert np.allclose(two_wire.cap - exact.cap, 3e-12, atol=1e-17)


def test_self_heating_lowers_vbe_and_splits_up_from_down():
    plan = plan_up_to(1.0, both_ways=True, n_sat=0)
    parts = sound(8)
    pulsed = read_lot(parts, replace(PERFECT, ic_max=1.0), plan, 1)
    warm = read_lot(parts, replace(PERFECT, ic_max=1.0, pulsed=False, dwell=1.0, heat_sink=10.0), plan, 1)
    n = plan.gain_ic.size // 2
    assert np.allclose(pulsed.gain_vbe[:, :n], pulsed.gain_vbe[:, :n:-1], atol=2e-4)
    split = warm.gain_vbe[:, :n] - warm.gain_vbe[:, :n:-1]
    assert np.all(split[:, 2:] > 1e-4)  # the way down is warmer
    assert np.all(warm.gain_vbe[:, n] < pulsed.gain_vbe[:, n])
    # 5 W through RthJC 0.83 K/W near -2 mV/K: 5 to 15 mV at 1 A.
    assert np.all(np.abs(warm.gain_vbe[:, n] - pulsed.gain_vbe[:, n]) < 0.03)


def test_temperature_is_logged_drifting_or_left_out():
    parts, plan = sound(40), plan_up_to(1.0)
    logged = read_lot(parts, KITS[10.0], plan, 1, Sitting(air=293.15, drift=6.0))
    assert logged.case_temp[0, 0] == pytest.approx(293.1, abs=0.2)
    hours = (logged.time[-1, -1] - logged.time[0, 0]) / 3600
    assert logged.case_temp[-1, -1] - logged.case_temp[0, 0] == pytest.approx(6.0 * hours, abs=0.3)
    assert np.all(np.isnan(read_lot(parts, KITS[10.0], plan, 1, Sitting(logged=False)).case_temp))


def test_base_current_steps_read_the_same_gain_as_forced_collector_currents():
    parts = sound(6)
    steps = np.geomspace(1e-4, 0.08, 12)
    stepped = read_lot(parts, PERFECT, Plan(base_steps=steps), 1)
    for i in range(parts.n_parts):
        forced = read_lot(parts, PERFECT, Plan(gain_ic=stepped.gain_ic[i]), 1)
        assert np.allclose(forced.gain_ib[i], steps, rtol=1e-5)


def test_a_supply_at_its_limit_holds_the_current_and_lets_vce_fall():
    parts = sound(3)
    plan = Plan(base_steps=np.array([0.005, 0.02, 0.05, 0.1, 0.15]))
    read = read_lot(parts, PERFECT, plan, 1, Sitting(supply_limit=2.5, clipped=(parts.names[1],)))
    assert not read.clipped[[0, 2]].any()
    assert np.all(read.gain_ic[1, read.clipped[1]] == 2.5)
    assert np.all(read.gain_vce[1, read.clipped[1]] < 0.5)
    assert read.clipped[1, -1]


def test_dead_parts_read_as_open_and_short():
    parts = draw_lot(CARD, [Kind.OPEN, Kind.SHORT, Kind.SOUND], 7)
    read = read_lot(parts, KITS[10.0], plan_up_to(5.0), 1)
    assert np.all(read.gain_ic[0] == 0)
    assert np.all(read.gain_vbe[0] > 2.5)
    assert read.cap[0].max() < 10e-12
    assert np.all(read.gain_ib[1] == 0)
    assert np.all(read.gain_vce[1] < 0.2)
    assert np.all(np.isfinite(read.hfe[2]))


def test_points_beyond_the_base_supply_are_not_read():
    parts = draw_lot(CARD, [Kind.REVERSED, Kind.SOUND], 7)
    read = read_lot(parts, KITS[10.0], plan_up_to(8.0), 1)
    assert np.isnan(read.hfe[0, -1])
    assert np.isfinite(read.hfe[0, 0])
    assert np.isfinite(read.hfe[1]).all()


def test_a_plan_beyond_the_kit_is_refused():
    with pytest.raises(ValueError, match=r"forces 1"):
        read_lot(sound(1), KITS[1.0], plan_up_to(5.0), 1)


@pytest.mark.parametrize("amperes", sorted(KITS))
def test_every_kit_reads_a_mixed_lot(amperes):
    bad = {kind: 0.05 for kind in Kind if kind is not Kind.SOUND}
    ways = Alternatives(other=type_card("MJL21194"))
    readings, truths = simulate_lot("2SC5200", 60, 3, kit=amperes, bad=bad, alternatives=ways)
    assert {t.kind for t in truths} == set(Kind)
    whole = [i for i, t in enumerate(truths) if t.kind not in (Kind.OPEN, Kind.SHORT, Kind.REVERSED, Kind.SMALLER_DIE)]
    assert np.isfinite(readings.hfe[whole]).all()


def test_ten_thousand_parts_have_22_sweep_rows_each():
    readings, _ = simulate_lot("2SC5200", 10_000, 1, bad={Kind.SMALLER_DIE: 0.2})
    assert readings.gain_ic.shape[1] + readings.sat_ic.shape[1] == 22


def test_rounding_keeps_the_digits_a_meter_shows():
    assert last_digit(np.array([0.123456, 12.3456, np.nan]), 1e-3)[:2].tolist() == [0.1235, 12.35]
    assert rounded(np.array([0.12345]), 1e-3).tolist() == [0.123]
