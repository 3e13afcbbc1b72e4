"""`partscreen book learn`: spreads of parts and lots from what the book holds."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.book_options import BookPlace


def learn(
    out: Annotated[Path, typer.Option("--out", help="File of learned spreads to write (TOML).", show_default=False)],
    book: BookPlace = None,
) -> None:
    """Learn how far parts lie from their lot and lots from their type, for `screen --spreads`.

    Exit codes: 0 done; 3 the book, or the file, could not be used; 2 usage.
    """
    from partscreen.cli.show import exit_with, progress_line, say
    from partscreen.errors import UnusableInput
    from partscreen.workflow import learn_from_book
    from partscreen.workflow.judge.learned_words import learned_lines

    try:
        learned = learn_from_book(book, out=out, progress=progress_line())
    except UnusableInput as error:
        exit_with(3, error)
    if learned is None:
        say("nothing to learn from: no lot in the book has three parts that may be as marked, of a type in the library")
        raise typer.Exit(3)
    typer.echo("\n".join(learned_lines(learned)))
    say(f"written: {out}")
