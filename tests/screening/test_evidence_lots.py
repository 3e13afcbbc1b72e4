"""A lot weighed: every part against the rest of its lot, by hand with scipy; modes, shares and starts by their sums."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import beta, multivariate_normal

from partscreen.screening.evidence.combine import _share, combine
from partscreen.screening.evidence.engine import ENOUGH, _distinct, _modes, even, expected, weigh_lot
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge, TypeCentre, session_variance
from partscreen.screening.evidence.linear import AREA, N_COORDINATES, ORDER, Linearised
from partscreen.screening.evidence.lot import (
    MARKED_SHARE,
    Mode,
    Share,
    _searched,
    alternatives_of,
    back,
    fit_mode,
    posterior,
    prior_weights,
    rest_log_densities,
    share_priors,
    themes,
)
from partscreen.screening.evidence.quadratic import information, integrate, inverse
from partscreen.screening.evidence.spreads import main_spreads

Q = N_COORDINATES
NOT_SESSION = np.arange(Q) < Q - 3


def diagonal(value):
    return value * np.diag(NOT_SESSION.astype(float))


KNOWN = Knowledge(
    np.linspace(-0.3, 0.3, Q) * NOT_SESSION,
    diagonal(0.02),
    diagonal(0.05) + session_variance(0.4, 0.02, 0.01),
    diagonal(0.01),
    (
        TypeCentre("A", np.full(Q, 0.7) * NOT_SESSION, diagonal(0.3)),
        TypeCentre("B", np.full(Q, -0.5) * NOT_SESSION, diagonal(0.4)),
    ),
)
GROUPS = families(KNOWN.within, KNOWN.device_between)
GOOD, BAD = Share(0.05, 0.95), Share(0.9, 0.1)
MARKED = Mode("as marked", "marked", KNOWN.centre, KNOWN.lot_covariance, log(0.9))
HALF = Mode(
    "die area 0.5 of the type's", "die", KNOWN.centre + log(0.5) * AREA, KNOWN.lot_covariance, log(0.07), log(0.5)
)
LARGE = Mode(
    "die area 1.8 of the type's", "die", KNOWN.centre + log(1.8) * AREA, KNOWN.lot_covariance, log(0.02), 0.588
)
SEVERAL = replace(MARKED, spread=1)


def lot(n, seed, area=None, kinds=(0, 2, 2, 2, 3, 3, 4)):
    """Readings of parts about a centre near the type's; `area`: ln of each die's."""
    rng = np.random.default_rng(seed)
    kind = np.array(kinds)
    shape = (n, kind.size)
    jacobian = rng.normal(0.0, 1.0, (1, kind.size, Q)) + rng.normal(0.0, 0.05, (*shape, Q))
    centre = KNOWN.centre + rng.normal(0.0, 0.2, Q) * NOT_SESSION
    z = centre + rng.normal(0.0, 0.1, (n, Q)) * NOT_SESSION
    z = z if area is None else z + np.asarray(area)[:, None] * AREA
    point = z + rng.normal(0.0, 0.02, (n, Q)) * NOT_SESSION
    std = np.full(shape, 0.1)
    residual = np.einsum("nkq,nq->nk", jacobian, z - point) + 0.1 * rng.normal(size=shape)
    return Linearised(
        point, residual, jacobian, std, np.ones(shape, dtype=bool), kind, np.zeros(shape), np.zeros(shape, dtype=int)
    )


def fitted_to(readings, *modes):
    info = information(readings, KNOWN.centre)
    mains = [integrate(info, spread) for spread in main_spreads(KNOWN)]
    found = alternatives_of(info, GROUPS)
    types = logsumexp(
        [integrate(info, o.covariance + KNOWN.session).at(o.mean[None])[:, 0] for o in KNOWN.others], axis=0
    ) - log(2)
    alone = integrate(info, KNOWN.lot_covariance + KNOWN.within).at(KNOWN.centre[None])[:, 0]
    return [
        fit_mode(m, mains[m.spread], found, types, *((None, GOOD) if m.kind == "marked" else (alone, BAD)))[0]
        for m in modes
    ]


def ln_p(readings, part, mean, covariance, up_to):
    rows = readings.kind < up_to
    if not rows.any():
        return 0.0
    jac = readings.jacobian[part][rows]
    total = jac @ covariance @ jac.T + np.diag(readings.std[part][rows] ** 2)
    return multivariate_normal(jac @ (mean - readings.point[part]), total).logpdf(readings.residual[part][rows])


def by_hand(readings, part, one, share, up_to):
    """Log terms of one part in one mode: as marked, and everything else by name, prior weights in them."""
    n = readings.point.shape[0]
    others = np.arange(n) != part
    centre, precision = posterior(one.mode, inverse(one.mode.covariance), one.main, one.weight * others)
    covariance = inverse(precision)
    rest = (share.a + (1.0 - one.weight[others]).sum()) / (share.a + share.b + n - 1)
    weights = iter(one.ln_others[part] + log(rest))
    out = {}
    for group in GROUPS:
        for name, shift in zip(group.names, group.shifts, strict=True):
            out[name] = next(weights) + ln_p(readings, part, centre + shift, covariance + group.spread, up_to)
    type_weight = next(weights) - log(len(KNOWN.others))
    for other in KNOWN.others:
        mine = ln_p(readings, part, other.mean, other.covariance + KNOWN.session, up_to)
        out[f"die of {other.name}"] = type_weight + mine
    within = main_spreads(KNOWN)[one.mode.spread]
    belongs = log(1.0 - rest) + ln_p(readings, part, centre, covariance + within, up_to)
    if one.mode.kind == "marked":
        return belongs, out
    out["main"] = belongs
    marked = next(weights) + ln_p(readings, part, KNOWN.centre, KNOWN.lot_covariance + KNOWN.within, up_to)
    if one.mode.ln_area < 0.0:
        own = covariance + GROUPS[0].spread
        marked = np.logaddexp(marked, next(weights) + ln_p(readings, part, centre + back(one.mode), own, up_to))
    return marked, out


@pytest.mark.parametrize(
    ("n", "modes", "area", "within"),
    [
        (1, (MARKED,), None, 1e-6),
        (3, (MARKED,), [0.0, 0.0, log(0.5)], 1e-6),
        (1, (MARKED, HALF), [log(0.6)], 1e-6),
        # Modes that know the centre nearly alike well share factors: evidence may move by a hundredth.
        (4, (MARKED, HALF, SEVERAL, LARGE), [log(0.55)] * 3 + [0.0], 0.01),
    ],
)
def test_each_part_is_weighed_as_scipy_weighs_it_against_the_rest_of_its_lot(n, modes, area, within):
    readings = lot(n, 20 + n, area)
    fitted = fitted_to(readings, *modes)
    got = combine(readings, KNOWN, fitted, GOOD, BAD, every=True)
    for part in range(n):
        # Of each mode, and up to each kind: as marked, and everything else.
        told = []
        for one in fitted:
            share = GOOD if one.mode.kind == "marked" else BAD
            told.append([by_hand(readings, part, one, share, up_to) for up_to in range(len(ORDER) + 1)])
        # The mode as the other parts leave it; chances of the readings given the state, not joint with it.
        left = [
            one.ln_likelihood - logsumexp([t[-1][0], *t[-1][1].values()]) for one, t in zip(fitted, told, strict=True)
        ]
        ln_marked = [[w + marked - t[0][0] for marked, _ in t] for w, t in zip(left, told, strict=True)]
        ln_rest = [
            [w + logsumexp([*rest.values()]) - logsumexp([*t[0][1].values()]) for _, rest in t]
            for w, t in zip(left, told, strict=True)
        ]
        against = logsumexp(ln_rest, axis=0) - logsumexp(ln_marked, axis=0)
        posterior_: dict[str, float] = {}
        for one, w, t in zip(fitted, left, told, strict=True):
            for name, value in {"as marked": t[-1][0], **t[-1][1]}.items():
                key = one.mode.name if name == "main" else name
                posterior_[key] = np.logaddexp(posterior_.get(key, -np.inf), w + value)
        assert got.evidence[part] == pytest.approx(against[-1] - against[0], abs=within)
        assert got.by_reading[part] == pytest.approx(np.diff(against), abs=within)
        total = logsumexp([*posterior_.values()])
        wanted = [np.exp(posterior_[name] - total) for name in got.names]
        assert got.probability[part] == pytest.approx(wanted, abs=within)
    assert got.by_reading[:, ORDER.index("C_BE")].tolist() == [0.0] * n  # not read
    assert len(got.names) == len(set(got.names)) == len(got.kinds)
    likely = np.array([one.ln_likelihood for one in fitted])
    chance = np.exp(likely - logsumexp(likely))
    assert [p for *_, p in got.modes] == pytest.approx(chance.tolist())
    assert got.main_unfit == pytest.approx(sum(c for c, m in zip(chance, modes, strict=True) if m.kind != "marked"))


def test_centre_of_a_lot_is_told_from_the_other_parts_and_of_a_lot_of_another_kind_from_the_reference():
    readings = lot(3, 31)
    one = fitted_to(readings, MARKED)[0]
    got = combine(readings, KNOWN, [one], GOOD, BAD, every=True)
    for part in range(3):
        rest = one.weight * (np.arange(3) != part)
        centre, precision = posterior(MARKED, inverse(MARKED.covariance), one.main, rest)
        assert got.centre[part] == pytest.approx(centre)
        assert got.centre_covariance[part] == pytest.approx(inverse(precision))
    whole = combine(readings, KNOWN, [one], GOOD, BAD, every=False)
    assert whole.centre.tolist() == [one.centre.tolist()] * 3
    assert whole.centre_covariance[2] == pytest.approx(inverse(one.precision))
    unfit = replace(one, mode=HALF, ln_likelihood=one.ln_likelihood + 1.0)
    ours = fitted_to(readings, HALF)[0]
    other = combine(readings, KNOWN, [one, replace(ours, ln_likelihood=unfit.ln_likelihood)], GOOD, BAD, every=True)
    assert other.centre.tolist() == [KNOWN.centre.tolist()] * 3
    assert other.centre_covariance[0] == pytest.approx(KNOWN.lot_covariance)


def test_probabilities_of_parts_are_sums_over_hypotheses_and_parts_can_be_picked():
    readings = lot(4, 33, [0.0, 0.0, log(0.4), 0.0])
    got = combine(readings, KNOWN, fitted_to(readings, MARKED, HALF), GOOD, BAD, every=True)
    assert got.names[0] == "as marked"
    assert got.probability.sum(axis=1) == pytest.approx(1.0)
    assert got.probability_unfit == pytest.approx(got.probability[:, 1:].sum(axis=1))
    dies = [i for i, name in enumerate(got.names) if name.startswith(("die ", "lower voltage grade"))]
    assert got.probability_of_substitution == pytest.approx(got.probability[:, dies].sum(axis=1))
    assert got.probability_of_substitution[2] > 0.9 > got.probability_of_substitution[0]
    some = got.pick(np.array([2, 0]))
    for name in ("evidence", "by_reading", "probability", "centre", "centre_covariance", "probability_unfit"):
        assert getattr(some, name).tolist() == getattr(got, name)[[2, 0]].tolist()
    assert (some.names, some.modes, some.share) == (got.names, got.modes, got.share)


def test_share_of_unfit_parts_is_the_beta_of_those_that_do_not_belong():
    readings = lot(5, 34)
    weight = np.array([1.0, 1.0, 1.0, 0.25, 0.0])
    marked, half = (replace(one, weight=weight) for one in fitted_to(readings, MARKED, HALF))

    def share(*fitted):
        return _share(list(fitted), np.full(len(fitted), 1.0 / len(fitted)), GOOD, BAD)

    def of(a, b):
        return a / (a + b), beta.ppf(0.025, a, b), beta.ppf(0.975, a, b)

    assert share(marked) == pytest.approx(of(GOOD.a + 1.75, GOOD.b + 3.25))
    # Of a lot that is none of the type, half of what does not belong is as marked.
    assert MARKED_SHARE == 0.5
    assert share(half) == pytest.approx(of(BAD.b + 3.25 + 0.875, BAD.a + 0.875))
    mean, low, high = share(marked, half)
    both = (GOOD.a + 1.75, GOOD.b + 3.25), (BAD.b + 3.25 + 0.875, BAD.a + 0.875)
    assert mean == pytest.approx(np.mean([of(*one)[0] for one in both]))
    for level, point in ((0.025, low), (0.975, high)):
        assert np.mean([beta.cdf(point, *one) for one in both]) == pytest.approx(level)


def test_what_a_whole_lot_may_be_has_the_prior_of_a_good_and_of_a_bad_lot():
    bad_lot = share_priors(0.1)[0]
    modes = _modes(KNOWN, 0.1, [1])
    marked = [m for m in modes if m.kind == "marked"]
    assert sum(np.exp(m.ln_prior) for m in marked) == pytest.approx(1.0 - bad_lot)
    dies = [m for m in modes if m.kind == "die"]
    smaller = {float(np.exp(m.ln_prior)) for m in dies if m.ln_area < 0}
    larger = {float(np.exp(m.ln_prior)) for m in dies if m.ln_area > 0}
    assert len(dies) == len(smaller) + len(larger) + len(dies) - 2  # one figure on either side
    assert smaller.pop() == pytest.approx(3.0 * larger.pop())  # three times as often
    assert sum(np.exp(m.ln_prior) for m in dies) == pytest.approx(0.75 * bad_lot)
    for mode in dies:
        assert mode.mean - KNOWN.centre == pytest.approx(mode.ln_area * AREA)
        assert float(mode.name.split()[2]) == pytest.approx(np.exp(mode.ln_area))
    (kind,) = (m for m in modes if m.kind == "type")
    assert kind.name == "die of B"
    assert kind.mean is KNOWN.others[1].mean
    assert kind.covariance == pytest.approx(KNOWN.others[1].covariance + KNOWN.session)
    # Each of two types alike; together a quarter of bad lots.
    assert 2.0 * np.exp(kind.ln_prior) == pytest.approx(0.25 * bad_lot)
    unusual = next(m for m in marked if not np.array_equal(m.covariance, KNOWN.lot_covariance))
    assert unusual.covariance == pytest.approx(KNOWN.lot_covariance + 3.0 * KNOWN.device_between)  # twice as far apart
    assert np.exp(unusual.ln_prior) == pytest.approx(0.1 * (1.0 - bad_lot))
    (unlike,) = (m for m in modes if m.kind == "unfit")
    assert np.linalg.eigvalsh(unlike.covariance - unusual.covariance).min() >= -1e-12
    assert np.exp(unlike.ln_prior) < 1e-3 * bad_lot
    unknown = _modes(replace(KNOWN, bulk_is_type=True), 0.1, [])
    assert {m.kind for m in unknown} == {"marked"}


def test_everything_a_hypothesis_expects_of_a_part_is_looked_for_when_readings_are_condensed():
    whole = expected(KNOWN)
    assert whole == pytest.approx(whole.T)
    for group in GROUPS:
        for shift in group.shifts:
            mine = KNOWN.lot_covariance + group.spread + np.outer(shift, shift)
            assert np.linalg.eigvalsh(whole - mine).min() > -1e-9, group.theme
    for other in KNOWN.others:
        step = other.mean - KNOWN.centre
        mine = other.covariance + KNOWN.session + np.outer(step, step)
        assert np.linalg.eigvalsh(whole - mine).min() > -1e-9


def test_parts_that_find_the_centre_of_a_large_lot_are_taken_evenly_from_end_to_end():
    assert even(ENOUGH).tolist() == list(range(ENOUGH))
    for n in (ENOUGH + 1, 100, 1000):
        chosen = even(n)
        assert (chosen[0], chosen[-1], chosen.size) == (0, n - 1, ENOUGH)
        assert np.diff(chosen).max() - np.diff(chosen).min() <= 1
    assert even(3).tolist() == [0, 1, 2]


def test_a_lot_larger_than_enough_is_weighed_as_its_evenly_taken_parts_find_it():
    n = ENOUGH + 20
    readings = lot(n, 35, np.where(np.arange(n) % 10 == 3, log(0.4), 0.0))
    got = weigh_lot(readings, KNOWN)
    assert got.evidence.shape == (n,)
    assert (np.argsort(-got.evidence)[:10] % 10 == 3).all()
    some = weigh_lot(readings.pick(even(n)), KNOWN)
    assert got.evidence[even(n)] == pytest.approx(some.evidence, abs=0.5)


def test_starts_of_a_search_do_not_hang_on_the_order_of_parts():
    readings = lot(9, 36, [0.0] * 6 + [log(0.4)] * 3)
    types = np.full(9, -40.0)
    inverse_ = inverse(MARKED.covariance)

    def starts(order):
        main = integrate(information(readings.pick(order), KNOWN.centre), KNOWN.within)
        return _searched(MARKED, inverse_, main, types[order])

    first, *centres = starts(np.arange(9))
    assert first is MARKED.mean
    assert len(centres) == 2
    for turn in range(1, 9):
        turned = starts(np.roll(np.arange(9), turn))
        assert [c.tolist() for c in turned[1:]] == [pytest.approx(c.tolist()) for c in centres]
    pair = integrate(information(readings.pick(np.arange(2)), KNOWN.centre), KNOWN.within)
    assert _searched(MARKED, inverse_, pair, types[:2]) == []


def test_a_search_starts_where_most_of_the_lot_is_explained():
    # Six parts of one kind and three of another: both starts from parts lie among the six.
    readings = lot(9, 37, [log(0.3)] * 3 + [0.0] * 6)
    main = integrate(information(readings, KNOWN.centre), KNOWN.within)
    starts = _searched(MARKED, inverse(MARKED.covariance), main, np.full(9, -60.0))[1:]
    majority = posterior(MARKED, inverse(MARKED.covariance), main, (np.arange(9) >= 3).astype(float))[0]
    minority = posterior(MARKED, inverse(MARKED.covariance), main, (np.arange(9) < 3).astype(float))[0]
    for start in starts:
        assert np.linalg.norm((start - majority) @ AREA) < np.linalg.norm((start - minority) @ AREA)


def test_a_lot_is_fitted_from_every_start_and_the_likeliest_end_stands_first():
    readings = lot(6, 38, [0.0] * 4 + [log(0.4)] * 2)
    info = information(readings, KNOWN.centre)
    main, found = integrate(info, KNOWN.within), alternatives_of(info, GROUPS)
    far = KNOWN.centre + log(0.4) * AREA
    ends = fit_mode(MARKED, main, found, np.full(6, -np.inf), None, GOOD, [far, KNOWN.centre])
    assert len(ends) == 3
    assert [e.ln_likelihood for e in ends] == sorted((e.ln_likelihood for e in ends), reverse=True)
    best = ends[0]
    assert (best.weight > 0.9).tolist() == [True] * 4 + [False] * 2
    assert best.weight[4:].max() < 0.01
    assert best.share == pytest.approx((GOOD.a + (1 - best.weight).sum()) / (GOOD.a + GOOD.b + 6), abs=1e-3)
    # A centre found is a fixed point: the Gaussian posterior at the weights that it gives.
    centre, precision = posterior(MARKED, inverse(MARKED.covariance), main, best.weight)
    step = centre - best.centre
    assert step @ precision @ step < 1e-3
    assert best.precision == pytest.approx(precision, rel=1e-2, abs=1e-2)
    places = _distinct(ends)
    assert 1 <= len(places) <= 3
    assert places[0] is best.centre
    assert len(_distinct([best, best, replace(best, centre=best.centre + 3.0)])) == 2


def test_explanations_of_the_rest_stand_in_the_order_of_their_weights():
    readings = lot(2, 39)
    info = information(readings, KNOWN.centre)
    found = alternatives_of(info, GROUPS)
    types, alone = np.array([-1.0, -2.0]), np.array([-3.0, -4.0])
    names = [name for group in GROUPS for name in group.names]
    centre = HALF.mean + 0.05
    marked = rest_log_densities(MARKED, centre, found, types, None)
    assert marked[:, -1].tolist() == types.tolist()
    assert marked.shape[1] == prior_weights(GROUPS, MARKED).size == themes(GROUPS, MARKED).size == len(names) + 1
    half = rest_log_densities(HALF, centre, found, types, alone)
    assert half[:, -3:-1].T.tolist() == [types.tolist(), alone.tolist()]
    # Sound parts of the same process lie where twice the die would be.
    sound = integrate(info, GROUPS[0].spread).at((centre + log(2.0) * AREA)[None])[:, 0]
    assert half[:, -1] == pytest.approx(sound)
    assert half.shape[1] == prior_weights(GROUPS, HALF).size == themes(GROUPS, HALF).size
    # One theme is one cause: both marked columns are, and the two spreads of areas are one.
    of = themes(GROUPS, HALF)
    assert of[-1] == of[-2] != of[-3]
    assert {of[i] for i, name in enumerate(names) if name.startswith("die area")} == {of[0]}
    assert len(set(of.tolist())) == len({g.theme for g in GROUPS}) + 2


def test_in_a_lot_of_small_dies_those_of_the_types_area_are_the_marked_ones():
    names = [name for group in GROUPS for name in group.names]
    weights = dict(zip(names, prior_weights(GROUPS, HALF).tolist(), strict=False))
    plain = dict(zip(names, prior_weights(GROUPS, MARKED).tolist(), strict=False))
    gone = {name for name, w in weights.items() if w == 0.0}
    # Twice the die of a half is the type's again: 1.8 is nearest to it, and 1.5 and 2.5 are not it.
    assert gone == {name for name in names if name.startswith("die area 1.8 ")}
    ratio = {round(weights[name] / plain[name], 9) for name in names if name not in gone}
    assert len(ratio) == 1
