"""A screening into the book: raw files, lot sheet rows, kit, and for every lot its judgement and its parts."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from partscreen.book.entries import (
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
    RunInputs,
    ScreeningKept,
    Versions,
)
from partscreen.book.readings_kept import keep_readings
from partscreen.book.store import Blob, Draft

if TYPE_CHECKING:
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.tables import Batch, Lot
    from partscreen.results import LotResult, PartResult, Screening


@dataclass(frozen=True, slots=True)
class RawFile:
    """A file as it was brought. `name`: its own, without folders."""

    name: str
    role: FileRole
    content: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.content).hexdigest()

    @property
    def ref(self) -> FileRef:
        return FileRef(name=self.name, sha256=self.sha256)


@dataclass(frozen=True, slots=True)
class Run:
    """One run of `screen`, as the book keeps it.

    settings : what is needed to run again, by name. library : hash of the whole library; `references`: by type number,
    hash of its reference file. corrections : entries of the corrected readings that were used.
    """

    screening: Screening
    batch: Batch
    files: tuple[RawFile, ...]
    settings: Mapping[str, Any]
    library: str
    references: Mapping[str, str] = field(default_factory=dict)
    kit: Kit | None = None
    lot_texts: tuple[str, ...] = ()
    corrections: tuple[int, ...] = ()
    rescreened: bool = False

    def one(self, role: FileRole) -> RawFile | None:
        """The file of a role that a run has once at most."""
        return next((raw for raw in self.files if raw.role == role), None)


def digest(value: Any) -> str:
    """SHA-256 of a JSON-able value in one fixed spelling."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def run_drafts(
    run: Run, *, only: Iterable[tuple[str | None, str]] | None = None
) -> tuple[list[Draft], dict[str, Blob]]:
    """Entries and blobs of a run, in the order in which they are written. `only`: these lots, by (supplier, lot).

    Every entry carries a content key, so that what the book holds already is not written again: a lot judged before
    from the same readings, lot sheet row, instruments, settings, program, library and in the same company.
    """
    wanted = None if only is None else set(only)
    lots = [lot for lot in run.screening.lots if wanted is None or (lot.supplier, lot.lot) in wanted]
    drafts = [file_draft(raw) for raw in run.files]
    kit = _kit(run.kit) if run.kit else None
    if kit is not None:
        drafts.append(_draft("kit", kit))
    told = {lot.name: lot for lot in run.batch.lots}
    drafts += [_draft("lot", _lot(told[lot.lot])) for lot in lots if lot.lot in told]
    numbers = _part_numbers(run.batch)
    readings = _readings_keys(run.batch, numbers)
    company = sorted([lot.supplier or "", lot.lot, readings.get(lot.lot, "")] for lot in run.screening.lots)
    shared = digest([
        company, _told_keys(run.batch), kit.content_key if kit else None, dict(run.settings), list(run.lot_texts),
        run.screening.version, run.library, list(run.corrections),
    ])  # fmt: skip
    for lot in lots:
        key = digest([shared, lot.supplier, lot.lot])
        drafts.append(_draft("screening", _screening(run, lot, key, shared, readings.get(lot.lot, ""))))
        drafts += [
            _draft("part", _part(run, lot, part, key, shared, numbers.get((lot.lot, part.part)))) for part in lot.parts
        ]
    blobs = {raw.sha256: Blob(raw.content, media_type_of(raw)) for raw in run.files}
    return drafts, blobs


def media_type_of(raw: RawFile) -> str:
    """What a raw file is, by its first bytes."""
    if raw.content.startswith(b"PK\x03\x04"):
        return "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return "text/plain"


def part_evidence(part: PartResult) -> PartEvidence:
    """What one part says of its lot: its likelihood ratio, or certainty where a limit, death or reversal decided."""
    code = part.reasons[0].code if part.reasons else None
    because: Because = "none"
    evidence = None if part.status == "unusable" else part.evidence
    if part.status == "dead" or part.status == "wrong_polarity":
        because, evidence = part.status, UNFIT_FOR_CERTAIN
    elif part.disposition == "reject" and code != "SUSPECT":
        because, evidence = "limit", UNFIT_FOR_CERTAIN
    elif evidence is not None:
        because = "evidence"
    return PartEvidence(
        part=part.part, disposition=part.disposition, evidence=evidence, because=because, code=code
    )  # fmt: skip


def file_draft(raw: RawFile) -> Draft:
    """The entry of a raw file."""
    return _draft("file", _file(raw))


