"""What a lot says of its own parts."""

import numpy as np
import pytest

from partscreen.results import Interval
from partscreen.screening.lot.robust import best_split, modified_z, outlying, pat_limits, robust_centre
from partscreen.screening.lot.view import judge_lot, view_lot
from partscreen.screening.observe import build_observations
from tests.screening.bench import ROOM, TextbookDevice, batch, points, spots

ROSNER = np.array(
    [
        "-0.25",
        "0.68",
        "0.94",
        "1.15",
        "1.20",
        "1.26",
        "1.26",
        "1.34",
        "1.38",
        "1.43",
        "1.49",
        "1.49",
        "1.55",
        "1.56",
        "1.58",
        "1.65",
        "1.69",
        "1.70",
        "1.76",
        "1.77",
        "1.81",
        "1.91",
        "1.94",
        "1.96",
        "1.99",
        "2.06",
        "2.09",
        "2.10",
        "2.14",
        "2.15",
        "2.23",
        "2.24",
        "2.26",
        "2.35",
        "2.37",
        "2.40",
        "2.47",
        "2.54",
        "2.62",
        "2.64",
        "2.90",
        "2.92",
        "2.92",
        "2.93",
        "3.21",
        "3.26",
        "3.30",
        "3.59",
        "3.68",
        "4.30",
        "4.64",
        "5.34",
        "5.42",
        "6.01",
    ],
    float,
)
URANIUM = np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
NAPHTHALENE = np.array(
    [
        "3.34",
        "5.39",
        "5.74",
        "6.88",
        "5.85",
        "5.59",
        "5.96",
        "1.47",
        "2.57",
        "5.39",
        "1.91",
        "1.74",
        "23.23",
        "1.82",
        "2.02",
        "6.12",
        "6.05",
        "5.18",
        "4.43",
        "1.00",
        "8.64",
        "5.34",
        "5.53",
        "4.42",
        "35.45",
    ],
    float,
)


# Robust mean and sigma after AEC-Q001 (formula: memory); data of Rosner 1983, Tietjen-Moore 1972 and US EPA 2009
# example
# 12-4; figures derived from them with NumPy's default quartiles.
@pytest.mark.parametrize(
    ("data", "median", "sigma", "low", "high", "outside"),
    [
        (ROSNER, 2.095, 0.940741, -3.5494, 7.7394, []),
        (URANIUM, 201.37, 1.468519, 192.5589, 210.1811, [245.57]),
        (NAPHTHALENE, 5.39, 2.511111, -9.6767, 20.4567, [23.23, 35.45]),
    ],
)
def test_part_average_limits_of_published_data(data, median, sigma, low, high, outside):
    assert robust_centre(data) == pytest.approx((median, sigma), abs=5e-7)
    limits = pat_limits(data)
    assert limits == pytest.approx((low, high), abs=5e-5)
    assert data[(data < limits[0]) | (data > limits[1])].tolist() == outside


def test_modified_z_scores_of_published_data():
    # Iglewicz and Hoaglin's score: example of a public repository quoting it (only 15 flagged), Rosner's and uranium
    # data.
    scores = modified_z(np.array([-2.0, 1, 2, 2, 3, 4, 15]))
    assert scores == pytest.approx([-2.698, -0.6745, 0, 0, 0.6745, 1.349, 8.7685], abs=5e-5)
    assert ROSNER[np.abs(modified_z(ROSNER)) > 3.5].tolist() == [5.34, 5.42, 6.01]
    assert modified_z(URANIUM)[-1] == pytest.approx(29.963, abs=5e-4)


def test_outlier_needs_more_than_the_measurement_can_show():
    values = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.02])
    assert not outlying(values)[0].any()  # no scatter at all: nothing to measure by
    assert outlying(values, 0.001)[0].tolist() == [False] * 7 + [True]
    assert not outlying(values, 0.01)[0].any()


def test_small_lots_and_missing_figures_flag_nothing():
    assert not outlying(np.array([1.0, 2.0, 99.0]))[0].any()
    assert best_split(np.array([1.0, 1.1, 5.0, 5.1, np.nan])) is None
    assert not outlying(np.array([1.0, 1.1, 0.9, 1.05, 0.95, 1.0, np.nan]))[0].any()


