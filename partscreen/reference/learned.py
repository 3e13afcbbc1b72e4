"""Spreads learned from lots that were measured: how far parts lie from their lot, and lots from their type.

Known-good lots count with weight 1, parts of judged lots with the probability of being as marked. The fits' own
uncertainty is taken out (`learned_effects`), little data is shrunk toward the default, and what few lots say never
narrows a spread below 0.8 of the default.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import N_PARAMETERS, NAMES
from partscreen.reference.learned_effects import (
    N_FIGURES,
    N_SESSION,
    OUTLIERS,
    SIZE,
    Evidence,
    Level,
    centre_of_types,
    expect,
    stray_share,
)
from partscreen.reference.population_spreads import LearnedReading, Spreads

Floats = npt.NDArray[np.float64]

AREA = "area"
FIGURES = (*NAMES, AREA)

LEAST_SHARE, FEW_LOTS = 0.8, 10
"""Below ten lots no figure falls under 0.8 of the default."""

WORTH_PARTS, WORTH_LOTS = 20.0, 4.0
"""As how many fully seen parts, and lots, the default counts (assumption: an opinion a small study outweighs)."""

SEES = 0.1  # share of an effect the readings must show for a part, or a lot, to count as behind a figure
_OPEN_CENTRE = 9.0  # variance of a type's centre where none is given
_ROUNDS, _STEP, _AT_REST = 60, 0.7, 1e-3


@dataclass(frozen=True, slots=True)
class LotRecord:
    """What the readings of one lot's parts say, each part by itself.

    type, lot : names; a lot is named with its supplier. origin : (n_parameters,), coordinates the rest is counted from.
    precision : (n, SIZE, SIZE), score : (n, SIZE), of ln p(readings | z); device parameters, then the errors shared by
    the session. weight : (n,), 1 for known-good parts, else the probability of being as marked. session : variances of
    the shared errors (temperature [K^2], gain, lead [ohm^2]); 0 where they are in the parts' own uncertainty.
    """

    type: str
    lot: str
    origin: Floats
    precision: Floats
    score: Floats
    weight: Floats
    session: Floats = field(default_factory=lambda: np.zeros(N_SESSION))

    @classmethod
    def from_fits(
        cls,
        type: str,
        lot: str,
        theta: npt.ArrayLike,
        covariance: npt.ArrayLike,
        weight: npt.ArrayLike | None = None,
        *,
        prior_mean: Floats | None = None,
        prior_covariance: Floats | None = None,
    ) -> LotRecord:
        """From fitted coordinates (n, n_parameters) and their covariance (n, p, p).

        `prior_mean`, `prior_covariance`: what the fits were drawn to; taken out again, so that a direction only the
        prior knew tells nothing. None: covariances of the readings alone.
        """
        fitted, about = np.asarray(theta, dtype=float), np.asarray(covariance, dtype=float)
        own = np.linalg.inv(about)
        pull = np.einsum("npq,nq->np", own, fitted)
        if prior_covariance is not None:
            held = np.linalg.inv(prior_covariance)
            own = _positive(own - held)
            pull = pull - held @ (fitted.mean(axis=0) if prior_mean is None else prior_mean)
        origin = fitted.mean(axis=0)
        n, p = fitted.shape
        precision, score = np.zeros((n, SIZE, SIZE)), np.zeros((n, SIZE))
        precision[:, :p, :p] = own
        score[:, :p] = pull - own @ origin
        return cls(type, lot, origin, precision, score, np.ones(n) if weight is None else np.asarray(weight, float))


@dataclass(frozen=True, slots=True)
class LearnedFigure:
    """One standard deviation: value with a 95 % interval, the default, and what it rests on.

    lots, parts : that see it at all. held : raised to 0.8 of the default.
    """

    value: float
    low: float
    high: float
    default: float
    lots: int
    parts: int
    held: bool = False


@dataclass(frozen=True, slots=True)
class LearnedCentre:
    """Centre (n_parameters,) of a type with its covariance, and how many known-good lots and parts it rests on."""

    centre: Floats
    covariance: Floats
    lots: int
    parts: int


@dataclass(frozen=True, slots=True)
class LearnedSpreads:
    """Learned standard deviations by coordinate ("area": common die area); 0 lots: not seen, the default stands.

    readings : by type and quantity, how far the device model is off its parts. centres : by type, from known-good lots.
    """

    within: Mapping[str, LearnedFigure]
    between: Mapping[str, LearnedFigure]
    lots: int
    parts: int
    types: tuple[str, ...]
    readings: Mapping[str, Mapping[str, LearnedReading]] = field(default_factory=dict)
    centres: Mapping[str, LearnedCentre] = field(default_factory=dict)


def learn_spreads(
    records: Sequence[LotRecord],
    default: Spreads,
    centres: Mapping[str, tuple[Floats, Floats]] | None = None,
) -> LearnedSpreads:
    """Within-lot and lot-to-lot spreads from lots of one or several types.

    Parameters
    ----------
    records : one a lot
    default : spreads that little data is shrunk toward
    centres : by type, centre (n_parameters,) and its covariance before any lot; without them a type's centre is open

    Raises
    ------
    ValueError
        No lot with a part of positive weight.
    """
    used = [r for r in records if np.any(r.weight > 0.0)]
    if not used:
        raise ValueError("no lot to learn from: at least one with a part that may be as marked is needed")
    types = tuple(sorted({r.type for r in used}))
    evidence = _evidence(used, types, centres or {})
    starts = [_variances(default, kind) for kind in ("within", "between")]
    within, between = (start.copy() for start in starts)
    worth = (WORTH_PARTS, WORTH_LOTS)
    strays = OUTLIERS
    for _ in range(_ROUNDS):
        levels = expect(evidence, within, between, strays)
        strays = stray_share(evidence, levels[0])
        moves = [_step(*args) for args in zip(levels, (within, between), starts, worth, strict=True)]
        within, between = within * np.exp(moves[0]), between * np.exp(moves[1])
        if max(np.abs(m).max() for m in moves) < _AT_REST:
            break
    levels = expect(evidence, within, between, strays)
    lot_of_part = evidence.lot
    parts_seen = _seen(levels[0])
    lots_of_parts = np.array([np.unique(lot_of_part[parts_seen[:, j]]).size for j in range(N_FIGURES)])
    lots_seen = _seen(levels[1]) & (np.bincount(evidence.of_type)[evidence.of_type] > 1)[:, None]
    parts_of_lots = np.array([int(np.isin(lot_of_part, np.flatnonzero(s)).sum()) for s in lots_seen.T])
    return LearnedSpreads(
        _figures(levels[0], within, starts[0], WORTH_PARTS, lots_of_parts, parts_seen.sum(axis=0)),
        _figures(levels[1], between, starts[1], WORTH_LOTS, lots_seen.sum(axis=0), parts_of_lots),
        len(used),
        int(sum((r.weight > 0.5).sum() for r in used)),
        types,
    )


def learned_centres(
    records: Sequence[LotRecord], spreads: Spreads, centres: Mapping[str, tuple[Floats, Floats]]
) -> dict[str, LearnedCentre]:
    """Centre of every type of which known-good lots are given, at spreads learned before.

    Parameters
    ----------
    records : of known-good lots only: a judged lot never moves the centre that later lots are judged by
    centres : by type, as in `learn_spreads`; a type that is missing there is left out
    """
    used = [r for r in records if r.type in centres and np.any(r.weight > 0.0)]
    if not used:
        return {}
    types = tuple(sorted({r.type for r in used}))
    about, covariance = centre_of_types(
        _evidence(used, types, centres), *(_variances(spreads, kind) for kind in ("within", "between"))
    )
    mine = {t: [r for r in used if r.type == t] for t in types}
    return {
        t: LearnedCentre(
            centres[t][0] + about[i], covariance[i], len(mine[t]), sum(int((r.weight > 0.5).sum()) for r in mine[t])
        )
        for i, t in enumerate(types)
    }


def _evidence(
    records: Sequence[LotRecord], types: Sequence[str], centres: Mapping[str, tuple[Floats, Floats]]
) -> Evidence:
    place = {name: i for i, name in enumerate(types)}
    origins = {t: centres[t][0] if t in centres else _mean_origin(records, t) for t in types}
    open_centre = np.eye(N_PARAMETERS) / _OPEN_CENTRE
    scores = []
    for r in records:
        step = np.zeros(SIZE)
        step[:N_PARAMETERS] = r.origin - origins[r.type]
        scores.append(r.score + r.precision @ step)
    return Evidence(
        np.concatenate([r.precision for r in records]),
        np.concatenate(scores),
        np.concatenate([r.weight for r in records]).astype(float),
        np.repeat(np.arange(len(records)), [r.weight.size for r in records]),
        np.array([place[r.type] for r in records]),
        np.stack([r.session for r in records]),
        np.stack([np.linalg.inv(centres[t][1]) if t in centres else open_centre for t in types]),
    )


def _mean_origin(records: Sequence[LotRecord], name: str) -> Floats:
    return np.asarray(np.mean([r.origin for r in records if r.type == name], axis=0))


def _variances(of: Spreads, kind: str) -> Floats:
    area = of.area_within if kind == "within" else of.area_between
    return np.array([*(getattr(of.spreads[name], kind) for name in NAMES), area]) ** 2


def _information(level: Level, worth: float, fixed: npt.NDArray[np.bool_]) -> Floats:
    """Expected information on ln variance, (N_FIGURES, N_FIGURES), the default's worth added."""
    out = 0.5 * np.einsum("n,nij->ij", level.weight, level.seen**2) + 0.5 * worth * np.eye(N_FIGURES)
    out[fixed, :] = out[:, fixed] = 0.0
    out[fixed, fixed] = 1.0
    return np.asarray(out)


