"""The checks on real readings: what is spoilt is caught, what is clean is left alone.

Source of every file: SOURCES.md beside the measured files (public repositories, named there with their commits; the two
wafer sets are IHP-Open-PDK, Apache License 2.0). Temperature where not stated: 25 degC, an assumption.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from partscreen.readings.gummel import gummel_slope
from partscreen.readings.instruments.uncertainty import apply_kit
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.tables import Batch, Sweep
from tests.facts import needs_facts
from tests.outside.measured_files import measured

pytestmark = needs_facts

LAB = ("2n3904_lab2020", "npn_quad_arrays", "npn_lab2026", "npn_lab2020_given")
WAFER = ("ihp_npn13g2", "ihp_npn13g2l")
POWER = ("mjl21194", "mjl21193")
SMALL = ("2sc1775", "2sa872")


@cache
def checked(name: str) -> tuple[Batch, tuple[str, ...]]:
    batch, notes = measured(name)
    return check_quality(apply_kit(batch, None), None), tuple(notes)


def codes(batch: Batch) -> set[str]:
    return {note.code for notes in batch.quality.values() for note in notes}


def gummel_runs(batch: Batch) -> list[np.ndarray]:
    p = batch.points
    return [np.flatnonzero(p.run == run) for run in np.unique(p.run[p.sweep == Sweep.GUMMEL])]


@pytest.mark.parametrize("name", LAB)
def test_laboratory_gummel_runs_are_ideal_over_two_decades(name):
    # SOURCES.md: "ideality 0.96-1.01 if 25 degC is assumed, 57-60 mV per decade".
    batch, _ = checked(name)
    for rows in gummel_runs(batch):
        slope = gummel_slope(batch.points.ic[rows], batch.points.vbe[rows], 298.15, temp_std=5.0)
        assert 0.95 <= slope.nf <= 1.05
        assert 56.5 <= slope.mv_per_decade <= 61.0
        assert slope.n_points >= 19
        assert slope.nf_std < 0.03


@pytest.mark.parametrize("name", WAFER)
def test_wafer_gummel_runs_are_ideal(name):
    # SOURCES.md: 27 degC, "Ideality 1.01".
    batch, _ = checked(name)
    runs = gummel_runs(batch)
    assert len(runs) >= 20
    for rows in runs:
        slope = gummel_slope(batch.points.ic[rows], batch.points.vbe[rows], 300.15)
        assert 1.00 <= slope.nf <= 1.04


def test_four_wafer_specimens_are_alike():
    # SOURCES.md: "npn13g2 IC at 0.70 V within 5 %, hFE 775-807" (collector at 1 V).
    batch, _ = checked("ihp_npn13g2")
    p = batch.points
    rows = (p.sweep == Sweep.GUMMEL) & (np.abs(p.vbe - 0.70) < 1e-6) & (np.abs(p.vce - 1.0) < 1e-6)
    assert rows.sum() == 4
    assert len(set(p.part[rows])) == 4
    assert p.hfe[rows].min() >= 774.5
    assert p.hfe[rows].max() <= 807.5
    assert p.ic[rows].max() / p.ic[rows].min() - 1.0 < 0.055
    assert p.use[rows].all()


def test_the_base_steps_below_resolution_are_left_out_and_only_they():
    for name in (*POWER, *SMALL, "bc550", "2n3904_scope"):
        batch, notes = checked(name)
        unresolved = np.array(["not resolved" in note for note in notes])
        assert unresolved.any()
        assert not batch.points.use[unresolved].any()
        assert "IB_NOT_RESOLVED" in codes(batch)


def test_every_row_at_the_supply_limit_is_found_and_no_other():
    # SOURCES.md: "36 MJL21194 rows have the supply in current limit, marked."
    batch, notes = checked("mjl21194")
    limiting = np.array(["limiting" in note for note in notes])
    unresolved = np.array(["not resolved" in note for note in notes])
    assert limiting.sum() == 36
    assert np.array_equal(~batch.points.use, limiting | unresolved)
    assert codes(batch) == {"COMPLIANCE", "IB_NOT_RESOLVED"}
    assert batch.condition == {}


def test_the_failed_temperature_reading_is_found_and_no_other():
    # SOURCES.md: "One MJL21193 row (specimen 2) has an 85 degC reading between 50 degC rows: sensor fault, left in,
    # marked."
    batch, notes = checked("mjl21193")
    faulty = np.array(["sensor fault" in note for note in notes])
    unresolved = np.array(["not resolved" in note for note in notes])
    assert faulty.sum() == 1
    assert np.array_equal(~batch.points.use, faulty | unresolved)
    assert codes(batch) == {"SENSOR_FAULT", "IB_NOT_RESOLVED"}


@pytest.mark.parametrize("name", [*POWER, *SMALL, "bc550"])
def test_clean_output_curves_get_no_note_on_their_shape(name):
    batch, _ = checked(name)
    assert codes(batch) <= {"IB_NOT_RESOLVED", "COMPLIANCE", "SENSOR_FAULT"}
    assert batch.condition == {}


@pytest.mark.parametrize("name", [*LAB, *WAFER])
def test_no_sound_specimen_is_called_dead_or_reversed(name):
    batch, _ = checked(name)
    assert batch.condition == {}


@pytest.mark.parametrize("name", LAB)
def test_clean_decades_of_laboratory_runs_stay_in_use(name):
    """1 to 100 uA; what may be left out there is at most one point in twenty of a run."""
    batch, _ = checked(name)
    p = batch.points
    for rows in gummel_runs(batch):
        clean = rows[(p.ic[rows] >= 1e-6) & (p.ic[rows] <= 1e-4)]
        assert p.use[clean].mean() >= 0.95


def test_wafer_runs_below_breakdown_stay_in_use():
    """VCE 0.5 and 1 V, and VCB 0: active region; at 1.5 V and above the collector breaks down (SOURCES.md).

    From 200 nA up every point stays in use. Below, the base current of the runs at 1 V crosses zero (0.1 to 0.7 nA of
    offset, seen as negative readings up to 0.54 V), and below 0.1 nA the collector current is noise.
    """
    for name in WAFER:
        batch, _ = checked(name)
        p = batch.points
        quiet = [rows for rows in gummel_runs(batch) if p.vce[rows].max() < 1.2]
        assert len(quiet) >= 12
        for rows in quiet:
            clear = rows[p.ic[rows] >= 2e-7]
            assert clear.size >= 15
            assert p.use[clear].all()


@pytest.mark.parametrize("name", ["2n3904_lab2020", "npn_quad_arrays", "npn_lab2026"])
def test_offset_spoilt_low_ends_are_caught(name):
    # SOURCES.md: "Offsets of a few nA are left in."
    batch, _ = checked(name)
    p = batch.points
    assert "OFFSET" in codes(batch)
    assert not p.use[(p.ib < 0.0) | (p.ic < 0.0)].any()
    for rows in gummel_runs(batch):
        low = rows[p.use[rows]]
        assert p.ic[low].min() > 1e-9


def test_a_range_change_in_the_middle_of_a_run_is_caught():
    """npn_lab2026: the current falls from 99 to 40 nA between 0.448 and 0.452 V, then jumps from 84 to 309 nA."""
    batch, _ = checked("npn_lab2026")
    p = batch.points
    assert "UNSTEADY" in codes(batch)
    assert not p.use[(p.vbe > 0.4515) & (p.vbe < 0.4725)].any()
    assert p.use[(p.vbe > 0.4755)].all()


def test_the_noisy_oscilloscope_curves_are_caught():
    # SOURCES.md: "Eight-bit noise ... gain jumps by a fifth between the 2.0 V and 2.5 V curves, so some drive labels
    # may be off."
    batch, _ = checked("2n3904_scope")
    note = next(n for notes in batch.quality.values() for n in notes if n.code == "UNSTEADY")
    assert 10.0 < float(note.figures["dip_percent"]) < 20.0
    p = batch.points
    assert np.nanmin(p.hfe_std[p.use & np.isfinite(p.hfe)] / p.hfe[p.use & np.isfinite(p.hfe)]) > 0.1


def test_the_given_run_that_breaks_is_noted():
    # SOURCES.md on npn_lab2020_given: "Slope wanders and breaks at the last point".
    batch, _ = checked("npn_lab2020_given")
    assert "UNSTEADY" in codes(batch)
