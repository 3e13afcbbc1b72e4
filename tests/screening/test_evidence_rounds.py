"""How long a lot is looked at: rounds of fits and steps of a search end where nothing more is to be gained."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import chi2

from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS
from partscreen.screening.evidence import engine, weigh_lots
from partscreen.screening.evidence import lot as searching
from partscreen.screening.evidence import settle as settling
from partscreen.screening.evidence.engine import ENOUGH, even
from partscreen.screening.evidence.lot import MOST_ITERATIONS
from partscreen.screening.evidence.settle import (
    AREA_SD,
    ROUNDS,
    SETTLED,
    Unsettled,
    _loose,
    _Round,
    _Search,
    _Try,
    settle,
    settle_lots,
)
from tests.screening.known_type import CONSTANTS, KNOWN, POPULATION
from tests.screening.test_evidence_lots import MARKED, fitted_to, lot
from tests.screening.test_evidence_settling import SHARE, parts


@pytest.fixture
def fits(monkeypatch):
    """Every call of the fit: parts, and from how many places it began."""
    seen = []
    plain = settling.fit_parts

    def counted(observations, *given, **more):
        seen.append((observations.n_parts, more["starts"]))
        return plain(observations, *given, **more)

    monkeypatch.setattr(settling, "fit_parts", counted)
    return seen


def test_a_lot_that_has_settled_is_not_fitted_again(fits):
    settle(parts(4, 21), CONSTANTS, KNOWN, SHARE)
    assert 1 <= len(fits) < ROUNDS
    assert {n for n, _ in fits} == {4}


def test_parts_are_looked_for_from_several_places_in_the_first_round_only(fits):
    settle(parts(4, 22, bf=0.5), CONSTANTS, KNOWN, SHARE)
    assert fits[0][1] > 1
    assert len(fits) > 1
    assert {starts for _, starts in fits[1:]} == {1}


def test_a_large_lot_is_settled_by_enough_of_its_parts_and_all_are_fitted_once(fits, monkeypatch):
    for module in (engine, settling):
        monkeypatch.setattr(module, "ENOUGH", 6)
    found = settle(parts(9, 23), CONSTANTS, KNOWN, SHARE)
    assert {n for n, _ in fits[:-1]} == {6}
    assert fits[-1] == (9, 1)
    assert found.readings.point.shape[0] == 9
    assert found.marked.weight.shape == (6,)
    fits.clear()
    settle(parts(6, 23), CONSTANTS, KNOWN, SHARE)
    assert {n for n, _ in fits} == {6}


def test_of_lots_side_by_side_only_those_that_have_not_settled_are_fitted_again(fits):
    near, far = parts(3, 24), parts(5, 25, leak=3.0)
    settle(near, CONSTANTS, KNOWN, SHARE)
    quick = len(fits)
    fits.clear()
    settle(far, CONSTANTS, KNOWN, SHARE)
    slow = len(fits)
    fits.clear()
    settle_lots([Unsettled(near, KNOWN, SHARE), Unsettled(far, KNOWN, SHARE)], CONSTANTS)
    both, rest = min(quick, slow), 5 if slow > quick else 3
    assert [n for n, _ in fits] == [8] * both + [rest] * abs(slow - quick)


def test_a_search_that_moves_no_more_stops(monkeypatch):
    steps = []
    plain = searching.posterior

    def counted(*given):
        steps.append(1)
        return plain(*given)

    monkeypatch.setattr(searching, "posterior", counted)
    readings = lot(8, 71, kinds=(0, 1, 2, 2, 2, 2, 3, 3, 3, 4, 4))
    (one,) = fitted_to(readings, MARKED)
    starts = 1 + 1 + 2  # all parts together, the prior's centre, the two likeliest parts
    looked_at = 8 + 1  # each part's own centre, and all together
    assert starts <= len(steps) - looked_at < starts * MOST_ITERATIONS / 2
    assert np.isfinite(one.ln_likelihood)


def test_whatever_may_be_in_a_bag_is_looked_for_twice_as_far_off_as_sound_parts_and_over_half_the_areas():
    n = N_PARAMETERS
    loose = _loose(KNOWN)
    area = np.outer(AREA_DIRECTION, AREA_DIRECTION)
    assert loose == pytest.approx(4.0 * POPULATION.within + AREA_SD**2 * area + POPULATION.between)
    assert loose.shape == (n, n)
    assert np.exp(-AREA_SD) < 0.7  # dies of seven tenths of the area lie well within it


def tried(mean, step, weight=(1.0,), promise=9.0):
    """A round about `mean` that found the lot's centre a step from there; each coordinate known to a half."""
    q, n = KNOWN.centre.size, N_PARAMETERS
    centre = np.concatenate((mean + step, np.zeros(q - n)))
    marked = SimpleNamespace(centre=centre, precision=4.0 * np.eye(q), weight=np.asarray(weight))
    count = len(weight)
    about = _Round(np.zeros(n), np.eye(n), np.zeros(count), theta=np.full((count, n), 0.5), shared=np.ones((1, 3)))
    return _Try(
        settled=SimpleNamespace(marked=marked), about=about, mean=mean, told=np.ones(count, dtype=int),
        at=np.zeros(count), prior=0.0, promise=promise,
    )  # fmt: skip


