"""Learned spreads: the truth is their fixed point, faulty parts do not widen them, little data does not narrow them."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS, NAMES
from partscreen.reference.learned import AREA, FEW_LOTS, FIGURES, LEAST_SHARE, LotRecord, learn_spreads, learned_centres
from partscreen.reference.population_spreads import load_spreads
from tests.reference.learned_world import draw_lots, spreads_with

DEFAULT = load_spreads()


def truth_of(spreads, kind):
    area = spreads.area_within if kind == "within" else spreads.area_between
    return {**{n: getattr(spreads.spreads[n], kind) for n in NAMES}, AREA: area}


def seen(learned, kind):
    return {name: figure for name, figure in getattr(learned, kind).items() if figure.lots >= FEW_LOTS}


def shares_inside(learned, truth):
    """Share of the figures whose 95 % interval holds the truth."""
    inside = [
        figure.low <= truth_of(truth, kind)[name] <= figure.high
        for kind in ("within", "between")
        for name, figure in seen(learned, kind).items()
    ]
    return np.array(inside)


@pytest.mark.parametrize("factor", [(0.6, 0.7), (1.0, 1.0), (1.6, 1.4)])
def test_lots_of_known_spreads_teach_those_spreads(factor):
    truth, inside, ratios = spreads_with(*factor), [], []
    for seed in range(2):
        learned = learn_spreads(draw_lots(np.random.default_rng(seed), truth, 8, 5, 20), DEFAULT)
        inside.append(shares_inside(learned, truth))
        ratios += [f.value / truth_of(truth, "within")[n] for n, f in seen(learned, "within").items()]
    # What the default adds where little is seen counts against the intervals at other spreads.
    assert np.concatenate(inside).mean() >= (0.9 if factor == (1.0, 1.0) else 0.8)
    assert 0.93 <= np.exp(np.mean(np.log(ratios))) <= 1.1


def test_the_default_stays_where_it_is_the_truth():
    """Fixed point: lots drawn from what was learned before teach the same again, six times over."""
    rng, now = np.random.default_rng(11), DEFAULT
    for _ in range(6):
        learned = learn_spreads(draw_lots(rng, now, 6, 4, 12), DEFAULT)
        table = {n: now.spreads[n].model_copy(update={"within": learned.within[n].value}) for n in NAMES}
        now = now.model_copy(update={"spreads": table, "area_within": learned.within[AREA].value})
    ratio = [now.spreads[n].within / DEFAULT.spreads[n].within for n in NAMES]
    assert 0.9 <= np.exp(np.mean(np.log(ratio))) <= 1.1


def weigh_by(spreads, share):
    """Probability of being as marked of each part, from its own readings, by the spreads held at the time."""
    within, between = spreads.spread("within"), spreads.spread("between")
    small = 0.35**2 * np.outer(AREA_DIRECTION, AREA_DIRECTION)
    middle = np.log(0.6) * AREA_DIRECTION

    def weights(y, jacobian, bad):
        jac = jacobian[0][:, :N_PARAMETERS]
        shared = jacobian[0][:, N_PARAMETERS:] @ np.diag([0.25, 9e-6, 0.0]) @ jacobian[0][:, N_PARAMETERS:].T
        sound = jac @ (within + between) @ jac.T + shared + 0.35**2 * np.eye(jac.shape[0])
        off = sound + jac @ small @ jac.T
        ln = [_ln_normal(y, c, m) for c, m in ((sound, np.zeros(jac.shape[0])), (off, jac @ middle))]
        odds = share / (1.0 - share) * np.exp(np.clip(ln[1] - ln[0], -500, 500))
        return 1.0 / (1.0 + odds)

    return weights


def _ln_normal(y, covariance, mean):
    away = y - mean
    solved = np.linalg.solve(covariance, away.T).T
    return -0.5 * np.sum(away * solved, axis=1) - 0.5 * np.linalg.slogdet(covariance)[1]


def test_parts_of_judged_lots_fed_back_by_their_probability_do_not_drift():
    """Eight rounds: judge lots with a tenth of small dies by what was learned, learn from them, judge by that."""
    rng, now, path = np.random.default_rng(12), DEFAULT, []
    for _ in range(8):
        lots = draw_lots(rng, DEFAULT, 6, 4, 15, small=0.1, weights=weigh_by(now, 0.1))
        learned = learn_spreads(lots, DEFAULT)
        table = {
            n: now.spreads[n].model_copy(
                update={"within": learned.within[n].value, "between": learned.between[n].value}
            )
            for n in NAMES
        }
        now = now.model_copy(update={"spreads": table, "area_within": learned.within[AREA].value})
        path.append(np.mean([np.log(now.spreads[n].within / DEFAULT.spreads[n].within) for n in NAMES]))
    assert abs(np.mean(path[-3:])) <= 0.08
    assert abs(np.mean(path[-3:]) - np.mean(path[:3])) <= 0.05


def test_a_tenth_of_small_dies_among_parts_taken_for_sound_does_not_widen_the_spreads():
    clean, dirty = (
        learn_spreads(draw_lots(np.random.default_rng(13), DEFAULT, 8, 5, 20, small=share), DEFAULT)
        for share in (0.0, 0.1)
    )
    ratio = [dirty.within[n].value / clean.within[n].value for n in FIGURES]
    assert max(ratio) <= 1.12
    assert np.exp(np.mean(np.log(ratio))) <= 1.03


def test_few_lots_never_narrow_a_spread_below_eight_tenths_of_the_default():
    tight = spreads_with(0.3, 0.3)
    few = learn_spreads(draw_lots(np.random.default_rng(14), tight, 1, FEW_LOTS - 1, 20), DEFAULT)
    for kind in ("within", "between"):
        for figure in getattr(few, kind).values():
            assert figure.value >= LEAST_SHARE * figure.default * (1 - 1e-12)
    assert any(f.held for f in few.within.values())
    many = learn_spreads(draw_lots(np.random.default_rng(14), tight, 2, FEW_LOTS, 20), DEFAULT)
    assert many.within["bf"].value < 0.5 * many.within["bf"].default


def test_a_handful_of_parts_hardly_moves_the_default():
    wide = spreads_with(3.0, 3.0)
    learned = learn_spreads(draw_lots(np.random.default_rng(15), wide, 1, 1, 4), DEFAULT)
    assert all(f.value < 1.6 * f.default for f in learned.within.values() if f.default)
    assert all(f.value == f.default and f.lots == 0 for f in learned.between.values())


def test_what_no_reading_sees_keeps_the_default_and_says_so():
    learned = learn_spreads(draw_lots(np.random.default_rng(16), DEFAULT, 3, 4, 10), DEFAULT)
    assert (learned.within["irb"].lots, learned.within["irb"].parts) == (0, 0)
    assert learned.within["irb"].value == DEFAULT.spreads["irb"].within
    assert learned.within["bf"].lots <= 12
    assert 0 < learned.within["bf"].parts <= 120
    assert (learned.lots, learned.parts, len(learned.types)) == (12, 120, 3)


def test_fits_with_their_prior_taken_out_teach_the_same_as_the_readings_themselves():
    rng = np.random.default_rng(17)
    lots = draw_lots(rng, DEFAULT, 4, 4, 12)
    p = N_PARAMETERS
    prior = DEFAULT.spread("within") * 5.0
    fitted = []
    for r in lots:
        own = r.precision[:, :p, :p]
        covariance = np.linalg.inv(own + np.linalg.inv(prior))
        theta = r.origin + np.einsum("npq,nq->np", covariance, r.score[:, :p])
        fitted.append(
            LotRecord.from_fits(r.type, r.lot, theta, covariance, prior_mean=r.origin, prior_covariance=prior)
        )
    alone = [LotRecord(r.type, r.lot, r.origin, _device(r.precision), _device(r.score), r.weight) for r in lots]
    a, b = (learn_spreads(records, DEFAULT) for records in (alone, fitted))
    for name in NAMES:
        assert b.within[name].value == pytest.approx(a.within[name].value, rel=1e-3)


def _device(values):
    out = values.copy()
    out[:, N_PARAMETERS:] = 0.0
    if out.ndim == 3:
        out[:, :, N_PARAMETERS:] = 0.0
    return out


def test_known_good_lots_teach_where_the_centre_lies_within_its_uncertainty():
    rng, misses = np.random.default_rng(18), []
    prior = np.diag([(3.0 * DEFAULT.spreads[n].between + 0.3) ** 2 for n in NAMES])
    for _ in range(10):
        records = draw_lots(rng, DEFAULT, 1, 4, 10)
        true = records[0].origin  # the type's own centre, in this world
        start = true + rng.multivariate_normal(np.zeros(N_PARAMETERS), prior)
        found = learned_centres(records, DEFAULT, {"T0": (start, prior)})["T0"]
        away = found.centre - true
        misses.append(away @ np.linalg.solve(found.covariance, away))
        assert np.trace(found.covariance) < np.trace(prior)
        assert (found.lots, found.parts) == (4, 40)
    assert 11.0 <= np.mean(misses) <= 24.0  # chi-square with 17 degrees of freedom, mean of ten: 17 +/- 1.8


def test_nothing_to_learn_from_is_said():
    with pytest.raises(ValueError, match="no lot to learn from"):
        learn_spreads([], DEFAULT)
