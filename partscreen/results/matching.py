"""The result of `match` (`partscreen.matching/1`).

Percent and millivolts where a name says so, for these are read at the bench; SI units elsewhere. Unknown is `None`.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field

from partscreen.results.base import Interval, Reason, Result

MATCHING_SCHEMA = "partscreen.matching/1"

MatchKind = Literal["pairs", "groups", "sets"]


class MatchedPart(Result):
    """A part in its place. `position`: N1, N2 ... for NPN and P1, P2 ... for PNP of one set."""

    position: str
    part: str
    lot: str
    type: str
    session: str | None = None
    vbe_from_mean_mv: float | None = None


class MatchedSet(Result):
    """Parts that go together.

    `hfe_difference_percent`, `vbe_difference_mv`: the largest between two parts of one polarity (in a pair: between its
    two), root mean square over the working currents; `*_uncertainty`: standard uncertainty of that difference.
    `across_*`: the largest between NPN and PNP. `rank`: 1 is the best; None where the parts are alike within
    measurement, for the figures cannot rank them. `amplifier`: sets of the same number are the two channels of one.
    """

    parts: list[str]
    places: list[MatchedPart]
    hfe_difference_percent: float
    vbe_difference_mv: float
    hfe_uncertainty_percent: float | None = None
    vbe_uncertainty_mv: float | None = None
    across_hfe_percent: float | None = None
    across_vbe_mv: float | None = None
    within_tolerance: bool
    alike_within_measurement: bool
    one_session: bool
    distance: float
    rank: int | None = None
    amplifier: int | None = None


class Unmatched(Result):
    """A part that was not placed, and why."""

    part: str
    lot: str
    why: str


class PartsToBuy(Result):
    """How many parts of each polarity to buy so that `sets` come out with probability `probability`.

    `parts`: value with a 90 % interval for how far the parts at hand tell the spread; null where no number up to
    `searched_to` suffices. `accepted_share`: of the bought parts, as in the lots given.
    """

    sets: int
    probability: float
    parts: Interval
    searched_to: int
    accepted_share: Interval
    spread_from: str


class WorkingCurrents(Result):
    """Collector currents per device [A] at which parts are compared, the share of use of each, and in words whence.

    `types`: of which parts. `vbe_offset_mv`: what NPN and PNP differ by as such, on average; `vbe_offsets_mv`: at each
    current, taken off before they are compared.
    """

    types: str
    ic: list[float]
    weight: list[float]
    words: str
    vbe_offset_mv: float | None = None
    vbe_offsets_mv: list[float] | None = None


class Matching(Result):
    """The result of one run of `match`.

    `total`: sum of the distances of the sets (1 is the tolerance of hFE, or of VBE, alone); `bound`: no choice of as
    many sets has a smaller total (for `aim` worst: largest distance); equal to `total` where the method is exact.
    `other_ways`: further ways to pair, next best first, each with its total and its pairs.
    """

    schema_: str = Field(default=MATCHING_SCHEMA, alias="schema", serialization_alias="schema")
    version: str
    kind: MatchKind
    aim: str
    settings: dict[str, Any]
    currents: list[WorkingCurrents]
    reasons: list[Reason] = Field(default_factory=list)
    sets: list[MatchedSet]
    unmatched: list[Unmatched] = Field(default_factory=list)
    total: float
    worst: float | None = None
    bound: float | None = None
    gap_percent: float | None = None
    method: str
    other_ways: list[OtherWay] = Field(default_factory=list)
    to_buy: PartsToBuy | None = None

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")


class OtherWay(Result):
    """Another way to pair all parts: its total, and the pairs that differ from the way chosen."""

    total: float
    pairs: list[list[str]]


Matching.model_rebuild()
