"""Fits settled by their lot: lots side by side, steps taken back, what a lot has in common, known-good lots."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import chi2

from partscreen.device.observations import take_observations
from partscreen.device.parameters import INDEX, N_PARAMETERS
from partscreen.screening.evidence.engine import ENOUGH, even
from partscreen.screening.evidence.linear import N_COORDINATES, Linearised
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.evidence.quadratic import inverse
from partscreen.screening.evidence.settle import (
    LONGER,
    SHORTER,
    SHORTEST,
    Unsettled,
    _Search,
    _Try,
    settle,
    settle_lots,
)
from partscreen.screening.evidence.shared_misfit import OWN_SHARE, share_misfit
from partscreen.screening.evidence.weigh_lots import (
    CONTRADICTION,
    knowledge_from,
    learn_from_known_good,
    weigh_observations,
)
from partscreen.screening.model_error import misfit_of
from tests.screening.known_type import CONSTANTS, KNOWN, POPULATION
from tests.screening.lots import observe

SHARE = share_priors(0.1)[1]


def parts(n, seed, **shifts):
    """Readings of a lot whose centre lies about the type's, by the spread of lots; `shifts` of its parameters."""
    rng = np.random.default_rng(seed)
    centre = rng.multivariate_normal(POPULATION.centre, POPULATION.between, method="eigh")
    theta = rng.multivariate_normal(centre, POPULATION.within, size=n, method="eigh")
    for name, value in shifts.items():
        theta[:, INDEX[name]] += value
    return observe(theta, CONSTANTS, rng, n_gain=8, n_sat=3)


@pytest.mark.parametrize("count", [2, 3])
def test_lots_settled_side_by_side_end_where_each_ends_alone(count):
    lots = [parts(3, 1), parts(4, 2, bf=0.3), parts(2, 3, leak=-0.4)][:count]
    together = settle_lots([Unsettled(o, KNOWN, SHARE, misfit_of(o, CONSTANTS.ic_rated)) for o in lots], CONSTANTS)
    for o, found in zip(lots, together, strict=True):
        alone = settle(o, CONSTANTS, KNOWN, SHARE, misfit_of(o, CONSTANTS.ic_rated))
        step = found.marked.centre - alone.marked.centre
        # Apart by less than a tenth of how well the centre is known.
        assert step @ alone.marked.precision @ step < 0.01
        assert found.marked.weight == pytest.approx(alone.marked.weight, abs=0.02)
        assert found.readings.std == pytest.approx(alone.readings.std, rel=0.02)
    centres = np.array([found.marked.centre[INDEX["bf"]] for found in together])
    assert centres.argmax() == 1


def test_a_settled_lot_lies_where_one_more_look_at_its_readings_would_put_it():
    o = parts(5, 4)
    found = settle(o, CONSTANTS, KNOWN, SHARE)
    n = N_PARAMETERS
    assert found.marked.weight == pytest.approx(1.0, abs=0.01)
    # Parts lie about their lot's centre as its spread says, and fit their readings as well as noise lets them.
    gap = found.readings.point[:, :n] - found.marked.centre[:n]
    spread = POPULATION.within + inverse(found.marked.precision)[:n, :n]
    assert (np.einsum("nq,qr,nr->n", gap, np.linalg.inv(spread), gap) < chi2.ppf(0.9999, n)).all()
    squares = ((found.readings.residual / found.readings.std) ** 2).sum(axis=1)
    assert (squares < chi2.ppf(0.9999, found.readings.kind.size)).all()


def test_a_lot_of_more_parts_than_enough_is_settled_by_some_and_told_of_all():
    o = parts(ENOUGH + 10, 5)
    found = settle(o, CONSTANTS, KNOWN, SHARE)
    assert found.readings.point.shape[0] == ENOUGH + 10
    assert found.marked.weight.shape == (ENOUGH,)
    some = settle(take_observations(o, even(ENOUGH + 10)), CONSTANTS, KNOWN, SHARE)
    step = found.marked.centre - some.marked.centre
    assert step @ some.marked.precision @ step < 0.05
    squares = ((found.readings.residual / found.readings.std) ** 2).sum(axis=1)
    assert (squares < chi2.ppf(1 - 1e-5, found.readings.kind.size)).all()


