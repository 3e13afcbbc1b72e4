"""Recordings of currents and voltages against time: what a channel is comes from a map, noise from the trace."""

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.columns.column_map import column_map_from
from partscreen.readings.import_files import read_files
from partscreen.readings.quality.long_traces import ABOVE_NOISE, MOST_POINTS, trace_noise
from partscreen.workflow import ScreenOptions, screen_files
from tests.readings.bench_files import write

MAP = """[columns]
time = "t"
ic = { column = "CH1", unit = "V", shunt = 0.1 }
ib = { column = "CH2", unit = "mV", shunt = 1.0 }
vce = "CH3"
vbe = "CH4"
case_temp = { constant = 23.5, unit = "degC" }
pulse = { constant = "yes" }
sweep = { constant = "gain" }
"""
NOISE = {"ic": 2e-3, "ib": 2e-4, "vbe": 1e-3}  # of one sample: A, A, V


def _true(ic, level=1.0):
    """Gain and VBE of an invented part."""
    return 95.0 * level / (1.0 + ic / 15.0), 0.0258 * np.log(np.maximum(ic, 1e-9) / 1.4e-11) + 0.02 * ic


def recording(n, seed=3, level=1.0, top=5.0, noise=1.0):
    """Text of a ramp of collector current recorded on four channels, the first tenth before it starts."""
    rng = np.random.default_rng(seed)
    t = np.linspace(-2e-5, 1.8e-4, n)
    ic = np.clip(t / 1.8e-4, 0, 1) * top
    gain, vbe = _true(ic, level)
    vbe = np.where(ic > 1e-3, vbe, 0.3)
    ib = ic / gain
    channels = [
        (ic + noise * NOISE["ic"] * rng.standard_normal(n)) * 0.1,
        (ib + noise * NOISE["ib"] * rng.standard_normal(n)) * 1e3,
        5.0 + noise * 5e-3 * rng.standard_normal(n),
        vbe + noise * NOISE["vbe"] * rng.standard_normal(n),
    ]
    lines = ["recorded on the bench;;;;", "room 23.5;;;;", "t;CH1;CH2;CH3;CH4", "s;V;mV;V;V"]
    lines += [";".join([f"{a:.5e}", *(f"{c[i]:.5f}" for c in channels)]) for i, a in enumerate(t)]
    return "\n".join(lines) + "\n"


@pytest.fixture
def a_map(tmp_path):
    return write(tmp_path, "map.toml", MAP)


def test_channels_are_what_the_map_says_and_the_gain_comes_from_the_currents(tmp_path, a_map):
    found = read_files([write(tmp_path, "T1.csv", recording(90, noise=0.0))], column_map=a_map)
    batch, seen = found.batch, found.understanding[0]
    assert batch.problems == ()
    assert (seen.header_row, seen.unit_row) == (3, 4)
    assert [column.remark for column in seen.columns[1:3]] == ["voltage over 0.1 ohm", "voltage over 1 ohm"]
    points = batch.points
    held = points.ic > 0.1
    gain, vbe = _true(points.ic[held])
    np.testing.assert_allclose(points.hfe[held], gain, rtol=2e-3)
    np.testing.assert_allclose(points.vbe[held], vbe, atol=1e-4)
    assert points.pulsed.all()


def test_nothing_is_guessed_of_channels_without_a_map(tmp_path):
    batch = read_files([write(tmp_path, "T1.csv", recording(90))]).batch
    assert batch.points.ic.size == 0
    assert batch.problems


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        ({"column": "a", "unit": "A", "shunt": 0.1}, "unit 'A' does not fit"),
        ({"column": "a", "shunt": 0.1}, "and its unit"),
        ({"column": "a", "unit": "V", "shunt": 0}, "no resistance"),
        ({"column": "a", "unit": "V", "shunt": True}, "no resistance"),
    ],
)
def test_a_shunt_needs_a_voltage_and_a_resistance(entry, what):
    with pytest.raises(UnusableInput, match=what):
        column_map_from({"columns": {"ic": entry}}, "map.toml")
    with pytest.raises(UnusableInput, match="a shunt goes with"):
        column_map_from({"columns": {"vbe": {"column": "a", "unit": "V", "shunt": 1}}}, "map.toml")


