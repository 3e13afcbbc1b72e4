"""The result of `plan`: how many parts to test, what then decides, and what that is worth."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field

from partscreen.results.base import Interval, Result

PLAN_SCHEMA = "partscreen.plan/1"

Question = Literal["size", "given", "two_point", "table", "sequential", "cost"]


class PlanRisk(Result):
    """A chance of deciding wrongly: of accepting a lot this bad (consumer) or refusing one this good (producer)."""

    whose: Literal["consumer", "producer"]
    share: float
    bad_in_lot: int | None = None
    chance: float
    asked: float | None = None


class CurvePoint(Result):
    """Chance that a lot with this bad share is accepted; average number of parts where the plan may stop early."""

    share: float
    bad_in_lot: int | None = None
    accepted: float
    average_parts: float | None = None


class TableEntry(Result):
    """Where a plan stands in the tables of the standard. `basis`: compared with a published copy, or memory."""

    aql: float
    level: str
    severity: Literal["normal", "tightened", "reduced"]
    letter: str
    plan_letter: str
    refuse_from: int
    whole_lot: bool
    basis: Literal["copy", "memory"]
    source: str


class LotStep(Result):
    """A past lot under the switching rules."""

    lot: str
    lot_size: int
    severity: str
    sample_size: int
    acceptance_number: int
    found: int
    accepted: bool
    next_state: str
    why: str
    basis: Literal["copy", "memory"]


class StopLine(Result):
    """After so many parts: accept with at most, refuse with at least so many against the lot; None: not yet."""

    parts: int
    accept_at: int | None
    refuse_at: int | None


class Sequence(Result):
    """A sequential plan; `apparent` shares are those that readings count against a good and a bad lot."""

    good: float
    bad: float
    apparent_good: float
    apparent_bad: float
    slope: float
    h0: float
    h1: float
    first_accept: int
    first_refuse: int
    last: int
    average_good: float
    average_bad: float
    lines: list[StopLine]
    decision: Literal["go on", "accept", "refuse"] | None = None
    parts_read: int | None = None
    against: int | None = None
    log_ratio: float | None = None


class CostChoice(Result):
    """A way to deal with the lot and what it costs on average, beside the price paid."""

    kind: Literal["none", "sample", "sample_destroyed", "all", "stop_at_first"]
    sample_size: int
    use_up_to: int
    read_all_up_to: int
    expected_cost: float
    expected_minutes: float
    expected_bad_fitted: float
    chance_use: float
    chance_read_all: float
    chance_send_back: float
    sentence: str


class ShareAfter(Result):
    """What the test says of the bad share once `found` parts counted against the lot.

    exact, score: two-sided intervals (Clopper-Pearson, Wilson) of a large lot; upper: one-sided exact limit;
    most_bad_in_lot: the same in whole parts of this lot (perfect readings only); believed: mean and two-sided interval
    from the U-shaped belief of `prior_share` (beta-binomial).
    """

    found: int
    tested: int
    confidence: float
    exact: Interval
    score: Interval
    upper: float
    most_bad_in_lot: int | None
    believed: Interval
    prior_share: float


class DrawnPieces(Result):
    """Numbers of the pieces to test, drawn by lot; `seed` repeats the drawing."""

    seed: int
    pieces: list[int]


class PlanResult(Result):
    """The answer of `plan`. Shares and chances lie between 0 and 1; costs are in the user's currency."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="null", populate_by_name=True)

    schema_: str = Field(default=PLAN_SCHEMA, alias="schema", serialization_alias="schema")
    version: str
    question: Question
    sentence: str
    remarks: list[str] = Field(default_factory=list)
    settings: dict[str, Any]
    lot_size: int | None
    sample_size: int
    acceptance_number: int | None
    risks: list[PlanRisk]
    operating_curve: list[CurvePoint]
    after: list[ShareAfter] = Field(default_factory=list)
    table: TableEntry | None = None
    history: list[LotStep] = Field(default_factory=list)
    next_state: str | None = None
    sequence: Sequence | None = None
    costs: list[CostChoice] = Field(default_factory=list)
    drawn: DrawnPieces | None = None
