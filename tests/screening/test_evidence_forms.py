"""What the evidence engine does to readings, piece by piece, against scipy's Gaussians and closed forms."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from partscreen.device.parameters import AREA_DIRECTION, INDEX, N_PARAMETERS
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.screening.evidence.condense import SILENT, condense, dropped
from partscreen.screening.evidence.hypotheses import TYPES_WEIGHT, families
from partscreen.screening.evidence.knowledge import Knowledge, learn, session_block, session_variance
from partscreen.screening.evidence.linear import AREA, N_COORDINATES, ORDER, Linearised, linearise
from partscreen.screening.evidence.reach import AREA_PRIOR_SD, area_ratio
from partscreen.screening.evidence.spreads import main_spreads
from partscreen.screening.evidence.weigh import (
    CHUNK,
    by_kind,
    cumulative_log_likelihood,
    factor,
    gaps,
    spread_of,
    whiten,
)
from partscreen.screening.model_error import Misfit
from tests.screening.known_type import CONSTANTS, KNOWN, POPULATION
from tests.screening.lots import ROOM, observe

Q = N_COORDINATES


def drawn(n, kinds, seed, missing=0.0):
    """Readings drawn at random about points drawn at random, some of them missing."""
    rng = np.random.default_rng(seed)
    kind = np.array(sorted(kinds))
    shape = (n, kind.size)
    present = rng.random(shape) >= missing
    return Linearised(
        point=rng.normal(0.0, 0.3, (n, Q)),
        residual=np.where(present, rng.normal(0.0, 0.5, shape), 0.0),
        jacobian=np.where(present[:, :, None], rng.normal(0.0, 1.0, (*shape, Q)), 0.0),
        std=np.where(present, rng.uniform(0.3, 1.0, shape), 1.0),
        present=present,
        kind=kind,
        misfit=np.zeros(shape),
        place=np.tile(np.arange(kind.size), (n, 1)),
    )


def spread(seed):
    root = np.random.default_rng(seed).normal(0.0, 0.3, (Q, Q))
    return root @ root.T


def plain(readings, part, mean, covariance, up_to=5):
    """ln p of a part's readings of the first kinds, by scipy."""
    rows = readings.present[part] & (readings.kind < up_to)
    if not rows.any():
        return 0.0
    jac = readings.jacobian[part][rows]
    total = jac @ covariance @ jac.T + np.diag(readings.std[part][rows] ** 2)
    expected = jac @ (mean - readings.point[part])
    return float(multivariate_normal(expected, total).logpdf(readings.residual[part][rows]))


def test_readings_up_to_each_kind_have_the_density_of_that_part_of_the_gaussian():
    readings = drawn(4, (0, 2, 2, 3, 3, 3), 1, missing=0.25)  # no C_BE, no VCE(sat)
    means = np.random.default_rng(2).normal(0.0, 0.3, (3, Q))
    own = np.stack([spread(seed) for seed in range(4)])
    for covariance in (spread(9), own):
        got = cumulative_log_likelihood(readings, means, factor(readings, covariance))
        for part in range(4):
            s = covariance if covariance.ndim == 2 else covariance[part]
            for h in range(3):
                wanted = [plain(readings, part, means[h], s, up_to=k + 1) for k in range(len(ORDER))]
                assert got[part, h] == pytest.approx(wanted, abs=1e-9)


def test_many_parts_at_once_are_worked_out_as_each_alone():
    n = 2 * CHUNK + 3
    readings = drawn(n, (2, 3), 3)
    own = np.stack([spread(seed % 7) for seed in range(n)])
    lower = factor(readings, own)
    assert lower @ lower.transpose(0, 2, 1) == pytest.approx(
        spread_of(readings, own) + (readings.std**2)[:, :, None] * np.eye(2)
    )
    gap = gaps(readings, np.full(Q, 0.1))[:, :, None]
    z = whiten(lower, gap)
    assert lower @ z == pytest.approx(gap)
    got = by_kind(readings, lower, gap)[:, 0, -1]
    for part in (0, 1, CHUNK - 1, CHUNK, CHUNK + 1, n - 1):
        assert got[part] == pytest.approx(plain(readings, part, np.full(Q, 0.1), own[part]))
    assert gap == pytest.approx(gaps(readings, np.full((n, Q), 0.1))[:, :, None])


