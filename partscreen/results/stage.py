"""Results of `stage` (`partscreen.stage/1`) and `replace` (`partscreen.replace/1`). SI units; unknown is None."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from partscreen.results.base import Result

STAGE_SCHEMA = "partscreen.stage/1"
REPLACE_SCHEMA = "partscreen.replace/1"

CheckOutcome = Literal["ok", "marginal", "not_ok", "not_known"]


class StageCheck(Result):
    """One question put to the stage.

    `about`: what it was put to (type, load, resistor); `value` held against `limit` in `unit`; `margin`: what is left
    of the limit as a share of it, negative beyond it; `source`: where limit and rule come from.
    """

    code: str
    about: str
    result: CheckOutcome
    value: float | None = None
    limit: float | None = None
    unit: str = "1"
    margin: float | None = None
    sentence: str
    source: str
    figures: dict[str, float | int | str | None] = Field(default_factory=dict)


class AreaLine(Result):
    """A permitted current against VCE, as used. [V], [A]"""

    name: str
    vce: list[float]
    ic: list[float]


class LoadLineFigure(Result):
    """Load line of one device at full swing in the safe area of its type. [V], [A]"""

    about: str
    vce: list[float]
    ic: list[float]
    limits: list[AreaLine]
    case_temperature: float | None = None


class GainCurve(Result):
    """Gain of the output stage against output current (signed, positive: NPN side), into `load`. [A], ratio, [ohm]."""

    name: str
    bias: float
    current: list[float]
    gain: list[float]
    load: float | None = None


class PlaceShare(Result):
    """One device in its place. Drops across its emitter resistor at idle [V]: `drop` warm, `cold_drop` on switching on
    if the bias circuit did not follow the heat at all. `peak`: its emitter current at the peak of a burst [A].
    """

    place: str
    part: str | None = None
    resistor: float
    current: float
    drop: float
    cold_drop: float | None = None
    junction: float | None = None
    peak: float | None = None


class SharingFigure(Result):
    """How the devices of one side share. `unmatched`: spread of the drops of parts as they come from one lot, median
    and what nine in ten stay below [V]."""

    about: str
    basis: str
    places: list[PlaceShare]
    unmatched: list[float] = Field(default_factory=list)


class StageResult(Result):
    """Everything said about one stage. Cautions come first."""

    schema_: str = Field(default=STAGE_SCHEMA, alias="schema", serialization_alias="schema")
    version: str
    name: str
    npn: str
    pnp: str
    cautions: list[str]
    checks: list[StageCheck]
    notes: list[str] = Field(default_factory=list)
    load_lines: list[LoadLineFigure] = Field(default_factory=list)
    crossover: list[GainCurve] = Field(default_factory=list)
    sharing: list[SharingFigure] = Field(default_factory=list)

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")

    @property
    def worst(self) -> CheckOutcome:
        """not_ok before marginal before not_known before ok."""
        found = {check.result for check in self.checks}
        for outcome in ("not_ok", "marginal", "not_known"):
            if outcome in found:
                return outcome
        return "ok"


class RatingComparison(Result):
    """One figure of the obsolete type beside that of the candidate. None: not printed in the library's sheets."""

    symbol: str
    words: str
    unit: str
    wanted: float | None
    has: float | None
    conditions: str = ""
    result: CheckOutcome
    sentence: str


class Replacement(Result):
    """One candidate. `verdict`: the worst of what decides (ratings, and the stage where one was given)."""

    type: str
    rank: int
    verdict: CheckOutcome
    complement: str | None = None
    cautions: list[str]
    ratings: list[RatingComparison]
    unknown: list[str]
    stage: list[StageCheck] = Field(default_factory=list)
    why: str


class ReplaceResult(Result):
    """Which library types can take an obsolete type's place."""

    schema_: str = Field(default=REPLACE_SCHEMA, alias="schema", serialization_alias="schema")
    version: str
    type: str
    polarity: str
    complement: str | None
    cautions: list[str]
    candidates: list[Replacement]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")
