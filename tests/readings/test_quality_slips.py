"""A decimal mark that slipped in one cell is named as such, and clean sweeps are left alone."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.readings.import_files import import_files
from partscreen.readings.instruments.uncertainty import apply_kit
from partscreen.readings.quality.checks import check_quality

IC = np.geomspace(0.01, 5.0, 10)


def checked(tmp_path, gains):
    lines = ["part,ic_a,vce_v,vbe_v,hfe"]
    for name, row in gains.items():
        vbe = 0.55 + 0.026 * np.log(IC / 0.01) + 0.02 * IC
        lines += [f"{name},{ic:.5g},5,{v:.4f},{h}" for ic, v, h in zip(IC, vbe, row, strict=True)]
    path = tmp_path / "bag.csv"
    path.write_text("\n".join(lines) + "\n")
    return check_quality(apply_kit(import_files([path]), None), None)


@pytest.mark.parametrize("cell", ["0.435", "9600", '"0,435"'])
def test_one_gain_far_off_both_neighbours_is_an_impossible_size(tmp_path, cell):
    row = [f"{h:.1f}" for h in 100 / (1 + IC / 8)]
    row[4] = cell
    batch = checked(tmp_path, {"T1": row, "T2": [f"{h:.1f}" for h in 100 / (1 + IC / 8)]})
    assert [note.code for note in batch.quality[0]] == ["IMPOSSIBLE_SIZE"]
    assert not batch.points.use[4]
    assert batch.points.use.sum() == 19
    assert 1 not in batch.quality


def test_no_clean_sweep_of_ten_thousand_is_called_a_slip(tmp_path):
    rng = np.random.default_rng(3)
    n = 1000  # parts of ten points each, knees from 0.5 to 20 A, leaks down to a fifth of the gain at 10 mA
    knee, leak = np.exp(rng.uniform(np.log(0.5), np.log(20), n)), rng.uniform(0, 4, n)
    gains = {
        f"T{i}": [f"{h:.1f}" for h in 100 / (1 + IC / knee[i] + leak[i] * (0.01 / IC) ** 0.5) * rng.normal(1, 0.02, 10)]
        for i in range(n)
    }
    batch = checked(tmp_path, gains)
    flagged = [p for p, notes in batch.quality.items() if any(note.code == "IMPOSSIBLE_SIZE" for note in notes)]
    assert flagged == []
