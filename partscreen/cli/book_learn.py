"""`partscreen book learn`: spreads of parts and lots from what the book holds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partscreen.cli.book_options import BookPlace

if TYPE_CHECKING:
    from partscreen.reference.learned import LearnedFigure, LearnedSpreads


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

    try:
        learned = learn_from_book(book, out=out, progress=progress_line())
    except UnusableInput as error:
        exit_with(3, error)
    if learned is None:
        say("nothing to learn from: no lot in the book has three parts that may be as marked, of a type in the library")
        raise typer.Exit(3)
    typer.echo(told(learned))
    say(f"written: {out}")


def told(learned: LearnedSpreads) -> str:
    """What was learned, one parameter a line."""
    lines = [
        f"Learned from {learned.parts} parts of {learned.lots} lots: {', '.join(learned.types)}",
        "Standard deviations, of natural logarithms except qs [V]; in brackets 95 % interval, default, lots behind it",
    ]
    for name, within in learned.within.items():
        between = learned.between[name]
        if within.lots or between.lots:
            lines.append(f"  {name:5} within a lot {_figure(within)}; between lots {_figure(between)}")
    for name, centre in learned.centres.items():
        lines.append(f"  centre of {name}: from {centre.parts} parts of {centre.lots} known-good lots")
    return "\n".join(lines)


def _figure(of: LearnedFigure) -> str:
    if not of.lots:
        return f"{of.default:.3g} (default, not seen)"
    held = ", held at 0.8 of it" if of.held else ""
    return f"{of.value:.3g} ({of.low:.3g} to {of.high:.3g}; default {of.default:.3g}{held}; {of.lots} lots)"
