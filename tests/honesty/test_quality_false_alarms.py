"""Clean sweeps are left alone: of thousands of simulated clean sweeps at most 1 % get any one note.

The sweeps carry the noise their stated uncertainty says (Gaussian), no fault, and parts from small-signal to 20 A.
Where a kit is given the noise is drawn as the kit states it.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from partscreen.readings.instruments.kit import load_kit
from partscreen.readings.instruments.uncertainty import apply_kit
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.tables import Batch, Sweep
from partscreen.simulate.bench import simulate_lot
from partscreen.simulate.cards import card_names
from partscreen.simulate.kits import KITS, plan_up_to
from partscreen.simulate.parts import Kind
from tests.readings.sweeps import assemble, batch_of, clean_lot, gain_and_vbe, lot_parameters

MOST = 0.01
EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"
N = 2000


def shares(batch: Batch) -> dict[str, float]:
    """Share of parts (one sweep each) with each code."""
    seen: Counter[str] = Counter()
    for notes in batch.quality.values():
        seen.update({note.code for note in notes})
    return {code: count / batch.n_parts for code, count in seen.items()}


def assert_quiet(batch: Batch) -> None:
    found = shares(batch)
    assert all(share <= MOST for share in found.values()), found
    assert len(batch.condition) <= MOST * batch.n_parts, batch.condition


@pytest.mark.parametrize(("points", "low"), [(22, 1e-3), (22, 1e-6), (8, 1e-3), (5, 1e-2), (60, 1e-6)])
def test_clean_gain_sweeps_without_a_kit(points, low):
    batch = apply_kit(clean_lot(N, 101 + points, points=points, low=low), None)
    assert_quiet(check_quality(batch, None))


def test_clean_long_gummel_sweeps():
    batch = apply_kit(clean_lot(400, 102, points=200, low=1e-6), None)
    assert_quiet(check_quality(batch, None))


def test_clean_up_and_down_sweeps():
    rng = np.random.default_rng(103)
    p = lot_parameters(N, rng)
    up = p["rated"][:, None] * np.geomspace(0.01, 1.0, 11)
    ic = np.concatenate((up, up[:, ::-1]), axis=1)
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    hfe = hfe * (1.0 + 0.01 * rng.standard_normal(hfe.shape))
    vbe = vbe + 2e-3 * rng.standard_normal(vbe.shape)
    assert_quiet(check_quality(apply_kit(batch_of(hfe, vbe, ic), None), None))


def test_clean_readings_repeated_at_one_current():
    rng = np.random.default_rng(104)
    p = lot_parameters(N, rng)
    ic = p["rated"][:, None] * np.repeat([0.1, 0.5], 8)[None, :]
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    hfe = hfe * (1.0 + 0.01 * rng.standard_normal(hfe.shape))
    vbe = vbe + 2e-3 * rng.standard_normal(vbe.shape)
    assert_quiet(check_quality(apply_kit(batch_of(hfe, vbe, ic), None), None))


def test_clean_base_stepped_sweeps():
    """Output curves: forced base current, Early effect, gain from the model, saturation below about half a volt."""
    rng = np.random.default_rng(105)
    n, steps, k = 300, 8, 12
    p = lot_parameters(n, rng)
    ic0 = p["rated"][:, None] * np.linspace(0.05, 0.6, steps)
    hfe0, _ = gain_and_vbe(p, ic0, 0.0)
    ib = np.repeat(ic0 / hfe0, k, axis=1)
    vce = np.tile(np.concatenate(([0.1, 0.3], np.linspace(1.0, 20.0, k - 2))), steps)[None, :] * np.ones((n, 1))
    ic = np.repeat(ic0, k, axis=1) * (1.0 + vce / p["vaf"][:, None]) * (1.0 - np.exp(-vce / 0.1))
    ic = ic * (1.0 + 0.007 * rng.standard_normal(ic.shape))
    ib_seen = ib * (1.0 + 0.007 * rng.standard_normal((n, steps)).repeat(k, axis=1) * 0.3)
    batch = assemble(
        part=np.repeat(np.arange(n), steps * k),
        ic=ic.ravel(),
        hfe=(ic / ib_seen).ravel(),
        vbe=np.full(ic.size, np.nan),
        vce=vce.ravel(),
        sweep=np.full(ic.size, int(Sweep.OUTPUT)),
        ib=ib_seen.ravel(),
    )
    assert_quiet(check_quality(apply_kit(batch, None), None))


def test_clean_saturation_sweeps():
    rng = np.random.default_rng(106)
    p = lot_parameters(N, rng)
    ic = p["rated"][:, None] * np.geomspace(0.02, 1.0, 12)
    vce = 0.026 * np.log(1.0 + 11.0 / 2.0) + 2.2 * ic * p["re"][:, None]
    vce = vce + np.hypot(3e-3, 0.015 * vce) * rng.standard_normal(vce.shape)
    nan = np.full(ic.size, np.nan)
    batch = assemble(
        part=np.repeat(np.arange(N), 12),
        ic=ic.ravel(),
        hfe=nan,
        vbe=nan,
        vce=vce.ravel(),
        sweep=np.full(ic.size, int(Sweep.SATURATION)),
        ib=ic.ravel() / 10.0,
    )
    assert_quiet(check_quality(apply_kit(batch, None), None))


@pytest.mark.parametrize(
    ("name", "low"), [("kit_two_wire_5a", 0.02), ("kit_four_wire_10a", 0.02), ("kit_supply_and_multimeters", 0.25)]
)
def test_clean_sweeps_with_the_noise_of_a_kit(name, low):
    """Noise of the kit's standard uncertainty and rounding to its last digit, within its ranges.

    The multimeters' ammeter shows 10 mA steps: sweeps with it start where a reading is good to 10 %.
    """
    kit = load_kit(EXAMPLES / f"{name}.toml")
    rng = np.random.default_rng(107)
    p = lot_parameters(N, rng, sizes=(0.8, 2.5))
    ic = p["rated"][:, None] * np.geomspace(low, 1.0, 20)
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    stds = apply_kit(batch_of(hfe, vbe, ic), kit).points
    hfe = hfe + (stds.hfe_std * rng.standard_normal(hfe.size)).reshape(hfe.shape)
    vbe = vbe + (stds.vbe_std * rng.standard_normal(vbe.size)).reshape(vbe.shape)
    vbe = np.round(vbe, 3)
    assert_quiet(check_quality(apply_kit(batch_of(hfe, vbe, ic), kit), kit))


KINDS = {
    Kind.OPEN: 0.1,
    Kind.SHORT: 0.1,
    Kind.REVERSED: 0.1,
    Kind.SMALLER_DIE: 0.1,
    Kind.LEAK: 0.1,
    Kind.WORN: 0.1,
    Kind.BOND: 0.1,
}
GONE = (Kind.OPEN, Kind.SHORT, Kind.REVERSED)


@pytest.mark.parametrize("size", sorted(KITS))
@pytest.mark.parametrize("card", card_names())
def test_simulated_bags_on_four_benches(size, card):
    """The simulator's parts (full model, heating, drift, meter digits): dead ones all found, live ones left alone.

    Parts of a smaller die, leaky, worn or with a damaged bond are for the screening to judge, not for the checks of
    readings.
    """
    readings, truth = simulate_lot(card, 60, seed=109, kit=KITS[size], plan=plan_up_to(size), bad=KINDS)
    frame = readings.to_frame()
    column = {
        name: frame[name].to_numpy(dtype=float) for name in ("ic_a", "ib_a", "vce_v", "vbe_v", "hfe", "case_temp_k")
    }
    batch = assemble(
        part=np.repeat(np.arange(60), len(frame) // 60),
        ic=column["ic_a"],
        ib=column["ib_a"],
        vce=column["vce_v"],
        vbe=column["vbe_v"],
        hfe=column["hfe"],
        sweep=np.where(frame["sweep"] == "gain", int(Sweep.GAIN), int(Sweep.SATURATION)),
        case_temp=column["case_temp_k"],
    )
    found = check_quality(apply_kit(batch, None), None)
    for number, part in enumerate(truth):
        code = found.condition[number].code if number in found.condition else None
        noted = {note.code for note in found.quality.get(number, ())}
        if part.kind is Kind.OPEN:
            assert code == "OPEN"
        elif part.kind is Kind.SHORT:
            assert code == "SHORT"
        elif part.kind is Kind.REVERSED:
            assert noted & {"SWAPPED_LEADS", "LEADS_DOUBTED"}
        else:
            assert code is None
    live = [number for number, part in enumerate(truth) if part.kind not in GONE]
    assert sum(number in found.quality for number in live) <= MOST * len(live)


def test_parts_of_one_lot_as_small_dies_are_no_slip_of_unit():
    """A die a tenth of the area shifts gain at high current and VBE, not by a factor of 1000."""
    rng = np.random.default_rng(108)
    p = lot_parameters(400, rng, lot_size=400)
    for key in ("is", "ikf", "ise"):
        p[key][::10] *= 0.1
    for key in ("re", "rb"):
        p[key][::10] *= 10.0
    ic = p["rated"][:, None] * np.geomspace(1e-3, 0.2, 22)
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    hfe = hfe * (1.0 + 0.01 * rng.standard_normal(hfe.shape))
    vbe = vbe + 2e-3 * rng.standard_normal(vbe.shape)
    found = check_quality(apply_kit(batch_of(hfe, vbe, ic), None), None)
    assert_quiet(found)
    assert shares(found).get("IMPOSSIBLE_SIZE", 0.0) == 0.0
