"""What the bench book keeps: one payload model per kind of entry. SI units; unknown is None.

Field names at the top of a body (`part`, `lot`, `supplier`, `type`, `job`, `session`, `supersedes`, `content_key`,
`blobs`) are the ones the store makes searchable (see `partscreen.book.keys`). A body says which form it has (`schema`);
fields may be added with a default, never renamed, so that a later version reads what an earlier one wrote.
"""

from __future__ import annotations

import json
from datetime import date
from typing import Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

from partscreen.results import Disposition, Interval, LotAction, NotJudged, PartResult, Reason

OutcomeWhat = Literal[
    "passed_soak", "failed_first_power_up", "failed_after", "returned", "refunded", "taken_out"
]  # fmt: skip
Cause = Literal["part", "stage", "not_known"]
StressWhat = Literal["avalanche_base_emitter", "breakdown", "dwell"]
FileRole = Literal["readings", "lot_sheet", "kit", "column_map", "reference", "spreads"]
Because = Literal["evidence", "limit", "dead", "wrong_polarity", "none"]

OUTCOMES: tuple[str, ...] = get_args(OutcomeWhat)
CAUSES: tuple[str, ...] = get_args(Cause)
STRESSES: tuple[str, ...] = get_args(StressWhat)
FAILED = ("failed_first_power_up", "failed_after")
OUT_OF_THE_STAGE = (*FAILED, "returned", "refunded", "taken_out")

UNFIT_FOR_CERTAIN = 20.0
"""Ln likelihood ratio that stands for a part rejected by a limit, dead or reversed: such a part is unfit whatever the
evidence says (assumption: 5e8 to 1 is certain for any share of unfit parts that a lot can have)."""


class Piece(BaseModel):
    """A piece of a body."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, ser_json_inf_nan="null")


class Payload(Piece):
    """The base of all bodies."""

    schema_: int = Field(default=1, alias="schema", ge=1)

    def body(self) -> dict[str, Any]:
        """The body as the book writes it; what is not known is left out."""
        made: dict[str, Any] = json.loads(self.model_dump_json(by_alias=True, exclude_none=True))
        return made


class Placed(Payload):
    """Something about a lot or a part. A lot is named by supplier and lot, a part by supplier, lot and part."""

    supplier: str | None = None
    lot: str
    type: str | None = None


class FileRef(Piece):
    """A file of a run, kept as a blob under its hash."""

    name: str
    sha256: str


class BlobRef(Piece):
    """A blob of the book that an entry keeps. `name`: what the file was called."""

    sha256: str
    size: int | None = None
    media_type: str | None = None
    name: str | None = None


class FileKept(Payload):
    """A raw file, byte for byte in its blob."""

    content_key: str
    name: str
    role: FileRole
    sha256: str
    blobs: list[BlobRef]


class KitKept(Payload):
    """The instruments of a run as they were understood. `kit`: the fields of `partscreen.readings.kit.Kit`."""

    content_key: str
    name: str
    calibrated_on: date | None = None
    kit: dict[str, Any]


class LotKept(Placed):
    """One row of a lot sheet. `told`: what the sheet also says (order, price, ...), as text."""

    content_key: str
    maker: str | None = None
    gain_group: str | None = None
    known_good: bool = False
    count: int | None = None
    told: dict[str, str] = {}


class Versions(Piece):
    """What judged: the program's version, the hash of the whole library and of the reference file of the type."""

    program: str
    library: str
    reference: str | None = None


class RunInputs(Piece):
    """Everything a run was given, so that it can be run again. `corrections`: entries of corrected readings."""

    files: list[FileRef]
    lot_sheet: FileRef | None = None
    kit: FileRef | None = None
    columns: FileRef | None = None
    references: list[FileRef] = []
    spreads: FileRef | None = None
    lot_texts: list[str] = []
    corrections: list[int] = []


class PartEvidence(Piece):
    """What one part adds to what is known of its lot: a likelihood, never a posterior.

    evidence : ln P(readings, substituted or unfit) - ln P(readings, as marked); `UNFIT_FOR_CERTAIN` where a limit, a
    dead or a reversed part decided; None where nothing was weighed.
    """

    part: str
    disposition: Disposition | None = None
    evidence: float | None = None
    because: Because = "none"
    code: str | None = None


class ScreeningKept(Placed):
    """One lot judged in one run. `run` is the same for all lots of the run; `kit_key`: content key of its kit entry."""

    content_key: str
    run: str
    readings_key: str
    edition: str | None = None
    known_good: bool = False
    n_parts: int
    judgement: str
    share_unfit: Interval | None = None
    actions: list[LotAction] = []
    reasons: list[Reason] = []
    evidence: list[PartEvidence] = []
    not_judged: list[NotJudged] = []
    settings: dict[str, Any]
    versions: Versions
    inputs: RunInputs
    kit: str | None = None
    kit_key: str | None = None
    rescreened: bool = False


class KeptReadings(Piece):
    """Readings of one part as judged (after corrections), SI, None where not measured; one item a reading.

    points : by column name of `partscreen.readings.tables.Points`; `session` as text, `file` an index into `files`.
    spots : `quantity`, `value`, `std`, `conditions`, `session`, `file`, `row`, `use`, `control`.
    assumed_temp : sessions whose case temperature was not read with the points.
    """

    files: list[FileRef] = []
    assumed_temp: list[str] = []
    points: dict[str, list[Any]] = {}
    spots: list[dict[str, Any]] = []


