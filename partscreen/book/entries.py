"""What the bench book keeps: one payload model per kind of entry. SI units; unknown is None.

Field names at the top of a body (`part`, `lot`, `supplier`, `type`, `job`, `session`, `supersedes`, `content_key`,
`blobs`) are the ones the store makes searchable (see `partscreen.book.keys`). A body says which form it has (`schema`);
fields may be added with a default, never renamed, so that a later version reads what an earlier one wrote.
"""

from __future__ import annotations

from datetime import date
from typing import Any, Literal, get_args

from pydantic import Field

from partscreen.book.entries_run import (
    UNFIT_FOR_CERTAIN,
    Because,
    BlobRef,
    FileKept,
    FileRef,
    FileRole,
    KeptReadings,
    KitKept,
    LotKept,
    PartEvidence,
    PartKept,
    Payload,
    Piece,
    Placed,
    RunInputs,
    ScreeningKept,
    Versions,
)
from partscreen.results import Disposition

__all__ = [
    "CAUSES",
    "CORRECTABLE",
    "FAILED",
    "KINDS",
    "OUTCOMES",
    "OUT_OF_THE_STAGE",
    "STRESSES",
    "UNFIT_FOR_CERTAIN",
    "ApprovalKept",
    "Because",
    "BiasKept",
    "BlobRef",
    "Cause",
    "CorrectionKept",
    "ErasedKept",
    "FileKept",
    "FileRef",
    "FileRole",
    "FittedKept",
    "KeptReadings",
    "KitCheckKept",
    "KitKept",
    "LotKept",
    "MatchKept",
    "ObservationKept",
    "OutcomeKept",
    "OutcomeWhat",
    "OverrideKept",
    "PartEvidence",
    "PartKept",
    "Payload",
    "Piece",
    "Placed",
    "QuarantineKept",
    "ReadingCorrected",
    "RetestKept",
    "RunInputs",
    "ScreeningKept",
    "StressKept",
    "StressWhat",
    "Versions",
    "payload_of",
]

OutcomeWhat = Literal[
    "passed_soak", "failed_first_power_up", "failed_after", "returned", "refunded", "taken_out"
]  # fmt: skip
Cause = Literal["part", "stage", "not_known"]
StressWhat = Literal["avalanche_base_emitter", "breakdown", "dwell"]

OUTCOMES: tuple[str, ...] = get_args(OutcomeWhat)
CAUSES: tuple[str, ...] = get_args(Cause)
STRESSES: tuple[str, ...] = get_args(StressWhat)
FAILED = ("failed_first_power_up", "failed_after")
OUT_OF_THE_STAGE = (*FAILED, "returned", "refunded", "taken_out")


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
    beside: list[tuple[str | None, str, str]] = Field(default_factory=list)
    figures: dict[str, float | None] = Field(default_factory=dict)
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
    blobs: list[BlobRef] = Field(default_factory=list)
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
    changes: list[dict[str, Any]] = Field(default_factory=list)
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
