"""Lots that are wholly something else, and the steps between fitted modes and what is told of a lot."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest

from partscreen.screening.evidence.combine import combine
from partscreen.screening.evidence.engine import MOST_TYPES, _likeliest, _modes, _types, weigh_lot
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.joined import TOGETHER
from partscreen.screening.evidence.linear import AREA, ORDER
from partscreen.screening.evidence.lot import MOST_ITERATIONS, Share, alternatives_of, fit_mode, posterior
from partscreen.screening.evidence.mode_likelihoods import ALIKE_WELL, modes_alike
from partscreen.screening.evidence.quadratic import information, integrate, inverse
from partscreen.screening.evidence.weigh import spread_of
from tests.screening.test_evidence_lots import KNOWN, MARKED, SEVERAL, fitted_to, ln_p, lot

KINDS = (0, 1, 2, 2, 2, 2, 3, 3, 3, 4, 4)


def lot_at(n, seed, centre):
    """Parts about a centre of their own, as `lot` reads those about the type's."""
    readings = lot(n, seed, kinds=KINDS)
    rng = np.random.default_rng(seed + 1)
    z = centre + 0.1 * rng.normal(size=readings.point.shape) * (np.diag(KNOWN.within) > 0)
    noise = readings.std * rng.normal(size=readings.residual.shape)
    return replace(readings, residual=np.einsum("nkq,nq->nk", readings.jacobian, z - readings.point) + noise)


def test_a_lot_wholly_of_another_library_type_is_found_to_be_that_type():
    for number, (other, sure) in enumerate(zip(KNOWN.others, (0.9, 0.5), strict=True)):  # the second lies nearer
        got = weigh_lot(lot_at(12, 50 + number, other.mean), KNOWN)
        name, kind, probability = max(got.modes, key=lambda mode: mode[2])
        assert (name, kind) == (f"die of {other.name}", "type")
        assert got.main_unfit >= probability > sure
        assert (got.evidence > 0.0).all()
        assert (got.probability_of_substitution > sure).all()
        assert got.share[0] > sure
        assert sum(kind == "marked" for _, kind, _ in got.modes) == 3  # kept, however unlikely


def test_a_lot_of_the_type_and_one_of_smaller_dies_are_told_apart():
    sound = weigh_lot(lot_at(12, 60, KNOWN.centre), KNOWN)
    assert sound.main_unfit < 0.05
    assert (sound.evidence < 0.0).all()
    assert sound.share[1] <= sound.share[0] <= sound.share[2]
    small = weigh_lot(lot_at(12, 61, KNOWN.centre + log(0.3) * AREA), KNOWN)
    assert small.main_unfit > 0.95
    assert max(small.modes, key=lambda mode: mode[2])[1] == "die"
    assert (small.evidence > 0.0).all()


def test_types_a_whole_lot_could_be_are_those_most_like_its_middling_part():
    each = np.array([[0.0, 5, 1, 9, -3, 2], [1, 4, 2, 8, -90, 3], [2, -80, 3, 7, -3, 4]])
    assert _likeliest(each) == [3, 1, 5, 2][:MOST_TYPES]
    assert _likeliest(each[:, :2]) == [1, 0]
    assert _likeliest(np.zeros((3, 0))) == []


def test_each_type_is_weighed_with_the_errors_of_the_session_as_scipy_weighs_it():
    readings = lot(3, 62, kinds=KINDS)
    found = _types(readings, KNOWN)
    for part in range(3):
        for t, other in enumerate(KNOWN.others):
            wanted = ln_p(readings, part, other.mean, other.covariance + KNOWN.session, len(ORDER))
            assert found[part, t] == pytest.approx(wanted)
    assert _types(readings, replace(KNOWN, others=())).shape == (3, 0)


def test_what_a_lot_may_be_and_what_a_part_may_be_each_sum_to_one():
    for readings in (lot(6, 63, kinds=KINDS), lot(4, 65, [0.0, 0.0, 0.0, log(0.5)], kinds=KINDS)):
        got = weigh_lot(readings, KNOWN)
        assert sum(p for _, _, p in got.modes) == pytest.approx(1.0)
        assert got.probability.sum(axis=1) == pytest.approx(1.0)
        assert got.by_reading.sum(axis=1) == pytest.approx(got.evidence)
        assert len(got.names) == len(got.kinds) == got.probability.shape[1]
        assert got.names[-2:] == ("die of A", "die of B")
        assert {name for name, _, _ in got.modes} <= {mode.name for mode in _modes(KNOWN, 0.1, [0, 1])}
        # A mode hopelessly less likely than the best is left out, those of the type never.
        assert all(p > 1e-9 for _, kind, p in got.modes if kind != "marked")
        assert sum(kind == "marked" for _, kind, _ in got.modes) == 3


