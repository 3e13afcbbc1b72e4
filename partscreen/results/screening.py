"""The result of `screen` and `check` (`partscreen.screening/1`).

SI units throughout (A, V, F, ohm, s; temperatures in kelvin). Unknown is `None`, never NaN. Fields may be added, never
renamed.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field

from partscreen.results.base import Interval, Reason, Result

SCREENING_SCHEMA = "partscreen.screening/1"

Disposition = Literal["accept", "hold", "reject"]
PartStatus = Literal["judged", "dead", "wrong_polarity", "unusable"]
LotJudgement = Literal["use", "test_all", "return", "undecided", "no_reference"]
Reached = Literal["direct", "carried", "not_reached"]
LimitDecision = Literal["conforming", "nonconforming", "undecided"]


class LimitResult(Result):
    """One printed limit, held against one part.

    `value` and `std` are the part's value at the limit's conditions; `probability_conforming` is that of JCGM 106.
    """

    symbol: str
    side: Literal["min", "max"]
    conditions: str
    edition: str | None = None
    basis: str
    limit: float
    unit: str
    value: float | None = None
    std: float | None = None
    reached: Reached
    decision: LimitDecision
    probability_conforming: float | None = None
    source: str
    doubt: str | None = None


class ReadingEvidence(Result):
    """Evidence one reading adds after those printed before it (chain rule; the terms sum to the total)."""

    reading: str
    evidence: float


class Hypothesis(Result):
    """One explanation of a part's readings and its probability."""

    name: str
    probability: float


class ClosestType(Result):
    """A library type the readings resemble."""

    type: str
    probability: float


class Unseen(Result):
    """An alternative these readings could not have told apart, with the power they had against it."""

    alternative: str
    power: float


class ChiSquare(Result):
    """Misfit of the readings to the type's population, degrees of freedom, and the probability of a larger one."""

    value: float | None = None
    dof: int
    p: float | None = None


class Fit(Result):
    """Device parameters of one part in the fit's own coordinates (see `partscreen.device.parameters`).

    `theta`, `prior_share`: one figure per name; `covariance`: row by row. `prior_share` is posterior over prior
    standard deviation: near 1 means that the readings do not see the parameter. `junction_temperature`: mean over the
    readings used. [K]
    """

    names: list[str]
    theta: list[float]
    covariance: list[list[float]] | None = None
    prior_share: list[float]
    junction_temperature: float | None = None
    chi_square: ChiSquare
    status: str = "converged"


class Curves(Result):
    """Fitted curves of one part at the type's VCE and 25 degC junction, for plots and matching. SI units.

    `hfe_std`, `vbe_std`: against the truth. `*_own_std`: of the part itself, what a difference of two parts of one type
    read in one session is uncertain by (with the other part's); `*_session_std`: shared by all parts of its session.
    """

    ic: list[float]
    hfe: list[float | None]
    hfe_std: list[float | None]
    vbe: list[float | None]
    vbe_std: list[float | None]
    vce_sat: list[float | None]
    vce: float | None = None
    forced_gain: float | None = None
    hfe_own_std: list[float | None] | None = None
    vbe_own_std: list[float | None] | None = None
    hfe_session_std: list[float | None] | None = None
    vbe_session_std: list[float | None] | None = None


class QualityNote(Result):
    """What a quality check found in one run of readings; `used` says whether the readings were still used."""

    code: str
    sentence: str
    run: str | None = None
    figures: dict[str, float | int | str | None] = Field(default_factory=dict)
    used: bool = True


class NextMeasurement(Result):
    """The reading that would decide most per bench minute."""

    reading: str
    why: str
    minutes: float | None = None
    recipe: str | None = None


class PartResult(Result):
    """Everything said about one part."""

    part: str
    session: str | None = None
    status: PartStatus
    disposition: Disposition | None
    evidence: float | None = None
    evidence_by_reading: list[ReadingEvidence] | None = None
    hypotheses: list[Hypothesis] | None = None
    probability_unfit: float | None = None
    probability_of_substitution: float | None = None
    area_ratio: Interval | None = None
    reach: float | None = None
    reach_absolute: float | None = None
    closest_types: list[ClosestType] | None = None
    cannot_see: list[Unseen] | None = None
    limits: list[LimitResult] = Field(default_factory=list)
    fit: Fit | None = None
    curves: Curves | None = None
    quality: list[QualityNote] = Field(default_factory=list)
    readings_used: list[str] = Field(default_factory=list)
    outlier_distance: float | None = None
    reasons: list[Reason] = Field(default_factory=list)
    next_measurement: NextMeasurement | None = None


