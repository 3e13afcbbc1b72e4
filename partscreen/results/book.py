"""What the bench book answers (`partscreen.book/1`)."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field

from partscreen.results.base import Interval, Result
from partscreen.results.retest import RetestResult
from partscreen.results.screening import Disposition

BOOK_SCHEMA = "partscreen.book/1"


class BookAnswer(Result):
    """The base of all answers: where the book lies, and its newest entry."""

    schema_: str = Field(default=BOOK_SCHEMA, alias="schema", serialization_alias="schema")
    book: str
    entries: int
    head: str

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")


class EntryLine(Result):
    """One entry in plain words. `older`: entries it put right; `values`: its body as it holds today."""

    entry: int
    kind: str
    recorded_at: str
    lot: str | None = None
    supplier: str | None = None
    part: str | None = None
    job: str | None = None
    sentence: str
    older: list[int] = Field(default_factory=list)
    values: dict[str, Any] = Field(default_factory=dict)


class PartStanding(Result):
    """How a part stands today.

    `original`: disposition by the readings, where a person decided otherwise; `older_judgements`: how many the newest
    one replaced. `stale`: the override was made on an earlier judgement.
    """

    part: str
    disposition: Disposition | None = None
    original: Disposition | None = None
    code: str | None = None
    evidence: float | None = None
    older_judgements: int = 0
    overridden_by: str | None = None
    reason: str | None = None
    approved_by: list[str] = Field(default_factory=list)
    refused_by: list[str] = Field(default_factory=list)
    stale: bool = False
    quarantine: str | None = None
    fitted: str | None = None


class LotLine(Result):
    """A lot on one line. `accepted`, `held`, `rejected`, `not_usable`: parts by how they stand today."""

    lot: str
    supplier: str | None = None
    type: str | None = None
    judgement: str
    share_unfit: Interval | None = None
    parts: int
    accepted: int = 0
    held: int = 0
    rejected: int = 0
    not_usable: int = 0
    judged_on: str
    entry: int
    older_judgements: int = 0


class Shown(BookAnswer):
    """The answer of `book show`: lots, parts as they stand, and what happened, oldest first.

    `erased`: hashes of photos whose content was taken out.
    """

    asked: dict[str, str | None] = Field(default_factory=dict)
    lots: list[LotLine] = Field(default_factory=list)
    parts: list[PartStanding] = Field(default_factory=list)
    history: list[EntryLine] = Field(default_factory=list)
    erased: list[str] = Field(default_factory=list)


class Sibling(Result):
    """A part of the lot in a job. `outcome`: the last one recorded, in words; `out`: it is no longer in the stage."""

    job: str
    channel: str | None = None
    position: str
    part: str
    on: str
    outcome: str | None = None
    out: bool = False


class Where(BookAnswer):
    """The answer of `book where`: every job that holds a part of the lot, and what is left."""

    lot: str
    supplier: str | None = None
    type: str | None = None
    jobs: list[str] = Field(default_factory=list)
    siblings: list[Sibling] = Field(default_factory=list)
    drawer: list[PartStanding] = Field(default_factory=list)
    gone: list[PartStanding] = Field(default_factory=list)


class Recorded(BookAnswer):
    """The answer of every command that records. `known`: entries that were in the book already."""

    written: list[EntryLine] = Field(default_factory=list)
    known: list[EntryLine] = Field(default_factory=list)
    notes: list[str] = Field(default_factory=list)


class LotOverdue(Result):
    """A lot judged since the last good check of its kit."""

    lot: str
    supplier: str | None = None
    type: str | None = None
    judged_on: str
    entry: int


class KitOverdue(Result):
    """A kit that is due for a check. `from_file`: the last good check is the kit file's `calibrated_on`."""

    kit: str
    last_good: str | None = None
    from_file: bool = False
    bad_since: str | None = None
    days: int | None = None
    lots: list[LotOverdue] = Field(default_factory=list)


class Overdue(BookAnswer):
    """The answer of `book overdue`. `known`: every kit the book knows of."""

    within_days: int
    kits: list[KitOverdue] = Field(default_factory=list)
    known: list[str] = Field(default_factory=list)


class Finding(Result):
    """Something `verify` found; entry 0 is the book as a whole."""

    entry: int
    what: str


class Verified(BookAnswer):
    """The answer of `book verify`. `head_found`: the entry with the printed head; None where it is not in the chain."""

    unchanged: bool
    head_asked: str | None = None
    head_found: int | None = None
    findings: list[Finding] = Field(default_factory=list)
    more_findings: int = 0


class PartChange(Result):
    """A part before and after it was judged again."""

    lot: str
    supplier: str | None = None
    part: str
    before: Disposition | None = None
    after: Disposition | None = None
    code_before: str | None = None
    code_after: str | None = None
    evidence_before: float | None = None
    evidence_after: float | None = None
    changed: bool = False


class LotChange(Result):
    """A lot before and after it was judged again. `already`: judged like that before, nothing was written."""

    lot: str
    supplier: str | None = None
    before: str
    after: str
    program_before: str
    program_after: str
    library_changed: bool
    corrections: list[int] = Field(default_factory=list)
    already: bool = False
    parts: list[PartChange] = Field(default_factory=list)


class Rescreened(Recorded):
    """The answer of `book rescreen`."""

    lots: list[LotChange] = Field(default_factory=list)
    not_done: list[str] = Field(default_factory=list)


class ExportedFile(Result):
    """A file that was written."""

    file: str
    rows: int


class Exported(BookAnswer):
    """The answer of `book export`."""

    form: str
    without_names: bool
    files: list[ExportedFile]


class Remeasured(Recorded):
    """The answer of `book remeasure`. `not_compared`: parts that could not be, and why."""

    results: list[RetestResult] = Field(default_factory=list)
    not_compared: list[str] = Field(default_factory=list)
