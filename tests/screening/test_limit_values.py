"""What a reading is worth at a limit beside it: corrections worked by hand on devices whose laws are plain."""

from math import exp, hypot, log, sqrt

import numpy as np
import pytest
from scipy import stats

from partscreen.device.observations import Observations
from partscreen.reference import Library
from partscreen.reference.population import population_for
from partscreen.screening.limits.conformance import (
    Tolerance,
    acceptance_rate,
    capability,
    decide,
    global_consumer_risk,
    global_guard_band,
    global_producer_risk,
    guard_band,
)
from partscreen.screening.limits.curve_model import PlainLaws
from partscreen.screening.limits.fitted_curves import FittedCurves
from partscreen.screening.limits.judge import PartReadings, value_at_limit
from partscreen.screening.limits.spots import spot_tables
from partscreen.screening.limits.values import CARRIED, DIRECT, NOT_REACHED, gain_at_limit, saturation_at_limit
from tests.screening.bench import ROOM, Limit, TextbookDevice, batch, gain_limit, spots

NAN = float("nan")
AT = {"IC": 1.0, "VCE": 5.0}
SAT_AT = {"IC": 5.0, "IB": 0.5}


class Flat:
    """hFE 100, VBE 0.7 V, VCE(sat) 0.2 V, whatever the conditions, save for the steps given (ln hFE, volts):
    `own` while the reading warms the junction, `vce` a volt, `kelvin` a kelvin, `forced` a step of forced gain."""

    def __init__(self, own=0.0, vce=0.0, kelvin=0.0, forced=0.0):
        self.own, self.vce, self.kelvin, self.forced = own, vce, kelvin, forced

    def _step(self, temperature, pulsed, vce=5.0):
        return self.own * ~pulsed + self.vce * (vce - 5.0) + self.kelvin * (temperature - ROOM)

    def gain(self, rows, ic, vce, temperature, pulsed):
        step = self._step(temperature, pulsed, vce)
        return 100.0 * np.exp(step), 0.7 + step

    def gain_std(self, rows, ic, vce, temperature):
        one = np.ones(ic.shape)
        return 80.0 * one, 0.65 * one, 0.03 * one, 0.004 * one

    def saturation(self, rows, ic, ib, temperature, pulsed):
        return 0.2 + self._step(temperature, pulsed) + self.forced * (ic / ib - 10.0)

    def saturation_std(self, rows, ic, ib, temperature):
        return 0.1 * ic / ib, 0.05 * np.ones(ic.shape)


def observed(gain=(), sat=(), *, temp_std=0.0, gain_std=0.0, lead_std=0.0):
    """One part. `gain`: dicts of ic, vce, temp, pulsed, hfe, vbe; `sat`: dicts of ic, ib, temp, pulsed, vce."""

    def column(rows, name, default, kind=float):
        return np.array([[row.get(name, default) for row in rows]], dtype=kind).reshape(1, -1)

    one, empty = np.ones((1, len(gain))), np.zeros((1, 0))
    return Observations(
        column(gain, "ic", 1.0), column(gain, "vce", 5.0), column(gain, "temp", ROOM),
        column(gain, "pulsed", True, bool), column(gain, "hfe", 100.0), 0.02 * one, column(gain, "vbe", 0.7),
        0.003 * one, column(sat, "ic", 5.0), column(sat, "ib", 0.5), column(sat, "temp", ROOM),
        column(sat, "pulsed", True, bool), column(sat, "vce", 0.2), 0.01 * np.ones((1, len(sat))),
        empty.astype(int), empty, empty, empty, np.zeros(1, dtype=int), np.array([temp_std]), np.array([gain_std]),
        np.array([lead_std]),
    )  # fmt: skip


def hfe(device, *rows, temperature=ROOM, **session):
    return gain_at_limit(observed(rows, **session), device, "hfe", AT, temperature)


def vbe(device, *rows, temperature=ROOM, **session):
    return gain_at_limit(observed(rows, **session), device, "vbe", AT, temperature)


