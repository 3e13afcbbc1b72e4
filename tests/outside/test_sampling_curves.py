"""Operating curves and sample sizes against published figures; each source stands beside its check.

"Derived": recomputed apart from this program from the formula of the source.
"""

import numpy as np
import pytest

from partscreen.lots.operating_curve import accepted_from_lot, accepted_from_process, share_accepted_with
from partscreen.lots.two_point import two_point_plan
from partscreen.lots.zero_acceptance import sample_size

POISSON = 10**9  # a sample so large that the binomial is the Poisson distribution


@pytest.mark.parametrize(
    ("n", "c", "share", "chance"),
    [(20, 0, 0.05, 0.35849), (20, 0, 0.15, 0.03876), (80, 2, 0.01, 0.95345), (80, 2, 0.025, 0.67669),
     (80, 2, 0.065, 0.10094), (50, 1, 0.01, 0.91056), (13, 0, 0.01, 0.87752), (13, 0, 0.10, 0.25419)],
)  # fmt: skip
def test_binomial_points_of_operating_curves(n, c, share, chance):
    assert accepted_from_process(n, c, share) == pytest.approx(chance, abs=5.1e-6)  # derived


def test_curve_of_5_with_1_from_50_by_hypergeometric_and_binomial():
    # The case is the illustration in the manual of the CRAN package AcceptanceSampling, commit 06741b3f; derived.
    bad = np.array([2, 3, 5, 10, 15, 20])
    exact = [0.991837, 0.976531, 0.928248, 0.741900, 0.523906, 0.325948]
    binomial = [0.985242, 0.968129, 0.918540, 0.737280, 0.528220, 0.336960]
    assert accepted_from_lot(50, 5, 1, bad) == pytest.approx(exact, abs=6e-7)
    assert accepted_from_process(5, 1, bad / 50) == pytest.approx(binomial, abs=6e-7)


def test_smallest_plan_between_two_points():
    # Request of the manual of CRAN AcceptanceSampling, commit 06741b3f: (5 %, 0.95) and (15 %, 0.075); derived.
    assert two_point_plan(0.05, 0.15, 0.05, 0.075) == (80, 7)
    assert accepted_from_process(80, 7, 0.05) == pytest.approx(0.95341, abs=5e-6)
    assert accepted_from_process(80, 7, 0.15) == pytest.approx(0.07272, abs=5e-6)


def test_ltpd_and_aql_products_are_the_exact_ones_and_near_the_printed_ones():
    # Krajewski/Ritzman, Supplement J (slides "supplement-j"): n LTPD at 10 %, n AQL at 95 %, c 0 to 5; off by 0.8 %.
    printed = {
        0.10: [2.2996, 3.8875, 5.3217, 6.6697, 7.9894, 9.2647],
        0.95: [0.0509, 0.3552, 0.8112, 1.3675, 1.9680, 2.6256],
    }
    exact = {
        0.10: [2.3026, 3.8897, 5.3223, 6.6808, 7.9936, 9.2747],
        0.95: [0.0513, 0.3554, 0.8177, 1.3663, 1.9701, 2.6130],
    }
    for chance in printed:
        found = [POISSON * share_accepted_with(chance, POISSON, c) for c in range(6)]
        assert found == pytest.approx(exact[chance], abs=5.1e-5)
        assert found == pytest.approx(printed[chance], rel=0.009)


def test_solved_curve_of_the_slides():
    # Same slides, solved problem, 2 to 10 %; Poisson n 180, c 9.
    shares = np.arange(2, 11) / 100
    printed = [0.996, 0.951, 0.810, 0.587, 0.363, 0.194, 0.092, 0.039, 0.015]
    assert accepted_from_process(POISSON, 9, 180 * shares / POISSON) == pytest.approx(printed, abs=6e-4)
    assert 1 - accepted_from_process(POISSON, 9, 180 * 0.03 / POISSON) == pytest.approx(0.049, abs=6e-4)
    assert accepted_from_process(POISSON, 9, 180 * 0.08 / POISSON) == pytest.approx(0.092, abs=6e-4)


def test_ltpd_plan_of_the_reliability_handbook():
    # Birolini, Reliability Engineering (Springer 2007), 7.1: beta 0.1, LTPD 2 %, c 1: m 3.9, n 195.
    assert POISSON * share_accepted_with(0.1, POISSON, 1) == pytest.approx(3.9, abs=0.05)
    assert accepted_from_process(195, 1, 0.02) == pytest.approx(0.0969, abs=5e-5)
    assert sample_size(0.02, 0.9, c=1) <= 195


@pytest.mark.parametrize(("reliability", "n", "used"), [(0.95, 45, 45), (0.99, 230, 231), (0.999, 2302, 2400)])
def test_sizes_of_automotive_qualification(reliability, n, used):
    # accendoreliability.com on AEC-Q100 sample sizes, 90 % confidence; AEC uses 3 x 77 and 3 x 800.
    assert sample_size(1 - reliability, 0.9) == n <= used


INFINITE = {
    0.50: (4, 5, 7), 0.30: (7, 9, 13), 0.20: (11, 14, 21), 0.15: (15, 19, 29), 0.10: (22, 29, 44),
    0.07: (32, 42, 64), 0.05: (45, 59, 90), 0.03: (76, 99, 152), 0.02: (114, 149, 228), 0.01: (230, 299, 459),
}  # fmt: skip


@pytest.mark.parametrize("tolerable", INFINITE)
def test_zero_acceptance_sizes_of_large_lots(tolerable):
    # n = ln(1 - C) / ln(1 - p), success-run relation; derived.
    assert tuple(sample_size(tolerable, c) for c in (0.90, 0.95, 0.99)) == INFINITE[tolerable]


FINITE = {
    10: ((9, 10), (9, 10), (7, 8)),
    20: ((18, 19), (14, 16), (9, 10)),
    25: ((17, 19), (13, 16), (9, 11)),
    50: ((27, 31), (18, 22), (10, 12)),
    100: ((37, 45), (20, 25), (10, 13)),
    200: ((41, 51), (21, 27), (11, 13)),
    500: ((43, 56), (22, 28), (11, 14)),
}


@pytest.mark.parametrize("lot_size", FINITE)
def test_zero_acceptance_sizes_of_small_lots(lot_size):
    # Hypergeometric, smallest n with none found, 90 % and 95 % for 5, 10 and 20 % bad or more; derived.
    found = tuple(tuple(sample_size(share, c, lot_size=lot_size) for c in (0.90, 0.95)) for share in (0.05, 0.10, 0.20))
    assert found == FINITE[lot_size]


def test_military_ltpd_table_is_never_below_the_exact_size():
    # MIL-PRF-19500, LTPD table, c = 0 (memory). It rounds by the Poisson distribution, hence up to 2 parts more.
    table = {0.30: 8, 0.20: 11, 0.15: 15, 0.10: 22, 0.07: 32, 0.05: 45, 0.03: 76, 0.02: 116, 0.01: 231}
    for share, n in table.items():
        assert 0 <= n - sample_size(share, 0.90) <= 2


def test_zero_acceptance_table_of_squeglia_agrees_with_the_standard_plan():
    # N. Squeglia, zero acceptance number plans (ASQ), lot 16-25, AQL 1.0: n 13 (copy: elsmar.com thread 51362).
    from partscreen.lots.attribute_plans import table_plan

    assert (table_plan(20, 1.0).n, table_plan(20, 1.0).c) == (13, 0)