def test_condensed_readings_tell_hypotheses_apart_as_all_of_them_do():
    readings = drawn(5, [2] * 25 + [3] * 24 + [4], 4, missing=0.1)
    few = condense(readings, 5.0 * np.eye(Q))
    # Fewer than read: no more directions than coordinates in each kind; a kind of one reading stays as it is.
    assert [int((few.kind == k).sum()) for k in range(5)] == [0, 0, Q, Q, 1]
    assert (few.std == 1.0).all()
    assert not few.misfit.any()
    assert not few.place.any()
    assert few.residual[:, -1] == pytest.approx(readings.residual[:, -1] / readings.std[:, -1])
    hypotheses = ((np.zeros(Q), spread(5)), (np.full(Q, 0.2), 2.0 * spread(6)))
    for part in range(5):
        of_all, of_few = (
            np.subtract(*([plain(r, part, *h, up_to=k) for k in (3, 4, 5)] for h in hypotheses))
            for r in (readings, few)
        )
        assert of_few == pytest.approx(of_all, abs=1e-8)


@pytest.mark.parametrize(("signal", "kept"), [(1.01, True), (0.99, False), (5.0, True)])
def test_a_combination_of_readings_is_dropped_only_when_its_largest_signal_is_a_hundredth_of_its_noise(signal, kept):
    # Two readings of 0.2 standard uncertainty: the first sees coordinate 0, the second coordinate 1 ever so little.
    jacobian = np.zeros((1, 2, Q))
    jacobian[0, 0, 0], jacobian[0, 1, 1] = 1.0, signal * SILENT * 0.2
    one, none = np.ones((1, 2)), np.zeros((1, 2))
    readings = Linearised(
        np.zeros((1, Q)), 0.4 * one, jacobian, 0.2 * one, one > 0, np.array([2, 2]), none, none.astype(int)
    )
    few = condense(readings, np.eye(Q))
    assert few.residual.shape[1] == (2 if kept else 1)
    # What is left out is two standard uncertainties of the second reading.
    assert dropped(readings, few) == pytest.approx([0.0 if kept else 4.0], abs=1e-12)


def test_parts_that_need_fewer_combinations_than_others_of_the_lot_get_silent_ones():
    readings = drawn(2, (2, 2, 2), 7)
    readings.jacobian[1] = 0.0  # the second part's readings see nothing
    few = condense(readings, np.eye(Q))
    assert few.present.tolist() == [[True] * 3, [False] * 3]
    assert not few.residual[1].any()
    assert dropped(readings, few)[1] == pytest.approx(((readings.residual[1] / readings.std[1]) ** 2).sum())


def test_a_lot_of_which_nothing_was_read_is_one_silent_reading():
    few = condense(drawn(3, (), 8), np.eye(Q))
    for held in (few.residual, few.std, few.present, few.misfit, few.place):
        assert held.shape == (3, 1)
    assert few.kind.shape == (1,)
    assert few.jacobian.shape == (3, 1, Q)
    assert not few.present.any()
    lower = factor(few, np.eye(Q))
    assert not cumulative_log_likelihood(few, np.zeros((1, Q)), lower).any()


def exact(theta, **change):
    """Readings without noise or errors of the session."""
    return replace(observe(theta, CONSTANTS, np.random.default_rng(0), session=(0.0, 0.0)), **change)


@pytest.fixture(scope="module")
def two():
    rng = np.random.default_rng(3)
    return rng.multivariate_normal(POPULATION.centre, POPULATION.within, size=2, method="eigh")