def search_of(count, best, **more):
    return _Search(SimpleNamespace(known=KNOWN, observations=SimpleNamespace(n_parts=count)), best, **more)


@pytest.mark.parametrize("length", [1.0, 0.35])
def test_the_next_round_lies_part_of_the_way_to_the_centre_that_was_found(length):
    n, count = N_PARAMETERS, ENOUGH + 4
    weight = np.linspace(0.0, 1.0, ENOUGH)
    begun = KNOWN.centre[:n] - 0.1
    best = tried(begun, np.full(n, 0.3), weight)
    about = search_of(count, best, length=length).next_round()
    assert about.mean == pytest.approx(begun + 0.3 * length)
    assert about.covariance == pytest.approx(0.25 * np.eye(n) + _loose(KNOWN))
    assert (about.theta is best.about.theta, about.shared is best.about.shared) == (True, True)
    chosen = even(count)
    assert about.weight[chosen] == pytest.approx(np.maximum(weight, 1e-6))
    assert not np.delete(about.weight, chosen).any()


@pytest.mark.parametrize(("falls_short", "reaches"), [(0.5, 1.0), (0.3, 1.0), (0.1, 0.4)])
def test_steps_that_fall_short_by_the_same_share_are_lengthened_by_it_up_to_four_times(falls_short, reaches):
    # A lot at 1 along one direction, where every step goes a share of what is left of the way.
    rng = np.random.default_rng(3)
    along = rng.normal(size=N_PARAMETERS)
    rounds = [tried(x * along, falls_short * (1.0 - x) * along) for x in (0.0, falls_short)]
    search = search_of(1, rounds[1], before=(rounds[0],))
    left = 1.0 - falls_short
    assert search.next_round().mean == pytest.approx((falls_short + left * reaches) * along)
    # What was tried shorter has shown that it may not be lengthened.
    shorter = search_of(1, rounds[1], before=(rounds[0],), length=0.35)
    assert shorter.next_round().mean == pytest.approx((falls_short + 0.35 * falls_short * left) * along)


def test_two_rounds_before_tell_how_short_steps_fall_in_two_directions():
    n = N_PARAMETERS
    lies = np.zeros(n)
    lies[:2] = 1.0, -2.0
    share = np.ones(n)
    share[:2] = 0.6, 0.3
    rounds = []
    for x in (np.zeros(n), 0.6 * lies, np.where(np.arange(n) == 0, 0.9, 0.7) * lies):
        rounds.insert(0, tried(x, share * (lies - x)))
    found = search_of(1, rounds[0], before=tuple(rounds[1:])).next_round().mean
    assert found == pytest.approx(lies, abs=1e-6)


def test_a_lot_is_settled_when_parts_belong_to_it_and_one_more_step_promises_nothing():
    def settled(weight, promise):
        return search_of(len(weight), tried(np.zeros(N_PARAMETERS), 0.1, weight, promise)).settled

    assert settled([0.5, 0.5], 0.99 * SETTLED)
    assert not settled([0.5, 0.5], 1.01 * SETTLED)
    assert not settled([0.5, 0.49], 0.0)


def test_surprise_of_a_known_good_lot_is_the_chi_square_of_how_far_off_the_sheet_it_lies(monkeypatch):
    q, n = KNOWN.centre.size, N_PARAMETERS
    step = np.zeros(q)
    step[:n] = 0.3 * np.sqrt(np.diag(KNOWN.lot_covariance)[:n])
    for told in (0.5, 0.1):  # of the sheet's variance, what the lot leaves open
        covariance = told * KNOWN.lot_covariance
        found = SimpleNamespace(marked=SimpleNamespace(centre=KNOWN.centre + step, precision=np.linalg.inv(covariance)))
        monkeypatch.setattr(weigh_lots, "settle", lambda *_, found=found: found)
        got = weigh_lots.learn_from_known_good(KNOWN, [(SimpleNamespace(n_parts=7), False, None)], CONSTANTS)
        moved = (1.0 - told) * KNOWN.lot_covariance[:n, :n]
        distance = step[:n] @ np.linalg.solve(moved, step[:n])
        assert got.surprise == pytest.approx((chi2.sf(distance, n),), rel=1e-3)
        assert (got.parts, got.lots) == (7, 1)
