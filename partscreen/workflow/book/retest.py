"""A pulled part against its own first curve in the bench book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen import __version__
from partscreen.errors import Problem, UnusableInput
from partscreen.results.book import Remeasured
from partscreen.workflow.book.common import Asked, Signed, opened, write
from partscreen.workflow.book.record import raw_file
from partscreen.workflow.options import ScreenOptions
from partscreen.workflow.settings import kelvin, load_library, polarity_of

if TYPE_CHECKING:
    from partscreen.book.entries import PartKept
    from partscreen.book.facts import Fact, Facts
    from partscreen.book.places import PartRef
    from partscreen.book.store import Book, Draft
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.instruments.uncertainty import SessionUncertainty
    from partscreen.readings.tables import Batch
    from partscreen.results.retest import RetestResult
    from partscreen.screening.retest.pairs import Sitting


def remeasure(
    files: Sequence[Path], asked: Asked, options: ScreenOptions, *, signed: Signed, where: str | None = None
) -> Remeasured:
    """Compare pulled parts, read again, with their own first readings in the book, and keep what was found.

    Parameters
    ----------
    files : readings of now
    asked : the part, its lot and supplier; without a part every part of the files
    options : kit, column map, case temperature, type of the readings of now

    Raises
    ------
    UnusableInput
        No part of the files is in the book, or the files cannot be used; every problem at once.
    """
    from partscreen.book.record import file_draft, media_type_of
    from partscreen.book.store import Blob
    from partscreen.readings.instruments.kit import load_kit

    kit = load_kit(options.kit) if options.kit else None
    with opened(where) as (book, facts):
        batch, shared = _read(files, options, kit)
        results: list[RetestResult] = []
        drafts: list[Draft] = []
        problems: list[Problem] = []
        for number, name in enumerate(batch.part_names):
            if asked.part is None or name == asked.part:
                try:
                    result, draft = _compare(book, facts, batch, number, shared, asked, options, signed)
                except UnusableInput as error:
                    problems += error.problems
                    continue
                results.append(result)
                drafts.append(draft)
        if not results:
            missing = f"the files hold no part {asked.part!r}" if asked.part else "the files hold no part"
            fix = f"parts of the files: {', '.join(batch.part_names[:20]) or 'none'}"
            raise UnusableInput([*batch.problems, *(problems or [Problem("BOOK_PART_UNKNOWN", missing, fix, "FILES")])])
        raw = [one for path in files if (one := raw_file(path, "readings")) is not None]
        blobs = {one.sha256: Blob(one.content, media_type_of(one)) for one in raw}
        told = write(book, [*(file_draft(one) for one in raw), *drafts], blobs)
        keep = {line.entry: line for line in (*told.written, *told.known) if line.kind == "retest"}
        return Remeasured(
            **{**told.model_dump(exclude={"written", "known", "notes", "schema_"}), "written": list(keep.values())},
            results=results,
            not_compared=[str(problem) for problem in (*batch.problems, *problems)],
        )


def _read(files: Sequence[Path], options: ScreenOptions, kit: Kit | None) -> tuple[Batch, SessionUncertainty]:
    """The readings of now, checked and corrected as for a screening."""
    from partscreen.readings.import_files import import_files
    from partscreen.readings.instruments.control_piece import follow_control_piece
    from partscreen.readings.instruments.corrections import correct
    from partscreen.readings.instruments.uncertainty import apply_kit, session_uncertainty
    from partscreen.readings.quality.checks import check_quality
    from partscreen.screening.contradictions import set_aside

    library = load_library(options.references)
    temperature = kelvin(options.temperature_c)
    batch = import_files(files, column_map=options.columns, type_name=options.type_name)
    batch = apply_kit(batch, kit, temperature=temperature)
    batch, _ = correct(batch, kit)
    batch = check_quality(batch, kit, lambda lot: polarity_of(library, lot.type))
    batch, _ = set_aside(batch)
    batch = follow_control_piece(batch)
    return batch, session_uncertainty(batch, kit, temperature=temperature)


def _compare(
    book: Book, facts: Facts, batch: Batch, number: int, shared: SessionUncertainty, asked: Asked,
    options: ScreenOptions, signed: Signed,
) -> tuple[RetestResult, Draft]:  # fmt: skip
    from partscreen.book.entries import PartKept, RetestKept
    from partscreen.book.places import find_part
    from partscreen.book.readings_kept import keep_readings
    from partscreen.book.store import Draft
    from partscreen.screening.retest.judge import compare_retest
    from partscreen.screening.retest.pairs import sitting_of

    ref = find_part(facts, batch.part_names[number], asked.lot, asked.supplier)
    fact = _first(facts, ref)
    first = _first_sitting(book, facts, fact.of(PartKept))
    now = sitting_of(batch, number, shared=shared, temperature=kelvin(options.temperature_c))
    result = compare_retest(
        first, now, part=ref.part, lot=ref.lot, supplier=ref.supplier, type_number=ref.type, risk=options.risk
    )
    kept = RetestKept(
        **ref.placed, first=fact.seq, verdict=result.verdict, sentence=result.sentence,
        changes=[change.model_dump(mode="json") for change in result.changes], program=__version__,
        readings=keep_readings(batch, number), by=signed.by, on=signed.day,
    )  # fmt: skip
    return result, Draft("retest", kept.body())


def _first(facts: Facts, ref: PartRef) -> Fact:
    """The first readings of a part, by their newest judgement: a corrected reading counts."""
    from partscreen.book.entries import PartKept

    judged = facts.find("part", **ref.keys)
    files = [{one.sha256 for one in fact.of(PartKept).readings.files} for fact in judged]
    return [fact for fact, these in zip(judged, files, strict=True) if these == files[0]][-1]


def _first_sitting(book: Book, facts: Facts, kept: PartKept) -> Sitting:
    from partscreen.book.entries import KitKept, ScreeningKept
    from partscreen.book.readings_kept import batch_of
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.instruments.uncertainty import session_uncertainty
    from partscreen.screening.retest.pairs import sitting_of

    run = [
        fact.of(ScreeningKept)
        for fact in facts.find("screening", lot=kept.lot, supplier=kept.supplier)
        if fact.of(ScreeningKept).run == kept.run
    ]
    key = run[0].kit_key if run else None
    entry = book.find("kit", key) if key else None
    kit = Kit.model_validate(KitKept.model_validate(entry.body).kit) if entry else None
    told = run[0].settings.get("temperature_c") if run else None
    temperature = kelvin(told)
    batch = batch_of([kept])
    shared = session_uncertainty(batch, kit, temperature=temperature)
    sitting = sitting_of(batch, 0, shared=shared, temperature=temperature)
    dead = kept.result.status in ("dead", "wrong_polarity", "unusable") and kept.result.reasons
    return replace(sitting, condition=kept.result.reasons[0].sentence) if dead else sitting
