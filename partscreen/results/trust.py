"""The result of `trust` (`partscreen.trust/1`): what is known of suppliers. Private: not for publication.

Shares are between 0 and 1. Unknown is None. Fields may be added, never renamed. There is no mark and no grade: a share
with its interval, and words.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import ConfigDict, Field

from partscreen.results.base import Interval, Result

TRUST_SCHEMA = "partscreen.trust/1"

Advice = Literal["screen_as_usual", "test_all", "buy_elsewhere", "not_enough_known"]


class TypeRisk(Result):
    """Share of unfit parts of one type from one supplier, or from all."""

    type: str
    lots: int
    parts: int
    share_unfit: Interval
    above_tolerable: float
    """Probability that the share is above the tolerable one."""


class TrustPoint(Result):
    """What was known at a date."""

    date: date
    lots: int
    share_unfit: Interval


class SupplierTrust(Result):
    """What is known of one supplier.

    lots, parts : that count, judged or met in service. parts_certain : unfit for certain. lots_effective : lots that
    say something, older ones counted by their weight. above_tolerable : probability that the share
    is. place : in the order of expected shares; None: not enough known.
    next_lot_above : probability that the next lot has more unfit parts than tolerable. before_next : probability that
    the share is below that of the supplier named after it.
    """

    supplier: str
    place: int | None = None
    lots: int
    parts: int
    parts_certain: int = 0
    outcomes: int = 0
    lots_effective: float
    share_unfit: Interval
    above_tolerable: float
    next_lot_above: float | None = None
    before_next: float | None = None
    advice: Advice
    sentence: str
    what_would_change_it: list[str] = Field(default_factory=list)
    types: list[TypeRisk] = Field(default_factory=list)
    history: list[TrustPoint] = Field(default_factory=list)


class PairOrder(Result):
    """Probability that the first supplier's share of unfit parts is the smaller one."""

    first: str
    second: str
    probability: float


class NotCounted(Result):
    """Something that was brought and does not count, and why."""

    supplier: str | None = None
    lot: str | None = None
    why: str


class Trust(Result):
    """Suppliers in the order of their expected shares; those of whom not enough is known come last."""

    schema_: str = Field(default=TRUST_SCHEMA, alias="schema", serialization_alias="schema")
    version: str
    notice: str
    as_of: date | None = None
    half_life_days: float
    tolerable_share: float
    population: Interval
    """Mean share over all suppliers."""
    suppliers: list[SupplierTrust] = Field(default_factory=list)
    order: list[PairOrder] = Field(default_factory=list)
    types: list[TypeRisk] = Field(default_factory=list)
    assumptions: list[str] = Field(default_factory=list)
    not_counted: list[NotCounted] = Field(default_factory=list)

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")
