"""The neighbours of a limit's current found the slow way, one part at a time; risks at their borders."""

from math import erf, exp, hypot, inf, isnan, log, nan, nextafter, sqrt

import numpy as np
import pytest
from scipy import stats

from partscreen.screening.limits.conformance import (
    CONFORMING,
    DEFAULT_RISK,
    NONCONFORMING,
    UNDECIDED,
    Tolerance,
    acceptance_rate,
    capability,
    conformance_probability,
    decide,
    global_consumer_risk,
    global_guard_band,
    global_producer_risk,
    guard_band,
)
from partscreen.screening.limits.curve_model import PlainLaws
from partscreen.screening.limits.values import (
    CARRIED,
    DIRECT,
    NOT_REACHED,
    _bracket,
    gain_at_limit,
    saturation_at_limit,
)
from tests.screening.bench import ROOM
from tests.screening.test_limit_values import AT, SAT_AT, Flat, hfe, observed, saturated, vbe


def neighbours(currents, like, seen, at):
    """By the words of the module: left, right, weight of the right one, and how the limit is reached."""
    low = [k for k, (ic, ok) in enumerate(zip(currents, like, strict=True)) if ok and ic <= at]
    high = [k for k, (ic, ok) in enumerate(zip(currents, like, strict=True)) if ok and ic >= at]
    any_seen = [ic for ic, ok in zip(currents, seen, strict=True) if ok]
    if low or high:
        left = low[-1] if low else high[0]
        right = high[0] if high else left
        a, b = currents[left], currents[right]
        near = any(max(at / x, x / at) <= 1.05 for x in (a, b))
        if near or (low and high and b / a <= 5.0):
            weight = 0.0 if a == b else min(max(log(at / a) / log(b / a), 0.0), 1.0)
            return left, right, weight, DIRECT
    if any_seen and min(any_seen) / 3.0 <= at <= 3.0 * max(any_seen):
        return None, None, None, CARRIED
    return None, None, None, NOT_REACHED


def test_neighbours_of_many_parts_at_once_are_those_of_each_part_looked_at_alone():
    rng = np.random.default_rng(7)
    n, m = 1500, 5
    ic = np.sort(np.exp(np.round(rng.normal(0.0, 1.2, (n, m)), 1)), axis=1)  # some alike, some at 1 A exactly
    seen = rng.random((n, m)) < 0.85
    like = seen & (rng.random((n, m)) < 0.8)
    ic = np.where(seen, ic, np.where(rng.random((n, m)) < 0.5, np.nan, ic))
    kinds = set()
    for at in (0.3, 1.0, 4.0):
        found = _bracket(ic, like, seen, at)
        for i in range(n):
            left, right, weight, reached = neighbours(ic[i], like[i], seen[i], at)
            kinds.add(reached)
            assert found.reached[i] == reached
            if reached == DIRECT:
                assert (found.left[i], found.right[i]) == (left, right)
                assert found.weight[i] == pytest.approx(weight)
    assert kinds == {DIRECT, CARRIED, NOT_REACHED}


def test_a_reading_at_the_limits_current_stands_for_it_however_that_is_rounded():
    for current in (1.0, nextafter(1.0, 2.0), nextafter(1.0, 0.0), 1.0 + 5e-10, 1.0 - 5e-10):
        found = _bracket(np.array([[0.3, current, 2.0]]), np.ones((1, 3), bool), np.ones((1, 3), bool), 1.0)
        assert (found.left[0], found.right[0], found.reached[0]) == (1, 1, DIRECT)
    for current, sides in ((1.0 + 1e-8, (0, 1)), (1.0 - 1e-8, (1, 2))):
        found = _bracket(np.array([[0.3, current, 2.0]]), np.ones((1, 3), bool), np.ones((1, 3), bool), 1.0)
        assert (found.left[0], found.right[0]) == sides


def test_weight_of_a_neighbour_lies_between_nothing_and_all_beyond_the_readings_too():
    for current in (0.96, 1.04):
        found = _bracket(np.array([[current]]), np.ones((1, 1), bool), np.ones((1, 1), bool), 1.0)
        assert (found.left[0], found.right[0], found.weight[0], found.reached[0]) == (0, 0, 0.0, DIRECT)


