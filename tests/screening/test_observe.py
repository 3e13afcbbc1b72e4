"""Readings are laid out for the fit, nothing lost that can be used and nothing used that cannot."""

import numpy as np

from partscreen.readings.instruments.uncertainty import SessionUncertainty
from partscreen.readings.tables import Sweep
from partscreen.screening.observe import build_observations
from tests.screening.bench import batch, join, points, spots


def test_rows_of_parts_land_in_their_row_sorted_by_current():
    table = join(points(0, [3.0, 1.0, 2.0], hfe=[30, 10, 20]), points(2, [0.5], hfe=50))
    made = build_observations(batch(3, table), np.arange(3))
    o = made.observations
    assert o.gain_ic.shape == (3, 3)
    assert o.gain_ic[0].tolist() == [1.0, 2.0, 3.0]
    assert o.hfe[0].tolist() == [10, 20, 30]
    assert np.isnan(o.gain_ic[1]).all()
    assert o.hfe[2, 0] == 50
    assert np.isnan(o.hfe[2, 1:]).all()
    assert made.gain_row[2, 0] == 3


def test_control_pieces_and_rows_not_to_be_used_are_left_out():
    table = points(
        0, [1.0, 2.0, 3.0], hfe=50, control=np.array([True, False, False]), use=np.array([True, False, True])
    )
    o = build_observations(batch(1, table), np.arange(1)).observations
    assert o.gain_ic.tolist() == [[3.0]]


def test_gain_is_worked_out_from_both_currents_of_a_gummel_run():
    table = points(0, [1e-3, 1e-2], ib=[1e-5, 1e-4], vbe=[0.5, 0.56], sweep=Sweep.GUMMEL)
    o = build_observations(batch(1, table), np.arange(1)).observations
    assert np.allclose(o.hfe, 100)
    assert np.allclose(o.vbe, [[0.5, 0.56]])


def test_output_sweep_gives_gain_points_in_the_active_region_only():
    vce = np.tile([0.0, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0], 2)
    ib = np.repeat([0.01, 0.02], 8)
    ic = ib * 100 * np.clip(vce / 0.6, 0, 1) + 1e-6
    table = points(0, ic, ib=ib, vce=vce, sweep=Sweep.OUTPUT)
    o = build_observations(batch(1, table), np.arange(1)).observations
    used = o.gain_vce[0]
    # Active above the knee (0.5 V carries 80 %), at the round levels, the same on both base steps.
    assert sorted(used) == [1.0, 1.0, 2.0, 2.0, 5.0, 5.0, 10.0, 10.0, 20.0, 20.0]
    assert np.allclose(o.hfe, 100, rtol=1e-3)


def test_step_cut_short_by_the_supply_takes_its_knee_from_the_fuller_steps():
    # Knee of 1 ohm: the last step, cut off at 2 V and 2 A, never left saturation though it looks flat to itself.
    vce = np.array([0.5, 1.0, 2.0, 5.0, 10.0, 0.5, 1.0, 1.8, 1.9, 2.0])
    ib = np.repeat([0.01, 0.03], 5)
    ic = np.minimum(ib * 100, vce / 1.0) * np.where(ib > 0.02, 0.99, 1.0)
    o = build_observations(batch(1, points(0, ic, ib=ib, vce=vce, sweep=Sweep.OUTPUT)), np.arange(1)).observations
    assert np.allclose(o.hfe[np.isfinite(o.hfe)], 100)
    assert sorted(o.gain_vce[0]) == [2.0, 5.0, 10.0]


def test_output_sweep_without_usable_base_current_gives_nothing():
    table = points(0, [1.0, 2.0], ib=np.nan, vce=[5.0, 10.0], sweep=Sweep.OUTPUT)
    assert build_observations(batch(1, table), np.arange(1)).observations.gain_ic.size == 0


def test_spot_readings_join_in_with_their_conditions():
    rows = [
        (0, "hfe", 80.0, {"IC": 1.0, "VCE": 5.0}),
        (0, "hfe", 70.0, {}),  # no current stated: cannot be placed
        (0, "vce_sat", 0.3, {"IC": 4.0, "IC_over_IB": 10.0}),
        (1, "c_be", 1.9e-9, {}),
        (1, "c_cb", 120e-12, {"VCB": 10.0}),
    ]
    o = build_observations(batch(2, spot_table=spots(rows)), np.arange(2)).observations
    assert o.hfe[0].tolist() == [80.0]
    assert o.sat_ib[0].tolist() == [0.4]
    assert o.cap_junction[1].tolist() == [0, 1]
    assert o.cap_bias[1].tolist() == [0.0, 10.0]
    # Bias not stated: taken as 0 V, with broad uncertainty.
    assert o.cap_ln_std[1, 0] > 0.15 > 0.03 > o.cap_ln_std[1, 1]


def test_temperature_falls_back_to_the_one_given_and_widens_the_session():
    told = build_observations(batch(1, points(0, [1.0], hfe=50, temp=323.15)), np.arange(1))
    silent = build_observations(
        batch(1, points(0, [1.0], hfe=50, temp=np.nan), assumed_temp=frozenset({0})), np.arange(1), temperature=310.0
    )
    assert told.observations.gain_temp[0, 0] == 323.15
    assert silent.observations.gain_temp[0, 0] == 310.0
    assert silent.observations.session_temp_std[0] > told.observations.session_temp_std[0]


def test_session_uncertainty_comes_from_the_kit_where_it_says_so():
    table = points(0, [1.0], hfe=50)
    kit = SessionUncertainty(np.array([0.3]), np.array([0.001]), np.array([0.02]))
    o = build_observations(batch(1, table), np.arange(1), session_uncertainty=kit).observations
    assert (o.session_temp_std[0], o.session_gain_ln_std[0], o.session_lead_std[0]) == (0.3, 0.001, 0.02)


def test_batch_without_readings_is_an_empty_rectangle():
    o = build_observations(batch(2), np.arange(2)).observations
    assert o.n_parts == 2
    assert o.gain_ic.shape == o.sat_ic.shape == o.cap.shape == (2, 0)