def test_coarse_reading_of_one_die_is_not_cut_in_two():
    # A meter that shows two values only.
    values = np.array([1.00, 1.01] * 5)
    split = best_split(values, 0.005)
    assert split is not None
    assert not split.found


def lot(h0, ik, names=None, noise=0.003, seed=3, currents=(0.1, 0.3, 1.0, 2.0), spot_rows=()):
    rng = np.random.default_rng(seed)
    n, device = len(h0), TextbookDevice(h0, ik)
    ic = np.tile(np.array(currents), (n, 1))
    hfe, vbe = device.gain(np.arange(n), ic, np.full(ic.shape, 5.0), np.full(ic.shape, ROOM), True)
    hfe = hfe * np.exp(rng.normal(0, noise, ic.shape))
    part = np.arange(n)[:, None] * np.ones(ic.shape, int)
    made = batch(n, points(part, ic, hfe=hfe.ravel(), vbe=vbe.ravel()), spots(spot_rows))
    return build_observations(made, np.arange(n)).observations, names or [f"p{i}" for i in range(n)]


def test_two_dies_in_a_lot_are_shown_as_two_groups_with_names_and_figures():
    rng = np.random.default_rng(1)
    ik = np.where(np.arange(12) < 4, 6.0, 20.0) * np.exp(rng.normal(0, 0.08, 12))
    view = view_lot(*lot(rng.normal(120, 10, 12), ik))
    assert view.groups is not None
    assert view.groups[0].tolist() == [0, 1, 2, 3]
    reason = next(r for r in view.reasons if r.code == "TWO_GROUPS")
    assert reason.figures["parts"] == "p0, p1, p2, p3"
    assert reason.figures["ratio_group_high"] < reason.figures["ratio_others_low"]
    assert "not which of them is right" in reason.sentence
    assert not view.about_equal


def test_two_groups_of_equal_size_are_said_to_be_so():
    rng = np.random.default_rng(1)
    ik = np.where(np.arange(12) < 6, 6.0, 20.0) * np.exp(rng.normal(0, 0.08, 12))
    view = view_lot(*lot(rng.normal(120, 10, 12), ik))
    assert view.about_equal


def test_single_stray_part_is_an_outlier_and_no_group():
    rng = np.random.default_rng(1)
    ik = np.full(12, 20.0) * np.exp(rng.normal(0, 0.05, 12))
    ik[7] = 3.0
    view = view_lot(*lot(rng.normal(120, 10, 12), ik))
    assert view.groups is None
    assert list(view.outliers) == [7]
    assert {r.code for r in view.outliers[7]} == {"LOT_OUTLIER"}
    assert "p7" in next(r for r in view.reasons if r.code == "LOT_OUTLIERS").sentence


def test_capacitance_at_another_bias_is_not_compared():
    rows = [(i, "c_be", 2e-9 * (1 + 0.01 * (i % 3)), {"VEB": 0.0}) for i in range(8)]
    rows[5] = (5, "c_be", 1e-9, {"VEB": 5.0})
    strange = [*rows[:5], (5, "c_be", 1e-9, {"VEB": 0.0}), *rows[6:]]
    h0, ik = np.full(8, 100.0), np.full(8, 10.0)
    assert view_lot(*lot(h0, ik, spot_rows=rows)).outliers == {}
    assert list(view_lot(*lot(h0, ik, spot_rows=strange)).outliers) == [5]


def test_lot_without_readings_is_viewed_without_complaint():
    empty = build_observations(batch(3), np.arange(3)).observations
    assert view_lot(empty, ["a", "b", "c"]).reasons == ()


@pytest.mark.parametrize(
    ("known", "equal", "rejected", "share", "judgement"),
    [
        (False, False, 0, None, "no_reference"),
        (True, False, 0, None, "test_all"),
        (True, True, 0, None, "undecided"),
        (True, False, 0, Interval(value=0.02, low=0.0, high=0.08), "use"),
        (True, False, 1, Interval(value=0.02, low=0.0, high=0.08), "test_all"),
        (True, False, 4, Interval(value=0.4, low=0.2, high=0.6), "return"),
        (True, False, 0, Interval(value=0.1, low=0.02, high=0.3), "test_all"),
    ],
)
def test_judgement_of_a_lot(known, equal, rejected, share, judgement):
    assert judge_lot(known_type=known, about_equal=equal, rejected=rejected, share_unfit=share) == judgement