def test_readings_about_the_truth_leave_their_noise_and_derivatives_are_those_of_the_readings(two):
    o = exact(two)
    readings = linearise(o, two, CONSTANTS)
    assert readings.point == pytest.approx(np.concatenate((two, np.zeros((2, 3))), axis=1))
    assert [ORDER[k] for k in readings.kind] == ["C_CB", "C_BE", *["hFE"] * 10, *["VBE"] * 10, *["VCE(sat)"] * 4]
    assert np.abs(readings.residual / readings.std).max() < 4.5
    assert readings.std[:, readings.kind == 2] == pytest.approx(o.hfe_ln_std)
    step = 1e-4 * np.random.default_rng(4).normal(size=N_PARAMETERS)
    moved = linearise(o, two + step, CONSTANTS)
    assert readings.residual - moved.residual == pytest.approx(readings.jacobian[:, :, :N_PARAMETERS] @ step, abs=2e-6)


def test_errors_of_a_session_move_readings_as_a_warmer_part_a_scaled_gain_and_a_longer_lead_would(two):
    o = exact(two)
    temperature, gain, lead = (linearise(o, two, CONSTANTS).jacobian[:, :, N_PARAMETERS + i] for i in range(3))
    kind = linearise(o, two, CONSTANTS).kind
    one, h = (predict_gain(two, CONSTANTS, o.gain_ic, o.gain_vce, t, True, jacobian=False) for t in (ROOM, ROOM + 0.01))
    assert temperature[:, kind == 2] == pytest.approx((h.ln_hfe - one.ln_hfe) / 0.01, rel=1e-3, abs=1e-6)
    assert temperature[:, kind == 3] == pytest.approx((h.vbe - one.vbe) / 0.01, rel=1e-3)
    one, h = (predict_saturation(two, CONSTANTS, o.sat_ic, o.sat_ib, t, True, jacobian=False) for t in (ROOM, 298.16))
    assert temperature[:, kind == 4] == pytest.approx((h.vce - one.vce) / 0.01, rel=1e-2, abs=1e-7)
    assert gain.tolist() == (np.ones((2, 1)) * (kind == 2)).tolist()
    assert lead[:, kind == 4] == pytest.approx(o.sat_ic)
    assert not lead[:, kind != 4].any()
    assert not temperature[:, kind < 2].any()


def test_what_was_not_read_or_left_saturation_is_missing_and_says_nothing(two):
    o = exact(two)
    hfe, vce, junction = o.hfe.copy(), o.vce_sat.copy(), o.cap.copy()
    hfe[0, 3], vce[1, 0], vce[1, 1], junction[:, 1] = np.nan, 0.601, 0.599, np.nan
    readings = linearise(replace(o, hfe=hfe, vce_sat=vce, cap=junction), two, CONSTANTS)
    assert "C_CB" not in [ORDER[k] for k in readings.kind]  # that no part has is left out
    gone = ~readings.present
    at = np.flatnonzero(readings.kind == 4)[0]
    assert np.argwhere(gone).tolist() == [[0, 1 + 3], [1, at]]
    assert readings.residual[gone].tolist() == [0.0, 0.0]
    assert readings.std[gone].tolist() == [1.0, 1.0]
    assert not readings.jacobian[gone].any()
    alone = readings.pick(np.array([1])).trimmed()
    assert alone.residual.shape == (1, readings.kind.size - 1)
    assert alone.present.all()
    assert alone.kind.tolist() == np.delete(readings.kind, at).tolist()
    assert alone.trimmed() is alone


def test_models_own_error_goes_with_its_reading_and_not_with_capacitances(two):
    o = exact(two, vbe=exact(two).vbe.copy())
    o.vbe[0, 2] = np.nan
    misfit = Misfit(np.full(o.hfe.shape, 0.01), np.full(o.vbe.shape, 0.002), np.full(o.vce_sat.shape, 0.03))
    readings = linearise(o, two, CONSTANTS, misfit)
    by = {name: np.unique(readings.misfit[1, readings.kind == i]).tolist() for i, name in enumerate(ORDER)}
    assert by == {"C_CB": [0.0], "C_BE": [0.0], "hFE": [0.01], "VBE": [0.002], "VCE(sat)": [0.03]}
    assert np.argwhere(readings.misfit[0] != readings.misfit[1]).tolist() == [[2 + 10 + 2]]
    assert not linearise(o, two, CONSTANTS).misfit.any()