def test_some_parts_of_a_lot_keep_their_own_model_error():
    o = parts(4, 6)
    misfit = misfit_of(o, CONSTANTS.ic_rated)
    some = Unsettled(o, KNOWN, SHARE, misfit).take(np.array([2, 0]))
    assert some.observations.hfe.tolist() == o.hfe[[2, 0]].tolist()
    for name in ("hfe", "vbe", "vce_sat"):
        assert getattr(some.misfit, name).tolist() == getattr(misfit, name)[[2, 0]].tolist()
    assert Unsettled(o, KNOWN, SHARE).take(np.array([1])).misfit is None


class Try:
    """A round that is as good as it says."""

    peopled = True

    def __init__(self, good, promise=9.0):
        self.good, self.promise = good, promise

    def gain_over(self, other):
        return self.good - other.good


def test_a_step_that_explains_the_lot_worse_is_taken_back_and_tried_shorter():
    search = _Search(SimpleNamespace(observations=SimpleNamespace(n_parts=10)), Try(1.0))
    search.weigh(Try(0.5))
    assert (search.best.good, search.length) == (1.0, SHORTER)
    search.weigh(Try(0.9))
    assert (search.best.good, search.length) == (1.0, pytest.approx(SHORTER**2))
    search.weigh(Try(2.0))
    assert (search.best.good, search.length) == (2.0, 1.0)
    assert not search.settled
    for _ in range(3):
        search.weigh(Try(1.9, promise=0.0))  # explains the lot worse, whatever it promises
    assert (search.best.good, search.length) == (2.0, pytest.approx(SHORTER**3))
    assert search.settled  # no step explains it better
    assert SHORTER**3 < SHORTEST < SHORTER**2
    assert 0.0 < SHORTER < 0.5


def test_a_search_remembers_the_rounds_before_until_a_step_is_taken_back():
    tries = [Try(float(i)) for i in range(4)]
    search = _Search(None, tries[0])
    for one in tries[1:]:
        search.weigh(one)
    assert search.before == (tries[2], tries[1])
    search.weigh(Try(0.0))
    assert (search.best, search.before) == (tries[3], ())


def going(mean, centre):
    """A try about `mean` that found `centre`, both of the first coordinates; the others stay at zero."""
    whole = np.zeros((2, N_COORDINATES))
    whole[0, : len(mean)], whole[1, : len(centre)] = mean, centre
    marked = SimpleNamespace(centre=whole[1], precision=np.eye(N_COORDINATES), weight=np.ones(1))
    return _Try(SimpleNamespace(marked=marked), None, whole[0, :N_PARAMETERS], None, None, 0.0, 9.0)


def test_the_next_round_is_about_the_centre_found_and_further_where_steps_fall_short():
    found = going([0.0, 0.0], [1.0, 2.0])
    assert _Search(None, found)._next_mean()[:2] == pytest.approx([1.0, 2.0])
    assert _Search(None, found, length=0.25)._next_mean()[:2] == pytest.approx([0.25, 0.5])
    # The first coordinate goes half of what is left to 4 in each round, the second arrives at once: both arrive now.
    before, last = going([0.0, 0.0], [2.0, 1.0]), going([2.0, 1.0], [3.0, 1.0])
    assert _Search(None, last, (before,))._next_mean()[:2] == pytest.approx([4.0, 1.0], abs=0.5)
    slow = [going([4.0 * (1 - 0.9**k)], [4.0 * (1 - 0.9 ** (k + 1))]) for k in range(2)]
    reached = _Search(None, slow[1], (slow[0],))._next_mean()[0]
    # Ten times a step would arrive; not more than LONGER is taken.
    assert reached == pytest.approx(slow[1].mean[0] + LONGER * slow[1].step[0])


def tried(weight, at, prior=0.0, told=None):
    """A try whose parts' and centre's ln p are given; `told`: readings of each part."""
    settled = SimpleNamespace(marked=SimpleNamespace(weight=np.asarray(weight, dtype=float)))
    counts = np.full(len(at), 9) if told is None else np.asarray(told)
    return _Try(settled, None, np.zeros(1), counts, np.asarray(at, dtype=float), prior, 0.0)


