"""Looking into the bench book: a part, a lot, a job, a supplier or an entry in full; finding something by its name."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.workflow.book.common import Asked, opened, place_of
from partscreen.workflow.book.day import AFTER

if TYPE_CHECKING:
    from pathlib import Path

    from partscreen.book.entries import PartKept
    from partscreen.report.data import ReportData
    from partscreen.results import LotResult
    from partscreen.results.bench import EntryShown, Found, Jobs, JobShown, ShownInFull
    from partscreen.results.book import Shown
    from partscreen.results.trust import Trust


@dataclass(frozen=True, slots=True)
class InFull:
    """A part or lot in full. Of a part also what its figures are drawn from: `lot` holds that part alone."""

    shown: ShownInFull
    lot: LotResult | None = None
    report: ReportData | None = None


@dataclass(frozen=True, slots=True)
class FileOfBook:
    """A photo or raw file of the book. `name`: what it was called."""

    name: str
    media_type: str
    content: bytes


def show_in_full(asked: Asked, where: str | None = None, *, figures: bool = False) -> InFull:
    """A part with its readings and the result behind its disposition, or a lot with its sheet, reasons and files.

    Parameters
    ----------
    figures : of a part, also what its curves are drawn from

    Raises
    ------
    UnusableInput
        Neither part nor lot is named, or it is not in the book, or the name has several meanings.
    """
    from partscreen.book.in_full import lot_in_full, part_in_full
    from partscreen.book.places import PartRef

    with opened(where) as (_, facts):
        place = place_of(facts, asked)
        if place is None:
            fix = "name a part with --part, or a lot with --lot"
            raise UnusableInput([Problem("BOOK_WHICH_PART", "which part or lot?", fix, "--part")])
        if not isinstance(place, PartRef):
            return InFull(lot_in_full(facts, place))
        shown, kept = part_in_full(facts, place)
    if not figures or not (kept.readings.points or kept.readings.spots):
        return InFull(shown)
    return InFull(shown, *_figures(kept))


def _figures(kept: PartKept) -> tuple[LotResult, ReportData]:
    """What the curves of one kept part are drawn from: its readings as judged, in its type's band."""
    from partscreen.book.readings_kept import batch_of
    from partscreen.report.collect import lot_data
    from partscreen.report.data import ReportData
    from partscreen.results import LotResult
    from partscreen.workflow.settings import load_library

    lot = LotResult(
        lot=kept.lot, supplier=kept.supplier, type=kept.type, n_parts=1, judgement="test_all", parts=[kept.result]
    )
    return lot, ReportData(lots=lot_data(batch_of([kept]), [lot], load_library()))


def list_jobs(after: int = AFTER, where: str | None = None) -> Jobs:
    """Every job of the book on a line, the one fitted into last comes first."""
    from partscreen.book.job_shown import all_jobs

    with opened(where) as (_, facts):
        return all_jobs(facts, today=date.today(), after=after)


def job_in_book(job: str, where: str | None = None) -> JobShown:
    """What sits where in a job, its bias and outcomes, and where the siblings of its parts are.

    Raises
    ------
    UnusableInput
        Nothing is fitted in a job of that name.
    """
    from partscreen.book.job_shown import job_in_full

    with opened(where) as (_, facts):
        return job_in_full(facts, job, today=date.today())


def entry_in_book(entry: int, where: str | None = None) -> EntryShown:
    """One entry as it stands today, with the fields that `correct_entry` takes.

    Raises
    ------
    UnusableInput
        There is none of that number.
    """
    from partscreen.book.in_full import entry_shown

    with opened(where) as (_, facts):
        return entry_shown(facts, entry)


def find_in_book(text: str, where: str | None = None) -> Found:
    """Parts, lots, jobs, suppliers, types, kits and entries of that name; else those that hold it, else close ones."""
    from partscreen.book.search import find
    from partscreen.book.show import head_fields
    from partscreen.results.bench import Found

    with opened(where) as (_, facts):
        exact, hits, more = find(facts, text)
        return Found(**head_fields(facts), text=text, exact=exact, hits=hits, more=more)


def fetch_file(sha256: str, where: str | None = None, *, out: Path | None = None) -> FileOfBook:
    """A copy of a photo or a raw file, by its hash or the begin of it; written to `out`, where that is given.

    Raises
    ------
    UnusableInput
        The book holds no such file, it was erased, or `out` exists or cannot be written.
    """
    from partscreen.book.notes import kept_file

    with opened(where) as (book, facts):
        ref = kept_file(facts, sha256)
        blob = book.blob(ref.sha256)
    if blob is None:
        what = f"{ref.name or ref.sha256} was erased"
        raise UnusableInput([Problem("BOOK_FILE_GONE", what, "see why: partscreen book show", "HASH")])
    if out is not None:
        try:
            with out.open("xb") as sink:
                sink.write(blob.content)
        except OSError as error:
            raise not_writable(error, out, "name a new file in a folder of yours", what="cannot be written") from error
    return FileOfBook(ref.name or ref.sha256, blob.media_type or "application/octet-stream", blob.content)


def supplier_in_book(supplier: str, where: str | None = None) -> tuple[Shown, Trust]:
    """Lots of a supplier with what became of their parts, and what is known of that supplier alone.

    Raises
    ------
    UnusableInput
        Nothing of that supplier is in the book.
    """
    from partscreen.workflow.after.trust import TrustOptions, weigh_suppliers
    from partscreen.workflow.book.keeping import show_book

    shown = show_book(Asked(supplier=supplier), where)
    return shown, weigh_suppliers(TrustOptions(book=where, history=True, supplier=supplier))