class Partial(Flat):
    """A fit that reaches all but the limit itself."""

    def gain(self, rows, ic, vce, temperature, pulsed):
        hfe_, vbe_ = super().gain(rows, ic, vce, temperature, pulsed)
        beyond = np.arange(ic.shape[1]) == ic.shape[1] - 1
        return np.where(beyond, nan, 2.0 * hfe_), np.where(beyond, nan, vbe_)

    def saturation(self, rows, ic, ib, temperature, pulsed):
        beyond = np.arange(ic.shape[1]) == ic.shape[1] - 1
        return np.where(beyond, nan, super().saturation(rows, ic, ib, temperature, pulsed))


def test_a_fit_that_does_not_reach_the_limit_leaves_the_word_to_the_plain_laws():
    row = {"ic": 1.04, "hfe": 90.0, "vbe": 0.66, "vce": 6.0, "temp": ROOM + 10}
    plain = PlainLaws()
    for value in (hfe, vbe):
        assert value(Partial(), row).value[0] == pytest.approx(value(plain, row).value[0])
        assert value(Partial(), row).value[0] != pytest.approx(value(Flat(), row).value[0], rel=1e-6)
    # XTB 1.5 and an Early voltage of 100 V (assumptions of the plain laws).
    law = 90.0 * (ROOM / (ROOM + 10)) ** 1.5 * 1.05 / 1.06
    assert hfe(plain, row).value[0] == pytest.approx(law)
    assert vbe(plain, row).value[0] == pytest.approx(0.66 + 0.0257 * log(1 / 1.04) + 2e-3 * 10)
    ohmic = saturated(Partial(), {"ic": 4.8, "ib": 0.48, "vce": 0.24})
    assert (ohmic.value[0], ohmic.reached[0]) == (pytest.approx(0.25), DIRECT)


def test_uncertain_conditions_cost_their_share_of_the_correction_between_two_readings():
    # Two readings halfway around the limit, both warm by 20 K and unpulsed: shares of 1.5 and 0.35 of gain, 1.0 and
    # 0.15 of VBE, 0.5 and 0.5 of saturation (assumptions of the module), over what lies between the readings.
    warm = {"temp": ROOM + 20, "pulsed": False}
    pair = ({"ic": 0.5, **warm}, {"ic": 2.0, **warm})
    for value, own, shares in ((hfe, 0.02, (1.5, 0.35)), (vbe, 0.003, (1.0, 0.15))):
        got = value(Flat(own=0.03, kelvin=0.002), *pair)
        assert got.std[0] == pytest.approx(sqrt(own**2 / 2 + (shares[0] * 0.03) ** 2 + (shares[1] * 0.04) ** 2))
    sat = ({"ic": 2.5, "ib": 0.25, "vce": 0.3, **warm}, {"ic": 10.0, "ib": 1.0, "vce": 0.3, **warm})
    got = saturated(Flat(own=0.03, kelvin=0.002), *sat)
    assert got.std[0] == pytest.approx(sqrt(0.01**2 / 2 + (0.5 * 0.03) ** 2 + (0.5 * 0.04) ** 2))
    assert got.value[0] == pytest.approx(0.3 - 0.03 - 0.04)


def test_only_parts_that_are_read_near_the_limit_are_filled_and_the_others_stay_empty():
    for value in (
        gain_at_limit(observed(), Flat(), "hfe", AT, ROOM),
        saturation_at_limit(observed(), Flat(), SAT_AT, ROOM),
    ):
        assert value.reached.tolist() == [NOT_REACHED]
        assert isnan(value.value[0])
        assert isnan(value.std[0])
    assert gain_at_limit(observed(), Flat(), "hfe", AT, ROOM).log
    assert not gain_at_limit(observed(), Flat(), "vbe", AT, ROOM).log
    assert not saturation_at_limit(observed(), Flat(), SAT_AT, ROOM).log