def test_a_try_is_better_by_however_little_it_explains_the_parts_that_belonged():
    before = tried([1.0, 1.0, 0.0], [-5.0, -5.0, -50.0])
    assert tried([1.0, 1.0, 1.0], [-5.0, -4.99, -50.0]).gain_over(before) > 0.0
    assert tried([1.0, 1.0, 1.0], [-5.0, -5.01, -50.0]).gain_over(before) < 0.0
    assert tried([1.0, 1.0, 1.0], [-5.0, -5.01, -1.0]).gain_over(before) < 0.0  # the third did not belong
    assert tried([1.0, 1.0, 1.0], [-5.0, -5.0, -50.0], prior=0.01).gain_over(before) > 0.0  # the centre is likelier
    assert tried([1.0, 1.0, 1.0], [-5.0, -5.0, -50.0], prior=-0.01).gain_over(before) < 0.0
    # Where no part belonged, anything is better.
    assert tried([1.0], [-99.0]).gain_over(tried([0.9], [0.0])) > 0.0
    assert tried([1.0], [-99.0]).gain_over(tried([1.0], [0.0])) < 0.0


def test_a_reading_that_comes_or_goes_says_nothing_of_the_centre():
    before = tried([1.0, 1.0], [-5.0, -5.0], told=[9, 9])
    lost = tried([1.0, 1.0], [-8.5, -4.9], told=[8, 9])
    assert lost.gain_over(before) == pytest.approx(0.1)
    assert tried([1.0, 1.0], [-8.5, -4.9], told=[9, 9]).gain_over(before) == pytest.approx(-3.4)


def readings_of(residual, misfit, std=0.1, place=None, present=None):
    """Parts (rows) whose readings are given; kinds and coordinates play no part."""
    residual = np.asarray(residual, dtype=float)
    there = np.ones(residual.shape, dtype=bool) if present is None else np.asarray(present)
    where = np.tile(np.arange(residual.shape[1]), (residual.shape[0], 1)) if place is None else np.asarray(place)
    return Linearised(
        np.zeros((residual.shape[0], N_COORDINATES)), residual, np.zeros((*residual.shape, N_COORDINATES)),
        np.full(residual.shape, std), there, np.full(residual.shape[1], 2), misfit * there, where,
    )  # fmt: skip


def test_a_part_alone_bears_the_whole_error_of_the_model_and_a_lot_hardly_any():
    alone = share_misfit(readings_of([[0.2]], 0.3), np.ones(1))
    assert alone.residual.tolist() == [[0.2]]
    assert alone.std[0, 0] ** 2 == pytest.approx(0.1**2 + (1 + OWN_SHARE**2) * 0.3**2)
    many = share_misfit(readings_of([[0.2]] * 500, 0.3), np.ones(500))
    assert np.abs(many.residual).max() < 1e-3
    assert many.std**2 == pytest.approx(0.1**2 + (OWN_SHARE * 0.3) ** 2, rel=3e-3)


def test_parts_that_do_not_belong_have_no_say_in_what_a_lot_has_in_common():
    readings = readings_of([[0.0], [0.0], [9.0]], 0.3)
    without = share_misfit(readings, np.array([1.0, 1.0, 0.0]))
    assert without.residual[:, 0].tolist() == [0.0, 0.0, 9.0]
    alone = share_misfit(readings, np.zeros(3))
    assert alone.residual.tolist() == readings.residual.tolist()
    assert alone.std**2 == pytest.approx(0.1**2 + (1 + OWN_SHARE**2) * 0.3**2)


def test_only_readings_of_one_kind_and_current_share_their_error():
    # The third reading of the first part was taken where the second part's first was.
    place = [[0, 1, 2], [2, 1, 0]]
    got = share_misfit(readings_of([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]], 10.0, std=1e-3, place=place), np.ones(2))
    own = 1e-6 + (OWN_SHARE * 10.0) ** 2
    kept = (1 / own) / (1 / own + 1 / 100.0)
    wanted = np.array([[1 - 6 * kept, 2 - 5 * kept, 3 - 4 * kept], [4 - 3 * kept, 5 - 2 * kept, 6 - 1 * kept]])
    assert got.residual == pytest.approx(wanted)