def test_like_readings_of_a_lot_are_those_of_one_kind_within_a_few_per_cent_of_current(two):
    o = exact(two)
    # Currents are counted in steps of a twentieth of their logarithm: here they lie in the middle of one.
    ic = np.exp(np.round(20.0 * np.log(o.gain_ic)) / 20.0)
    ic[1] *= 1.02
    ic[1, -1] *= 1.1
    place = linearise(replace(o, gain_ic=ic), two, CONSTANTS).place
    like = place[0] == place[1]
    assert like.tolist() == [True] * 11 + [False] + [True] * 9 + [False] + [True] * 4
    assert np.unique(place[0]).size == place.shape[1]  # each kind and current by its own number
    assert place.min() == 0


def alternatives():
    """Made anew in each test: mutation testing chooses tests by the lines they run."""
    return families(KNOWN.within, KNOWN.device_between)


def test_prior_weights_of_all_alternatives_are_one_together():
    assert TYPES_WEIGHT + sum(np.exp(g.ln_weights).sum() for g in alternatives()) == pytest.approx(1.0)


def test_names_of_alternatives_say_what_their_shifts_do():
    told = {
        name: (g.kind, dict(zip(INDEX, shift.tolist(), strict=False)))
        for g in alternatives()
        for name, shift in zip(g.names, g.shifts, strict=True)
    }
    assert {name: kind for name, (kind, _) in told.items() if kind == "die"} == {
        name: "die" for name in told if name.startswith(("die area", "lower voltage"))
    }
    for name, (_, shift) in told.items():
        if name.startswith("die area"):
            area = log(float(name.split()[2]))
            assert list(shift.values()) == pytest.approx(area * AREA_DIRECTION)
        elif name.startswith("gain"):
            assert np.exp(shift.pop("bf")) == pytest.approx(float(name.split()[1]), abs=0.005)
            assert not any(shift.values())
        elif name.startswith("base-emitter leak"):
            assert np.exp(shift.pop("leak")) == pytest.approx(float(name.split()[2]), abs=0.5)
            assert not any(shift.values())
        elif name.startswith("bond resistance"):
            assert np.exp(shift["re"]) == pytest.approx(float(name.split()[2]), abs=0.5)
            assert shift["rc"] == pytest.approx(shift["re"] / 2)
        elif name.startswith("lower voltage grade"):
            assert np.exp(shift["rc"]) == pytest.approx(1 / np.exp(-shift["vaf"]))
            assert shift["rc"] < 0.0 < shift["cjc"]
            assert shift["cjc"] == pytest.approx(-shift["rc"] / 2)
    assert not any(told["unlike any known part"][1].values())


def test_the_leaks_looked_for_reach_twenty_times_the_lots():
    (leak, other) = (g for g in alternatives() if g.theme == "leak")
    assert leak.names[-1] == "base-emitter leak 20 times the lot's"
    assert other.names == tuple(name + ", other slope" for name in leak.names)
    assert other.shifts.tolist() == leak.shifts.tolist()
    ne = INDEX["ne"]
    assert other.spread[ne, ne] - leak.spread[ne, ne] == pytest.approx(0.35**2)


def test_no_alternative_is_narrower_than_the_marked_type_in_any_direction():
    for group in alternatives():
        more = group.spread - KNOWN.within
        assert np.abs(more - more.T).max() == 0.0
        assert np.linalg.eigvalsh(more).min() > -1e-12, group.theme
        assert group.names
        assert len(group.names) == len(group.shifts) == len(group.ln_weights)