def saturated(device, *rows, temperature=ROOM, **session):
    return saturation_at_limit(observed(sat=rows, **session), device, SAT_AT, temperature)


def test_reading_at_the_limits_own_conditions_is_its_value_with_the_readings_own_uncertainty():
    got = hfe(Flat(), {"hfe": 90.0})
    assert (got.value[0], got.std[0], got.reached[0]) == (pytest.approx(90.0), pytest.approx(0.02), DIRECT)
    got = vbe(Flat(), {"vbe": 0.66})
    assert (got.value[0], got.std[0], got.reached[0]) == (pytest.approx(0.66), pytest.approx(0.003), DIRECT)
    got = saturated(Flat(), {"vce": 0.3})
    assert (got.value[0], got.std[0], got.reached[0]) == (pytest.approx(0.3), pytest.approx(0.01), DIRECT)


def test_a_reading_that_warmed_the_part_is_brought_to_a_cold_junction_and_pays_for_it():
    # Self-heating lifts the gain by 10 % and lowers VBE by 20 mV: both are taken off, a pulsed reading stays.
    warm = hfe(Flat(own=log(1.1)), {"hfe": 99.0, "pulsed": False})
    assert warm.value[0] == pytest.approx(90.0)
    assert warm.std[0] == pytest.approx(hypot(0.02, 1.5 * log(1.1)))
    assert hfe(Flat(own=log(1.1)), {"hfe": 99.0}).value[0] == pytest.approx(99.0)
    warm = vbe(Flat(own=-0.02), {"vbe": 0.66, "pulsed": False})
    assert warm.value[0] == pytest.approx(0.68)
    assert warm.std[0] == pytest.approx(hypot(0.003, 0.02))
    warm = saturated(Flat(own=0.05), {"vce": 0.3, "pulsed": False})
    assert warm.value[0] == pytest.approx(0.25)
    assert warm.std[0] == pytest.approx(hypot(0.01, 0.5 * 0.05))


def test_a_reading_at_another_case_temperature_is_brought_to_that_of_the_limit():
    # 1 % of gain and -2 mV of VBE a kelvin, read 10 K warm: a share of the correction is held uncertain.
    warm = hfe(Flat(kelvin=0.01), {"hfe": 100.0 * exp(0.1), "temp": ROOM + 10})
    assert warm.value[0] == pytest.approx(100.0)
    assert warm.std[0] == pytest.approx(hypot(0.02, 0.35 * 0.1))
    warm = vbe(Flat(kelvin=-2e-3), {"vbe": 0.68, "temp": ROOM + 10})
    assert warm.value[0] == pytest.approx(0.70)
    assert warm.std[0] == pytest.approx(hypot(0.003, 0.15 * 0.02))
    warm = saturated(Flat(kelvin=1e-3), {"vce": 0.21, "temp": ROOM + 10})
    assert warm.value[0] == pytest.approx(0.20)
    assert warm.std[0] == pytest.approx(hypot(0.01, 0.5 * 0.01))
    hot = hfe(Flat(kelvin=0.01), {"hfe": 100.0 * exp(0.1), "temp": ROOM + 10}, temperature=ROOM + 20)
    assert hot.value[0] == pytest.approx(100.0 * exp(0.2))


@pytest.mark.parametrize("away", [40.0, -40.0])
@pytest.mark.parametrize("value", [hfe, vbe, saturated])
def test_readings_up_to_forty_kelvin_away_stand_for_the_limit_and_no_further(value, away):
    assert value(Flat(), {"temp": ROOM + away}).reached[0] == DIRECT
    assert value(Flat(), {"temp": ROOM + 1.001 * away}).reached[0] == CARRIED


@pytest.mark.parametrize("value", [hfe, vbe])
def test_gain_read_within_threefold_of_the_limits_vce_stands_for_it(value):
    for inside, outside in ((15.0, 15.1), (5.0 / 3.0 + 1e-6, 1.66)):
        assert value(Flat(), {"vce": inside}).reached[0] == DIRECT
        assert value(Flat(), {"vce": outside}).reached[0] == CARRIED


