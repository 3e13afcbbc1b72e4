"""What the bench book keeps of a run: files, kit, lots, judgements, parts; and the base of all bodies."""

from __future__ import annotations

import json
from datetime import date
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from partscreen.results import Disposition, Interval, LotAction, NotJudged, PartResult, Reason

FileRole = Literal["readings", "lot_sheet", "kit", "column_map", "reference", "spreads"]
Because = Literal["evidence", "limit", "dead", "wrong_polarity", "none"]

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
    """The instruments of a run as they were understood. `kit`: the fields of `readings.instruments.kit.Kit`."""

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
    bulk_unfit: float | None = None
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

    @model_validator(mode="after")
    def _rows_are_whole(self) -> Self:
        """Whoever reads the rows relies on it: every column as long as the others, every file among `files`."""
        if self.points and (
            len({len(column) for column in self.points.values()}) > 1
            or not {"row", "run", "sweep", "session", "file"} <= self.points.keys()
        ):
            raise ValueError("the columns of the readings are not of one length, or one is missing")
        if not all({"quantity", "conditions", "session", "file", "row"} <= spot.keys() for spot in self.spots):
            raise ValueError("a single reading lacks a field")
        named = [*self.points.get("file", ()), *(spot["file"] for spot in self.spots)]
        if not all(isinstance(file, int) and 0 <= file < len(self.files) for file in named):
            raise ValueError("a reading is of a file that is not listed")
        return self


class PartKept(Placed):
    """One part judged in one run: the result, and the readings it was judged by."""

    content_key: str
    part: str
    session: str | None = None
    run: str
    result: PartResult
    readings: KeptReadings
    versions: Versions

    @model_validator(mode="after")
    def _fit_is_whole(self) -> Self:
        fit = self.result.fit
        if fit is not None:
            n = len(fit.names)
            rows = fit.covariance if fit.covariance is not None else [[0.0] * n] * n
            if {len(fit.theta), len(fit.prior_share), len(rows), *(len(row) for row in rows)} - {n}:
                raise ValueError("the figures of the fit are not one a parameter")
        return self

    def body(self) -> dict[str, Any]:
        """As of any payload; the result in full, for it has fields that are not known and must stand there."""
        made = super().body()
        made["result"] = json.loads(self.result.model_dump_json(by_alias=True))
        return made
