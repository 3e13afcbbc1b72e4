"""Parts unlike any known part: the distance, what it is taught by, and what a hypothesis explains."""

import numpy as np
import pytest
from scipy import stats

from partscreen.device.parameters import INDEX
from partscreen.screening.evidence.engine import weigh_lot
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.evidence.settle import settle
from partscreen.screening.evidence.weigh_lots import knowledge_from
from partscreen.screening.outliers.model import ALARM_PER_LOT, outlier_distances
from partscreen.screening.outliers.parts import find_outliers, outlier_reason, seen_by
from tests.screening.simulated_parts import CONSTANTS, base_theta, draw, read, smaller, spread

WITHIN, BETWEEN, EDITION = (spread(kind) for kind in ("within", "between", "edition"))
KNOWN = knowledge_from(
    base_theta(), 0.25 * EDITION, BETWEEN, WITHIN, temperature_std=0.5, gain_std=0.005, lead_std=1e-3
)


def lot(seed, n, change=None, bad=0, **how):
    """A lot read and weighed; its first `bad` parts changed."""
    rng = np.random.default_rng(seed)
    theta = base_theta() + draw(rng, 0.25 * EDITION + BETWEEN, 1) + draw(rng, WITHIN, n)
    if bad:
        theta[:bad] = change(theta[:bad])
    readings = settle(read(theta, rng, **how), CONSTANTS, KNOWN, share_priors(0.1)[1]).readings
    return readings, weigh_lot(readings, KNOWN)


def strange(theta):
    """A base-emitter junction of 0.37 and a collector-base junction of 3.3 times the type's: no shrunken die, no
    fault."""
    out = theta.copy()
    out[:, INDEX["cjc"]] += 1.2
    out[:, INDEX["cje"]] -= 1.0
    return out


def test_by_assumed_spreads_alone_the_distance_of_one_part_is_that_of_its_coordinates():
    found = outlier_distances(np.array([[3.0, 4.0]]), np.array([False]))
    assert found.distance[0] == pytest.approx(5.0)
    assert found.weight_of_spreads == 1.0
    assert "alone" in found.method


def test_a_known_part_is_judged_by_the_others_exactly_as_if_it_had_been_left_out():
    rng = np.random.default_rng(3)
    points = rng.normal(size=(12, 1))  # one coordinate: the size alone is learned
    whole = outlier_distances(points)
    assert whole.reference.all()
    # Normal-inverse-Wishart, the prior worth 30 parts, by hand.
    size = (20.0 + ((points - points.mean()) ** 2).sum()) / (20.0 + 11)
    for i in (0, 5):
        rest = np.delete(points, i)
        scatter = size * 28.0 + ((rest - rest.mean()) ** 2).sum()
        variance = scatter / (30 + 10 - 2) * (1 + 1 / 11)
        assert whole.distance[i] ** 2 == pytest.approx((points[i, 0] - rest.mean()) ** 2 / variance, rel=1e-9)


def test_where_known_parts_are_many_their_own_covariance_counts_and_not_the_assumed_one():
    rng = np.random.default_rng(4)
    shape = np.array([[2.0, 0.0], [0.8, 0.8]])
    points = rng.normal(size=(600, 2)) @ shape.T
    found = outlier_distances(points)
    truth = np.sqrt(np.einsum("nk,kl,nl->n", points, np.linalg.inv(shape @ shape.T), points))
    assert found.weight_of_spreads < 0.06  # 30 of 630 at most
    assert np.corrcoef(found.distance, truth)[0, 1] > 0.995
    assert np.median(found.distance / truth) == pytest.approx(1.0, abs=0.05)


def test_p_of_clean_gaussian_parts_is_far_out_is_never_too_small():
    rng = np.random.default_rng(5)
    p = np.concatenate([outlier_distances(rng.normal(size=(20, 4))).p for _ in range(200)])
    for level in (0.02, 0.005):  # p allows for heavy tails: far out it is the larger one
        assert np.mean(p < level) <= level


def test_bar_and_p_agree_with_students_t_at_a_single_coordinate():
    found = outlier_distances(np.array([[4.0]]), np.array([False]), alarm_per_lot=0.5)
    nu = 1 / (1 / 8 + 1 / 30)  # tails of 8 degrees of freedom, covariance worth 30 parts
    assert found.p[0] == pytest.approx(2 * stats.t.sf(4.0 * np.sqrt(nu / (nu - 2)), nu), rel=1e-9)


def test_lots_have_centres_of_their_own():
    rng = np.random.default_rng(6)
    points = rng.normal(size=(40, 3))
    points[20:] += 50.0
    apart = outlier_distances(points, lot=np.repeat([0, 1], 20))
    assert not apart.flagged.any()
    assert apart.distance.max() < 6