def test_gain_without_its_vce_stands_for_the_limit_with_five_per_cent_more():
    got = hfe(Flat(vce=0.01), {"hfe": 90.0, "vce": NAN})
    assert got.reached[0] == DIRECT
    assert got.value[0] == pytest.approx(90.0)
    assert got.std[0] == pytest.approx(hypot(0.02, 0.05))
    assert vbe(Flat(), {"vce": NAN}).std[0] == pytest.approx(0.003)


def test_gain_correction_of_more_than_a_quarter_is_the_fits_word():
    # A slope of 0.1 a volt: 2.4 V off is 0.24, 2.6 V off is 0.26 of natural logarithm.
    assert hfe(Flat(vce=0.1), {"vce": 7.4}).reached[0] == DIRECT
    assert hfe(Flat(vce=0.1), {"vce": 7.6}).reached[0] == CARRIED
    assert hfe(Flat(vce=0.1), {"vce": 2.4}).reached[0] == CARRIED
    assert vbe(Flat(vce=0.1), {"vce": 7.6}).reached[0] == DIRECT  # a voltage has no such bound


def test_errors_of_the_session_are_added_once_and_not_thinned_by_a_second_reading():
    both = ({"ic": 1.0}, {"ic": 1.0})
    got = hfe(Flat(), *both, temp_std=2.0, gain_std=0.03)
    assert got.std[0] == pytest.approx(sqrt(0.02**2 + 0.03**2 + (0.005 * 2.0) ** 2))
    got = vbe(Flat(), *both, temp_std=2.0, gain_std=0.03)
    assert got.std[0] == pytest.approx(hypot(0.003, 2e-3 * 2.0))
    # Two milliohms of lead carry the limit's 5 A.
    got = saturated(Flat(), {}, {}, lead_std=2e-3)
    assert got.std[0] == pytest.approx(hypot(0.01, 2e-3 * 5.0))


def test_value_halfway_between_two_readings_is_their_geometric_mean_on_a_flat_curve():
    got = hfe(Flat(), {"ic": 0.5, "hfe": 80.0}, {"ic": 2.0, "hfe": 125.0})
    assert got.reached[0] == DIRECT
    assert got.value[0] == pytest.approx(100.0)
    assert got.std[0] == pytest.approx(hypot(0.02 / sqrt(2), log(125.0 / 80.0) / sqrt(12)))


def test_missing_values_are_no_readings_however_their_currents_lie():
    assert hfe(Flat(), {"hfe": NAN}).reached[0] == NOT_REACHED
    assert vbe(Flat(), {"vbe": NAN}).reached[0] == NOT_REACHED
    assert saturated(Flat(), {"vce": NAN}).reached[0] == NOT_REACHED
    assert saturated(Flat(), {"ib": NAN}).reached[0] == NOT_REACHED
    assert saturated(Flat(), {"ic": NAN}).reached[0] == NOT_REACHED
    assert np.isnan(saturated(Flat(), {"vce": NAN}).value[0])
    beside = saturated(Flat(), {"vce": NAN}, {"ic": 5.2, "ib": 0.52, "vce": 0.3})
    assert (beside.value[0], beside.reached[0]) == (pytest.approx(0.3), DIRECT)


def test_saturation_read_up_to_half_as_much_forced_gain_away_stands_for_the_limit():
    for inside, outside in ((0.5 * 1.499, 0.5 * 1.501), (0.5 / 1.499, 0.5 / 1.501)):
        assert saturated(Flat(), {"ib": inside}).reached[0] == DIRECT
        assert saturated(Flat(), {"ib": outside}).reached[0] == CARRIED
    # 20 mV a step of forced gain, read at 12: 40 mV come off, and half of them are held uncertain.
    got = saturated(Flat(forced=0.02), {"ib": 5.0 / 12.0, "vce": 0.3})
    assert got.value[0] == pytest.approx(0.26)
    assert got.std[0] == pytest.approx(hypot(0.01, 0.5 * 0.04))