def test_a_search_ends_where_the_centre_is_that_of_the_parts_that_belong():
    for seed, area in ((66, None), (67, [0.0] * 6 + [log(0.4)] * 2)):
        readings = lot(8, seed, area, kinds=KINDS)
        (one,) = fitted_to(readings, MARKED)
        centre, precision = posterior(MARKED, inverse(MARKED.covariance), one.main, one.weight)
        away = centre - one.centre
        assert away @ precision @ away < 1e-2
        assert ((one.weight >= 0.0) & (one.weight <= 1.0)).all()
        assert np.exp(one.ln_explained).sum() == pytest.approx(1.0)
        assert np.exp(one.ln_others).sum(axis=1) == pytest.approx(1.0)
        if area:
            assert one.weight[:6].min() > 0.5 > one.weight[6:].max()
    assert MOST_ITERATIONS >= 20


def moved(form, by):
    return replace(form, origin=form.origin + by)


def test_where_the_coordinates_begin_changes_nothing_but_where_the_lot_lies():
    readings = lot(9, 68, [0.0] * 7 + [log(0.4)] * 2, kinds=KINDS)
    info = information(readings, KNOWN.centre)
    main, found = integrate(info, KNOWN.within), alternatives_of(info, families(KNOWN.within, KNOWN.device_between))
    types, share, by = np.full(9, -60.0), Share(0.05, 0.95), np.linspace(-3.0, 4.0, KNOWN.centre.size)
    plain = fit_mode(MARKED, main, found, types, None, share)
    away = replace(found, forms=[moved(form, by) for form in found.forms])
    other = fit_mode(replace(MARKED, mean=MARKED.mean + by), moved(main, by), away, types, None, share)
    assert len(plain) == len(other)
    for one, two in zip(plain, other, strict=True):
        assert two.centre - by == pytest.approx(one.centre, abs=1e-6)
        assert two.weight == pytest.approx(one.weight, abs=1e-6)
        assert two.ln_likelihood == pytest.approx(one.ln_likelihood, abs=1e-6)
        assert two.share == pytest.approx(one.share, abs=1e-6)


def test_the_centre_told_is_that_of_the_likeliest_mode_of_the_type():
    readings = lot(6, 69, kinds=KINDS)
    first, second = fitted_to(readings, MARKED, SEVERAL)
    for ahead in (1.0, -1.0):
        fitted = [replace(first, ln_likelihood=second.ln_likelihood + ahead), second]
        got = combine(readings, KNOWN, fitted, Share(0.05, 0.95), Share(0.9, 0.1), every=True)
        likelier = combine(
            readings, KNOWN, [fitted[0 if ahead > 0 else 1]], Share(0.05, 0.95), Share(0.9, 0.1), every=True
        )
        assert got.centre.tolist() == likelier.centre.tolist()
        assert got.centre_covariance.tolist() == likelier.centre_covariance.tolist()
    assert not np.allclose(first.centre, second.centre)


def test_modes_share_factors_where_they_know_the_centre_alike_well_and_the_likeliest_stands_first():
    readings = lot(5, 70, kinds=KINDS)
    (one,) = fitted_to(readings, MARKED)
    first_covariance = inverse(one.precision)
    base = spread_of(readings, KNOWN.within)[:1] + np.diag(readings.std[0] ** 2)

    def apart(more):
        """Frobenius norm of the change of the readings' covariance, in units of the first one's."""
        jac = readings.jacobian[0]
        root = np.linalg.cholesky(base[0] + jac @ first_covariance @ jac.T)
        change = np.linalg.solve(root, jac @ (more * first_covariance) @ jac.T)
        return np.linalg.norm(np.linalg.solve(root, change.T))

    some = readings.pick(np.array([0]))
    for share, together in ((0.9, True), (1.1, False)):
        more = share * ALIKE_WELL / apart(1.0)
        other = replace(one, precision=one.precision / (1.0 + more), ln_likelihood=one.ln_likelihood + 1.0)
        # Seen from the likelier mode the other's covariance is smaller by nearly as much.
        groups = modes_alike(some, KNOWN, [one, other], every=False)
        assert groups == ([[1, 0]] if together else [[1], [0]])


def test_lots_laid_side_by_side_stay_within_some_tens_of_megabytes():
    # Derivatives of 60 readings by 15 coordinates in eight bytes, a part: 7 kB.
    assert 10e6 < TOGETHER * 60 * AREA.size * 8 < 100e6
