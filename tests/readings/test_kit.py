"""A kit file is read whole, its faults are told all at once, and its accuracies become standard uncertainties."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.import_files import import_files
from partscreen.readings.instruments.kit import load_kit
from partscreen.readings.instruments.uncertainty import apply_kit, resolution, session_uncertainty
from partscreen.readings.tables import Sweep
from tests.readings.sweeps import assemble, clean_lot, spots_of, with_points

EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"
TWO_WIRE = EXAMPLES / "kit_two_wire_5a.toml"
FOUR_WIRE = EXAMPLES / "kit_four_wire_10a.toml"
KITS = sorted(EXAMPLES.glob("kit_*.toml"))


def test_three_worked_kits_are_shipped():
    assert len(KITS) >= 3


@pytest.mark.parametrize("path", KITS, ids=lambda p: p.stem)
def test_worked_kits_load(path):
    kit = load_kit(path)
    assert kit.instruments
    assert kit.reader_of("vbe") is not None


def test_every_fault_of_a_kit_is_told_at_once(tmp_path):
    path = tmp_path / "kit.toml"
    path.write_text(
        'name = "k"\n[[instruments]]\nname = "a"\nreads = ["hfe", "wishes"]\nrange = { hfe = 10.0 }\n'
        '[[instruments]]\nname = "b"\nreads = ["ic"]\naccuracy.ic = { counts = 2 }\n'
        '[[instruments]]\nname = "c"\nreads = ["vbe"]\nlead_resistance.emitter = { value = 0.1 }\ncolour = "red"\n'
    )
    with pytest.raises(UnusableInput) as caught:
        load_kit(path)
    text = str(caught.value)
    assert len(caught.value.problems) >= 4
    for word in ("wishes", "count_size", "without std", "colour"):
        assert word in text
    assert all(problem.file == "kit.toml" for problem in caught.value.problems)


@pytest.mark.parametrize("content", [None, "name = ", "\x00\x01"])
def test_a_missing_or_broken_kit_is_told_plainly(tmp_path, content):
    path = tmp_path / "kit.toml"
    if content is not None:
        path.write_text(content)
    with pytest.raises(UnusableInput, match=r"kit\.toml"):
        load_kit(path)


def test_accuracy_limits_are_divided_by_root_three():
    # JCGM 100:2008, 4.3.7: a rectangular distribution of half-width a has standard deviation a / sqrt(3).
    kit = load_kit(TWO_WIRE)
    points = apply_kit(clean_lot(1, 1, noise=False), kit).points
    expected = (0.002 * points.vbe + 2 * 1e-3) / np.sqrt(3.0)
    assert np.allclose(points.vbe_std, expected, rtol=1e-12)


def test_without_a_kit_the_stated_assumptions_hold():
    points = apply_kit(clean_lot(3, 2), None).points
    assert np.allclose(points.vbe_std, 2e-3)
    assert np.allclose(points.hfe_std / points.hfe, 0.01, rtol=0.02)
    assert np.all(points.case_temp == 298.15)


def test_uncertainties_already_there_are_kept():
    batch = clean_lot(2, 3)
    batch = with_points(batch, vbe_std=np.full(batch.points.vbe.shape, 7e-4))
    assert np.all(apply_kit(batch, None).points.vbe_std == 7e-4)


def test_a_kit_supplies_missing_conditions():
    kit = load_kit(TWO_WIRE)
    nan = np.full(2, np.nan)
    ic = np.array([1.0, 2.0])
    sat = assemble(np.zeros(2), ic, nan, nan, np.array([0.1, 0.2]), np.full(2, int(Sweep.SATURATION)), ib=nan)
    spots = [(0, "vce_sat", 0.2, {"IC": 1.0}), (0, "c_cb", 1e-10, {}), (0, "c_cb", 1e-10, {"VCB": 10.0})]
    sat = replace(sat, spots=spots_of([*spots, (0, "hfe", 80.0, {})]))
    batch = apply_kit(sat, kit)
    assert np.allclose(batch.points.ib, ic / 10.0)
    assert batch.spots.conditions[0] == {"IC": 1.0, "IC_over_IB": 10.0}
    assert batch.spots.conditions[1] == {"VCB": 0.0, "f": 1e5}
    assert batch.spots.conditions[2] == {"VCB": 10.0, "f": 1e5}
    assert batch.spots.conditions[3] == {"VCE": 5.0}
    gain = with_points(clean_lot(1, 4), vce=np.full(22, np.nan))
    assert np.all(apply_kit(gain, kit).points.vce == 5.0)
    assert np.all(np.isnan(apply_kit(gain, None).points.vce))


def test_temperature_comes_from_the_file_then_the_request_then_the_kit():
    batch = clean_lot(1, 5)
    logged = np.where(np.arange(22) < 11, 310.0, np.nan)
    batch = with_points(batch, case_temp=logged)
    assert list(apply_kit(batch, None, temperature=320.0).points.case_temp[[0, 21]]) == [310.0, 320.0]
    assert apply_kit(batch, load_kit(TWO_WIRE)).points.case_temp[21] == pytest.approx(296.15)
    with pytest.raises(ValueError, match="kelvin"):
        apply_kit(batch, None, temperature=25.0)


def test_a_session_without_logged_temperature_is_told_apart():
    batch = clean_lot(1, 6)
    assumed = session_uncertainty(apply_kit(batch, None), None)
    logged = session_uncertainty(apply_kit(with_points(batch, case_temp=np.full(22, 298.0)), None), None)
    assert assumed.temp_std[0] == 5.0
    assert logged.temp_std[0] == 0.5
    kit = load_kit(TWO_WIRE)
    shared = session_uncertainty(apply_kit(batch, kit), kit)
    assert shared.gain_ln_std[0] == pytest.approx(0.015 / np.sqrt(3.0))
    assert shared.lead_std[0] == pytest.approx(np.hypot(0.005, 0.005))
    four = load_kit(FOUR_WIRE)
    assert session_uncertainty(apply_kit(batch, four), four).lead_std[0] == 0.0


def test_short_pulses_of_the_kit_leave_the_junction_at_case_temperature():
    batch = clean_lot(1, 7)
    assert apply_kit(batch, load_kit(TWO_WIRE)).points.pulsed.all()
    assert not apply_kit(batch, load_kit(EXAMPLES / "kit_supply_and_multimeters.toml")).points.pulsed.any()
    assert not apply_kit(batch, None).points.pulsed.any()


def test_a_session_of_spot_readings_alone_has_no_logged_temperature():
    batch = with_points(clean_lot(1, 6), case_temp=np.full(22, 298.0))
    batch = replace(batch, sessions=("day 1", "meter"), spots=spots_of([(0, "hfe", 80.0, {"IC": 1.0})]))
    assert list(session_uncertainty(apply_kit(batch, None), None).temp_std) == [0.5, 5.0]


@pytest.mark.parametrize("step", [1e-3, 5e-4, 0.1, 1.0])
def test_the_step_of_the_digits_is_found(step):
    values = np.round(np.random.default_rng(8).uniform(100.0, 900.0, 300)) * step
    assert resolution(values) == pytest.approx(step, rel=1e-9)


def test_set_points_and_long_numbers_show_no_step():
    set_points = np.tile([0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0], 40)
    assert resolution(set_points, may_be_set=True) == 0.0
    assert resolution(np.random.default_rng(9).uniform(0.5, 0.7, 200)) == 0.0


def test_rounding_of_the_file_widens_vbe():
    batch = clean_lot(40, 10)
    coarse = with_points(batch, vbe=np.round(batch.points.vbe, 2))
    std = apply_kit(coarse, None).points.vbe_std
    assert np.allclose(std, np.hypot(2e-3, 0.01 / np.sqrt(12.0)))


def test_a_kit_of_short_pulses_makes_none_of_a_reading_that_says_how_long_it_took(tmp_path):
    (tmp_path / "kit.toml").write_text(
        'name = "pulses"\n[[instruments]]\nname = "pulser"\nreads = ["ic", "ib", "vbe", "vce"]\npulse_seconds = 3e-4\n'
    )
    said = {"P1": "500", "P2": "0.2", "P3": ""}
    lines = [f"{part},{ic},{ic / 80},5,0.6,{ms}\n" for part, ms in said.items() for ic in (0.1, 0.2, 0.5, 1.0)]
    (tmp_path / "bag.csv").write_text("part,ic [A],ib [A],vce [V],vbe [V],pulse [ms]\n" + "".join(lines))
    kit = load_kit(tmp_path / "kit.toml")
    found = apply_kit(import_files([tmp_path / "bag.csv"]), kit)
    pulsed = {name: found.points.pulsed[found.points.part == i] for i, name in enumerate(found.part_names)}
    assert not pulsed["P1"].any()
    assert pulsed["P2"].all()
    assert pulsed["P3"].all()