def test_saturation_correction_of_more_than_half_the_value_is_the_fits_word():
    assert saturated(Flat(forced=0.02), {"ib": 5.0 / 12.0, "vce": 0.125}).reached[0] == DIRECT  # 40 mV of 85 mV
    assert saturated(Flat(forced=0.02), {"ib": 5.0 / 12.0, "vce": 0.115}).reached[0] == CARRIED  # 40 mV of 75 mV


def test_saturation_without_a_curve_grows_with_the_current_up_to_the_limits():
    # Without a fit a reading just below the limit's current counts as ohmic; just above, as read.
    below = saturated(PlainLaws(), {"ic": 4.8, "ib": 0.48, "vce": 0.24})
    assert (below.value[0], below.reached[0]) == (pytest.approx(0.25), DIRECT)
    above = saturated(PlainLaws(), {"ic": 5.2, "ib": 0.52, "vce": 0.24})
    assert above.value[0] == pytest.approx(0.24)

    class Lost(Flat):
        """A fit that cannot reach the limit."""

        def saturation(self, rows, ic, ib, temperature, pulsed):
            return np.where(ic > 4.9, NAN, 0.2)

    lost = saturated(Lost(), {"ic": 4.8, "ib": 0.48, "vce": 0.24})
    assert lost.value[0] == pytest.approx(0.25)
    between = saturated(PlainLaws(), {"ic": 2.5, "ib": 0.25, "vce": 0.1}, {"ic": 10.0, "ib": 1.0, "vce": 0.3})
    assert between.value[0] == pytest.approx(0.2)  # halfway in ln IC


def test_value_beyond_the_readings_is_the_fits_with_the_fits_uncertainty():
    got = hfe(Flat(), {"ic": 0.5})
    assert (got.value[0], got.std[0], got.reached[0]) == (80.0, 0.03, CARRIED)
    got = vbe(Flat(), {"ic": 0.5})
    assert (got.value[0], got.std[0], got.reached[0]) == (0.65, 0.004, CARRIED)
    got = saturated(Flat(), {"ic": 2.0, "ib": 0.2})
    assert (got.value[0], got.std[0], got.reached[0]) == (pytest.approx(1.0), 0.05, CARRIED)
    for value in (hfe, vbe, saturated):
        got = value(PlainLaws(), {"ic": 0.5} if value is not saturated else {"ic": 2.0, "ib": 0.2})
        assert (np.isnan(got.value[0]), got.reached[0]) == (True, NOT_REACHED)


def test_forced_gain_of_a_limit_stands_for_its_base_current():
    made = PartReadings(observed(sat=({"vce": 0.3},)), {}, Flat())
    given = {"IB": SAT_AT, "ratio": {"IC": 5.0, "IC_over_IB": 10.0}}
    values = [value_at_limit(Limit("V", "max", 1.0, told, "vce_sat"), made).value[0] for told in given.values()]
    assert values == pytest.approx([0.3, 0.3])
    nothing = value_at_limit(Limit("V", "max", 1.0, {"IC": 5.0}, "vce_sat"), made)
    assert nothing.reached[0] == NOT_REACHED
    assert value_at_limit(Limit("hFE", "min", 1.0, {"IC": 5.0}, "hfe"), made).reached[0] == NOT_REACHED
    assert value_at_limit(Limit("ton", "max", 1.0, {}, None), made).reached[0] == NOT_REACHED


def test_leakage_warms_with_the_uncertain_temperature_of_the_session():
    limit = Limit("ICBO", "max", 1e-4, {"VCB": 200.0}, "icbo", "A")
    made = batch(1, spot_table=spots([(0, "icbo", 5e-6, {"VCB": 200.0})]))
    for kelvin in (0.0, 1.0, 3.0):
        part = PartReadings(observed(temp_std=kelvin), spot_tables(made, np.arange(1), None), Flat())
        # Doubles every 10 K (common practice, no source).
        assert value_at_limit(limit, part).std[0] == pytest.approx(hypot(0.02, log(2) / 10 * kelvin))


