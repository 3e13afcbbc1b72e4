"""What the bench book answers about the day, a job, a part or lot in full, and a search (`partscreen.book/1`)."""

from __future__ import annotations

from pydantic import Field

from partscreen.results.base import Reason, Result
from partscreen.results.book import BookAnswer, EntryLine, KitOverdue, LotOverdue, PartStanding, Shown, Sibling
from partscreen.results.screening import Disposition, LotAction, NextMeasurement, PartResult


class HeldPart(Result):
    """A held part and what would decide it. `why`: the first reason of its newest judgement, or of the override."""

    part: str
    why: str
    next_measurement: NextMeasurement | None = None
    overridden_by: str | None = None
    quarantine: str | None = None


class HeldLot(Result):
    """The held parts of a lot that are still at the bench."""

    lot: str
    supplier: str | None = None
    type: str | None = None
    parts: list[HeldPart]


class LotWaits(Result):
    """A lot something is still to be done about. `return_by`: of the lot sheet; `days_left`: until then."""

    lot: str
    supplier: str | None = None
    type: str | None = None
    judgement: str
    judged_on: str
    entry: int
    why: str
    return_by: str | None = None
    days_left: int | None = None


class JobLine(Result):
    """A job on one line.

    `inside`: parts that sit in it; `out`: parts that came out; `silent`: parts inside of which no outcome is told;
    `silent_since`: the day the oldest of them was fitted, `days` ago. `failed`: parts that failed in it.
    """

    job: str
    inside: int
    out: int = 0
    silent: int = 0
    failed: int = 0
    bias: int = 0
    first_on: str
    last_on: str
    silent_since: str | None = None
    days: int | None = None
    overdue: bool = False


class ToReadAgain(Result):
    """A part that failed and was not read again since: its own first readings would tell the part from the stage."""

    part: str
    lot: str
    supplier: str | None = None
    job: str | None = None
    sentence: str
    entry: int


class VoiceWanted(Result):
    """An override: `second`, nobody looked at it yet; else it is older than the newest judgement of the part."""

    part: str
    lot: str
    supplier: str | None = None
    entry: int
    sentence: str
    second: bool


class ToJudgeAgain(Result):
    """A lot whose readings were corrected after it was judged. `corrections`: those entries."""

    lot: str
    supplier: str | None = None
    corrections: list[int]


class Aside(Result):
    """A lot (`part` None) or a part that is set aside."""

    lot: str
    supplier: str | None = None
    part: str | None = None
    place: str


class DayList(BookAnswer):
    """The answer of `book day`: what waits, and what is overdue."""

    within_days: int
    after_days: int
    held: list[HeldLot] = Field(default_factory=list)
    lots: list[LotWaits] = Field(default_factory=list)
    kits: list[KitOverdue] = Field(default_factory=list)
    jobs: list[JobLine] = Field(default_factory=list)
    read_again: list[ToReadAgain] = Field(default_factory=list)
    overrides: list[VoiceWanted] = Field(default_factory=list)
    judge_again: list[ToJudgeAgain] = Field(default_factory=list)
    aside: list[Aside] = Field(default_factory=list)
    control_moved: list[LotOverdue] = Field(default_factory=list)

    @property
    def waiting(self) -> int:
        """Things on the list, a held part and a job each counted once."""
        held = sum(len(lot.parts) for lot in self.held)
        mine = len(self.lots) + len(self.kits) + len(self.jobs) + len(self.read_again)
        return held + mine + len(self.overrides) + len(self.judge_again) + len(self.control_moved)


class Jobs(BookAnswer):
    """The answer of `book job` without a name: every job, the newest first."""

    jobs: list[JobLine] = Field(default_factory=list)


class JobPlace(Result):
    """A part in a job. `days`: since it was fitted, until today. `bias`: readings there, in words."""

    part: str
    lot: str
    supplier: str | None = None
    type: str | None = None
    channel: str | None = None
    position: str
    on: str
    days: int
    out: bool = False
    outcome: str | None = None
    disposition: Disposition | None = None
    bias: list[str] = Field(default_factory=list)
    entry: int


class SiblingsOf(Result):
    """A lot that has parts in the job: its parts in other jobs, and what is left in the drawer."""

    lot: str
    supplier: str | None = None
    type: str | None = None
    elsewhere: list[Sibling] = Field(default_factory=list)
    drawer: list[PartStanding] = Field(default_factory=list)


class JobShown(BookAnswer):
    """The answer of `book job JOB`: what sits where, and everything needed on the day it comes back."""

    job: str
    places: list[JobPlace] = Field(default_factory=list)
    lots: list[SiblingsOf] = Field(default_factory=list)
    history: list[EntryLine] = Field(default_factory=list)
    erased: list[str] = Field(default_factory=list)


class ReadingShown(Result):
    """One reading as judged. `words`: figures with units; `row` of `file`, None where it is not known."""

    what: str
    words: str
    session: str | None = None
    file: str | None = None
    sha256: str | None = None
    row: int | None = None
    used: bool = True


class FileShown(Result):
    """A raw file of the book."""

    name: str
    sha256: str
    role: str


class ShownInFull(Shown):
    """The answer of `book show --full`.

    Of a part: `result` and `readings` of its newest judgement. Of a lot: `reasons`, `actions`, `share_sentence` of the
    newest judgement and `sheet`, what the lot sheet told. Of both: `files`, the raw files; `judged`: when.
    """

    part: str | None = None
    lot: str
    supplier: str | None = None
    type: str | None = None
    judged: str | None = None
    result: PartResult | None = None
    readings: list[ReadingShown] = Field(default_factory=list)
    reasons: list[Reason] = Field(default_factory=list)
    actions: list[LotAction] = Field(default_factory=list)
    sheet: dict[str, str] = Field(default_factory=dict)
    files: list[FileShown] = Field(default_factory=list)


class FieldShown(Result):
    """A field of an entry as `book correct` takes it. `choices`: words it may hold; empty: any text."""

    name: str
    text: str
    choices: list[str] = Field(default_factory=list)


class EntryShown(BookAnswer):
    """The answer of `book entry`. `fields`: those that can be corrected; empty where nobody typed the entry."""

    line: EntryLine
    fields: list[FieldShown] = Field(default_factory=list)


class Hit(Result):
    """Something a search found. `kind`: part, lot, supplier, type, job, kit or entry."""

    kind: str
    name: str
    lot: str | None = None
    supplier: str | None = None
    type: str | None = None
    entry: int | None = None


class Found(BookAnswer):
    """The answer of `book find`. `exact`: a name is the text itself; else it holds it or is close to it."""

    text: str
    exact: bool = False
    hits: list[Hit] = Field(default_factory=list)
    more: int = 0