def test_what_a_part_was_not_read_at_tells_nothing_and_is_left_alone():
    there = np.array([[True, True], [True, False]])
    got = share_misfit(readings_of([[1.0, 1.0], [1.0, 0.0]], 0.3, present=there), np.ones(2))
    assert (got.residual[1, 1], got.std[1, 1]) == (0.0, 0.1)
    assert got.residual[0, 1] == 1.0  # no other part was read there
    assert got.residual[0, 0] == got.residual[1, 0] < 1.0
    mixed = readings_of([[1.0, 1.0], [1.0, 1.0]], 0.3)
    mixed.misfit[:, 1] = 0.0
    got = share_misfit(mixed, np.ones(2))
    assert got.residual[:, 1].tolist() == [1.0, 1.0]
    assert got.std[:, 1].tolist() == [0.1, 0.1]
    bare = readings_of([[1.0]], 0.0)
    assert share_misfit(bare, np.ones(1)) is bare


def test_known_good_lots_are_counted_and_one_off_the_sheet_is_a_surprise():
    usual, other = parts(4, 7), parts(3, 8)
    # Six times its spread less collector-base capacitance than the sheet's.
    odd = parts(4, 9, cjc=-2.0)
    taught = learn_from_known_good(KNOWN, [(usual, False, None), (other, False, None)], CONSTANTS)
    assert (taught.parts, taught.lots, len(taught.surprise)) == (7, 2, 2)
    assert min(taught.surprise) > CONTRADICTION
    wild = learn_from_known_good(KNOWN, [(odd, False, None)], CONSTANTS)
    assert wild.surprise[0] < CONTRADICTION
    n = N_PARAMETERS
    before, after = (np.diag(k.centre_covariance)[:n] for k in (KNOWN, taught.known))
    assert (after <= before + 1e-12).all()
    assert (after < 0.9 * before).any()
    none = learn_from_known_good(KNOWN, [], CONSTANTS)
    assert (none.known, none.parts, none.lots, none.surprise) == (KNOWN, 0, 0, ())


def test_a_lot_read_in_the_session_of_known_good_parts_knows_that_sessions_errors():
    o = parts(6, 10)
    unsure = knowledge_from(
        POPULATION.centre, POPULATION.centre_covariance, POPULATION.between, POPULATION.within,
        temperature_std=5.0, gain_std=2.0, lead_std=0.1,
    )  # fmt: skip
    same = learn_from_known_good(unsure, [(o, True, None)], CONSTANTS).known
    apart = learn_from_known_good(unsure, [(o, False, None)], CONSTANTS).known
    session = slice(N_PARAMETERS, None)
    before, known, unknown = (np.diag(k.lot_covariance)[session] for k in (unsure, same, apart))
    assert (known[1:] < 0.5 * before[1:]).all()  # gain and lead are seen in the readings
    assert unknown == pytest.approx(before)
    assert apart.centre[session].tolist() == [0.0] * 3
    assert (same.centre[session] != 0.0).all()


def test_everything_said_of_a_lot_speaks_of_the_same_readings():
    o = parts(3, 11)
    o = replace(o, cap=np.where(np.arange(3)[:, None] == 1, np.nan, o.cap))
    settled = settle(o, CONSTANTS, KNOWN, SHARE)
    found = weigh_observations(o, CONSTANTS, KNOWN, settled=settled)
    assert found.readings is settled.readings
    assert found.read.tolist() == [[True] * 5, [False, False, True, True, True], [True] * 5]
    again = weigh_observations(o, CONSTANTS, KNOWN)
    assert again.weighed.evidence == pytest.approx(found.weighed.evidence)
    # Against the reference alone parts are told less well than against their own lot.
    assert (found.reach_absolute < found.reach).all()
    assert (found.reach[[0, 2]] > found.reach[1]).all()
    assert (found.power[[0, 2]].max(axis=0) >= found.power[1] - 1e-9).mean() > 0.9
    assert found.power.shape == (3, len(found.alternatives))
    # Parts read alike see alike.
    assert found.area.sd[0] == pytest.approx(found.area.sd[2], rel=0.1)
    assert found.area.sd[1] > found.area.sd[0]
