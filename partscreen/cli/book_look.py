"""`partscreen book day|job|find|entry|fetch`: what waits, and looking something up."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.book_options import AsJson, BookPlace


def day(
    within: Annotated[int, typer.Option("--within", min=0, help="Days a good check of the instruments holds.")] = 365,
    after: Annotated[
        int, typer.Option("--after", min=0, help="Days after which the outcome of a fitted part should be told.")
    ] = 30,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Tell what waits: held parts with their next measurement, open lots and jobs, and what is overdue."""
    from partscreen.cli.book_show import answered
    from partscreen.cli.book_show_look import show_day
    from partscreen.workflow import day_list

    answered(lambda: day_list(within, after, book), json=json, show=show_day)


def job(
    name: Annotated[
        str | None, typer.Argument(metavar="JOB", help="Your reference of the job; left out: every job.")
    ] = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Show a job for the day it comes back: what sits where, bias, outcomes, siblings elsewhere and in the drawer."""
    from partscreen.cli.book_show import answered
    from partscreen.cli.book_show_look import show_job, show_jobs
    from partscreen.workflow import job_in_book, list_jobs

    if name is None:
        answered(lambda: list_jobs(where=book), json=json, show=show_jobs)
        return
    wanted = name
    answered(lambda: job_in_book(wanted, book), json=json, show=show_job)


def find(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What stands on a sticker, a bag or a job sheet.")],
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Find parts, lots, jobs, suppliers, types and kits by name; close names where there is none."""
    from partscreen.cli.book_show import answered
    from partscreen.cli.book_show_look import show_found
    from partscreen.workflow import find_in_book

    answered(lambda: find_in_book(text, book), json=json, show=show_found)


def entry(
    number: Annotated[int, typer.Argument(metavar="ENTRY", help="Number of the entry.")],
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Show one entry with its fields, as `correct` takes them."""
    from partscreen.cli.book_show import answered
    from partscreen.cli.book_show_look import show_entry
    from partscreen.workflow import entry_in_book

    answered(lambda: entry_in_book(number, book), json=json, show=show_entry)


def fetch(
    file: Annotated[str, typer.Argument(metavar="HASH", help="Hash of a photo or raw file, or its first digits.")],
    out: Annotated[Path, typer.Option("--out", help="New file for the copy.", show_default=False)],
    book: BookPlace = None,
) -> None:
    """Write a copy of a photo or a raw file of the book. The book keeps its own."""
    from partscreen.cli.book_show import plain
    from partscreen.cli.show import exit_with, say
    from partscreen.errors import PartscreenError
    from partscreen.workflow import fetch_file

    try:
        found = fetch_file(file, book, out=out)
    except PartscreenError as error:
        exit_with(3, error)
    say(plain(f"written: {out} ({found.name}, {len(found.content)} bytes)"))
