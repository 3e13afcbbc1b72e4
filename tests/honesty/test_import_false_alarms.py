"""The thresholds of the import on clean simulated files: how often do they speak without cause?

Invented parts: log-normal gain, currents and voltages as an instrument of 3 1/2 to 5 digits writes them. Fixed seeds.
"""

import numpy as np
import pytest

from partscreen.readings.tables import Sweep
from tests.readings.bench_files import imported

SET_POINTS = np.array([0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 4.0])
N_FILES = 40


def _gains(rng, n_parts):
    """hFE of parts at the set points, shape (n_parts, n_points)."""
    top = rng.lognormal(np.log(90.0), 0.2, (n_parts, 1))
    return top / (1.0 + 0.02 / SET_POINTS + SET_POINTS / 12.0) * rng.normal(1.0, 0.002, (n_parts, SET_POINTS.size))


def _digits(value, digits):
    return f"{value:.{digits}g}"


@pytest.mark.parametrize("digits", [3, 4, 5])
def test_rounded_gain_beside_its_currents_is_not_said_to_disagree(tmp_path, digits):
    rng = np.random.default_rng(11)
    spoken = 0
    for _ in range(N_FILES):
        rows = ["part,ic [A],ib [A],hfe"]
        for part, gains in enumerate(_gains(rng, 5)):
            for ic, gain in zip(SET_POINTS * rng.normal(1.0, 0.003, SET_POINTS.size), gains, strict=True):
                rows.append(f"P{part},{_digits(ic, digits)},{_digits(ic / gain, digits)},{_digits(gain, 3)}")
        spoken += any("HFE_DISAGREES" in notice for notice in imported(tmp_path, "\n".join(rows)).notices)
    assert spoken == 0


@pytest.mark.parametrize(("set_points", "rows_found"), [(False, SET_POINTS.size), (True, 5)])
def test_a_gain_off_by_five_percent_is_spoken_of(tmp_path, set_points, rows_found):
    # Round set points (0.05, 0.1, ...) could be off by half their last decimal: 10 % at 0.05 A, 2.5 % at 0.2 A.
    rng = np.random.default_rng(12)
    for gains in _gains(rng, 20):
        read = SET_POINTS if set_points else SET_POINTS * rng.normal(1.0, 0.003, SET_POINTS.size)
        rows = [f"P1,{ic:.5g},{ic / gain:.5g},{1.05 * gain:.4g}" for ic, gain in zip(read, gains, strict=True)]
        batch = imported(tmp_path, "part,ic [A],ib [A],hfe\n" + "\n".join(rows))
        assert batch.quality[0][0].figures["rows"] == rows_found


@pytest.mark.parametrize("forced", ["ic", "ib"])
def test_files_sorted_by_set_point_are_not_taken_for_duplicates(tmp_path, forced):
    rng = np.random.default_rng(13)
    for _ in range(N_FILES):
        gains = _gains(rng, 8)
        rows = ["part,ic [A],ib [A],vce [V]"]
        for point, level in enumerate(SET_POINTS):
            for part in range(8):
                ic = level * rng.normal(1.0, 0.002) if forced == "ic" else level / 90.0 * gains[part, point]
                ib = ic / gains[part, point] if forced == "ic" else level / 90.0
                rows.append(f"P{part},{ic:.5g},{ib:.5g},{rng.normal(5.0, 0.01):.3f}")
        batch = imported(tmp_path, "\n".join(rows))
        assert batch.problems == ()
        assert len(set(batch.points.run.tolist())) == 8


@pytest.mark.parametrize("forced", ["ic", "ib"])
def test_two_parts_under_one_number_are_found(tmp_path, forced):
    rng = np.random.default_rng(14)
    found = 0
    for _ in range(N_FILES):
        rows = ["part,ic [A],ib [A],vce [V]"]
        for name, gains in zip(("1", "2", "3", "2", "4"), _gains(rng, 5), strict=True):
            for level, gain in zip(SET_POINTS, gains, strict=True):
                ic = level * rng.normal(1.0, 0.002) if forced == "ic" else level / 90.0 * gain
                ib = ic / gain if forced == "ic" else level / 90.0
                rows.append(f"{name},{ic:.5g},{ib:.5g},{rng.normal(5.0, 0.01):.3f}")
        found += [problem.code for problem in imported(tmp_path, "\n".join(rows)).problems] == ["DUPLICATE_PART"]
    assert found == N_FILES


def test_kind_of_sweep_is_told_rightly_on_simulated_sweeps(tmp_path):
    rng = np.random.default_rng(15)
    wrong = 0
    for _ in range(N_FILES):
        (gains,) = _gains(rng, 1)
        vbe = 0.62 + 0.026 * np.log(SET_POINTS) + 0.02 * SET_POINTS
        head = "part,ic [A],ib [A],vce [V],vbe [V]\n"
        noise = rng.normal(1.0, 0.003, SET_POINTS.size)
        gain = [f"1,{i:.5g},{i / g:.5g},5,{v:.3f}" for i, g, v in zip(SET_POINTS * noise, gains, vbe, strict=True)]
        saturation = [f"1,{i:.4g},{i / 10 * rng.normal(1, 0.003):.4g},{0.1 + 0.15 * i:.3f}," for i in SET_POINTS]
        output = [
            f"1,{b * 80 * (1 + v / 200) * rng.normal(1, 0.002):.4g},{b:.4g},{v:.2f},"
            for b in (0.002, 0.005, 0.01)
            for v in range(1, 11)
        ]
        steps = np.arange(0.5, 0.72, 0.02)
        current = 1e-13 * np.exp(steps / 0.02569) * rng.normal(1.0, 0.005, steps.size)
        gummel = [f"1,{i:.5g},{i / 90:.5g},5,{v:.2f}" for i, v in zip(current, steps, strict=True)]
        for rows, kind in (
            (gain, Sweep.GAIN),
            (saturation, Sweep.SATURATION),
            (output, Sweep.OUTPUT),
            (gummel, Sweep.GUMMEL),
        ):
            batch = imported(tmp_path, head + "\n".join(rows))
            wrong += set(batch.points.sweep.tolist()) != {kind} or batch.problems != ()
    assert wrong == 0