def test_a_fit_without_an_uncertainty_carries_nothing():
    class Unsure(Flat):
        def gain_std(self, rows, ic, vce, temperature):
            hfe_, vbe_, std, vbe_std = super().gain_std(rows, ic, vce, temperature)
            return hfe_, vbe_, nan * std, nan * vbe_std

        def saturation_std(self, rows, ic, ib, temperature):
            vce, std = super().saturation_std(rows, ic, ib, temperature)
            return vce, nan * std

    for value, row in ((hfe, {"ic": 0.5}), (vbe, {"ic": 0.5}), (saturated, {"ic": 2.0, "ib": 0.2})):
        got = value(Unsure(), row)
        assert got.reached[0] == NOT_REACHED
        assert isnan(got.value[0])


# Risks


def phi(x):
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


@pytest.mark.parametrize("value", [-3.0, -1.0, 0.0, 0.4, 1.0, 2.0, 7.0])
@pytest.mark.parametrize("std", [0.2, 1.0, 6.0])
def test_chance_of_conforming_is_the_area_between_the_limits(value, std):
    for low, high in ((-1.0, 2.0), (-inf, 2.0), (-1.0, inf), (-inf, inf)):
        wanted = phi((high - value) / std) - phi((low - value) / std)
        found = float(conformance_probability(value, std, Tolerance(low, high)))
        assert found == pytest.approx(wanted, abs=1e-12)
        assert 0.0 <= found <= 1.0


def test_chance_far_outside_either_limit_keeps_its_digits():
    # 20 standard uncertainties outside: 2.75e-89 (M. Abramowitz, I. Stegun, 26.2.12), where 1 - 1 would be nothing.
    tail = 20.0**-1 * exp(-200.0) / sqrt(2 * np.pi) * (1 - 1 / 400 + 3 / 160000)
    for tolerance, value in ((Tolerance(-5.0, 5.0), 25.0), (Tolerance(-5.0, 5.0), -25.0), (Tolerance(low=5.0), -15.0)):
        assert float(conformance_probability(value, 1.0, tolerance)) == pytest.approx(tail, rel=1e-4)


def test_an_exactly_known_value_conforms_up_to_and_on_its_limits():
    tolerance = Tolerance(1.0, 2.0)
    values = [nextafter(1.0, 0.0), 1.0, 1.5, 2.0, nextafter(2.0, 3.0), nan]
    found = conformance_probability(values, 0.0, tolerance)
    assert found[:5].tolist() == [0.0, 1.0, 1.0, 1.0, 0.0]
    assert isnan(found[5])
    assert isnan(float(conformance_probability(1.5, nan, tolerance)))
    mixed = conformance_probability([1.5, 1.5], [0.0, 0.5], tolerance)
    assert mixed.tolist() == [1.0, pytest.approx(phi(1) - phi(-1))]
    for std in (-1e-12, [0.1, -0.1]):
        with pytest.raises(ValueError, match="a standard uncertainty is negative"):
            conformance_probability(1.5, std, tolerance)


def test_limits_lie_one_below_the_other_and_risks_between_nothing_and_a_half():
    for low, high in ((2.0, 2.0), (2.0, 1.0), (nan, 1.0)):
        with pytest.raises(ValueError, match="must lie below"):
            Tolerance(low, high)
    assert Tolerance(1.0, nextafter(1.0, 2.0))
    shrunk = Tolerance(1.0, 5.0).shrunk(0.5)
    assert (shrunk.low, shrunk.high) == (1.5, 4.5)
    assert Tolerance(low=1.0).shrunk(-0.5) == Tolerance(low=0.5)
    for risk in (0.0, -0.1, 0.5000001, 1.0, nan):
        with pytest.raises(ValueError, match=r"between 0 and 0\.5 is expected"):
            decide(0.5, risk)
    for risk in (0.0, 1.0, -0.1, nan):
        with pytest.raises(ValueError, match="between 0 and 1 is expected"):
            guard_band(1.0, risk)
    assert DEFAULT_RISK == 0.02  # ANSI/NCSL Z540.3, 5.3


