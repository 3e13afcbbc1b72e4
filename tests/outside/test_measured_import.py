"""Measured parts of others, read by the ordinary import with a column map.

Source of every file: SOURCES.md beside the measured files (public repositories, named there with their commits; the two
wafer sets are IHP-Open-PDK, Apache License 2.0). PNP currents and voltages are negative there; hfe is always ic/ib.
"""

from __future__ import annotations

import csv

import numpy as np
import pytest

from partscreen.readings.columns.column_map import column_map_from
from partscreen.readings.import_files import read_files
from partscreen.readings.tables import Sweep
from tests.facts import MEASURED, needs_facts

pytestmark = needs_facts

COLUMNS = column_map_from(
    {
        "format": "long",
        "columns": {
            "part": "specimen",
            "sweep": "sweep",
            "ic": {"column": "ic_a", "unit": "A"},
            "ib": {"column": "ib_a", "unit": "A"},
            "vce": {"column": "vce_v", "unit": "V"},
            "vbe": {"column": "vbe_v", "unit": "V"},
            "hfe": "hfe",
            "case_temp": {"column": "temp_c", "unit": "degC"},
        },
    },
    "measured.toml",
)
# File, specimens, rows, sign of the readings; counted in the files by hand.
FILES = [
    ("mjl21194", 10, 1816, 1),
    ("mjl21193", 10, 2310, -1),
    ("2sc1775", 10, 450, 1),
    ("2sa872", 10, 450, -1),
    ("bc550", 2, 506, 1),
    ("2n3904_scope", 1, 481, 1),
    ("2n3904_lab2020", 2, 196, 1),
    ("npn_quad_arrays", 9, 1244, 1),
    ("npn_lab2026", 1, 101, 1),
    ("npn_lab2020_given", 1, 86, 1),
    ("ihp_npn13g2", 4, 2884, 1),
    ("ihp_npn13g2l", 5, 3605, 1),
]


def _rows(name):
    with open(MEASURED / f"{name}.csv", encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def _column(rows, key):
    return np.array([float(row[key]) if row[key] else np.nan for row in rows])


@pytest.mark.parametrize(("name", "specimens", "n_rows", "sign"), FILES)
def test_every_row_of_the_file_arrives_with_its_figures(name, specimens, n_rows, sign):
    batch = read_files([MEASURED / f"{name}.csv"], column_map=COLUMNS).batch
    assert batch.problems == ()
    assert batch.condition == {}
    assert batch.n_parts == specimens
    assert batch.part_sign.tolist() == [sign] * specimens
    points = batch.points
    assert len(points.row) == n_rows == batch.inputs[0].rows
    rows = _rows(name)
    at = points.row - 2  # the header is row 1
    assert sorted(at.tolist()) == list(range(n_rows))
    for key, column in (("ic", "ic_a"), ("ib", "ib_a"), ("vce", "vce_v"), ("vbe", "vbe_v")):
        np.testing.assert_allclose(
            np.abs(getattr(points, key)), np.abs(_column(rows, column)[at]), rtol=1e-12, err_msg=key
        )
        forward = points.use & ~np.isnan(getattr(points, key)) & (points.sweep == Sweep.OUTPUT)
        assert (getattr(points, key)[forward] >= 0).all()
    np.testing.assert_allclose(points.case_temp, _column(rows, "temp_c")[at] + 273.15, rtol=1e-12)
    assert [batch.part_names[i] for i in points.part] == [rows[i]["specimen"] for i in at]
    assert [Sweep(code).name.lower() for code in points.sweep] == [rows[i]["sweep"] for i in at]


@pytest.mark.parametrize(("name", "specimens", "n_rows", "sign"), FILES)
def test_gain_worked_out_is_the_gain_given(name, specimens, n_rows, sign):
    # SOURCES.md: "`hfe` is always ic/ib, worked out here."
    batch = read_files([MEASURED / f"{name}.csv"], column_map=COLUMNS).batch
    points, given = batch.points, _column(_rows(name), "hfe")
    known = ~np.isnan(given[points.row - 2]) & (points.ib > 0) & (points.ic > 0)
    assert known.sum() > 40
    np.testing.assert_allclose(points.hfe[known], given[points.row[known] - 2], rtol=0.02)
    np.testing.assert_allclose(points.ic[known] / points.ib[known], given[points.row[known] - 2], rtol=0.02)
    assert not any("HFE_DISAGREES" in notice for notice in batch.notices)


@pytest.mark.parametrize(("name", "specimens", "n_rows", "sign"), FILES)
def test_the_files_are_understood_without_a_map_as_well(name, specimens, n_rows, sign):
    path = MEASURED / f"{name}.csv"
    plain, mapped = read_files([path]).batch, read_files([path], column_map=COLUMNS).batch
    assert plain.problems == ()
    for key in ("part", "run", "sweep", "ic", "ib", "vce", "vbe", "hfe", "case_temp", "use"):
        assert np.array_equal(getattr(plain.points, key), getattr(mapped.points, key), equal_nan=key not in ("use",)), (
            key
        )


def test_gain_at_the_last_base_step_over_the_first_singles_out_three_specimens():
    # Gain at 10 V, last over first usable base step: 0.82-0.84 for specimens 5, 7, 9, 0.90-0.96 for the other seven.
    points = (batch := read_files([MEASURED / "mjl21194.csv"], column_map=COLUMNS).batch).points
    ratio = {}
    for part, name in enumerate(batch.part_names):
        rows = (points.part == part) & (points.ib > 0) & (np.abs(points.vce - 10.0) < 0.01)
        steps = np.unique(points.ib[rows])
        gain = [points.hfe[rows & (points.ib == step)].mean() for step in steps]
        ratio[name] = gain[-1] / gain[0]
    low = {name for name, value in ratio.items() if 0.82 <= value <= 0.845}
    assert low == {"5", "7", "9"}
    assert all(0.895 <= value <= 0.965 for name, value in ratio.items() if name not in low)


def test_each_gummel_trace_of_the_wafer_set_is_its_own_run():
    points = read_files([MEASURED / "ihp_npn13g2.csv"], column_map=COLUMNS).batch.points
    gummel = points.sweep == Sweep.GUMMEL
    for run in np.unique(points.run[gummel]):
        vbe = points.vbe[points.run == run]
        assert (np.diff(vbe) > 0).all()
    assert len(np.unique(points.run[gummel])) >= 20


def test_both_polarities_make_one_batch_of_twenty_parts():
    batch = read_files([MEASURED / "mjl21194.csv", MEASURED / "mjl21193.csv"], column_map=COLUMNS).batch
    assert batch.problems == ()
    assert batch.n_parts == 20
    assert [lot.name for lot in batch.lots] == ["mjl21194", "mjl21193"]
    assert batch.points.use.all()
    np.testing.assert_allclose(np.nanmedian(batch.points.case_temp), 273.15 + 50.0, atol=0.5)
