"""The result of `book remeasure` (`partscreen.retest/1`): one part against its own first readings."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from partscreen.results.base import Reason, Result

RETEST_SCHEMA: Literal["partscreen.retest/1"] = "partscreen.retest/1"

RetestVerdict = Literal["changed", "unchanged", "cannot_tell"]
ChangeWord = Literal["inside", "outside", "undecided", "no_limit"]


class RetestChange(Result):
    """One quantity at one condition, first and now, in SI units.

    change : relative to the first for hFE and leakage, in the quantity's unit else; `std` its standard uncertainty.
    allowed : the largest change allowed, like `change`; None where no limit is published. probability_outside : that
    the true change lies outside (JCGM 106). carried : the first value was read between two readings.
    """

    quantity: str
    conditions: str
    unit: str
    first: float
    now: float
    change: float
    std: float
    relative: bool
    allowed: float | None = None
    allowed_words: str = ""
    probability_outside: float | None = None
    word: ChangeWord
    carried: bool = False
    source: str | None = None


class RetestResult(Result):
    """What the comparison says. `not_compared`: what was read on one side only, or under other conditions."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="null", populate_by_name=True)

    schema_: Literal["partscreen.retest/1"] = Field(default=RETEST_SCHEMA, alias="schema")
    part: str
    lot: str | None = None
    supplier: str | None = None
    type: str | None = None
    first_session: str | None = None
    now_session: str | None = None
    verdict: RetestVerdict
    sentence: str
    advice: list[str] = Field(default_factory=list)
    changes: list[RetestChange] = Field(default_factory=list)
    not_compared: list[str] = Field(default_factory=list)
    remarks: list[Reason] = Field(default_factory=list)
    assumption: str
