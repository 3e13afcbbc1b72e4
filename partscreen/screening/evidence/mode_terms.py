"""Terms of every hypothesis for some parts of a lot, mode by mode, added up.

What does not depend on the mode (a family's spread and shifts as the readings see them, the types' terms) is made once
for all modes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.hypotheses import Family
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import ORDER, Linearised
from partscreen.screening.evidence.lot import Fitted, Share, back
from partscreen.screening.evidence.quadratic import inverse, ln_sum
from partscreen.screening.evidence.spreads import main_spreads
from partscreen.screening.evidence.weigh import add_noise, by_kind, gaps, root_of, spread_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
MARKED = "as marked"


def labels(groups: tuple[Family, ...], known: Knowledge) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names and kinds of all hypotheses: as marked, the families', the types'."""
    names, kinds = [MARKED], ["marked"]
    for group in groups:
        names += group.names
        kinds += [group.kind] * len(group.names)
    names += [f"die of {o.name}" for o in known.others]
    kinds += ["type"] * len(known.others)
    return tuple(names), tuple(kinds)


@dataclass(frozen=True, slots=True)
class Terms:
    """Natural logs, modes added up by what the rest of the lot makes of them.

    marked, bad : (n, 1 + len(ORDER)), likelihood of the readings up to each kind if the part is as marked, and if it is
    not. final : (n, h), joint with the prior of each hypothesis, all readings.
    """

    marked: Floats
    bad: Floats
    final: Floats


@dataclass(frozen=True, slots=True)
class _Prepared:
    """What the modes share. within, spreads: covariance of the readings, noise in it, of the main population (by
    spread) and of each family about their centre; shifts: what each family's shifts change in the readings, (n, k, h);
    types: (n, n_types, len(ORDER)), marked: (n, len(ORDER)): ln p under the other types and by the reference alone.
    """

    readings: Linearised
    groups: tuple[Family, ...]
    within: list[Floats]
    spreads: list[Floats]
    shifts: list[Floats]
    types: Floats
    marked: Floats


def _prepare(readings: Linearised, known: Knowledge, groups: tuple[Family, ...]) -> _Prepared:
    jac = readings.jacobian
    types = np.zeros((jac.shape[0], len(known.others), len(ORDER)))
    for t, other in enumerate(known.others):
        types[:, t] = _alone(readings, other.mean, other.covariance + known.session)
    return _Prepared(
        readings,
        groups,
        [add_noise(readings, spread_of(readings, spread)) for spread in main_spreads(known)],
        [add_noise(readings, spread_of(readings, group.spread)) for group in groups],
        [jac @ group.shifts.T for group in groups],
        types,
        _alone(readings, known.centre, known.lot_covariance + known.within),
    )


def _alone(readings: Linearised, mean: Floats, covariance: Floats) -> Floats:
    lower = root_of(add_noise(readings, spread_of(readings, covariance)))
    return by_kind(readings, lower, gaps(readings, mean)[:, :, None])[:, 0]


def weigh_rows(
    readings: Linearised,
    rows: Ints,
    known: Knowledge,
    groups: tuple[Family, ...],
    fitted: list[Fitted],
    good: Share,
    bad: Share,
    *,
    every: bool,
) -> Terms:
    """Some parts of the lot under all hypotheses and modes."""
    ready = _prepare(readings.pick(rows), known, groups)
    n = rows.size
    names = labels(groups, known)[0]
    place = {name: i for i, name in enumerate(names)}
    first_type = len(names) - len(known.others)
    n_families = first_type - 1
    all_types = None
    if known.others:
        all_types = _from_prior(ln_sum(ready.types) - np.log(len(known.others)))
    marked, ln_bad = (np.full((n, len(ORDER) + 1), -np.inf) for _ in range(2))
    final, of_types = np.full((n, len(names)), -np.inf), np.full(n, -np.inf)
    for one in fitted:
        is_marked = one.mode.kind == "marked"
        rest = _rest_share(one, rows, readings.point.shape[0], good if is_marked else bad)
        ln_rest = np.log(rest)[:, None] + _ln_weights(one, rows, readings.point.shape[0])
        ln_type = ln_rest[:, n_families]
        centre, covariance = (a[rows] for a in without_each(one, readings.point.shape[0], every=every))
        covariance = covariance if every else covariance[0]
        belongs, families = _under(ready, one, centre, covariance)
        belongs = belongs + np.log1p(-rest)[:, None]
        families += ln_rest[:, :n_families, None]
        parts = [ln_sum(families)]
        if all_types is not None:
            parts.append(all_types + ln_type[:, None])
        as_marked = belongs
        if not is_marked:
            parts.append(belongs)
            as_marked = _as_marked(ready, one, centre, covariance, ln_rest)
        against = ln_sum(np.stack(parts, axis=1))
        # To the mode's likelihood without this part: off with what it adds itself.
        weight = one.ln_likelihood - np.logaddexp(as_marked[:, -1], against[:, -1])
        # Likelihoods given the state, not joint with it: how many bad parts the lot has is no reading of this part.
        marked = np.logaddexp(marked, as_marked - as_marked[:, :1] + weight[:, None])
        ln_bad = np.logaddexp(ln_bad, against - against[:, :1] + weight[:, None])
        last = np.full((n, first_type), -np.inf)
        last[:, 0] = as_marked[:, -1]
        last[:, 1:] = families[:, :, -1]
        final[:, :first_type] = np.logaddexp(final[:, :first_type], last + weight[:, None])
        if not is_marked:
            at = place[one.mode.name]
            final[:, at] = np.logaddexp(final[:, at], belongs[:, -1] + weight)
        of_types = np.logaddexp(of_types, ln_type + weight)
    if known.others:
        own = ready.types[:, :, -1] + (of_types - np.log(len(known.others)))[:, None]
        final[:, first_type:] = np.logaddexp(final[:, first_type:], own)
    return Terms(marked, ln_bad, final)