def _step(level: Level, now: Floats, start: Floats, worth: float) -> Floats:
    """Scoring step of ln variance; a spread whose default is nothing stays nothing."""
    fixed = start <= 0.0
    ratio = np.where(fixed, 1.0, np.divide(start, now, out=np.ones_like(now), where=now > 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        excess = np.where(fixed, 0.0, level.square / np.where(fixed, 1.0, now) - 1.0)
    gradient = 0.5 * (level.weight @ excess) + 0.5 * worth * (ratio - 1.0)
    gradient[fixed] = 0.0
    return np.clip(np.linalg.solve(_information(level, worth, fixed), gradient), -_STEP, _STEP)


def _seen(level: Level) -> npt.NDArray[np.bool_]:
    """Units (n, N_FIGURES) that show an effect and count for more than half."""
    return np.asarray((np.einsum("nii->ni", level.seen) > SEES) & (level.weight > 0.5)[:, None])


def _figures(
    level: Level, variance: Floats, start: Floats, worth: float, lots: npt.ArrayLike, parts: npt.ArrayLike
) -> dict[str, LearnedFigure]:
    fixed = start <= 0.0
    about = np.sqrt(np.diag(np.linalg.inv(_information(level, worth, fixed))))
    n_lots, n_parts = np.asarray(lots), np.asarray(parts)
    out = {}
    for j, name in enumerate(FIGURES):
        default, value = float(np.sqrt(start[j])), float(np.sqrt(variance[j]))
        count = int(n_lots[j])
        if fixed[j] or count == 0:
            out[name] = LearnedFigure(default, default, default, default, 0, 0)
            continue
        least = LEAST_SHARE * default if count < FEW_LOTS else 0.0
        wide = float(np.exp(1.96 * 0.5 * about[j]))
        out[name] = LearnedFigure(
            max(value, least), value / wide, max(value * wide, least), default, count, int(n_parts[j]), value < least
        )
    return out


def _positive(matrices: Floats) -> Floats:
    """The nearest positive semi-definite matrices: what rounding made of a prior that knew all there is."""
    values, vectors = np.linalg.eigh(0.5 * (matrices + np.swapaxes(matrices, 1, 2)))
    return np.asarray((vectors * np.maximum(values, 0.0)[:, None, :]) @ np.swapaxes(vectors, 1, 2))
