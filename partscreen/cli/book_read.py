"""`partscreen book show|where|overdue|verify|backup|restore|export|rescreen`: what the book holds, and copies of it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.book_options import AsJson, BookPlace, Job, Lot, Part, Supplier, TypeName


def show(
    part: Part = None,
    lot: Lot = None,
    supplier: Supplier = None,
    type_name: TypeName = None,
    job: Job = None,
    full: Annotated[
        bool, typer.Option("--full", help="Of a part or a lot: readings, reasons, lot sheet and raw files too.")
    ] = False,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Show what the book holds of a part, a lot, a supplier, a type or a job; without any: every lot."""
    from partscreen.cli.book_show import answered, show_shown
    from partscreen.workflow import Asked, show_book

    asked = Asked(part=part, lot=lot, supplier=supplier, type_name=type_name, job=job)
    if full:
        from partscreen.cli.book_show_look import show_full
        from partscreen.workflow import show_in_full

        answered(lambda: show_in_full(asked, book).shown, json=json, show=show_full)
        return
    answered(lambda: show_book(asked, book), json=json, show=show_shown)


def where(
    lot: Annotated[str, typer.Option("--lot", help="Name of the lot.")],
    supplier: Supplier = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Name every job that holds a part of a lot, and what is left in the drawer."""
    from partscreen.cli.book_show import answered, show_where
    from partscreen.workflow import where_is

    answered(lambda: where_is(lot, supplier, book), json=json, show=show_where)


def overdue(
    within: Annotated[
        int, typer.Option("--within", min=0, help="Days a good check holds (365: a habit, no rule; set your own).")
    ] = 365,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """List kits that are due for a check, and the lots judged with them since the last good one."""
    from partscreen.cli.book_show import answered, show_overdue
    from partscreen.workflow import kits_due

    answered(lambda: kits_due(within, book), json=json, show=show_overdue)


def verify(
    head: Annotated[
        str | None, typer.Option("--head", metavar="HASH", help="A head printed earlier: is it in the chain?")
    ] = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Find any change, cut or rewrite of the book. Exit codes: 0 unchanged; 4 changed; 3 the book cannot be read."""
    from partscreen.cli.book_show import answered, show_verified
    from partscreen.workflow import verify_book

    answer = answered(lambda: verify_book(head, book), json=json, show=show_verified)
    raise typer.Exit(0 if answer.unchanged else 4)


def backup(
    to: Annotated[Path, typer.Argument(metavar="FILE", help="New file for the copy.", show_default=False)],
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Copy the whole book to a new file, also while others write to it."""
    from partscreen.cli.book_show import answered, show_recorded
    from partscreen.workflow import backup_book

    answered(lambda: backup_book(to, book), json=json, show=show_recorded)


def restore(
    copy: Annotated[Path, typer.Argument(metavar="FILE", help="A copy that `backup` wrote.", show_default=False)],
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Make a book of a copy, where there is none yet. The copy is verified first."""
    from partscreen.cli.book_show import answered, show_recorded
    from partscreen.workflow import restore_book

    answered(lambda: restore_book(copy, book), json=json, show=show_recorded)


def export(
    out: Annotated[Path, typer.Option("--out", help="New or empty folder for the tables.", show_default=False)],
    form: Annotated[
        str, typer.Option("--format", help="csv, json, parquet, or package (CSV with a datapackage.json).")
    ] = "csv",
    without_names: Annotated[
        bool, typer.Option("--without-names", help="Leave out people, suppliers, jobs, lot names and every free text.")
    ] = False,
    lot: Lot = None,
    supplier: Supplier = None,
    type_name: TypeName = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Write the book as tables, for spreadsheets and other programs."""
    from partscreen.cli.book_show import answered, show_exported
    from partscreen.workflow import Asked, export_book

    asked = Asked(lot=lot, supplier=supplier, type_name=type_name)
    answered(
        lambda: export_book(out, form, asked, without_names=without_names, where=book), json=json, show=show_exported
    )  # fmt: skip


def rescreen(
    lot: Lot = None,
    supplier: Supplier = None,
    type_name: TypeName = None,
    every: Annotated[bool, typer.Option("--all", help="Every lot of the book.")] = False,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Judge old readings again with the present program and library, and say what changed per part.

    New entries are written, nothing is overwritten. Corrected readings count. Exit code 3: some could not be judged.
    """
    from partscreen.cli.book_show import answered, show_rescreened
    from partscreen.cli.show import progress_line
    from partscreen.workflow import Asked
    from partscreen.workflow import rescreen as ask

    asked = Asked(lot=lot, supplier=supplier, type_name=type_name)
    answer = answered(
        lambda: ask(asked, every=every, where=book, progress=progress_line()), json=json, show=show_rescreened
    )  # fmt: skip
    raise typer.Exit(3 if answer.not_done else 0)
