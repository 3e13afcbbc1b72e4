"""`partscreen trust`: which supplier to trust."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import AsJson


def trust(
    book: Annotated[
        str | None, typer.Option("--book", metavar="URL", help="Bench book: file or URL. Left out: your own book.")
    ] = None,
    results: Annotated[
        list[Path] | None,
        typer.Option("--from", metavar="RESULT.json", help="Saved results of screen, in place of a book; repeatable."),
    ] = None,
    half_life: Annotated[
        float | None, typer.Option("--half-life", metavar="DAYS", help="A lot counts half after so long (730).")
    ] = None,
    tolerable: Annotated[
        float | None, typer.Option("--tolerable", metavar="SHARE", help="Share of unfit parts you tolerate (0.1).")
    ] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="Age lots to this day, 2026-01-31. Left out: today.")
    ] = None,
    supplier: Annotated[str | None, typer.Option("--supplier", metavar="NAME", help="Of this supplier alone.")] = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", metavar="OUT.svg", help="Draw shares over time into this file.")
    ] = None,
    figures: Annotated[
        Path | None, typer.Option("--figures", help="Draw one figure a supplier into this folder: SVG, PNG and PDF.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Say what your own lots and jobs tell of each supplier. Private, not for publication.

    Suppliers come in the order of the share of unfit parts to expect, with intervals, and what would change it. Exit
    codes: 0 done; 3 a file, book or setting could not be used; 2 usage.
    """
    from partscreen.cli.show import exit_with, say, say_drawn
    from partscreen.errors import PartscreenError
    from partscreen.report.trust_text import trust_lines
    from partscreen.workflow import draw_figures
    from partscreen.workflow.after.trust import TrustOptions, weigh_suppliers, write_trust_figure

    history = True if figure is not None or figures is not None else None
    options = TrustOptions(book, tuple(results or ()), half_life, tolerable, as_of, history, supplier)
    try:
        result = weigh_suppliers(options)
        if figure is not None:
            write_trust_figure(result, figure)
        drawn = draw_figures(result, figures) if figures is not None else []
    except PartscreenError as error:
        exit_with(3, error)
    typer.echo(result.model_dump_json(by_alias=True) if json else "\n".join(trust_lines(result)))
    if figure is not None:
        say(f"written: {figure}")
    say_drawn(drawn)
