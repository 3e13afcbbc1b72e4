"""Papers from a result: lot report, refund sheet, labels, test record. One function a paper."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput
from partscreen.workflow.saved import load_matching, load_screening
from partscreen.workflow.settings import load_library
from partscreen.workflow.typed.sheet import write_all

if TYPE_CHECKING:
    from partscreen.results import LotResult


@dataclass(frozen=True, slots=True)
class PaperOptions:
    """What papers have in common, and what only some of them use.

    `lot`: needed where the result holds several. `on`: date on the paper, year-month-day; None: today. `book`: place
    of the bench book that tells where the lot stands ("" for the default one), None: not looked up. `current`: of hFE
    and VBE on labels [A]. `bag`: a label for the bag too. `match`: a result of `match`, for the pair on labels.
    """

    lot: str | None = None
    parts: tuple[str, ...] = ()
    language: str = "en"
    on: str | None = None
    listing: str | None = None
    customer: str | None = None
    photos: tuple[Path, ...] = ()
    references: tuple[Path, ...] = ()
    book: str | None = None
    grid: str | None = None
    first: int = 1
    outline: bool = False
    bag: bool = False
    current: float | None = None
    match: Path | None = None
    overwrite: bool = False


def paper_lot(result: Path, out: Path, options: PaperOptions) -> Path:
    """The lot report.

    Raises
    ------
    UnusableInput
        Result, lot, reference file or book cannot be used, or the place cannot be written to; so for every paper.
    """
    from partscreen.report.papers.chosen import pick_lot
    from partscreen.report.papers.lot import lot_pdf

    screening = load_screening(result)
    recorded = ""
    if options.book is not None:
        recorded = _where_recorded(pick_lot(screening, options.lot), options.book or None)
    made = lot_pdf(screening, options.lot, load_library(options.references), recorded=recorded)
    return _written(out, made, options)


def paper_refund(result: Path, out: Path, options: PaperOptions) -> Path:
    """The refund sheet, in the supplier's language."""
    from partscreen.report.papers.photos import load_photos
    from partscreen.report.papers.refund import RefundOptions, refund_pdf

    screening = load_screening(result)
    chosen = RefundOptions(options.language, options.parts, options.listing, _day(options.on))
    made = refund_pdf(screening, options.lot, replace(chosen, photos=tuple(load_photos(options.photos))))
    return _written(out, made, options)


def paper_labels(result: Path, out: Path, options: PaperOptions) -> Path:
    """Result labels on a grid of stickers."""
    from partscreen.report.papers.grid import DEFAULT_GRID, parse_grid
    from partscreen.report.papers.labels import LabelOptions, labels_pdf

    current = options.current
    if current is not None and not 0.0 < current < float("inf"):
        what = f"{current:g} A is no collector current"
        raise UnusableInput([Problem("PAPER_CURRENT", what, "give amperes above 0", "--current")])
    screening = load_screening(result)
    chosen = LabelOptions(
        parts=options.parts,
        current=current,
        matching=load_matching(options.match) if options.match else None,
        day=_day(options.on),
        grid=parse_grid(options.grid) if options.grid else DEFAULT_GRID,
        first=options.first,
        outline=options.outline,
        bag=options.bag,
    )
    return _written(out, labels_pdf(screening, options.lot, chosen), options)


def paper_record(result: Path, out: Path, options: PaperOptions) -> Path:
    """The test record for a customer."""
    from partscreen.report.papers.record import RecordOptions, record_pdf

    screening = load_screening(result)
    chosen = RecordOptions(options.parts, options.customer, _day(options.on))
    return _written(out, record_pdf(screening, options.lot, chosen), options)


def paper_stock(result: Path, out: Path, options: PaperOptions) -> Path:
    """One row a lot for stock systems (CSV); all lots of the result."""
    from partscreen.report.stock_table import stock_text

    made = stock_text(load_screening(result), date.fromisoformat(_day(options.on)))
    return _written(out, made.encode("utf-8"), options)


def _day(on: str | None) -> str:
    if on is None:
        return date.today().isoformat()
    try:
        return date.fromisoformat(on).isoformat()
    except ValueError:
        problem = Problem("PAPER_DATE", f"{on!r} is no date", "write it as year-month-day, 2026-03-31", "--on")
        raise UnusableInput([problem]) from None


def _written(out: Path, content: bytes, options: PaperOptions) -> Path:
    return write_all({out: content}, overwrite=options.overwrite)[0]


def _where_recorded(lot: LotResult, where: str | None) -> str:
    """Entry and head of the book in which the lot stands.

    Raises
    ------
    UnusableInput
        The book cannot be read, or does not hold the lot.
    """
    from partscreen.workflow.book.common import Asked
    from partscreen.workflow.book.keeping import show_book

    shown = show_book(Asked(lot=lot.lot, supplier=lot.supplier), where)
    entries = [line.entry for line in shown.lots if line.lot == lot.lot]
    entry = f"lot in entry {max(entries)}, " if entries else ""
    return f"Bench book: {entry}{shown.entries} entries, head {shown.head}"