class PartKept(Placed):
    """One part judged in one run: the result, and the readings it was judged by."""

    content_key: str
    part: str
    session: str | None = None
    run: str
    result: PartResult
    readings: KeptReadings
    versions: Versions

    def body(self) -> dict[str, Any]:
        """As of any payload; the result in full, for it has fields that are not known and must stand there."""
        made = super().body()
        made["result"] = json.loads(self.result.model_dump_json(by_alias=True))
        return made


class OverrideKept(Placed):
    """A person decides otherwise. `judged`: the entry of the judgement; `original`: its disposition."""

    part: str
    disposition: Disposition
    original: Disposition | None = None
    judged: int
    reason: str = Field(min_length=1)
    by: str = Field(min_length=1)
    on: date


class ApprovalKept(Placed):
    """A second person agrees with an override, or does not. `of`: the entry of the override."""

    part: str
    of: int
    agrees: bool = True
    by: str = Field(min_length=1)
    note: str | None = None
    on: date


class QuarantineKept(Placed):
    """A part or a whole lot set aside in a named place, or released from it."""

    part: str | None = None
    place: str | None = None
    reason: str | None = None
    released: bool = False
    by: str | None = None
    on: date


class MatchKept(Placed):
    """One part of a set of parts that go together. `beside`: the others, as (supplier, lot, part)."""

    part: str
    set: str
    position: str | None = None
    beside: list[tuple[str | None, str, str]] = []
    figures: dict[str, float | None] = {}
    content_key: str | None = None


class FittedKept(Placed):
    """A part soldered in: job reference, channel, position in the circuit."""

    part: str
    job: str
    channel: str | None = None
    position: str
    by: str | None = None
    on: date


class BiasKept(Payload):
    """A reading at sign-off. `volts` across the emitter resistor [V], `resistor` [ohm], `ambient` [K].

    `minutes` since power-up. `part`, `lot`, `supplier`: what was fitted at the position then.
    """

    job: str
    position: str
    channel: str | None = None
    part: str | None = None
    lot: str | None = None
    supplier: str | None = None
    type: str | None = None
    volts: float
    resistor: float | None = None
    ambient: float | None = None
    minutes: float | None = None
    by: str | None = None
    on: date


class OutcomeKept(Placed):
    """What became of a fitted part, or of a returned lot. `days`: in service when it failed."""

    part: str | None = None
    job: str | None = None
    position: str | None = None
    what: OutcomeWhat
    days: int | None = Field(default=None, ge=0)
    cause: Cause | None = None
    note: str | None = None
    by: str | None = None
    on: date


class ObservationKept(Payload):
    """What somebody saw; its photos are the blobs."""

    supplier: str | None = None
    lot: str | None = None
    type: str | None = None
    part: str | None = None
    job: str | None = None
    text: str = ""
    blobs: list[BlobRef] = []
    by: str | None = None
    on: date


class StressKept(Placed):
    """Something that may have changed the part. `current` [A], `volts` [V], `seconds` [s], as far as known."""

    part: str
    what: StressWhat
    current: float | None = None
    volts: float | None = None
    seconds: float | None = None
    survived: bool | None = None
    note: str | None = None
    by: str | None = None
    on: date


class KitCheckKept(Payload):
    """A check of the instruments against something known."""

    kit: str
    good: bool
    note: str | None = None
    by: str | None = None
    on: date


class ReadingCorrected(Piece):
    """One cell of a raw file: `was` as it stands there, `now` as it should have been typed."""

    file: str
    sha256: str
    row: int = Field(ge=1)
    column: str
    sheet: str = ""
    was: str
    now: str


class CorrectionKept(Payload):
    """An earlier entry put right. The earlier one stays; queries show the newest and say that an older exists.

    Either `corrected`, the whole body as it should have been (its kind is `of_kind`), or `reading`, a cell of a file.
    """

    supersedes: int
    of_kind: str
    reason: str = Field(min_length=1)
    by: str | None = None
    on: date
    corrected: dict[str, Any] | None = None
    reading: ReadingCorrected | None = None
    part: str | None = None
    lot: str | None = None
    supplier: str | None = None
    type: str | None = None
    job: str | None = None


class RetestKept(Placed):
    """A pulled part against its own first curve. `first`: the entry of its first judgement."""

    part: str
    first: int
    verdict: str
    sentence: str
    changes: list[dict[str, Any]] = []
    program: str
    readings: KeptReadings
    by: str | None = None
    on: date


class ErasedKept(Payload):
    """The tombstone of a blob: what it was and why it went."""

    sha256: str
    why: str


KINDS: dict[str, type[Payload]] = {
    "file": FileKept,
    "kit": KitKept,
    "lot": LotKept,
    "screening": ScreeningKept,
    "part": PartKept,
    "override": OverrideKept,
    "approval": ApprovalKept,
    "quarantine": QuarantineKept,
    "match": MatchKept,
    "fitted": FittedKept,
    "bias": BiasKept,
    "outcome": OutcomeKept,
    "observation": ObservationKept,
    "stress": StressKept,
    "kit_check": KitCheckKept,
    "correction": CorrectionKept,
    "retest": RetestKept,
    "erased": ErasedKept,
}

CORRECTABLE = ("fitted", "bias", "outcome", "observation", "stress", "kit_check", "quarantine")
"""Kinds a person types; the rest is written by the program and is corrected through what it was made from."""


def payload_of(kind: str, body: dict[str, Any]) -> Payload:
    """The body of an entry as its model.

    Raises
    ------
    KeyError
        A kind this version does not know.
    pydantic.ValidationError
        The body is not of that kind.
    """
    return KINDS[kind].model_validate(body)