def _as_marked(ready: _Prepared, one: Fitted, centre: Floats, covariance: Floats, ln_rest: Floats) -> Floats:
    """ln p of a sound part in a lot whose main population is none, with its weights: by the reference alone, and
    (smaller dies) as a sound part of the lot's own process; (n, 1 + len(ORDER))."""
    alone = _from_prior(ready.marked) + ln_rest[:, -2:-1]
    if one.mode.ln_area >= 0.0:
        return alone
    lower = root_of(ready.spreads[0] + spread_of(ready.readings, covariance))
    own = by_kind(ready.readings, lower, gaps(ready.readings, centre + back(one.mode))[:, :, None])[:, 0]
    return np.logaddexp(alone, _from_prior(own) + ln_rest[:, -1:])


def without_each(one: Fitted, n: int, *, every: bool) -> tuple[Floats, Floats]:
    """The lot's centre and its covariance with each part left out in turn: (n, q), (n, q, q)."""
    main = one.main
    if not every:
        covariance = inverse(one.precision)
        return np.broadcast_to(one.centre, (n, one.centre.size)), np.broadcast_to(covariance, (n, *covariance.shape))
    precision = one.precision - one.weight[:, None, None] * main.m
    pull = one.precision @ (one.centre - main.origin) - one.weight[:, None] * main.u
    covariance = inverse(precision)
    return main.origin + np.einsum("nqr,nr->nq", covariance, pull), covariance


def _rest_share(one: Fitted, rows: Ints, n: int, prior: Share) -> Floats:
    """Expected share of parts outside the main population, as the other parts say; shape (n_rows,)."""
    own = 1.0 - one.weight[rows] if one.weight.size == n else np.zeros(rows.size)
    rest = (prior.a + (1.0 - one.weight).sum() - own) / (prior.a + prior.b + one.weight.size - 1.0)
    return np.asarray(np.clip(rest, 1e-12, 1.0 - 1e-12))


def _ln_weights(one: Fitted, rows: Ints, n: int) -> Floats:
    """ln weights of the explanations of the rest, as the other parts say; (n_rows, f)."""
    if one.weight.size == n:
        return one.ln_others[rows]
    return np.broadcast_to(one.ln_explained, (rows.size, one.ln_explained.size))


def _under(ready: _Prepared, one: Fitted, centre: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """ln p as one of the main population, (n, 1 + len(ORDER)), and under every family's hypotheses, (n, h,
    1 + len(ORDER)), the lot's centre being spread by `covariance`."""
    readings = ready.readings
    of_centre = spread_of(readings, covariance)
    gap = gaps(readings, centre)[:, :, None]
    belongs = by_kind(readings, root_of(ready.within[one.mode.spread] + of_centre), gap)[:, 0]
    sizes = [len(group.names) for group in ready.groups]
    out = np.zeros((gap.shape[0], sum(sizes), len(ORDER) + 1))
    begin = 0
    for spread, shifts, size in zip(ready.spreads, ready.shifts, sizes, strict=True):
        mine = out[:, begin : begin + size]
        mine[:, :, 1:] = by_kind(readings, root_of(spread + of_centre), gap - shifts)
        begin += size
    return _from_prior(belongs), out


def _from_prior(cumulative: Floats) -> Floats:
    """With a first column for no reading at all; (n, len(ORDER)) in."""
    first = np.zeros((*cumulative.shape[:-1], 1))
    return np.concatenate((first, cumulative), axis=-1)
