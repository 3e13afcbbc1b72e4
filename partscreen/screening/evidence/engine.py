"""Weigh one lot: evidence, probabilities and reach of every part, jointly with what the lot's main population is."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.combine import Weighed, combine
from partscreen.screening.evidence.condense import condense
from partscreen.screening.evidence.hypotheses import AREAS, area_name, families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import AREA, Linearised
from partscreen.screening.evidence.lot import Fitted, Mode, alternatives_of, fit_mode, share_priors
from partscreen.screening.evidence.mode_likelihoods import alone
from partscreen.screening.evidence.quadratic import information, integrate, ln_sum
from partscreen.screening.evidence.spreads import SHARES, main_spreads

Floats = npt.NDArray[np.float64]

ENOUGH = 80
"""Parts that find the centre of a larger lot, evenly taken; more sharpen it no further than the lot's own spread."""

MOST_TYPES = 4

UNUSUAL_SHARE, UNUSUAL_SPREAD = 0.1, 2.0
"""One sound lot in ten is taken from lots that differ twice as much from each other as assumed (assumption): the spread
between lots is not known well enough for thin tails, and without them honest lots came out unlike any known part."""

OTHER_AREA, OTHER_TYPE, UNLIKE_ALL = 0.75, 0.25, 1e-4
"""Of lots whose bulk is not the marked type: shares that are dies of another area, dies of another library type, and
unlike anything known (assumptions; the last was 0.05 and 0.01 before and took sound lots of unusual processes for
itself)."""

SMALLER_OFTENER = 3.0  # a die of a smaller area than of a larger one (assumption)

MODE_CUT = 12.0
"""Modes less likely than the best by more than this (natural log) are left out of the final weighing."""


def _modes(known: Knowledge, prior_share: float, types: list[int]) -> list[Mode]:
    bad_lot, _, _ = share_priors(prior_share)
    marked_covariance = known.lot_covariance
    device = known.device_between
    unusual = marked_covariance + (UNUSUAL_SPREAD**2 - 1.0) * device
    good_lot = 1.0 - bad_lot
    modes = [
        Mode(
            "as marked",
            "marked",
            known.centre,
            marked_covariance,
            _ln(good_lot * (1.0 - UNUSUAL_SHARE) * share),
            0.0,
            i,
        )
        for i, share in enumerate(SHARES)
    ]
    modes.append(Mode("as marked", "marked", known.centre, unusual, _ln(good_lot * UNUSUAL_SHARE)))
    if known.bulk_is_type:
        return modes
    often = np.where(np.asarray(AREAS) < 1.0, SMALLER_OFTENER, 1.0)
    for area, weight in zip(AREAS, OTHER_AREA * often / often.sum(), strict=True):
        mean = known.centre + np.log(area) * AREA
        modes.append(
            Mode(
                area_name(area),
                "die",
                mean,
                marked_covariance + 0.5 * device,
                _ln(bad_lot * weight),
                float(np.log(area)),
            )
        )
    for other in (known.others[i] for i in types):
        covariance = other.covariance + known.session
        modes.append(
            Mode(f"die of {other.name}", "type", other.mean, covariance, _ln(bad_lot * OTHER_TYPE / len(known.others)))
        )
    modes.append(
        Mode(
            "unlike any known part",
            "unfit",
            known.centre,
            marked_covariance + 8.0 * (device + known.within),
            _ln(bad_lot * UNLIKE_ALL),
        )
    )
    return modes


def _ln(value: float) -> float:
    return float(np.log(max(value, 1e-300)))


def weigh_lot(readings: Linearised, known: Knowledge, *, prior_share: float = 0.1) -> Weighed:
    """Weigh all parts of one lot.

    Parameters
    ----------
    readings : Linearised
        Of the lot's parts about their own fits.
    known : Knowledge
    prior_share : expected share of unfit parts before any reading (assumption 0.1 unless the user says otherwise).
    """
    n = readings.point.shape[0]
    every = n <= ENOUGH
    seen = readings if every else readings.pick(even(n))
    info = information(seen, known.centre)
    mains = [integrate(info, spread) for spread in main_spreads(known)]
    alternatives = alternatives_of(info, families(known.within, known.device_between))
    each = _types(seen, known)
    types = ln_sum(each) - np.log(each.shape[1]) if each.shape[1] else np.full(info.constant.shape, -np.inf)
    marked = integrate(info, known.lot_covariance + known.within).at(known.centre[None])[:, 0]
    _, good, bad = share_priors(prior_share)
    first, *others = _modes(known, prior_share, _likeliest(each))
    ends = fit_mode(first, mains[0], alternatives, types, None, good)
    starts = _distinct(ends)
    fitted = [ends[0]]
    for mode in others:
        same = mode.kind == "marked"
        fitted.append(
            fit_mode(
                mode, mains[mode.spread], alternatives, types, None if same else marked, good if same else bad, starts
            )[0]
        )
    best = max(f.ln_likelihood for f in fitted)
    kept = [f for f in fitted if f.ln_likelihood > best - MODE_CUT or f.mode.kind == "marked"]
    return combine(condense(readings, expected(known)), known, kept, good, bad, every=every)


def expected(known: Knowledge) -> Floats:
    """Second moment of all that any hypothesis expects of a part's coordinates, about the type's centre; (q, q)."""
    out = known.lot_covariance + 10.0 * known.within + 3.0 * known.device_between
    for family in families(known.within, known.device_between):
        out = out + family.spread + family.shifts.T @ family.shifts
    for other in known.others:
        step = other.mean - known.centre
        out = out + other.covariance + np.outer(step, step)
    return np.asarray(out)


def even(n: int) -> npt.NDArray[np.int64]:
    """Numbers of `ENOUGH` of n parts, evenly taken."""
    return np.unique(np.linspace(0, n - 1, ENOUGH).astype(np.int64))


def _likeliest(each: Floats) -> list[int]:
    """The few other types that a middling part of the lot resembles most: the only ones a whole lot could be."""
    if not each.shape[1]:
        return []
    return [int(i) for i in np.argsort(-np.median(each, axis=0))[:MOST_TYPES]]


def _distinct(ends: list[Fitted]) -> list[Floats]:
    """Centres the search ended at, one of each place."""
    out: list[Fitted] = []
    for one in ends:
        gaps = [one.centre - other.centre for other in out]
        if all(gap @ one.precision @ gap > 1.0 for gap in gaps):
            out.append(one)
    return [one.centre for one in out]


def _types(readings: Linearised, known: Knowledge) -> Floats:
    """ln p under each other type, shape (n, n_types)."""
    if not known.others:
        return np.zeros((readings.point.shape[0], 0))
    return np.stack([alone(readings, o.mean, o.covariance + known.session)[:, -1] for o in known.others], axis=1)
