"""Old readings judged again by the present program and library."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput
from partscreen.results.book import EntryLine, LotChange, PartChange, Recorded, Rescreened
from partscreen.workflow.book.common import Asked, answer, opened, place_of
from partscreen.workflow.book.record import SETTINGS, LotKey, keep, raw_files, run_of
from partscreen.workflow.options import Progress, ScreenOptions

if TYPE_CHECKING:
    from partscreen.book.entries import FileRef, RunInputs, ScreeningKept
    from partscreen.book.facts import Fact, Facts
    from partscreen.book.record import Run
    from partscreen.book.store import Book


def rescreen(
    asked: Asked, *, every: bool = False, where: str | None = None, progress: Progress | None = None
) -> Rescreened:
    """Judge old readings again, from the raw files of the book with their corrections, and say what changed per part.

    New entries are written; nothing is overwritten. What was judged like that before is not written again.

    Raises
    ------
    UnusableInput
        Nothing is asked for, or it is not in the book.
    """
    if not (every or asked.lot or asked.supplier or asked.type_name):
        fix = "name a lot, a supplier or a type, or say --all"
        raise UnusableInput([Problem("BOOK_WHICH_LOT", "which lots?", fix, "--lot")])
    with opened(where) as (book, facts):
        runs = _runs_of(facts, asked)
        written = answer(book, [])
        changes: list[LotChange] = []
        not_done: list[str] = []
        lines: list[EntryLine] = []
        known: list[EntryLine] = []
        notes: list[str] = []
        for kept, lots in runs:
            try:
                told, more = _again(book, facts, kept, lots, where, progress)
            except UnusableInput as error:
                not_done += [f"{', '.join(lot for _, lot in lots)}: {problem}" for problem in error.problems]
                continue
            changes += more
            lines, known, written = [*lines, *told.written], [*known, *told.known], told
            notes += told.notes
        return Rescreened(
            book=written.book, entries=written.entries, head=written.head, written=lines, known=known, notes=notes,
            lots=changes, not_done=not_done,
        )  # fmt: skip


def _runs_of(facts: Facts, asked: Asked) -> list[tuple[ScreeningKept, dict[LotKey, Fact]]]:
    """The runs that hold the newest judgement of some part of the lots asked for, oldest first, with those lots."""
    from partscreen.book.entries import ScreeningKept
    from partscreen.book.facts import ANY

    if asked.lot is not None:
        place = place_of(facts, asked)
        assert place is not None
        found = facts.find("screening", **place.keys)
    else:
        found = facts.find("screening", supplier=asked.supplier or ANY, type=asked.type_name or ANY)
    if not found:
        fix = "partscreen book show lists what the book holds"
        raise UnusableInput([Problem("BOOK_NOTHING", "no such lot is in the book", fix, "--supplier, --type")])
    newest: dict[tuple[LotKey, str], Fact] = {}
    for fact in found:
        one = fact.of(ScreeningKept)
        newest |= {((one.supplier, one.lot), part.part): fact for part in one.evidence}
    runs: dict[str, tuple[ScreeningKept, dict[LotKey, Fact]]] = {}
    for (lot, _), fact in sorted(newest.items(), key=lambda item: item[1].seq):
        one = fact.of(ScreeningKept)
        runs.setdefault(one.run, (one, {}))[1][lot] = fact
    return list(runs.values())


def _again(
    book: Book,
    facts: Facts,
    kept: ScreeningKept,
    lots: dict[LotKey, Fact],
    where: str | None,
    progress: Progress | None,
) -> tuple[Recorded, list[LotChange]]:
    from partscreen.book.cells import amend_with
    from partscreen.book.corrections import cells_now
    from partscreen.workflow.judge.screening import screen_files

    with tempfile.TemporaryDirectory() as folder:
        files, options = laid_out(book, kept.inputs, kept.settings, Path(folder))
        if options.spreads is None:  # as `screen --record` does: what the book has taught so far
            options = replace(options, learn_from=where or "")
        cells, corrections = cells_now(facts, (ref.sha256 for ref in kept.inputs.files))
        outcome = screen_files(files, options, progress=progress, figures=False, amend=amend_with(cells))
        assert outcome.batch is not None
        run = replace(run_of(outcome, raw_files(outcome, files, options), options, corrections), rescreened=True)
        told = keep(book, facts, run, only=lots)
    already = {(line.supplier, line.lot) for line in told.known}
    return told, [_change(fact, run, key, key in already) for key, fact in lots.items()]


def laid_out(
    book: Book, inputs: RunInputs, settings: dict[str, Any], folder: Path
) -> tuple[list[Path], ScreenOptions]:  # fmt: skip
    """The files of a run in a folder, each in one of its own so that equal names do not meet, and its options.

    Raises
    ------
    UnusableInput
        A file of the run is no longer in the book.
    """
    count = 0

    def lay(ref: FileRef | None) -> Path | None:
        nonlocal count
        if ref is None:
            return None
        blob = book.blob(ref.sha256)
        if blob is None:
            what = f"the content of {ref.name} is no longer in the book"
            raise UnusableInput(
                [Problem("BOOK_FILE_GONE", what, "screen the file itself again, if you have it", "book")]
            )
        count += 1
        own = PureWindowsPath(PurePosixPath(ref.name).name).name.strip(". ") or "file"
        place = folder / str(count) / own
        place.parent.mkdir()
        place.write_bytes(blob.content)
        return place

    files = [path for ref in inputs.files if (path := lay(ref)) is not None]
    options = ScreenOptions(
        lots=lay(inputs.lot_sheet),
        lot_texts=tuple(inputs.lot_texts),
        columns=lay(inputs.columns),
        kit=lay(inputs.kit),
        spreads=lay(inputs.spreads),
        references=tuple(path for ref in inputs.references if (path := lay(ref)) is not None),
        **{name: settings[name] for name in SETTINGS if name in settings},
    )
    return files, options


def _change(fact: Fact, run: Run, key: LotKey, already: bool) -> LotChange:
    from partscreen.book.entries import ScreeningKept
    from partscreen.book.record import part_evidence

    before = fact.of(ScreeningKept)
    now = next((lot for lot in run.screening.lots if (lot.supplier, lot.lot) == key), None)
    after = {part.part: part_evidence(part) for part in now.parts} if now else {}
    parts = []
    for old in before.evidence:
        new = after.get(old.part)
        parts.append(
            PartChange(
                lot=before.lot,
                supplier=before.supplier,
                part=old.part,
                before=old.disposition,
                after=new.disposition if new else None,
                code_before=old.code,
                code_after=new.code if new else None,
                evidence_before=old.evidence,
                evidence_after=new.evidence if new else None,
                changed=new is None or (old.disposition, old.code) != (new.disposition, new.code),
            )
        )
    return LotChange(
        lot=before.lot,
        supplier=before.supplier,
        before=before.judgement,
        after=now.judgement if now else "not judged",
        program_before=before.versions.program,
        program_after=run.screening.version,
        library_changed=before.versions.library != run.library,
        corrections=[seq for seq in run.corrections if seq not in before.inputs.corrections],
        already=already,
        parts=parts,
    )