def test_spot_readings_of_control_pieces_and_those_set_aside_judge_nobody():
    rows = [(0, "icbo", 1e-6, {"VCB": 1.0}), (0, "icbo", 2e-6, {"VCB": 1.0}), (1, "icbo", 4e-6, {"VCB": 1.0})]
    made = spots([*rows, (-1, "icbo", 8e-6, {"VCB": 1.0}), (0, "icbo", NAN, {"VCB": 1.0})])
    made.control[0], made.use[1] = True, False
    found = spot_tables(batch(3, spot_table=made), np.array([2, 1]), None)["icbo"]
    assert (found.value.tolist(), found.part.tolist(), found.row.tolist()) == ([4e-6], [1], [2])
    assert spot_tables(batch(3, spot_table=made), np.array([0, 2]), None) == {}


def test_spot_reading_without_an_uncertainty_gets_an_ordinary_one_and_a_negative_one_counts_by_its_size():
    made = batch(1, spot_table=spots([(0, "icbo", -5e-6, {"VCB": 1.0}), (0, "icbo", 5e-6, {"VCB": 1.0}, NAN)]))
    found = spot_tables(made, np.arange(1), None)["icbo"]
    assert found.value.tolist() == [5e-6, 5e-6]
    assert found.ln_std.tolist() == [pytest.approx(0.02), 0.03]


def test_fitted_curves_are_those_of_the_device_at_pulse_conditions_with_its_uncertainty():
    population = population_for(Library.load().find("2SC5200").type)
    theta = population.centre[None]
    curves = FittedCurves(theta, population.within[None], population.constants)
    ic, rows = np.array([[0.5, 8.0]]), np.arange(1)
    vce, warm, pulsed = np.full(ic.shape, 5.0), np.full(ic.shape, ROOM), np.ones(ic.shape, dtype=bool)
    gain, base, ln_std, base_std = curves.gain_std(rows, ic, vce, warm)
    plain = curves.gain(rows, ic, vce, warm, pulsed)
    assert gain == pytest.approx(plain[0])
    assert base == pytest.approx(plain[1])
    saturation, std = curves.saturation_std(rows, ic, ic / 10, warm)
    assert saturation == pytest.approx(curves.saturation(rows, ic, ic / 10, warm, pulsed))
    assert (saturation < curves.saturation(rows, ic, ic / 10, warm, ~pulsed) - 1e-6).any()
    # To first order the spread of many parts drawn from the covariance.
    rng = np.random.default_rng(2)
    drawn = rng.multivariate_normal(theta[0], 0.01 * population.within, size=4000, method="eigh")
    many = FittedCurves(drawn, np.zeros((1, 1, 1)), population.constants)
    every, wide = np.arange(4000), (np.broadcast_to(a, (4000, 2)) for a in (ic, vce, warm, pulsed))
    ic_, vce_, warm_, pulsed_ = wide
    hfe_, vbe_ = many.gain(every, ic_, vce_, warm_, pulsed_)
    sat_ = many.saturation(every, ic_, ic_ / 10, warm_, pulsed_)
    assert 0.1 * ln_std[0] == pytest.approx(np.log(hfe_).std(axis=0), rel=0.06)
    assert 0.1 * base_std[0] == pytest.approx(vbe_.std(axis=0), rel=0.06)
    assert 0.1 * std[0] == pytest.approx(sat_.std(axis=0), rel=0.06)


@pytest.mark.parametrize("risk", [0.0, 1.0, 1.5, -0.1])
def test_a_risk_that_is_no_probability_is_refused(risk):
    with pytest.raises(ValueError, match="risk"):
        guard_band(1.0, risk)


@pytest.mark.parametrize("risk", [0.0, 0.501, 1.0])
def test_a_decision_asks_for_a_risk_of_up_to_a_half(risk):
    with pytest.raises(ValueError, match="risk"):
        decide(0.5, risk)


def test_a_decision_belongs_to_the_claim_whose_risk_it_just_meets():
    assert decide([0.75, 0.25, 0.5], 0.25).tolist() == [1, -1, 0]
    assert decide([0.5], 0.5).tolist() == [1]  # simple acceptance


