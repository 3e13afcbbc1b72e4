"""Each fault, put into a clean simulated sweep, is found under its own code; the rest of the batch stays untouched."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from partscreen.readings.instruments.control_piece import follow_control_piece
from partscreen.readings.instruments.corrections import correct
from partscreen.readings.instruments.kit import load_kit
from partscreen.readings.instruments.uncertainty import apply_kit
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.tables import Batch, Sweep
from tests.readings.sweeps import (
    TEMP,
    assemble,
    batch_of,
    clean_lot,
    gain_and_vbe,
    lot_parameters,
    spots_of,
    with_points,
)

EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"
BAD = 3  # the part that gets the fault
K = 22


def codes(batch: Batch, part: int) -> set[str]:
    return {note.code for note in batch.quality.get(part, ())}


def judged(batch: Batch, kit=None, lots=None) -> Batch:
    return check_quality(apply_kit(batch, kit), kit, lots)


def only_the_bad_part_is_noted(batch: Batch) -> bool:
    return set(batch.quality) <= {BAD}


def lot(seed: int = 11, n: int = 20, **more) -> Batch:
    return clean_lot(n, seed, **more)


def row(index: int) -> int:
    return BAD * K + index


def changed(batch: Batch, **columns) -> Batch:
    """Points of the bad part replaced: name -> function of its K values."""
    new = {}
    rows = batch.points.part == BAD
    for name, change in columns.items():
        values = getattr(batch.points, name).copy()
        values[rows] = change(values[rows])
        new[name] = values
    return with_points(batch, **new)


def with_ib(batch: Batch) -> Batch:
    return with_points(batch, ib=batch.points.ic / batch.points.hfe)


def test_a_clean_lot_gets_no_note():
    batch = judged(lot())
    assert batch.quality == {}
    assert batch.condition == {}
    assert batch.points.use.all()


def test_a_supply_at_its_limit_is_found_and_its_points_left_out():
    batch = lot()
    top = batch.points.ic[row(17)]
    batch = changed(batch, ic=lambda ic: np.minimum(ic, top), vce=lambda v: np.where(np.arange(K) > 17, 0.6, v))
    ib = batch.points.ib.copy()
    hfe = batch.points.hfe.copy()
    rows = slice(row(0), row(K))
    hfe[rows] = batch.points.ic[rows] / ib[rows]
    found = judged(with_points(batch, hfe=hfe))
    assert codes(found, BAD) == {"COMPLIANCE"}
    assert list(np.flatnonzero(~found.points.use)) == [row(i) for i in range(17, K)]
    assert found.quality[BAD][0].figures["limit_a"] == pytest.approx(top, rel=1e-3)


def test_forced_currents_at_two_voltages_are_no_supply_limit():
    rng = np.random.default_rng(12)
    p = lot_parameters(4, rng)
    p["vaf"][:] = 25.0
    ic = np.tile(p["rated"][:, None] * np.geomspace(0.01, 1.0, 8), (1, 2))
    vce = np.repeat([2.0, 15.0], 8)[None, :]
    hfe, vbe = gain_and_vbe(p, ic, vce)
    found = judged(batch_of(hfe, vbe, ic, vce=vce))
    assert not any("COMPLIANCE" in codes(found, part) for part in range(4))


def test_readings_at_the_top_of_a_range_are_left_out():
    kit = load_kit(EXAMPLES / "kit_two_wire_5a.toml")
    batch = changed(lot(), hfe=lambda h: np.where(np.arange(K) < 3, 2000.0, h))
    found = judged(batch, kit)
    assert "AT_RANGE_LIMIT" in codes(found, BAD)
    assert not found.points.use[[row(0), row(1), row(2)]].any()


def test_vbe_that_falls_with_current_is_found():
    batch = changed(lot(), vbe=lambda v: v - 0.06 * (np.arange(K) >= 12))
    found = judged(batch)
    assert "VBE_NOT_RISING" in codes(found, BAD)
    assert only_the_bad_part_is_noted(found)
    assert not found.points.use[[row(11), row(12)]].any()


@pytest.mark.parametrize("place", [2, 9, 19])
def test_a_contact_jump_is_found_and_only_that_point_left_out(place):
    batch = changed(lot(), hfe=lambda h: h * np.where(np.arange(K) == place, 1.15, 1.0))
    found = judged(batch)
    assert "UNSTEADY" in codes(found, BAD)
    assert list(np.flatnonzero(~found.points.use)) == [row(place)]


def test_an_oscillating_sweep_is_left_out_whole():
    batch = changed(lot(), hfe=lambda h: h * (1.0 + 0.25 * (-1.0) ** np.arange(K)))
    found = judged(batch)
    assert "UNSTEADY" in codes(found, BAD)
    assert not found.points.use[found.points.part == BAD].any()
    assert found.condition[BAD].status == "unusable"
    assert found.points.use[found.points.part != BAD].all()


def test_a_jump_in_a_saturation_sweep_is_found():
    ic = np.geomspace(0.05, 5.0, 12)
    vce = 0.05 + 0.06 * ic
    vce[6] *= 1.4
    nan = np.full(12, np.nan)
    batch = assemble(np.zeros(12), ic, nan, nan, vce, np.full(12, int(Sweep.SATURATION)), ib=ic / 10.0)
    found = judged(batch)
    assert codes(found, 0) == {"UNSTEADY"}
    assert list(np.flatnonzero(~found.points.use)) == [6]


def test_gain_that_dips_and_rises_is_noted_and_widened():
    batch = changed(lot(), hfe=lambda h: h * np.where((np.arange(K) >= 8) & (np.arange(K) <= 13), 0.8, 1.0))
    before = apply_kit(batch, None)
    found = judged(batch)
    assert "UNSTEADY" in codes(found, BAD)
    kept = found.points.use & (found.points.part == BAD)
    assert kept.any()
    assert np.all(found.points.hfe_std[kept] > 5.0 * before.points.hfe_std[kept])


def test_up_and_down_sweeps_that_differ_are_noted_and_widened():
    rng = np.random.default_rng(13)
    p = lot_parameters(6, rng)
    up = p["rated"][:, None] * np.geomspace(0.01, 1.0, 12)
    ic = np.concatenate((up, up[:, ::-1]), axis=1)
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    hfe *= 1.0 + 0.01 * rng.standard_normal(hfe.shape)
    vbe += 2e-3 * rng.standard_normal(vbe.shape)
    hfe[BAD, 12:] *= 1.05  # ten kelvin: 5 % and -18 mV (section 11 of the check values)
    vbe[BAD, 12:] -= 0.018
    batch = batch_of(hfe, vbe, ic)
    found = judged(batch)
    assert codes(found, BAD) == {"HEATING_DRIFT"}
    assert set(found.quality) == {BAD}
    note = found.quality[BAD][0]
    assert note.used
    assert note.figures["gain_change_percent"] == pytest.approx(5.0, abs=2.0)
    assert note.figures["vbe_change_mv"] == pytest.approx(-18.0, abs=4.0)
    assert found.points.vbe_std[found.points.part == BAD].min() > 7e-3


def test_gain_that_climbs_while_the_current_stands_is_noted():
    rng = np.random.default_rng(14)
    p = lot_parameters(6, rng)
    ic = np.repeat(p["rated"][:, None] * 0.5, 15, axis=1)
    hfe, vbe = gain_and_vbe(p, ic, 10.0)
    warm = np.linspace(0.0, 12.0, 15)
    hfe *= 1.0 + 0.01 * rng.standard_normal(hfe.shape)
    vbe += 2e-3 * rng.standard_normal(vbe.shape)
    hfe[BAD] *= 1.0 + 0.005 * warm
    vbe[BAD] -= 0.0018 * warm
    found = judged(batch_of(hfe, vbe, ic, vce=10.0))
    assert "HEATING_DRIFT" in codes(found, BAD)
    assert set(found.quality) == {BAD}


@pytest.mark.parametrize(
    ("columns", "code"),
    [
        ({"vce": lambda v: np.full(K, 0.02)}, "SHORT"),
        ({"ib": lambda v: np.zeros(K), "hfe": lambda v: np.full(K, np.nan)}, "SHORT"),
        ({"ic": lambda v: np.full(K, 2e-9), "hfe": lambda v: np.full(K, np.nan)}, "OPEN"),
        (
            {
                "ic": lambda v: np.full(K, 1e-9),
                "ib": lambda v: np.full(K, 1e-9),
                "hfe": lambda v: np.full(K, np.nan),
                "vbe": lambda v: np.full(K, 5.0),
            },
            "OPEN",
        ),
        ({"hfe": lambda v: np.full(K, 0.3), "vbe": lambda v: np.full(K, np.nan)}, "NO_GAIN"),
    ],
)
def test_dead_parts_are_dead_and_never_unusable(columns, code):
    found = judged(changed(lot(), **columns))
    assert found.condition[BAD].status == "dead"
    assert found.condition[BAD].code == code
    assert set(found.condition) == {BAD}
    assert not found.points.use[found.points.part == BAD].any()
    assert found.points.use[found.points.part != BAD].all()


def test_a_base_emitter_short_is_dead():
    batch = changed(lot(low=0.05), vbe=lambda v: np.full(K, 0.01), ib=lambda v: np.full(K, 0.02))
    assert judged(batch).condition[BAD].code == "SHORT"


@pytest.mark.parametrize(
    ("quantity", "value", "conditions", "code"),
    [
        ("iceo", 0.5, {"VCE": 30.0}, "SHORT"),
        ("v_br_ceo", 1.2, {"base": "open"}, "SHORT"),
        ("hfe", 0.05, {"IC": 1.0}, "NO_GAIN"),
    ],
)
def test_a_single_reading_can_tell_a_dead_part(quantity, value, conditions, code):
    batch = replace(lot(), spots=spots_of([(BAD, quantity, value, conditions)]))
    if quantity == "hfe":
        batch = changed(batch, hfe=lambda h: np.full(K, np.nan), ib=lambda h: np.full(K, np.nan))
    found = judged(batch)
    assert found.condition[BAD].status == "dead"
    assert found.condition[BAD].code == code


def test_reverse_gain_with_an_ordinary_vbe_is_exchanged_leads():
    found = judged(changed(lot(), hfe=lambda h: np.full(K, 2.0), ib=lambda b: np.full(K, np.nan)))
    assert found.condition[BAD].code == "SWAPPED_LEADS"
    assert found.condition[BAD].status == "wrong_polarity"


def test_a_low_reverse_gain_is_doubted_and_kept():
    batch = lot(low=0.01)
    usual = np.median(batch.points.hfe)
    found = judged(changed(batch, hfe=lambda h: np.full(K, min(9.0, 0.15 * usual)), ib=lambda b: np.full(K, np.nan)))
    assert codes(found, BAD) == {"LEADS_DOUBTED"}
    assert found.condition == {}
    assert found.points.use.all()


def test_signs_that_contradict_the_lot_are_told():
    signs = np.ones(20, dtype=np.int64)
    signs[BAD] = -1
    found = judged(replace(lot(), part_sign=signs), lots={"A0": "NPN"})
    assert {part: c.code for part, c in found.condition.items()} == {BAD: "WRONG_POLARITY"}
    magnitudes = judged(replace(lot(), part_sign=np.ones(20, dtype=np.int64)), lots={"A0": "PNP"})
    assert magnitudes.condition == {}
    mixed = judged(replace(lot(), part_sign=-signs), lots=lambda lot: "PNP")
    assert set(mixed.condition) == {BAD}


def test_an_offset_in_the_base_current_is_found_by_runaway_gain():
    batch = lot(low=1e-6, seed=15)
    rows = slice(row(0), row(K))
    offset = -0.7 * batch.points.ib[row(0)]
    batch = changed(batch, ib=lambda ib: ib + offset)
    hfe = batch.points.hfe.copy()
    hfe[rows] = batch.points.ic[rows] / batch.points.ib[rows]
    found = judged(with_points(batch, hfe=hfe))
    assert "OFFSET" in codes(found, BAD)
    assert not found.points.use[row(0)]
    assert found.points.use[row(8) : row(K)].all()
    assert only_the_bad_part_is_noted(found)


def test_an_offset_in_the_collector_current_is_found_by_its_slope():
    batch = lot(low=1e-6, seed=16, points=K)
    offset = 20.0 * batch.points.ic[row(0)]
    batch = changed(batch, ic=lambda ic: ic + offset, hfe=lambda h: np.full(K, np.nan), ib=lambda b: np.full(K, np.nan))
    found = judged(batch)
    assert "OFFSET" in codes(found, BAD)
    assert not found.points.use[row(0)]
    assert found.points.use[row(12) : row(K)].all()


def test_currents_of_the_wrong_sign_are_left_out():
    batch = changed(lot(), ib=lambda ib: np.where(np.arange(K) < 2, -1e-9, ib))
    found = judged(batch)
    assert "OFFSET" in codes(found, BAD)
    assert not found.points.use[[row(0), row(1)]].any()


def test_leakage_of_a_tenth_leaves_points_out():
    # ASTM F528-99 (2005), scope: ICEO below 10 % of the collector current, base shunt leakage below 10 % of the base
    # current.
    batch = lot()
    ic, ib = batch.points.ic[row(5)], batch.points.ib[row(3)]
    by_collector = judged(replace(batch, spots=spots_of([(BAD, "iceo", 0.1001 * ic, {"VCE": 5.0})])))
    assert codes(by_collector, BAD) == {"LEAKAGE"}
    assert list(np.flatnonzero(~by_collector.points.use)) == [row(i) for i in range(6)]
    by_base = judged(replace(batch, spots=spots_of([(BAD, "icbo", 0.1001 * ib, {"VCB": 5.0})])))
    assert list(np.flatnonzero(~by_base.points.use)) == [row(i) for i in range(4)]
    below = judged(replace(batch, spots=spots_of([(BAD, "iceo", 0.0999 * batch.points.ic[row(0)], {"VCE": 5.0})])))
    assert below.points.use.all()


def test_two_points_are_too_few_and_stay_in_use():
    rng = np.random.default_rng(17)
    p = lot_parameters(1, rng)
    ic = np.array([[0.5, 1.0]])
    found = judged(batch_of(*gain_and_vbe(p, ic, 5.0), ic))
    assert codes(found, 0) == {"TOO_FEW_POINTS"}
    assert found.points.use.all()


def test_a_gain_of_435_read_from_0_435_is_caught():
    batch = changed(lot(), hfe=lambda h: h / 1000.0 * np.where(np.arange(K) == 5, 1000.0, 1.0))
    found = judged(
        with_points(batch, hfe=np.where(batch.points.part == BAD, batch.points.hfe, batch.points.hfe / 1000.0))
    )
    assert "NO_GAIN" in {c.code for c in found.condition.values()}  # all others really have no gain
    assert "IMPOSSIBLE_SIZE" in codes(found, BAD)


@pytest.mark.parametrize("factor", [1000.0, 0.001])
def test_one_gain_a_thousand_off_its_neighbours_is_caught(factor):
    batch = changed(lot(), hfe=lambda h: h * np.where(np.arange(K) == 5, factor, 1.0))
    found = judged(batch)
    assert "IMPOSSIBLE_SIZE" in codes(found, BAD)
    assert list(np.flatnonzero(~found.points.use)) == [row(5)]


def test_a_part_with_all_gains_a_thousand_off_the_lot_is_caught():
    found = judged(changed(lot(), hfe=lambda h: h * 1000.0, ib=lambda b: b / 1000.0))
    assert "IMPOSSIBLE_SIZE" in codes(found, BAD)
    assert found.condition[BAD].status == "unusable"


@pytest.mark.parametrize("factor", [1000.0, 0.001])
def test_collector_currents_wrong_by_a_thousand_are_caught_by_vbe(factor):
    found = judged(changed(lot(), ic=lambda ic: ic * factor, ib=lambda ib: ib * factor))
    assert "IMPOSSIBLE_SIZE" in codes(found, BAD)
    assert only_the_bad_part_is_noted(found) or set(found.quality) == {BAD}


def test_spot_readings_of_impossible_size_or_without_conditions_are_asked_about():
    rows = [
        (0, "c_cb", 4.8, {"VCB": 10.0}),
        (1, "hfe", 100.0, {}),
        (2, "c_be", 1e-9, {}),
        (3, "vbe", 0.6, {"IC": 1.0}),
        (4, "vce_sat", 0.3, {"IC": 1.0}),
    ]
    found = judged(replace(lot(), spots=spots_of(rows)))
    assert codes(found, 0) == {"IMPOSSIBLE_SIZE"}
    assert codes(found, 1) == {"CONDITIONS_MISSING"}
    assert codes(found, 2) == {"BIAS_NOT_STATED"}
    assert codes(found, 4) == {"CONDITIONS_MISSING"}
    assert list(found.spots.use) == [False, False, True, True, False]


def test_a_capacitance_at_the_top_of_the_meter_is_left_out():
    kit = load_kit(EXAMPLES / "kit_two_wire_5a.toml")
    spots = spots_of([(0, "c_be", 2e-8, {"VEB": 0.0}), (1, "c_be", 1.9e-8, {"VEB": 0.0})])
    found = judged(replace(lot(), spots=spots), kit)
    assert "AT_RANGE_LIMIT" in codes(found, 0)
    assert list(found.spots.use) == [False, True]


def test_a_capacitance_wrong_by_its_unit_is_caught_and_another_process_is_not():
    # users write 4,8 nF as 4800 or 4.8 pF; 0.73 and 8 nF were both read on pieces of one type number (field readings)
    spots = [(part, "c_be", 4.8e-9 * (1.0 + 0.02 * part), {"VEB": 0.0}) for part in range(8)]
    spots[BAD] = (BAD, "c_be", 4.8e-12, {"VEB": 0.0})
    spots[5] = (5, "c_be", 0.44e-9, {"VEB": 0.0})
    found = judged(replace(lot(), spots=spots_of(spots)))
    assert codes(found, BAD) == {"IMPOSSIBLE_SIZE"}
    assert only_the_bad_part_is_noted(found)
    assert list(np.flatnonzero(~found.spots.use)) == [BAD]


def test_a_sensor_that_fails_once_is_found():
    batch = with_points(lot(), case_temp=np.full(20 * K, TEMP))
    found = judged(changed(batch, case_temp=lambda t: np.where(np.arange(K) == 10, 358.0, t)))
    assert codes(found, BAD) == {"SENSOR_FAULT"}
    assert list(np.flatnonzero(~found.points.use)) == [row(10)]


def test_notes_never_hold_nan_and_say_a_sentence():
    batch = changed(lot(), ic=lambda ic: ic * 1000.0, vbe=lambda v: v - 0.06 * (np.arange(K) >= 12))
    found = judged(batch)
    for notes in found.quality.values():
        for note in notes:
            assert note.sentence.endswith(".")
            assert "{" not in note.sentence
            assert not any(isinstance(value, float) and np.isnan(value) for value in note.figures.values())


@pytest.mark.parametrize("seed", range(25))
def test_no_mess_stops_the_checks_or_loses_a_row(seed):
    """Missing columns, zeros, infinities, negative figures, unsorted and repeated points: notes, never an exception."""
    rng = np.random.default_rng(900 + seed)
    n = int(rng.integers(1, 60))
    part = np.sort(rng.integers(0, 6, n))
    sweep = rng.integers(0, 4, n)
    order = np.lexsort((sweep, part))
    columns = {}
    for name in ("ic", "ib", "vce", "vbe", "hfe", "case_temp"):
        values = np.exp(rng.normal(-2.0, 4.0, n)) + (290.0 if name == "case_temp" else 0.0)
        special = rng.choice([np.nan, 0.0, np.inf, -1.0, 1e9], n)
        values = np.where(rng.random(n) < 0.3, special, values)
        columns[name] = values if rng.random() < 0.8 else np.full(n, np.nan)
    batch = assemble(part[order], sweep=sweep[order], **columns)
    spots = [(int(rng.integers(0, 6)), q, float(np.exp(rng.normal(-5, 8))), {}) for q in ("hfe", "c_cb", "iceo", "vbe")]
    batch = replace(batch, part_names=tuple("abcdef"), part_lot=np.zeros(6, dtype=np.int64), spots=spots_of(spots))
    for kit in (None, load_kit(EXAMPLES / "kit_two_wire_5a.toml")):
        fixed, _ = correct(apply_kit(batch, kit), kit)
        found = follow_control_piece(check_quality(fixed, kit, {"A1": "NPN"}))
        assert found.points.ic.shape == batch.points.ic.shape
        for notes in found.quality.values():
            for note in notes:
                note.model_dump_json()
                assert not any(isinstance(v, float) and not np.isfinite(v) for v in note.figures.values())
        assert all(condition.sentence for condition in found.condition.values())


@pytest.mark.parametrize("seed", range(10))
def test_one_bad_part_leaves_the_others_as_they_are(seed):
    rng = np.random.default_rng(950 + seed)
    batch = lot(seed=19)
    mess = {}
    for name in ("ic", "ib", "vce", "vbe", "hfe"):
        values = np.exp(rng.normal(-2.0, 4.0, K))
        mess[name] = np.where(rng.random(K) < 0.3, rng.choice([np.nan, 0.0, np.inf, -1.0, 1e9], K), values)
    found = judged(changed(batch, **{name: (lambda _, v=values: v) for name, values in mess.items()}))
    assert only_the_bad_part_is_noted(found)
    assert set(found.condition) <= {BAD}
    others = found.points.part != BAD
    assert found.points.use[others].all()
    assert np.array_equal(found.points.hfe[others], batch.points.hfe[others])


def test_an_empty_batch_passes_through():
    nothing = np.zeros(0)
    found = judged(assemble(nothing, nothing, nothing, nothing, nothing, nothing))
    assert found.quality == {}