def _draft(kind: str, payload: Any) -> Draft:
    return Draft(kind, payload.body())


def _file(raw: RawFile) -> FileKept:
    sha = raw.sha256
    kept = BlobRef(sha256=sha, size=len(raw.content), media_type=media_type_of(raw), name=raw.name)
    return FileKept(content_key=digest([sha, raw.role]), name=raw.name, role=raw.role, sha256=sha, blobs=[kept])


def _kit(kit: Kit) -> KitKept:
    fields = kit.model_dump(mode="json")
    return KitKept(
        content_key=digest(fields), name=kit.name, calibrated_on=kit.calibrated_on, kit=fields
    )  # fmt: skip


def _lot(lot: Lot) -> LotKept:
    made = LotKept(
        content_key="",
        supplier=lot.supplier,
        lot=lot.name,
        type=lot.type,
        maker=lot.maker,
        gain_group=lot.gain_group,
        known_good=lot.known_good,
        count=lot.count,
        told=dict(lot.extra),
    )
    return made.model_copy(update={"content_key": digest(made.body())})


def _told_keys(batch: Batch) -> list[str]:
    return sorted(_lot(lot).content_key for lot in batch.lots)


def _part_numbers(batch: Batch) -> dict[tuple[str, str], int]:
    lots = batch.part_lot.tolist()
    return {(batch.lots[lots[p]].name, name): p for p, name in enumerate(batch.part_names)}


def _readings_keys(batch: Batch, numbers: Mapping[tuple[str, str], int]) -> dict[str, str]:
    """By lot, what it was judged by: for every part the rows of which files (by content)."""
    sha = [item.sha256 or item.file for item in batch.inputs]
    rows: list[list[tuple[str, int]]] = [[] for _ in batch.part_names]
    for table in (batch.points, batch.spots):
        for part, file, row in zip(table.part.tolist(), table.file.tolist(), table.row.tolist(), strict=True):
            rows[part].append((sha[file], row))
    by_lot: dict[str, dict[str, list[tuple[str, int]]]] = {}
    for (lot, name), part in numbers.items():
        by_lot.setdefault(lot, {})[name] = sorted(rows[part])
    return {lot: digest(parts) for lot, parts in by_lot.items()}


def _versions(run: Run, type_name: str | None) -> Versions:
    return Versions(
        program=run.screening.version, library=run.library, reference=run.references.get(type_name or "")
    )  # fmt: skip


def _refs(files: Sequence[RawFile], role: FileRole) -> list[FileRef]:
    return [raw.ref for raw in files if raw.role == role]


def _inputs(run: Run) -> RunInputs:
    def single(role: FileRole) -> FileRef | None:
        raw = run.one(role)
        return raw.ref if raw else None

    return RunInputs(
        files=_refs(run.files, "readings"),
        lot_sheet=single("lot_sheet"),
        kit=single("kit"),
        columns=single("column_map"),
        spreads=single("spreads"),
        references=_refs(run.files, "reference"),
        lot_texts=list(run.lot_texts),
        corrections=list(run.corrections),
    )


def _screening(run: Run, lot: LotResult, key: str, shared: str, readings: str) -> ScreeningKept:
    return ScreeningKept(
        content_key=key,
        run=shared,
        readings_key=readings,
        supplier=lot.supplier,
        lot=lot.lot,
        type=lot.type,
        edition=lot.edition,
        known_good=lot.known_good,
        n_parts=lot.n_parts,
        judgement=lot.judgement,
        share_unfit=lot.share_unfit,
        bulk_unfit=lot.bulk_unfit,
        actions=list(lot.actions),
        reasons=list(lot.reasons),
        evidence=[part_evidence(part) for part in lot.parts],
        not_judged=[row for row in run.screening.not_judged if row.lot == lot.lot],
        settings=dict(run.settings),
        versions=_versions(run, lot.type),
        inputs=_inputs(run),
        kit=run.kit.name if run.kit else None,
        kit_key=_kit(run.kit).content_key if run.kit else None,
        rescreened=run.rescreened,
    )


def _part(run: Run, lot: LotResult, part: PartResult, key: str, shared: str, number: int | None) -> PartKept:
    return PartKept(
        content_key=digest([key, part.part]),
        supplier=lot.supplier,
        lot=lot.lot,
        part=part.part,
        type=lot.type,
        session=part.session or None,
        run=shared,
        result=part,
        readings=keep_readings(run.batch, number) if number is not None else KeptReadings(),
        versions=_versions(run, lot.type),
    )