def test_parts_of_a_lot_put_together_of_two_differ_by_half_of_what_lots_differ_more():
    # Two lots at a and b: their parts lie (a - b) / 2 about the middle; the mean of its square is half the variance.
    usual, several = main_spreads(KNOWN)
    rng = np.random.default_rng(1)
    centres = rng.normal(0.0, 1.0, (200_000, 2))
    share = ((centres - centres.mean(axis=1, keepdims=True)) ** 2).mean()
    assert several - usual == pytest.approx(share * KNOWN.device_between, rel=0.02, abs=1e-12)
    assert usual is KNOWN.within


def test_session_errors_stand_apart_from_device_parameters():
    block = session_variance(2.0, 0.1, 0.003)
    assert np.diag(block)[N_PARAMETERS:] == pytest.approx([4.0, 0.01, 9e-6])
    assert np.count_nonzero(block) == 3
    assert np.diag(session_variance(0.0, 0.0, 0.0))[N_PARAMETERS:].min() > 0.0  # never exactly known
    assert KNOWN.session == pytest.approx(session_variance(0.5, 0.003, 1e-4))
    n = N_PARAMETERS
    assert KNOWN.device_between[:n, :n] == pytest.approx(POPULATION.between)
    assert not KNOWN.device_between[n:].any()
    assert session_block(np.ones((Q, Q))).sum() == 9.0
    assert KNOWN.within[:n, :n] == pytest.approx(POPULATION.within)
    assert not KNOWN.within[n:].any()


def scalar(value, session=0.5):
    return value * np.diag(np.arange(Q) < N_PARAMETERS) + session * np.diag(np.arange(Q) >= N_PARAMETERS)


def test_a_known_good_lot_moves_each_coordinate_by_its_share_of_the_variance():
    # Type centre variance 3, between lots 1, session 0.5; the lot is found exactly at 1: three quarters of it are
    # the type's, and what is left of 3 is 3 x 1 / (3 + 1).
    known = Knowledge(np.zeros(Q), scalar(3.0, 0.0), scalar(1.0, 0.5), np.eye(Q))
    found, nothing = np.ones(Q), np.zeros((Q, Q))
    apart = learn(known, found, nothing, same_session=False)
    n = N_PARAMETERS
    assert apart.centre.tolist() == pytest.approx([0.75] * n + [0.0] * 3)
    assert apart.centre_covariance == pytest.approx(scalar(0.75, 0.0))
    assert apart.between is known.between
    together = learn(known, found, nothing, same_session=True)
    # The session's own errors are known now, and no longer stand between lots.
    assert together.centre.tolist() == pytest.approx([0.75] * n + [1.0] * 3)
    assert together.centre_covariance == pytest.approx(scalar(0.75, 0.0))
    assert together.between == pytest.approx(scalar(1.0, 0.0))
    assert together.lot_covariance == pytest.approx(scalar(1.75, 0.0))
    # A lot that tells nothing (as uncertain as before) teaches nothing.
    silent = learn(known, known.centre, known.lot_covariance, same_session=False)
    assert silent.centre_covariance == pytest.approx(known.centre_covariance)


def test_die_area_is_the_regression_of_the_readings_on_area_with_its_prior():
    readings = drawn(3, (1, 2, 3, 4), 11)
    centre, covariance = np.random.default_rng(12).normal(0.0, 0.2, (3, Q)), spread(13)
    found = area_ratio(readings, centre, covariance)
    for part in range(3):
        jac = readings.jacobian[part]
        noise = np.linalg.inv(jac @ covariance @ jac.T + np.diag(readings.std[part] ** 2))
        x, y = jac @ AREA, readings.residual[part] - jac @ (centre[part] - readings.point[part])
        precision = x @ noise @ x + AREA_PRIOR_SD**-2
        assert found.ln[part] == pytest.approx(x @ noise @ y / precision)
        assert found.sd[part] == pytest.approx(precision**-0.5)
    blind = area_ratio(replace(readings, jacobian=readings.jacobian * 0.0), centre, covariance)
    assert blind.ln.tolist() == [0.0] * 3
    assert blind.sd == pytest.approx(AREA_PRIOR_SD)