def test_limits_that_are_equal_leave_no_room():
    with pytest.raises(ValueError, match="lie below"):
        Tolerance(1.0, 1.0)
    assert Tolerance(1.0, 4.0).shrunk(0.5) == Tolerance(1.5, 3.5)


def test_global_risks_of_a_gaussian_process_are_areas_of_its_joint_normal_with_the_reading():
    # True value N(0, 1), reading with 0.5 on it, limit 1: an orthant of a bivariate normal, by scipy.
    spread, std, tolerance = stats.norm(0.0, 1.0), 0.5, Tolerance(high=1.0)
    joint = stats.multivariate_normal([0.0, 0.0], [[1.0, 1.0], [1.0, 1.25]])
    accepted = stats.norm.cdf(0.8 / sqrt(1.25))
    acceptance = Tolerance(high=0.8)
    both = joint.cdf([1.0, 0.8])
    assert acceptance_rate(spread, std, acceptance) == pytest.approx(accepted, abs=1e-9)
    assert global_consumer_risk(spread, std, tolerance, acceptance) == pytest.approx(accepted - both, abs=1e-6)
    assert global_producer_risk(spread, std, tolerance, acceptance) == pytest.approx(stats.norm.cdf(1) - both, abs=1e-6)
    below = Tolerance(low=-1.0), Tolerance(low=-0.8)
    assert global_consumer_risk(spread, std, *below) == pytest.approx(accepted - both, abs=1e-6)


def test_a_guard_band_meets_its_risk_and_is_negative_where_simple_acceptance_does_better():
    spread, std = stats.norm(0.0, 1.0), 0.2
    for tolerance in (Tolerance(-1.5, 1.5), Tolerance(high=1.5), Tolerance(low=-1.5)):
        simple = global_consumer_risk(spread, std, tolerance, tolerance)
        for risk, sign in ((0.5 * simple, 1.0), (1.5 * simple, -1.0)):
            guard = global_guard_band(spread, std, tolerance, risk)
            assert sign * guard > 0.0
            reached = global_consumer_risk(spread, std, tolerance, tolerance.shrunk(guard))
            assert reached == pytest.approx(risk, rel=1e-6)


def test_capability_counts_from_the_nearer_limit_or_the_only_one():
    assert capability(4.0, 0.5, Tolerance(1.0, 10.0))[0] == pytest.approx(2.0)
    assert capability(8.5, 0.5, Tolerance(1.0, 10.0))[0] == pytest.approx(1.0)
    cpk, outside = capability(9.0, 0.5, Tolerance(high=10.0))
    assert (cpk, outside) == (pytest.approx(2 / 3), pytest.approx(stats.norm.sf(2.0)))


def test_one_row_of_limits_counts_for_every_part_by_its_own_readings():
    device = TextbookDevice([100.0, 80.0, 60.0], [2.0] * 3)
    rows = [{"ic": 0.5, "hfe": 90.0}, {"ic": 2.0, "hfe": 70.0}]
    one = observed(rows)
    ic = np.vstack([one.gain_ic, [[0.2, 0.4]], [[0.1, 0.2]]])
    three = {
        name: np.repeat(getattr(one, name), 3, axis=0)
        for name in Observations.__dataclass_fields__
        if not name.startswith("session_")
    }
    three |= {name: getattr(one, name) for name in Observations.__dataclass_fields__ if name.startswith("session_")}
    got = gain_at_limit(Observations(**(three | {"gain_ic": ic})), device, "hfe", AT, ROOM)
    assert got.reached.tolist() == [DIRECT, CARRIED, NOT_REACHED]
    limit = gain_limit("min", 1.0, 1.0)
    alone = [gain_at_limit(observed(rows), device, "hfe", limit.conditions, ROOM).value[0]]
    fitted = device.gain(np.array([1]), np.array([[1.0]]), 5.0, ROOM, True)[0][0, 0]
    assert got.value[:2] == pytest.approx([*alone, fitted])
    assert np.isnan(got.value[2])
