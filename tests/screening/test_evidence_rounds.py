"""How long a lot is looked at: rounds of fits and steps of a search end where nothing more is to be gained."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.screening.evidence import lot as searching
from partscreen.screening.evidence import settle as settling
from partscreen.screening.evidence.engine import ENOUGH
from partscreen.screening.evidence.lot import MOST_ITERATIONS
from partscreen.screening.evidence.settle import ROUNDS, Unsettled, settle, settle_lots
from tests.screening.known_type import CONSTANTS, KNOWN
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


def test_a_large_lot_is_settled_by_enough_of_its_parts_and_all_are_fitted_once(fits):
    n = ENOUGH + 5
    found = settle(parts(n, 23), CONSTANTS, KNOWN, SHARE)
    assert {parts_ for parts_, _ in fits[:-1]} == {ENOUGH}
    assert fits[-1] == (n, 1)
    assert found.readings.point.shape[0] == n
    fits.clear()
    settle(parts(ENOUGH, 23), CONSTANTS, KNOWN, SHARE)
    assert {parts_ for parts_, _ in fits} == {ENOUGH}


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
