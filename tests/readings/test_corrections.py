"""What is taken off a reading agrees with the truth that was put on it, and its uncertainty with repeated draws."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from partscreen.readings.instruments.control_piece import follow_control_piece
from partscreen.readings.instruments.corrections import correct, hfe_to_temperature, self_heating, vbe_to_temperature
from partscreen.readings.instruments.kit import load_kit
from partscreen.readings.instruments.uncertainty import apply_kit, session_uncertainty
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.tables import Batch, Floats, Lot, Sweep
from tests.readings.sweeps import assemble, batch_of, clean_lot, gain_and_vbe, lot_parameters, spots_of, with_points

EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"
TWO_WIRE = load_kit(EXAMPLES / "kit_two_wire_5a.toml")
FOUR_WIRE = load_kit(EXAMPLES / "kit_four_wire_10a.toml")


def saturation(vce: Floats, ic: Floats) -> Batch:
    nan = np.full(ic.size, np.nan)
    return assemble(np.zeros(ic.size), ic, nan, nan, vce, np.full(ic.size, int(Sweep.SATURATION)), ib=ic / 10.0)


def test_leads_of_the_kit_come_out_of_vce_sat():
    ic = np.geomspace(0.1, 5.0, 8)
    true = 0.03 + 0.05 * ic
    seen = true + ic * 0.030 + 1.1 * ic * 0.030
    plain = apply_kit(saturation(seen, ic), TWO_WIRE)
    fixed, notes = correct(plain, TWO_WIRE)
    assert np.allclose(fixed.points.vce, true, atol=1e-12)
    added = ic * np.hypot(0.005, 0.005)
    assert np.allclose(fixed.points.vce_std, np.hypot(plain.points.vce_std, added))
    assert [note.code for note in notes] == ["CORRECTED_LEADS"]


def test_a_shared_emitter_lead_comes_out_of_vbe():
    rng = np.random.default_rng(21)
    p = lot_parameters(3, rng)
    ic = np.tile(np.geomspace(0.05, 4.0, 10), (3, 1))
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    ib = ic / hfe
    seen = vbe + (ic + ib) * 0.030 + ib * 0.040
    plain = apply_kit(batch_of(hfe, seen, ic), TWO_WIRE)
    fixed, _ = correct(plain, TWO_WIRE)
    assert np.allclose(fixed.points.vbe, vbe.ravel(), atol=1e-12)
    assert np.all(fixed.points.vbe_std >= plain.points.vbe_std)


def test_four_wire_readings_and_readings_without_a_kit_stay_as_they_are():
    ic = np.geomspace(0.1, 5.0, 8)
    for kit in (FOUR_WIRE, None):
        plain = apply_kit(saturation(0.03 + 0.05 * ic, ic), kit)
        fixed, notes = correct(plain, kit)
        assert np.array_equal(fixed.points.vce, plain.points.vce)
        assert notes == ()


def test_a_short_circuit_reading_gives_the_leads_without_a_kit():
    ic = np.geomspace(0.1, 5.0, 8)
    true = 0.03 + 0.05 * ic
    batch = saturation(true + 2.1 * ic * 0.020, ic)
    batch = replace(batch, spots=spots_of([(0, "vce_sat", 0.200, {"IC": 5.0, "piece": "short"})]))
    fixed, notes = correct(apply_kit(batch, None), None)
    assert np.allclose(fixed.points.vce, true, atol=1e-9)
    assert notes[0].figures["lead_ohm"] == pytest.approx(0.040)
    assert not fixed.spots.use.any()
    shared = session_uncertainty(fixed, None)
    assert shared.lead_std[0] == pytest.approx(np.hypot(3e-3, 0.015 * 0.2) / 5.0)
    assert "CONDITIONS_MISSING" not in {n.code for notes in check_quality(fixed, None).quality.values() for n in notes}


def test_leads_larger_than_the_reading_are_told():
    ic = np.geomspace(1.0, 5.0, 5)
    fixed, _ = correct(apply_kit(saturation(0.02 * ic, ic), TWO_WIRE), TWO_WIRE)
    assert fixed.quality[0][0].code == "LEADS_EXCEED_READING"
    assert not fixed.points.use.any()


def test_the_fixture_comes_out_of_a_capacitance():
    spots = [(0, "c_cb", 20.0e-12, {"VCB": 10.0}), (1, "c_be", 2.0e-12, {"VEB": 0.0})]
    plain = apply_kit(replace(clean_lot(3, 22), spots=spots_of(spots)), TWO_WIRE)
    fixed, notes = correct(plain, TWO_WIRE)
    assert fixed.spots.value[0] == pytest.approx(17.5e-12)
    assert fixed.spots.std[0] == pytest.approx(np.hypot(plain.spots.std[0], 0.3e-12))
    assert {note.code for note in notes} >= {"CORRECTED_FIXTURE"}
    assert not fixed.spots.use[1]  # nothing of it is left
    assert fixed.quality[1][0].code == "FIXTURE_EXCEEDS_READING"


def test_a_fixture_stated_with_the_reading_goes_before_the_kit():
    spots = spots_of([(0, "c_cb", 20.0e-12, {"VCB": 10.0, "fixture": 5.0e-12})])
    fixed, _ = correct(apply_kit(replace(clean_lot(3, 22), spots=spots), TWO_WIRE), TWO_WIRE)
    assert fixed.spots.value[0] == pytest.approx(15.0e-12)


def test_the_uncertainty_of_a_corrected_vce_sat_agrees_with_simulation():
    rng = np.random.default_rng(23)
    ic, ib = 4.0, 0.4
    draws = 200_000
    collector, emitter = rng.normal(0.030, 0.005, draws), rng.normal(0.030, 0.005, draws)
    seen = 0.4 + rng.normal(0.0, 3e-3, draws)
    simulated = seen - ic * collector - (ic + ib) * emitter
    batch = saturation(np.full(4, 0.4), np.full(4, ic))
    batch = with_points(batch, vce_std=np.full(4, 3e-3))
    fixed, _ = correct(apply_kit(batch, TWO_WIRE), TWO_WIRE)
    assert fixed.points.vce[0] == pytest.approx(simulated.mean(), abs=1e-4)
    assert fixed.points.vce_std[0] == pytest.approx(
        simulated.std(), rel=0.06
    )  # the base's share of the emitter lead is left out


def test_a_300_us_pulse_of_40_w_warms_25_mm2_by_2_k():
    # Check values, section 11: early-time law, k 148, rho 2329, c 705; die 25 mm2, 40 W, 300 us: 2.0 K.
    rise, std = self_heating(40.0, pulse_seconds=300e-6, die_area=25e-6, die_area_std=2.5e-6)
    assert float(rise) == pytest.approx(2.0, abs=0.05)
    assert float(std) == pytest.approx(float(rise) * np.hypot(0.1, 0.2))
    longer, _ = self_heating(40.0, pulse_seconds=1200e-6, die_area=25e-6)
    smaller, _ = self_heating(40.0, pulse_seconds=300e-6, die_area=12.5e-6)
    assert float(longer) == pytest.approx(2.0 * float(rise))
    assert float(smaller) == pytest.approx(2.0 * float(rise))


def test_two_kelvin_are_four_millivolts_and_one_percent_of_gain():
    # Check values, section 11: 2 K means -4 mV in VBE and +1 % in hFE (XTB 1.5); 10 K: -18 mV and +5 %.
    for rise, millivolts, percent in ((2.0, -4.0, 1.0), (10.0, -18.0, 5.0)):
        vbe, _ = vbe_to_temperature(0.62, 1e-3, 298.15, 0.0, reference_temp=298.15 + rise)
        hfe, _ = hfe_to_temperature(100.0, 1.0, 298.15, 0.0, reference_temp=298.15 + rise)
        assert 1e3 * (float(vbe) - 0.62) == pytest.approx(millivolts, abs=0.5 * rise / 2.0)
        assert float(hfe) - 100.0 == pytest.approx(percent, abs=0.05 * rise)


@pytest.mark.parametrize(
    ("celsius", "bf", "vbe"),
    [(0.0, 86.8149, 0.702693), (25.0, 99.0022, 0.658665), (50.0, 111.7117, 0.614093), (77.0, 126.0009, 0.565395)],
)
def test_temperature_shift_follows_the_simulator(celsius, bf, vbe):
    # Check values, section 2.4: IS 1e-12, XTI 3, EG 1.11, BF 100, XTB 1.5 at 27 degC; VBE at IC 0.1 A: 0.655118 V;
    # ngspice.
    target = celsius + 273.15
    moved, _ = hfe_to_temperature(100.0, 0.0, 300.15, 0.0, reference_temp=target)
    assert float(moved) == pytest.approx(bf, rel=1e-5)
    volts, std = vbe_to_temperature(0.655118, 0.0, 300.15, 0.0, reference_temp=target)
    assert float(volts) == pytest.approx(vbe, abs=1e-3)
    assert abs(float(volts) - vbe) <= 1e-4 + float(std)


def test_a_steady_reading_warms_by_its_thermal_resistance():
    rise, std = self_heating(np.array([10.0, 20.0]), rth_jc=1.5)
    assert np.allclose(rise, [15.0, 30.0])
    assert np.all(std > 0.0)
    with pytest.raises(ValueError, match="rth_jc"):
        self_heating(10.0)


def session_with_control(drift: float, *, parts: int = 30, every: int = 10, seed: int = 31) -> tuple[Batch, Floats]:
    """Part 0 is the control piece, read first, every tenth and last; VBE and gain drift from row to row."""
    rng = np.random.default_rng(seed)
    p = lot_parameters(parts, rng, lot_size=parts)
    ic = np.tile(p["rated"][:, None] * np.geomspace(0.01, 1.0, 8), (1, 1))
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    sequence: list[int] = []
    for part in range(1, parts):
        if (part - 1) % every == 0:
            sequence.append(0)
        sequence.append(part)
    sequence.append(0)
    which = np.repeat(sequence, 8)
    run = np.repeat(np.arange(len(sequence)), 8)
    share = np.arange(which.size) / which.size
    point = np.tile(np.arange(8), len(sequence))
    noise = rng.standard_normal((2, which.size))
    seen_hfe = hfe[which, point] * np.exp(drift * share) * (1.0 + 0.002 * noise[0])
    seen_vbe = vbe[which, point] - 0.36 * drift * share + 3e-4 * noise[1]
    order = np.lexsort((np.arange(which.size), which))
    batch = assemble(
        part=which[order],
        ic=ic[which, point][order],
        hfe=seen_hfe[order],
        vbe=seen_vbe[order],
        vce=np.full(which.size, 5.0),
        sweep=np.zeros(which.size),
        run=run[order],
        control=(which == 0)[order],
    )
    truth = vbe[which, point][order]
    points = replace(
        batch.points,
        row=np.arange(1, which.size + 1)[order],
        hfe_std=0.002 * batch.points.hfe,
        vbe_std=np.full(which.size, 3e-4),
    )
    return replace(batch, points=points), truth


def test_a_drift_of_the_control_piece_is_taken_off():
    batch, truth = session_with_control(0.05)
    batch = apply_kit(batch, None)
    before = batch.points.vbe - truth
    fixed = follow_control_piece(batch)
    judged = ~batch.points.control
    after = fixed.points.vbe - truth[judged]
    assert np.abs(before).max() > 0.015
    assert np.abs(after).max() < 2.5e-3
    assert np.std(after) < 0.25 * np.std(before[judged])
    assert all("CONTROL_DRIFT" in {n.code for n in fixed.quality[part]} for part in range(29))
    assert fixed.notices


def test_a_steady_control_piece_changes_nothing():
    changed = 0
    for seed in range(40, 80):
        batch, _ = session_with_control(0.0, seed=seed)
        batch = apply_kit(batch, None)
        fixed = follow_control_piece(batch)
        changed += int(not np.array_equal(fixed.points.vbe, batch.points.vbe[~batch.points.control]))
    assert changed <= 2  # three sigma, eight figures a session: expected about 1 in 50


def test_drift_a_logged_temperature_explains_is_left_to_the_fit():
    batch, _ = session_with_control(0.05)
    share = (batch.points.row - 1) / batch.points.row.max()
    batch = with_points(batch, case_temp=298.15 + 10.0 * share)  # 5 % of gain and -18 mV are ten kelvin
    fixed = follow_control_piece(apply_kit(batch, None))
    assert np.abs(fixed.points.vbe - batch.points.vbe[~batch.points.control]).max() < 2.5e-3


def test_the_control_piece_is_no_part_of_the_lot():
    batch, _ = session_with_control(0.0)
    batch = replace(batch, part_sign=np.ones(30, dtype=np.int64))
    checked = check_quality(apply_kit(batch, None), None)
    assert 0 not in checked.condition
    found = follow_control_piece(checked)
    assert found.part_names == batch.part_names[1:]
    assert found.n_parts == found.part_lot.size == found.part_sign.size == 29
    assert set(np.unique(found.points.part)) == set(range(29))
    assert not found.points.control.any()
    assert found.points.use.all()
    assert any(batch.part_names[0] in notice for notice in found.notices)
    kept = batch.points.part > 0
    assert np.array_equal(found.points.ic, batch.points.ic[kept])
    assert np.array_equal(found.points.part, batch.points.part[kept] - 1)


def test_a_part_that_was_control_piece_and_read_as_itself_stays():
    batch, _ = session_with_control(0.0)
    control = batch.points.control.copy()
    control[:8] = False
    found = follow_control_piece(apply_kit(with_points(batch, control=control), None))
    assert found.part_names == batch.part_names


def test_a_lot_of_nothing_but_the_control_piece_goes():
    batch, _ = session_with_control(0.0)
    lots = np.ones(30, dtype=np.int64)
    lots[0] = 0
    found = follow_control_piece(apply_kit(replace(batch, part_lot=lots, lots=(Lot("bench"), Lot("bag"))), None))
    assert [lot.name for lot in found.lots] == ["bag"]
    assert set(found.part_lot) == {0}
