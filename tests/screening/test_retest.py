"""A pulled part against its own first readings: false alarms, power, and what is said where nothing can be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partscreen.device.observations import take_observations
from partscreen.device.parameters import INDEX
from partscreen.device.predict import predict_gain
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.screening.retest.judge import GAIN_CHANGE, LEAK_FLOORS, SATURATION_CHANGE, compare_retest
from partscreen.screening.retest.pairs import Leak, Sitting, pairs_of
from tests.screening.lots import ROOM, observe

POPULATION = population_for(Library.load().type("2SC5200"))
CONSTANTS = POPULATION.constants
CARELESS = {"session": (5.0, 0.02)}  # temperature not logged, gain of a cheap meter


def parts(n, seed):
    rng = np.random.default_rng(seed)
    return rng.multivariate_normal(POPULATION.centre, POPULATION.within + POPULATION.between, n), rng


def sittings(theta, rng, **how):
    """Every part read in a sitting of its own."""
    out = []
    for one in theta:
        o = observe(one[None], CONSTANTS, rng, **how)
        out.append(Sitting(o, session="bench"))
    return out


def verdicts(before, after, rng, first=None, now=None):
    old, new = sittings(before, rng, **(first or {})), sittings(after, rng, **(now or {}))
    return [compare_retest(a, b, part=str(i)) for i, (a, b) in enumerate(zip(old, new, strict=True))]


def share(results, word):
    return np.mean([r.verdict == word for r in results])


@pytest.mark.parametrize("how", [{}, CARELESS])
def test_an_unchanged_part_is_called_changed_in_at_most_one_of_a_hundred(how):
    theta, rng = parts(200, 1)
    results = verdicts(theta, theta, rng, how, how)
    assert share(results, "changed") <= 0.01


def test_an_unchanged_part_read_with_care_is_called_unchanged():
    theta, rng = parts(100, 2)
    results = verdicts(theta, theta, rng)
    assert share(results, "unchanged") >= 0.95
    assert all("Look at the stage" in r.advice[0] for r in results if r.verdict == "unchanged")


def test_false_alarms_stay_below_one_in_a_hundred_where_the_uncertainty_is_as_large_as_the_limit():
    """Worst case: uncertainty dwarfs the limit, so that chance alone decides."""
    theta, rng = parts(1, 3)
    (o,) = (s.observations for s in sittings(theta, rng))
    results = []
    for _ in range(800):
        pair = [
            Sitting(
                replace(o, hfe=o.hfe * np.exp(rng.normal(0, 1.0, o.hfe.shape)), hfe_ln_std=np.full(o.hfe.shape, 1.0))
            )
            for _ in range(2)
        ]
        results.append(compare_retest(*pair, part="x"))
    assert share(results, "changed") <= 2 * 0.01  # either way: the alarm is kept on each side
    assert share(results, "unchanged") == 0.0


def leaky(theta, rng):
    """hFE at 10 mA down by a factor of 1.5 to 5: a base-emitter junction after avalanche (as in the honesty study)."""
    out = theta.copy()
    ten = np.full((theta.shape[0], 1), 0.01)
    gain = np.exp(predict_gain(theta, CONSTANTS, ten, 5.0, ROOM, True, jacobian=False).ln_hfe[:, 0])
    more = 0.01 / gain * (rng.uniform(1.5, 5.0, theta.shape[0]) - 1.0)
    out[:, INDEX["leak"]] = np.log(np.exp(theta[:, INDEX["leak"]]) + more)
    return out


def with_bond(theta, rng, ohm):
    """More resistance in the emitter's bond, half as much in the collector's."""
    out = theta.copy()
    for name, part in (("re", 1.0), ("rc", 0.5)):
        out[:, INDEX[name]] = np.log(np.exp(theta[:, INDEX[name]]) + part * ohm)
    return out


def test_a_leak_after_avalanche_is_found_and_its_cause_named():
    theta, rng = parts(150, 4)
    results = verdicts(theta, leaky(theta, rng), rng)
    assert share(results, "changed") >= 0.97
    found = [r for r in results if r.verdict == "changed"]
    assert np.mean(["reverse breakdown" in " ".join(r.advice) for r in found]) >= 0.97


def test_a_damaged_bond_is_found_where_its_voltage_exceeds_the_limit():
    theta, rng = parts(100, 5)
    worse = with_bond(theta, rng, 0.03)
    assert share(verdicts(theta, worse, rng, {"ic_max": 5.0}, {"ic_max": 5.0}), "changed") >= 0.95
    low = verdicts(theta, worse, rng)  # 45 mV at 1 A: below the published 50 mV
    assert share(low, "changed") <= 0.2


def test_errors_shared_by_a_sitting_are_not_cancelled_between_sittings():
    theta, rng = parts(1, 6)
    a, b = (sittings(theta, rng, **CARELESS)[0] for _ in range(2))
    pair = next(p for p in pairs_of(a, b)[0] if p.quantity == "hFE")
    assert pair.shared >= np.hypot(0.02, 0.02)
    careful = sittings(theta, rng)
    assert next(p for p in pairs_of(careful[0], careful[0])[0] if p.quantity == "hFE").shared < 0.01


def test_a_warmer_case_is_no_change_of_the_part():
    theta, rng = parts(60, 7)
    old = sittings(theta, rng)
    new = sittings(theta, rng)
    warm = []
    for one, s in zip(theta, new, strict=True):
        o = s.observations
        hot = predict_gain(one[None], CONSTANTS, o.gain_ic, 5.0, ROOM + 30.0, True, jacobian=False)
        warm.append(
            replace(s, observations=replace(o, hfe=np.exp(hot.ln_hfe), vbe=hot.vbe, gain_temp=o.gain_temp + 30.0))
        )
    results = [compare_retest(a, b, part="x") for a, b in zip(old, warm, strict=True)]
    assert share(results, "changed") <= 0.01
    assert not any(r.remarks for r in results)  # VBE too is brought to one temperature


def leak_sitting(value, *, std=2e-9, bias=100.0, temperature=ROOM, quantity="icbo"):
    theta, rng = parts(1, 8)
    (s,) = sittings(theta, rng)
    return Sitting(take_observations(s.observations, np.array([0])), (Leak(quantity, bias, value, std, temperature),))


def word_of(result, quantity):
    return next(c.word for c in result.changes if c.quantity == quantity)


def test_leakage_may_double_or_rise_by_the_floor():
    """Check values 10.2: 100 % or 200 nA, whichever is greater, for ICBO."""
    assert LEAK_FLOORS["ICBO"][0] == 200e-9
    first = leak_sitting(10e-9)
    assert word_of(compare_retest(first, leak_sitting(150e-9), part="x"), "ICBO") == "inside"
    assert word_of(compare_retest(first, leak_sitting(400e-9), part="x"), "ICBO") == "outside"
    big = leak_sitting(5e-6, std=5e-8)
    assert word_of(compare_retest(big, leak_sitting(9e-6, std=5e-8), part="x"), "ICBO") == "inside"
    assert word_of(compare_retest(big, leak_sitting(12e-6, std=5e-8), part="x"), "ICBO") == "outside"


def test_leakage_is_brought_to_one_temperature_with_its_uncertainty():
    first = leak_sitting(1e-6)
    hot = leak_sitting(4e-6, temperature=ROOM + 20.0)  # doubles every 10 K: the same junction
    change = next(c for c in compare_retest(first, hot, part="x").changes if c.quantity == "ICBO")
    assert change.now == pytest.approx(1e-6, rel=1e-6)
    assert change.std > 0.3


def test_leakage_at_another_voltage_is_not_compared():
    result = compare_retest(leak_sitting(1e-8), leak_sitting(1e-8, bias=60.0), part="x")
    assert any("ICBO" in line for line in result.not_compared)


def test_published_limits_stand_with_their_source_and_are_called_an_assumption():
    """MIL-PRF-19500/439H and /368F, check values 10.2."""
    assert (SATURATION_CHANGE, GAIN_CHANGE) == (0.050, 0.25)
    theta, rng = parts(1, 9)
    (result,) = verdicts(theta, theta, rng)
    assert "assumption" in result.assumption
    assert {c.source[:13] for c in result.changes if c.allowed is not None} == {"MIL-PRF-19500"}


def test_a_part_that_died_has_changed_and_one_that_was_dead_at_first_cannot_be_told():
    theta, rng = parts(1, 10)
    (alive,) = sittings(theta, rng)
    dead = replace(alive, condition="collector and emitter are shorted", observations=_nothing(alive.observations))
    assert compare_retest(alive, dead, part="x").verdict == "changed"
    assert compare_retest(dead, alive, part="x").verdict == "cannot_tell"


def _nothing(o):
    return replace(
        o, hfe=np.full_like(o.hfe, np.nan), vbe=np.full_like(o.vbe, np.nan), vce_sat=np.full_like(o.vce_sat, np.nan)
    )


def test_without_a_like_reading_it_cannot_be_told_and_it_says_what_to_read():
    theta, rng = parts(1, 11)
    (a,), (b,) = sittings(theta, rng, ic_max=0.1), sittings(theta, rng, ic_max=0.1)
    far = replace(
        b.observations, gain_vce=b.observations.gain_vce * 4.0, vce_sat=np.full_like(b.observations.vce_sat, np.nan)
    )
    result = compare_retest(a, Sitting(far), part="x")
    assert result.verdict == "cannot_tell"
    assert result.not_compared
    assert "Read again" in result.advice[0]


def test_another_part_with_another_vbe_is_remarked_on():
    theta, rng = parts(1, 12)
    other = theta.copy()
    other[:, INDEX["is"]] += 1.5
    (result,) = verdicts(theta, other, rng)
    assert [r.code for r in result.remarks] == ["VBE_MOVED"]


def test_the_remark_on_vbe_is_rare_for_one_and_the_same_part():
    theta, rng = parts(200, 13)
    assert np.mean([bool(r.remarks) for r in verdicts(theta, theta, rng)]) <= 0.01


def test_the_result_goes_to_json_and_back():
    theta, rng = parts(1, 14)
    (result,) = verdicts(theta, theta, rng)
    text = result.model_dump_json(by_alias=True)
    assert '"schema":"partscreen.retest/1"' in text
    assert type(result).model_validate_json(text) == result