def test_a_decision_is_made_on_the_border_of_its_risk():
    p = np.array([1.0, 0.75, nextafter(0.75, 0.0), 0.5, nextafter(0.25, 1.0), 0.25, 0.0, nan])
    c, u, f = CONFORMING, UNDECIDED, NONCONFORMING
    assert decide(p, 0.25).tolist() == [c, c, u, u, u, f, f, u]
    assert decide([0.5, nextafter(0.5, 0.0)], 0.5).tolist() == [c, f]  # simple acceptance
    assert (c, u, f) == (1, 0, -1)


def test_a_guard_band_is_the_normal_quantile_of_its_risk_times_the_uncertainty():
    # ILAC-G8:09/2019: 1.96 u at 2.5 %; JCGM 106:2012, 8.3.2.
    assert guard_band([1.0, 0.5], 0.025) == pytest.approx([1.959964, 0.979982], rel=1e-6)
    assert float(guard_band(2.0, 0.5)) == pytest.approx(0.0, abs=1e-12)
    assert float(guard_band(1.0, 0.9)) == pytest.approx(-1.281552, rel=1e-6)
    edge = 10.0 - float(guard_band(0.7, 0.05))
    assert float(conformance_probability(edge, 0.7, Tolerance(high=10.0))) == pytest.approx(0.95)


@pytest.mark.parametrize("tolerance", [Tolerance(-1.0, 1.5), Tolerance(high=1.5), Tolerance(low=-1.0)])
def test_global_risks_are_those_of_many_simulated_parts(tolerance):
    rng = np.random.default_rng(9)
    spread, std, n = stats.norm(0.1, 1.0), 0.3, 400_000
    acceptance = tolerance.shrunk(0.2)
    true = spread.rvs(n, random_state=rng)
    read = true + rng.normal(0.0, std, n)
    good = (true >= tolerance.low) & (true <= tolerance.high)
    taken = (read >= acceptance.low) & (read <= acceptance.high)
    for found, seen in (
        (global_consumer_risk(spread, std, tolerance, acceptance), ~good & taken),
        (global_producer_risk(spread, std, tolerance, acceptance), good & ~taken),
        (acceptance_rate(spread, std, acceptance), taken),
    ):
        assert found == pytest.approx(seen.mean(), abs=4 * sqrt(seen.mean() / n))


def test_a_spread_that_ends_within_the_limits_has_no_consumers_risk():
    spread = stats.uniform(-0.5, 1.0)
    assert global_consumer_risk(spread, 0.1, Tolerance(-1.0, 1.0), Tolerance(-1.0, 1.0)) == 0.0
    assert global_producer_risk(spread, 0.1, Tolerance(-1.0, 1.0), Tolerance(-0.8, 0.8)) == pytest.approx(0.0, abs=1e-3)


def test_a_global_guard_band_is_refused_where_no_band_gives_the_risk():
    spread = stats.norm(0.0, 1.0)
    outside = 2 * spread.sf(1.5)
    with pytest.raises(ValueError, match=r"no guard band brings the consumer's risk to"):
        global_guard_band(spread, 0.2, Tolerance(-1.5, 1.5), 1.001 * outside)
    wide = global_guard_band(spread, 0.2, Tolerance(-1.5, 1.5), 0.9 * outside)
    assert wide < 0.0
    tight = global_guard_band(spread, 0.2, Tolerance(-1.5, 1.5), 1e-6)
    assert 0.0 < tight < 1.5


def test_capability_and_share_outside_are_those_of_a_normal_process():
    cpk, outside = capability(2.0, 0.5, Tolerance(1.0, 4.0))
    assert (cpk, outside) == (pytest.approx(2 / 3), pytest.approx(phi(-2.0) + phi(-4.0)))
    assert capability(2.0, 0.5, Tolerance(low=1.0))[0] == pytest.approx(2 / 3)
    assert capability(5.0, 0.5, Tolerance(1.0, 4.0))[0] == pytest.approx(-2 / 3)
    assert hypot(*capability(2.5, 0.25, Tolerance(1.0, 4.0))) == pytest.approx(2.0, rel=1e-6)
