"""Likelihoods of a part's readings under every hypothesis, the lot's centre being where each mode puts it.

What does not hang on the mode (a family's spread and shifts as the readings see them, the types' terms) is made once.
Modes that know the lot's centre alike well, as far as the readings can tell, share the factors of their covariances:
the readings of a lot say where its centre lies, whatever its main population may be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.hypotheses import Family
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import ORDER, Linearised
from partscreen.screening.evidence.lot import Fitted, back
from partscreen.screening.evidence.quadratic import inverse
from partscreen.screening.evidence.spreads import main_spreads
from partscreen.screening.evidence.weigh import (
    add_noise,
    by_kind,
    gaps,
    likelihood_by_kind,
    root_of,
    spread_of,
    squares_by_kind,
    whiten,
)

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

ALIKE_WELL = 0.005
"""Modes share factors where their covariances of the readings differ by less than this part (largest, over all
combinations of readings). Log likelihoods then differ by less than a four-hundredth of the squared distance, in modes
that are less likely than the one whose factors they take (assumption; the change of evidence is tested)."""

SOME = 16  # parts of a large lot, evenly taken, that show how alike modes are (assumption)


@dataclass(frozen=True, slots=True)
class Prepared:
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


@dataclass(frozen=True, slots=True)
class UnderMode:
    """ln p of the readings up to each kind, one mode. belongs: as one of the main population, (n, len(ORDER));
    families: under every hypothesis of the families, (n, h, len(ORDER)); own: as a sound part of the lot's own process
    where the main population is a die of another area, (n, len(ORDER))."""

    belongs: Floats
    families: Floats
    own: Floats


def prepare(readings: Linearised, known: Knowledge, groups: tuple[Family, ...]) -> Prepared:
    """Everything that the modes have in common, for some parts."""
    jac = readings.jacobian
    types = np.zeros((jac.shape[0], len(known.others), len(ORDER)))
    for t, other in enumerate(known.others):
        types[:, t] = alone(readings, other.mean, other.covariance + known.session)
    return Prepared(
        readings,
        groups,
        [add_noise(readings, spread_of(readings, spread)) for spread in main_spreads(known)],
        [add_noise(readings, spread_of(readings, group.spread)) for group in groups],
        [jac @ group.shifts.T for group in groups],
        types,
        alone(readings, known.centre, known.lot_covariance + known.within),
    )


def alone(readings: Linearised, mean: Floats, covariance: Floats) -> Floats:
    """ln p of readings up to each kind, of parts spread by `covariance` (q, q) about `mean` (q,); (n, len(ORDER))."""
    lower = root_of(add_noise(readings, spread_of(readings, covariance)))
    return by_kind(readings, lower, gaps(readings, mean)[:, :, None])[:, 0]


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


def modes_alike(readings: Linearised, known: Knowledge, fitted: Sequence[Fitted], *, every: bool) -> list[list[int]]:
    """Numbers of the modes that share factors, the likeliest of each group first.

    Parameters
    ----------
    readings : of all parts of the lot
    every : whether each part is left out of the centre in turn
    """
    n = readings.point.shape[0]
    rows = np.arange(n) if every else np.unique(np.linspace(0, n - 1, min(n, SOME)).astype(np.int64))
    some = readings.pick(rows)
    base = add_noise(some, spread_of(some, main_spreads(known)[0]))
    spreads = [spread_of(some, _some_rows(without_each(one, n, every=every)[1], rows, every=every)) for one in fitted]
    out: list[tuple[Floats, Floats, list[int]]] = []
    for number in sorted(range(len(fitted)), key=lambda i: -fitted[i].ln_likelihood):
        for first, unit, members in out:
            away = unit @ (spreads[number] - first) @ unit.transpose(0, 2, 1)
            if float(np.sqrt((away**2).sum(axis=(1, 2))).max(initial=0.0)) < ALIKE_WELL:
                members.append(number)
                break
        else:
            unit = np.asarray(np.linalg.inv(root_of(base + spreads[number])), dtype=np.float64)
            out.append((spreads[number], unit, [number]))
    return [members for _, _, members in out]


def _some_rows(covariance: Floats, rows: Ints, *, every: bool) -> Floats:
    return covariance[rows] if every else covariance[0]


def under_alike(
    ready: Prepared, modes: Sequence[Fitted], centres: Sequence[Floats], covariance: Floats
) -> list[UnderMode]:
    """All hypotheses under modes that share factors.

    Parameters
    ----------
    centres : (n, q) each, of the modes
    covariance : (q, q) or (n, q, q), of the centre
    """
    readings = ready.readings
    of_centre = spread_of(readings, covariance)
    gap = np.stack([gaps(readings, centre) for centre in centres], axis=2)
    belongs: list[Floats] = [gap[:, 0, :0]] * len(modes)
    for spread in {one.mode.spread for one in modes}:
        mine = [i for i, one in enumerate(modes) if one.mode.spread == spread]
        found = by_kind(readings, root_of(ready.within[spread] + of_centre), gap[:, :, mine])
        for place, number in enumerate(mine):
            belongs[number] = found[:, place]
    smaller = [i for i, one in enumerate(modes) if one.mode.kind != "marked" and one.mode.ln_area < 0.0]
    own: list[Floats] = [gap[:, 0, :0]] * len(modes)
    parts: list[Floats] = []
    for number, (of_family, shifts) in enumerate(zip(ready.spreads, ready.shifts, strict=True)):
        lower = root_of(of_family + of_centre)
        parts.append(_of_family(readings, lower, gap, shifts))
        if number == 0 and smaller:
            away = np.stack([gaps(readings, centres[i] + back(modes[i].mode)) for i in smaller], axis=2)
            found = by_kind(readings, lower, away)
            for place, i in enumerate(smaller):
                own[i] = found[:, place]
    families = np.concatenate(parts, axis=2)
    return [UnderMode(belongs[i], families[:, i], own[i]) for i in range(len(modes))]


def _of_family(readings: Linearised, lower: Floats, gap: Floats, shifts: Floats) -> Floats:
    """ln p up to each kind at every mode's gap (n, k, m) less every shift (n, k, h); (n, m, h, len(ORDER))."""
    at = whiten(lower, np.concatenate((gap, shifts), axis=2))
    return likelihood_by_kind(
        readings, lower, squares_by_kind(readings, at[:, :, : gap.shape[2]], at[:, :, gap.shape[2] :])
    )
