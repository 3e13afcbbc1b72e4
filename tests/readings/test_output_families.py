"""Families of output curves at fixed base current, without VBE: judged by their gain, and told what they cannot say."""

import numpy as np

from partscreen.workflow import ScreenOptions, screen_files
from tests.readings.bench_files import write

BASE = (1e-3, 5e-3, 20e-3, 60e-3, 120e-3)
COLLECTOR = (0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 10.0)


def _family(knee, level, rng):
    """IC of an invented part: gain that falls above `knee` amperes, a finite Early voltage, a saturated corner."""
    ib, vce = np.meshgrid(BASE, COLLECTOR, indexing="ij")
    ic = 95.0 * level * ib
    ic = 2.0 * ic / (1.0 + np.sqrt(1.0 + 4.0 * ic / knee))
    ic = ic * (1.0 + vce / 150.0) * (1.0 - np.exp(-vce / 0.12))
    return ib, vce, ic * (1.0 + 2e-3 * rng.standard_normal(ic.shape))


def _lot(folder, knees):
    rng = np.random.default_rng(12)
    lines = ["part;IB [mA];VCE [V];IC [A]"]
    for number, knee in enumerate(knees, 1):
        for ib, vce, ic in zip(
            *(a.ravel() for a in _family(knee, 1.0 + 0.05 * rng.standard_normal(), rng)), strict=True
        ):
            lines.append(f"T{number};{1e3 * ib:g};{vce:g};{ic:.5f}".replace(".", ","))
    path = write(folder, "A1.csv", "\n".join(lines) + "\n")
    return screen_files([path], ScreenOptions(lot_texts=("A1 type=2SC5200",)))


def test_a_family_without_vbe_is_judged_by_its_gain_and_says_what_it_cannot_tell(tmp_path):
    outcome = _lot(tmp_path, [12.0] * 8)
    assert outcome.batch is not None
    assert outcome.batch.problems == ()
    assert set(outcome.batch.points.sweep.tolist()) == {2}
    assert any("they do not tell the die area on its own, VBE or VCE(sat)" in notice for notice in outcome.notices)
    (lot,) = outcome.screening.lots
    for part in lot.parts:
        assert part.status == "judged"
        assert part.disposition in ("accept", "hold")
        assert part.evidence < 0
        assert part.reach_absolute is None or part.reach_absolute < 0.2
        gains = [limit for limit in part.limits if limit.symbol == "hFE" and limit.reached == "direct"]
        assert gains
        assert all(limit.decision != "nonconforming" for limit in gains)
        assert all(limit.reached != "direct" for limit in part.limits if limit.symbol in ("VBE", "VCE(sat)"))


def test_a_part_whose_gain_falls_early_lies_far_from_its_family_and_is_not_accepted(tmp_path):
    outcome = _lot(tmp_path, [12.0] * 7 + [2.5])
    (lot,) = outcome.screening.lots
    *others, small = lot.parts
    assert small.disposition in ("hold", "reject")
    assert small.outlier_distance > 10.0
    assert all(part.outlier_distance < 4.0 for part in others)
    assert small.area_ratio.value < min(part.area_ratio.value for part in others)