def test_a_map_with_a_shunt_is_saved_and_reads_the_file_again(tmp_path, a_map):
    from partscreen.readings.columns.understanding import save_column_map

    path = write(tmp_path, "T1.csv", recording(90))
    first = read_files([path], column_map=a_map)
    save_column_map(tmp_path / "again.toml", first.understanding[0])
    again = read_files([path], column_map=tmp_path / "again.toml")
    np.testing.assert_array_equal(first.batch.points.ic, again.batch.points.ic)


def test_a_unit_row_that_differs_from_the_map_is_told(tmp_path, a_map):
    text = recording(90).replace("s;V;mV;V;V", "s;mV;mV;V;V")
    batch = read_files([write(tmp_path, "T1.csv", text)], column_map=a_map).batch
    assert any("column CH1: the file says mV, map.toml says V: the map holds" in notice for notice in batch.notices)


@pytest.mark.parametrize("n", [1000, 10_000])
def test_long_traces_are_averaged_without_bias(tmp_path, a_map, n):
    errors = []
    for seed in range(12):
        batch = read_files([write(tmp_path, f"T{seed}.csv", recording(n, seed))], column_map=a_map).batch
        points = batch.points
        assert points.ic.size <= MOST_POINTS
        assert any("neighbours of like current were averaged" in notice for notice in batch.notices)
        used = points.use
        gain, vbe = _true(points.ic[used])
        assert points.ic[used].max() > 4.9
        errors.append(
            np.column_stack([(points.hfe[used] - gain) / points.hfe_noise[used], (points.vbe[used] - vbe) / 1e-3])
        )
    together = np.concatenate(errors)
    gain_error = together[:, 0]
    # Noise of the mean as stated: the errors of the gain scatter as it says, around nothing.
    assert 0.8 < gain_error.std() < 1.2
    assert abs(gain_error.mean()) < 4.0 / np.sqrt(gain_error.size) + 0.1


def test_noise_is_told_from_the_trace_and_smooth_traces_have_none():
    rng = np.random.default_rng(1)
    ramp = np.linspace(0.0, 5.0, 4000)
    assert trace_noise(ramp) < 1e-12
    assert trace_noise(ramp + 2e-3 * rng.standard_normal(4000)) == pytest.approx(2e-3, rel=0.1)
    steps = np.logspace(-3, 1, 200)
    assert ABOVE_NOISE * trace_noise(steps) < 20 * steps[0]


def test_short_sweeps_are_left_as_they_are(tmp_path):
    rows = "".join(f"1,{ic:.6g},{80},5\n" for ic in np.logspace(-3, 1, 60))
    batch = read_files([write(tmp_path, "bag.csv", "part,ic [A],hfe,vce [V]\n" + rows)]).batch
    assert batch.points.hfe_noise is None
    assert batch.points.ic.size == 60


def test_smooth_long_sweeps_lose_no_point_to_noise(tmp_path):
    ic = np.logspace(-3, 1, 400)
    rows = "".join(f"1,{i:.8g},{i / _true(i)[0]:.8g},{_true(i)[1]:.6f},5\n" for i in ic)
    batch = read_files([write(tmp_path, "bag.csv", "part,ic [A],ib [A],vbe [V],vce [V]\n" + rows)]).batch
    assert batch.points.use.all()
    assert batch.points.ic.min() < 1.1e-3
    assert not batch.quality


def test_recorded_parts_are_judged_without_false_alarm(tmp_path, a_map):
    levels = 1.0 + 0.05 * np.random.default_rng(9).standard_normal(6)
    paths = [write(tmp_path, f"T{i + 1}.csv", recording(5000, i, level)) for i, level in enumerate(levels)]
    outcome = screen_files(paths, ScreenOptions(lot_texts=("A1 type=2SC5200 files=T1-T6",), columns=a_map))
    assert outcome.batch is not None
    assert outcome.batch.problems == ()
    (lot,) = outcome.screening.lots
    assert [part.status for part in lot.parts] == ["judged"] * 6
    assert all(part.evidence < 0 for part in lot.parts)
    assert all(note.code in ("BELOW_NOISE", "SIGN_MIXED") for part in lot.parts for note in part.quality)
