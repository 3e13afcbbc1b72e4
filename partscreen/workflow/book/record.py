"""A screening into the bench book."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput
from partscreen.results.book import Recorded
from partscreen.workflow.book.common import answer, opened
from partscreen.workflow.judge.goods_in import with_book_facts
from partscreen.workflow.options import Outcome, ScreenOptions
from partscreen.workflow.settings import load_library

if TYPE_CHECKING:
    from partscreen.book.entries import FileRole
    from partscreen.book.facts import Facts
    from partscreen.book.record import RawFile, Run
    from partscreen.book.store import Book, Draft

LotKey = tuple[str | None, str]
SETTINGS = ("risk", "prior_share", "reach", "cost", "temperature_c", "type_name")


def record_screening(
    outcome: Outcome, files: Sequence[Path], options: ScreenOptions, where: str | None = None
) -> Recorded:
    """Keep a screening: raw files, lot sheet, kit, readings as judged, fits, dispositions with evidence, versions.

    What the book holds already (the same readings, judged by the same program, library, settings and in the same
    company) is not written again, and the answer says so.

    Raises
    ------
    UnusableInput
        Nothing was judged, a file changed while it was judged, or the book cannot be written.
    """
    if outcome.batch is None or not outcome.screening.lots:
        fix = "put the files right as told, and screen again"
        raise UnusableInput([Problem("BOOK_NOTHING", "no lot was judged, so nothing was recorded", fix, "book")])
    raw = raw_files(outcome, files, options)
    with opened(where, create=True) as (book, facts):
        return keep(book, facts, run_of(outcome, raw, options))


def keep_screening(outcome: Outcome, files: Sequence[Path], options: ScreenOptions, where: str | None) -> Outcome:
    """As `record_screening`, without ever losing the result: what the book could not keep is told by the outcome.

    The report gets the head of the book as its last line, and what the book holds of the parts: quarantine, stress,
    overrides.
    """
    try:
        told = record_screening(outcome, files, options, where)
        outcome = with_book_facts(outcome, where)
    except UnusableInput as error:
        return replace(outcome, not_recorded=error.problems, exit_code=3)
    report = outcome.report
    if report is not None:
        report = replace(report, recorded=f"Recorded in the bench book: entry {told.entries}, head {told.head}")
    return replace(outcome, recorded=told, report=report)


def run_of(outcome: Outcome, raw: Sequence[RawFile], options: ScreenOptions, corrections: tuple[int, ...] = ()) -> Run:
    """The run as the book keeps it."""
    from partscreen.book.record import Run
    from partscreen.book.versions import library_hash, reference_hashes

    assert outcome.batch is not None
    library = load_library(options.references)
    return Run(
        screening=outcome.screening,
        batch=outcome.batch,
        files=tuple(raw),
        settings={
            **{name: getattr(options, name) for name in SETTINGS},
            "spreads": outcome.screening.settings.get("spreads"),  # learned ones move the judgement
        },
        library=library_hash(library),
        references=reference_hashes(library, (lot.type for lot in outcome.screening.lots)),
        kit=outcome.kit,
        lot_texts=options.lot_texts,
        corrections=corrections,
    )


def keep(book: Book, facts: Facts, run: Run, only: Iterable[LotKey] | None = None) -> Recorded:
    """Append what is not in the book yet; the answer names the lots, and those that were there already."""
    from partscreen.book.record import run_drafts

    before = facts.book.head().seq
    drafts, blobs = run_drafts(run, only=only)
    drafts, unfit = _writable(drafts)
    entries = book.append(drafts, blobs)
    fresh = [entry for entry in entries if entry.kind == "screening" and not entry.known]
    notes = [_known_note(entry.body, entry.seq) for entry in entries if entry.kind == "screening" and entry.known]
    notes += unfit
    for entry in fresh:
        twins = facts.find("screening", lot=entry.body["lot"], supplier=entry.body.get("supplier"))
        notes += [
            f"lot {entry.body['lot']}: its readings are those of entry {twin.seq}, judged again with other settings, "
            "program, library or company; the newest holds, the older stays"
            for twin in twins[::-1]
            if twin.seq <= before and getattr(twin.payload, "readings_key", "") == entry.body["readings_key"]
        ][:1]
    told = answer(book, [entry for entry in entries if entry.kind == "screening"], notes)
    n_parts = sum(entry.kind == "part" and not entry.known for entry in entries)
    return told.model_copy(update={"notes": [*told.notes, f"{n_parts} parts written"]}) if n_parts else told


def _writable(drafts: Sequence[Draft]) -> tuple[list[Draft], list[str]]:
    """Drafts whose names the book can hold; of the others why not. One odd name does not stop the rest."""
    from partscreen.book.keys import keys_of

    good: list[Draft] = []
    notes: list[str] = []
    for draft in drafts:
        try:
            keys_of(draft.kind, draft.body)
        except ValueError as error:
            name = str(draft.body.get("part") or draft.body.get("lot"))
            notes.append(f"{draft.kind} {name[:40]!r} was not recorded: {error}; give it another name and screen again")
        else:
            good.append(draft)
    return good, notes


def _known_note(body: dict[str, Any], seq: int) -> str:
    return f"lot {body['lot']}: already in the book (entry {seq}); not written again"


def raw_files(outcome: Outcome, files: Sequence[Path], options: ScreenOptions) -> list[RawFile]:
    """The bytes of everything the run was given.

    Raises
    ------
    UnusableInput
        A file is not what it was when it was judged.
    """
    told = {item.sha256 for item in outcome.screening.inputs if item.sha256}
    found: list[RawFile] = []
    for path in files:
        raw = raw_file(path, "readings")
        if raw is not None and raw.sha256 not in told:
            what = "the file changed while it was judged"
            raise UnusableInput(
                [Problem("BOOK_FILE_CHANGED", what, "screen it again; nothing was recorded", path.name)]
            )
        found += [raw] if raw is not None else []
    others: list[tuple[Path | None, FileRole]] = [
        (options.lots, "lot_sheet"), (options.kit, "kit"), (options.columns, "column_map"),
        (options.spreads, "spreads"),
        *((path, "reference") for path in options.references),
    ]  # fmt: skip
    return found + [raw for path, role in others if path is not None and (raw := raw_file(path, role)) is not None]


def raw_file(path: Path, role: FileRole) -> RawFile | None:
    """A file as it was brought; None: it cannot be read."""
    from partscreen.book.record import RawFile

    try:
        # A name that is no Unicode text (a file system allows it) is kept as far as it can be written.
        return RawFile(path.name.encode("utf-8", "replace").decode(), role, path.read_bytes())
    except OSError:
        return None  # told of as a problem of the run