class LotAction(Result):
    """What could be done with a lot (`use`, `test_all`, `return`), and its expected cost in parts thrown away.

    `sentence`: in words; in money too where the price of a part is known.
    """

    action: str
    expected_cost: float | None = None
    sentence: str | None = None


class SpotTaken(Result):
    """A single reading of a part, with its conditions in words. `std`: standard uncertainty, in the reading's unit.

    `answer`: of something seen, in words; its `value` is the number of the answer.
    """

    part: str
    symbol: str
    value: float
    std: float | None = None
    unit: str
    conditions: str = ""
    used: bool = True
    answer: str | None = None


class ControlSeen(Result):
    """What the control piece of a session did: the largest change against its first reading.

    `gain_change`: relative, of hFE; `vbe_change` [V].
    """

    session: str
    readings: int
    gain_change: float | None = None
    vbe_change: float | None = None


class GroupsSeen(Result):
    """The figure of each part in which two groups are looked for (gain at the upper current over gain at the lower).

    `parts`, `values`, `group`: one a part that has it; `group` 1 or 2 by rising value, all 1 where there is one group.
    `statistic`: of the best split; `bar`: what one clean lot of this size in 100 exceeds; None with fewer than six.
    """

    quantity: str
    conditions: str
    parts: list[str]
    values: list[float]
    group: list[int]
    two: bool
    statistic: float | None = None
    bar: float | None = None


class SubLot(Result):
    """Parts of a lot that bear one date code, or several codes of few parts taken together."""

    codes: list[str]
    parts: list[str]
    n_parts: int
    judgement: LotJudgement
    share_unfit: Interval | None = None


class LotResult(Result):
    """Everything said about one lot.

    `sheet`: what the lot sheet tells besides (order, return_by, price, notes, count, ...), as it stands there. `files`:
    those that hold readings of the lot. `spots`: its single readings. `control`: the control pieces of its sessions.
    `groups`: what two groups of parts are looked for in.
    """

    lot: str
    supplier: str | None = None
    type: str | None = None
    edition: str | None = None
    known_good: bool = False
    n_parts: int
    judgement: LotJudgement
    share_unfit: Interval | None = None
    bulk_unfit: float | None = None
    share_sentence: str | None = None
    actions: list[LotAction] = Field(default_factory=list)
    reasons: list[Reason] = Field(default_factory=list)
    parts: list[PartResult] = Field(default_factory=list)
    sheet: dict[str, str] = Field(default_factory=dict)
    files: list[str] = Field(default_factory=list)
    spots: list[SpotTaken] = Field(default_factory=list)
    control: list[ControlSeen] = Field(default_factory=list)
    sub_lots: list[SubLot] = Field(default_factory=list)
    groups: GroupsSeen | None = None


class InputProblem(Result):
    """A problem found in a file, as told to the user."""

    code: str
    row: int | None = None
    column: str | None = None
    what: str
    fix: str


class InputFile(Result):
    """One file of a run: its content hash, rows of readings and the problems found in it."""

    file: str
    sha256: str | None = None
    rows: int = 0
    problems: list[InputProblem] = Field(default_factory=list)


class InstrumentUsed(Result):
    """An instrument of the kit: symbols of what it reads, its accuracy in words."""

    name: str
    reads: list[str]
    accuracy: list[str] = Field(default_factory=list)


class KitUsed(Result):
    """The kit the readings were taken with."""

    name: str
    calibrated_on: str | None = None
    instruments: list[InstrumentUsed] = Field(default_factory=list)


class NotJudged(Result):
    """Rows that belong to no lot and no part; and parts of lots that are no bipolar transistors (NOT_COVERED)."""

    part: str | None = None
    lot: str | None = None
    why: str
    code: str | None = None
    type: str | None = None
    supplier: str | None = None


class Screening(Result):
    """The result of one run of `screen`."""

    schema_: str = Field(default=SCREENING_SCHEMA, alias="schema", serialization_alias="schema")
    version: str
    settings: dict[str, Any]
    inputs: list[InputFile]
    not_judged: list[NotJudged] = Field(default_factory=list)
    lots: list[LotResult]
    kit: KitUsed | None = None

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")
