"""Every printed limit against every part of a lot: chance of conforming, decision, and whether a break is firm enough
to reject.

A part is nonconforming only if it breaks a firm limit in every edition that limits the quantity. Firm: reached
directly, printed in a readable copy (basis not memory), without doubt. Everything weaker is told, and holds the part
at most.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.screening.limits.conformance import DEFAULT_RISK, Tolerance, conformance_probability, decide
from partscreen.screening.limits.curve_model import CurveModel
from partscreen.screening.limits.spots import RULES, SpotTable, spot_at_limit
from partscreen.screening.limits.values import (
    CARRIED,
    DIRECT,
    NOT_REACHED,
    LimitValues,
    gain_at_limit,
    nothing_reached,
    saturation_at_limit,
)

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

# Reject at a chance of conforming below this, shared among the rows judged (design section 6).
REJECT_BELOW = 0.001


class LimitLike(Protocol):
    """What is needed of `partscreen.reference.limits.Limit`."""

    @property
    def symbol(self) -> str: ...
    @property
    def side(self) -> Literal["min", "max"]: ...
    @property
    def value(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def conditions(self) -> Mapping[str, float]: ...
    @property
    def temperature(self) -> float: ...
    @property
    def editions(self) -> tuple[str, ...]: ...
    @property
    def basis(self) -> str: ...
    @property
    def doubt(self) -> str: ...
    @property
    def source(self) -> str: ...
    @property
    def quantity(self) -> str | None: ...
    @property
    def is_limit(self) -> bool: ...
    @property
    def conditions_text(self) -> str: ...


@dataclass(frozen=True, slots=True)
class LimitJudgement:
    """Limits (first axis) against parts (second axis).

    value, std [SI], reached, chance (of conforming), decision: shape (n_limits, n_parts); NaN where not reached.
    broken: chance below REJECT_BELOW shared among the rows of the part. firm: shape (n_limits,).
    nonconforming: shape (n_parts,), broken firmly in every edition that speaks of the quantity.
    unconfirmed: (n_limits, n_parts), broken, but by a row or in a way that decides nothing alone.
    some_editions: shape (n_parts,), broken firmly in some editions, while others are met or not reached.
    """

    limits: tuple[LimitLike, ...]
    value: Floats
    std: Floats
    reached: npt.NDArray[np.int8]
    chance: Floats
    decision: npt.NDArray[np.int8]
    broken: Bools
    firm: Bools
    nonconforming: Bools
    unconfirmed: Bools
    some_editions: Bools


@dataclass(frozen=True, slots=True)
class PartReadings:
    """What is read of the parts of a lot, and the model fitted to them."""

    observations: Observations
    spots: Mapping[str, SpotTable]
    model: CurveModel


def _conditions(limit: LimitLike) -> dict[str, float]:
    told = dict(limit.conditions)
    if "IB" not in told and told.get("IC_over_IB") and "IC" in told:
        told["IB"] = told["IC"] / told["IC_over_IB"]
    return told


def value_at_limit(limit: LimitLike, readings: PartReadings) -> LimitValues:
    """Value of every part at the condition of one limit."""
    o, told, quantity = readings.observations, _conditions(limit), limit.quantity
    n = o.n_parts
    if quantity in ("hfe", "vbe") and {"IC", "VCE"} <= told.keys():
        return gain_at_limit(o, readings.model, quantity, told, limit.temperature)
    if quantity == "vce_sat" and {"IC", "IB"} <= told.keys():
        return saturation_at_limit(o, readings.model, told, limit.temperature)
    if quantity in RULES:
        kelvin = float(np.median(o.session_temp_std)) if o.session_temp_std.size else 2.0
        return spot_at_limit(readings.spots, quantity, limit.side, limit.value, told, limit.temperature, n, kelvin)
    return nothing_reached(n)


def judge_limits(
    limits: Sequence[LimitLike],
    readings: PartReadings,
    *,
    risk: float = DEFAULT_RISK,
    editions: Sequence[str] | None = None,
) -> LimitJudgement:
    """Judge every part against every limit.

    Parameters
    ----------
    limits : sequence
        Limits of the type; rows that are no limits are left out here.
    risk : float
        Chance of a wrong decision the user accepts; sets the guard band. [1]
    editions : sequence of str, optional
        Editions the parts may be of (the maker is known); None: any edition.
    """
    wanted = None if editions is None else set(editions)
    kept = tuple(x for x in limits if x.is_limit and (wanted is None or not x.editions or wanted & set(x.editions)))
    n, rows = readings.observations.n_parts, len(kept)
    value, std, chance = (np.full((rows, n), np.nan) for _ in range(3))
    reached = np.zeros((rows, n), dtype=np.int8)
    seen: dict[tuple[object, ...], LimitValues] = {}
    for i, limit in enumerate(kept):
        # Both sides of a row, and the same row in several editions, share the value.
        spot = limit.quantity in RULES
        key = (
            limit.quantity,
            limit.temperature,
            *sorted(limit.conditions.items()),
            *((limit.side, limit.value) if spot else ()),
        )
        if key not in seen:
            seen[key] = value_at_limit(limit, readings)
        found = seen[key]
        value[i], std[i], reached[i] = found.value, found.std_si, found.reached
        chance[i] = _chance(found, limit)
    return _decide(kept, value, std, reached, chance, risk, wanted)


def _chance(found: LimitValues, limit: LimitLike) -> Floats:
    y, edge = (np.log(found.value), float(np.log(limit.value))) if found.log else (found.value, limit.value)
    tolerance = Tolerance(low=edge) if limit.side == "min" else Tolerance(high=edge)
    return conformance_probability(y, found.std, tolerance)


def _decide(
    kept: tuple[LimitLike, ...],
    value: Floats,
    std: Floats,
    reached: npt.NDArray[np.int8],
    chance: Floats,
    risk: float,
    wanted: set[str] | None,
) -> LimitJudgement:
    firm = np.array([x.basis != "memory" and not x.doubt for x in kept], dtype=np.bool_)
    rows_judged = _rows_judged(kept, reached)
    with np.errstate(invalid="ignore"):
        broken = (reached != NOT_REACHED) & (chance < REJECT_BELOW / rows_judged)
    firmly = broken & (reached == DIRECT) & firm[:, None]
    nonconforming, some = _over_editions(kept, reached, broken, firmly, firm, wanted)
    return LimitJudgement(
        kept, value, std, reached, chance, decide(chance, risk), broken, firm, nonconforming,
        broken & ~firmly, some,
    )  # fmt: skip


def _rows_judged(kept: tuple[LimitLike, ...], reached: npt.NDArray[np.int8]) -> npt.NDArray[np.int64]:
    """How many chances of a false rejection a part was given: conditions reached directly, at least one.

    Both sides of a row, and the same row in several editions, are one chance: a part on its minimum is nowhere near its
    maximum, and must fail every edition.
    """
    keys = [(x.quantity, x.temperature, *sorted(x.conditions.items())) for x in kept]
    direct = reached == DIRECT
    per_condition = [direct[[i for i, k in enumerate(keys) if k == key]].any(axis=0) for key in dict.fromkeys(keys)]
    total = np.sum(per_condition, axis=0) if per_condition else np.zeros(reached.shape[1])
    return np.maximum(total, 1).astype(np.int64)


def _over_editions(
    kept: tuple[LimitLike, ...],
    reached: npt.NDArray[np.int8],
    broken: Bools,
    firmly: Bools,
    firm: Bools,
    wanted: set[str] | None,
) -> tuple[Bools, Bools]:
    """Which parts break a firm limit in every edition, and which in some only.

    An edition speaks against a rejection when it limits a quantity that another edition has broken, and is itself not
    broken: its row is met, or not reached. A recalled or doubtful row speaks only when it is reached and met.
    """
    n = broken.shape[1]
    any_firm = firmly.any(axis=0) if len(kept) else np.zeros(n, dtype=np.bool_)
    if not any_firm.any():
        return np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    names = sorted({e for x in kept for e in x.editions if wanted is None or e in wanted}) or [""]
    quantities = [x.quantity for x in kept]
    broken_quantity = {q: firmly[[i for i, p in enumerate(quantities) if p == q]].any(axis=0) for q in set(quantities)}
    objects = np.zeros(n, dtype=np.bool_)
    for name in names:
        mine = [i for i, x in enumerate(kept) if not x.editions or name in x.editions]
        fails = firmly[mine].any(axis=0)
        speaks = np.zeros(n, dtype=np.bool_)
        for i in mine:
            voice = np.ones(n, dtype=np.bool_) if firm[i] else (reached[i] == DIRECT) & ~broken[i]
            speaks |= broken_quantity[quantities[i]] & voice
        objects |= speaks & ~fails
    return any_firm & ~objects, any_firm & objects


__all__ = [
    "CARRIED",
    "DIRECT",
    "NOT_REACHED",
    "LimitJudgement",
    "LimitLike",
    "PartReadings",
    "judge_limits",
    "value_at_limit",
]