def test_a_part_without_readings_is_passed_over_and_spoils_nothing():
    points = np.random.default_rng(7).normal(size=(10, 3))
    with_gap = np.vstack((points, np.full((1, 3), np.nan)))
    found = outlier_distances(with_gap)
    assert np.isnan(found.distance[-1])
    assert not found.flagged[-1]
    assert found.distance[:-1] == pytest.approx(outlier_distances(points).distance)
    assert np.isnan(outlier_distances(np.full((2, 3), np.nan)).distance).all()


@pytest.mark.parametrize(
    ("points", "extra", "said"),
    [
        (np.zeros(3), {}, "n_parts, n_coordinates"),
        (np.zeros((3, 2)), {"alarm_per_lot": 1.5}, "share between 0 and 1"),
        (np.zeros((3, 2)), {"lot": np.zeros(2, int)}, "of another number"),
    ],
)
def test_what_cannot_be_is_refused_in_words(points, extra, said):
    with pytest.raises(ValueError, match=said):
        outlier_distances(points, **extra)


def test_coordinates_of_good_parts_have_mean_nought_and_covariance_one():
    rng = np.random.default_rng(8)
    theta = base_theta() + draw(rng, WITHIN, 500)
    readings = settle(read(theta, rng), CONSTANTS, KNOWN, share_priors(0.1)[1]).readings
    centre = np.append(base_theta(), [0.0, 0.0, 0.0])
    seen = seen_by(readings, centre, KNOWN.within)
    k = seen.points.shape[1]
    assert 4 <= k <= 9
    # The session's own errors (0.5 % gain, 0.5 K, 1 milliohm) are common to all parts: they move the mean only.
    assert np.abs(seen.points.mean(axis=0)).max() < 2.0
    covariance = np.cov(seen.points.T)
    assert np.abs(covariance[:6, :6] - np.eye(6)).max() < 0.3
    # The direction seen least (the knee current, from readings to an eighth of it) bends: it comes out narrower, 0.18,
    # which never raises an alarm.
    assert np.diag(covariance).max() < 1.2
    assert (seen.rest / seen.rest_dof).mean() == pytest.approx(1.0, abs=0.1)


def test_a_strange_part_is_held_and_a_smaller_die_is_left_to_its_hypothesis():
    readings, weighed = lot(9, 20, strange, 2)
    found = find_outliers(readings, weighed, KNOWN)
    assert found.flagged.tolist() == [True, True] + [False] * 18
    reason = outlier_reason(found, 0)
    assert reason.code == "UNLIKE_KNOWN_PARTS"
    assert reason.figures["distance"] > reason.figures["bar"]
    assert outlier_reason(found, 5) is None

    readings, weighed = lot(9, 20, lambda theta: smaller(theta, 0.5), 2)
    found = find_outliers(readings, weighed, KNOWN)
    assert (found.distance[:2] > 10).all()
    assert not found.flagged.any()


def test_readings_that_scatter_about_any_transistor_are_told_apart_from_a_strange_die():
    readings, weighed = lot(10, 12)
    shaken = readings.residual.copy()
    shaken[0] += 12 * readings.std[0] * np.where(np.arange(shaken.shape[1]) % 2, 1, -1)
    from dataclasses import replace

    found = find_outliers(replace(readings, residual=shaken), weighed, KNOWN)
    assert found.misfit_flag.tolist() == [True] + [False] * 11
    assert found.flagged[0]
    assert "scatter" in outlier_reason(found, 0).sentence or found.found.flagged[0]


@pytest.mark.parametrize(
    "how",
    [
        {"points": 0, "saturation": 0},
        {"points": 1, "saturation": 0, "capacitance": False},
        {"points": 0, "saturation": 1, "capacitance": False},
        {"top": 0.2},
    ],
    ids=["both capacitances alone", "hFE and VBE at one current", "one VCE(sat)", "0.2 A"],
)
@pytest.mark.parametrize("n", [1, 2, 6])
def test_any_subset_of_readings_and_any_number_of_parts_gives_a_distance(how, n):
    readings, weighed = lot(11, n, **how)
    found = find_outliers(readings, weighed, KNOWN)
    assert np.isfinite(found.distance).all()
    assert not found.flagged.any()


def test_known_good_lots_teach_the_covariance_of_a_lot_too_small_for_its_own():
    readings, weighed = lot(12, 3)
    teachers, centre = lot(13, 30)
    alone = find_outliers(readings, weighed, KNOWN)
    taught = find_outliers(readings, weighed, KNOWN, teachers=[(teachers, centre.centre.mean(axis=0))])
    assert taught.found.weight_of_spreads < alone.found.weight_of_spreads
    assert taught.distance.shape == (3,)
    assert not taught.flagged.any()
    assert ALARM_PER_LOT == 0.01
