"""The result types every room speaks, with their JSON form (`partscreen.screening/1`).

SI units throughout (A, V, F, ohm, s; temperatures in kelvin). Unknown is `None`, never NaN. Fields may be added, never
renamed.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field

SCREENING_SCHEMA = "partscreen.screening/1"

Disposition = Literal["accept", "hold", "reject"]
PartStatus = Literal["judged", "dead", "wrong_polarity", "unusable"]
LotJudgement = Literal["use", "test_all", "return", "undecided", "no_reference"]
Reached = Literal["direct", "carried", "not_reached"]
LimitDecision = Literal["conforming", "nonconforming", "undecided"]


class _Result(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="null")


_R = TypeVar("_R", bound=BaseModel)


@lru_cache(maxsize=64)
def _names(kind: type[BaseModel]) -> tuple[tuple[str, ...], set[str]]:
    names = tuple(kind.model_fields)
    return names, set(names)


def made(kind: type[_R], **values: Any) -> _R:
    """A result from values known to be right, every field named: several times faster than `model_construct`.

    Raises
    ------
    KeyError
        A field is missing.
    """
    names, as_set = _names(kind)
    fields = values if tuple(values) == names else {name: values[name] for name in names}
    one = kind.__new__(kind)
    place = object.__setattr__
    place(one, "__dict__", fields)
    place(one, "__pydantic_fields_set__", as_set)  # shared: results are frozen
    place(one, "__pydantic_extra__", None)
    place(one, "__pydantic_private__", None)
    return one


class Interval(_Result):
    """A value with a 95 % interval."""

    value: float | None = None
    low: float | None = None
    high: float | None = None


class Reason(_Result):
    """Why something was decided: a stable code, a plain sentence, and the figures behind it."""

    code: str
    sentence: str
    figures: dict[str, float | int | str | None] = Field(default_factory=dict)
    limit: str | None = None
    source: str | None = None


class LimitResult(_Result):
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


class ReadingEvidence(_Result):
    """Evidence one reading adds after those printed before it (chain rule; the terms sum to the total)."""

    reading: str
    evidence: float


class Hypothesis(_Result):
    """One explanation of a part's readings and its probability."""

    name: str
    probability: float


class ClosestType(_Result):
    """A library type the readings resemble."""

    type: str
    probability: float


class Unseen(_Result):
    """An alternative these readings could not have told apart, with the power they had against it."""

    alternative: str
    power: float


class ChiSquare(_Result):
    """Misfit of the readings to the type's population, degrees of freedom, and the probability of a larger one."""

    value: float | None = None
    dof: int
    p: float | None = None


class Fit(_Result):
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


class Curves(_Result):
    """Fitted curves of one part at the type's VCE and 25 degC junction, for plots and matching. SI units."""

    ic: list[float]
    hfe: list[float | None]
    hfe_std: list[float | None]
    vbe: list[float | None]
    vbe_std: list[float | None]
    vce_sat: list[float | None]
    vce: float | None = None
    forced_gain: float | None = None


class QualityNote(_Result):
    """What a quality check found in one run of readings; `used` says whether the readings were still used."""

    code: str
    sentence: str
    run: str | None = None
    figures: dict[str, float | int | str | None] = Field(default_factory=dict)
    used: bool = True


class NextMeasurement(_Result):
    """The reading that would decide most per bench minute."""

    reading: str
    why: str
    minutes: float | None = None
    recipe: str | None = None


class PartResult(_Result):
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


class LotAction(_Result):
    """What could be done with a lot and what it is expected to cost."""

    action: str
    expected_cost: float | None = None


class LotResult(_Result):
    """Everything said about one lot."""

    lot: str
    supplier: str | None = None
    type: str | None = None
    edition: str | None = None
    known_good: bool = False
    n_parts: int
    judgement: LotJudgement
    share_unfit: Interval | None = None
    actions: list[LotAction] = Field(default_factory=list)
    reasons: list[Reason] = Field(default_factory=list)
    parts: list[PartResult] = Field(default_factory=list)


class InputProblem(_Result):
    """A problem found in a file, as told to the user."""

    code: str
    row: int | None = None
    column: str | None = None
    what: str
    fix: str


class InputFile(_Result):
    """One file of a run: its content hash, rows of readings and the problems found in it."""

    file: str
    sha256: str | None = None
    rows: int = 0
    problems: list[InputProblem] = Field(default_factory=list)


class NotJudged(_Result):
    """Rows that belong to no lot and no part."""

    part: str | None = None
    lot: str | None = None
    why: str


class Screening(_Result):
    """The result of one run of `screen`."""

    schema_: str = Field(default=SCREENING_SCHEMA, alias="schema", serialization_alias="schema")
    version: str
    settings: dict[str, Any]
    inputs: list[InputFile]
    not_judged: list[NotJudged] = Field(default_factory=list)
    lots: list[LotResult]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")
