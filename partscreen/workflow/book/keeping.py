"""What the bench book holds, whether it is unchanged, and copies of it."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.results.book import Finding, KitOverdue, LotOverdue, Overdue, Recorded, Shown, Verified, Where
from partscreen.workflow.book.common import Asked, answer, opened, place_of

if TYPE_CHECKING:
    from partscreen.book.facts import Facts


def show_book(asked: Asked, where: str | None = None) -> Shown:
    """What the book holds of a part, a lot, a supplier, a type or a job; of nothing asked: every lot on a line.

    Raises
    ------
    UnusableInput
        Nothing of that name is in the book, or the name has several meanings.
    """
    from partscreen.book import show
    from partscreen.book.places import PartRef

    with opened(where) as (_, facts):
        place = place_of(facts, asked)
        if place is not None:
            return show.show_part(facts, place) if isinstance(place, PartRef) else show.show_lot(facts, place)
        if asked.job is not None:
            return show.show_job(facts, asked.job)
        if asked.supplier is not None:
            return show.show_supplier(facts, asked.supplier)
        if asked.type_name is not None:
            return show.show_type(facts, asked.type_name)
        return show.show_all(facts)


def where_is(lot: str, supplier: str | None = None, where: str | None = None) -> Where:
    """Every job that holds a part of a lot, and what is left in the drawer.

    Raises
    ------
    UnusableInput
        The lot is not in the book, or two suppliers sold one of that name.
    """
    from partscreen.book.places import find_lot
    from partscreen.book.show import where_lot

    with opened(where) as (_, facts):
        return where_lot(facts, find_lot(facts, lot, supplier))


def kits_due(within: int, where: str | None = None) -> Overdue:
    """Kits whose last good check is more than `within` days ago, and the lots judged with them since."""
    from partscreen.book.notes import kit_names
    from partscreen.book.show import head_fields

    with opened(where) as (_, facts):
        kits = overdue_kits(facts, within, date.today())
        return Overdue(**head_fields(facts), within_days=within, kits=kits, known=kit_names(facts))


def overdue_kits(facts: Facts, within: int, today: date) -> list[KitOverdue]:
    """As `kits_due`, of a book that is open."""
    from partscreen.book.notes import kits_overdue

    return [
        KitOverdue(
            kit=one.kit,
            last_good=one.last_good.isoformat() if one.last_good else None,
            from_file=one.from_file,
            bad_since=one.bad_since.isoformat() if one.bad_since else None,
            days=one.days,
            lots=[
                LotOverdue(lot=lot.lot, supplier=lot.supplier, type=lot.type, judged_on=day, entry=entry)
                for lot, day, entry in one.lots
            ],
        )
        for one in kits_overdue(facts, within=within, today=today)
    ]


def erase_photo(sha256: str, why: str | None, where: str | None = None) -> Recorded:
    """Take a photo's content away for good and leave a tombstone.

    Raises
    ------
    UnusableInput
        No reason, or no such photo.
    """
    from partscreen.book.checks_typed import required
    from partscreen.book.notes import photo_hash

    required({"--why": why})
    with opened(where) as (book, facts):
        entry = book.erase_blob(photo_hash(facts, sha256), why or "")
        return answer(book, [entry])


def book_place(where: str | None = None) -> tuple[str, bool]:
    """Where the book is, without any password, and whether there is one (of a server that is not asked: yes).

    Raises
    ------
    UnusableInput
        The place cannot be understood.
    """
    from partscreen.book.urls import find_place

    place = find_place(where)
    return str(place), place.path is None or place.path.exists()


def verify_book(head: str | None = None, where: str | None = None) -> Verified:
    """Whether anything in the book was changed, cut or rewritten; with a printed head, whether it is in the chain."""
    from partscreen.book.store import Book

    with Book.open(where, create=False) as book:
        told = book.verify(head)
        return Verified(
            book=str(book.place),
            entries=told.entries,
            head=told.head.hash,
            unchanged=told.ok,
            head_asked=told.head_asked,
            head_found=told.head_found,
            findings=[Finding(entry=one.seq, what=one.what) for one in told.findings],
            more_findings=told.more_findings,
        )


def backup_book(to: Path, where: str | None = None) -> Recorded:
    """Copy the book to a new file."""
    from partscreen.book.store import Book

    with Book.open(where, create=False) as book:
        head = book.backup(to)

        return Recorded(book=str(to), entries=head.seq, head=head.hash)


def restore_book(copy: Path, where: str | None = None) -> Recorded:
    """Make a book of a copy, where there is none yet; the copy is verified first, and every entry must be readable.

    Raises
    ------
    UnusableInput
        There is a book already, or the copy is damaged; nothing was written then.
    """
    from partscreen.book.facts import refuse_unreadable
    from partscreen.book.store import Book

    with Book.restore(copy, where, look=refuse_unreadable) as book:
        head = book.head()
        return Recorded(book=str(book.place), entries=head.seq, head=head.hash)
