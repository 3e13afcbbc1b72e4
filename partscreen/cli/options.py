"""Options that several commands share; those of `partscreen book` stand in `book_options.py`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

AsJson = Annotated[bool, typer.Option("--json", help="Write the result as JSON to standard output.")]
JsonFile = Annotated[
    str | None, typer.Option("--json", metavar="OUT.json", help='Write the result as JSON; "-" to stdout.')
]
References = Annotated[
    list[Path] | None,
    typer.Option("--reference", help="Reference file of a type (TOML); goes before the library. May be repeated."),
]
PriorShare = Annotated[
    float,
    typer.Option(
        "--prior-share", min=1e-6, max=0.999, help="Share of unfit parts expected before any reading (assumption 0.1)."
    ),
]
CaseTemperature = Annotated[
    float | None, typer.Option("--temperature", help="Case temperature in degC where the files do not state it.")
]

# A bag whose parts are to be numbered and typed in.
BagName = Annotated[str, typer.Option("--lot", help="Name of the bag; part names begin with it.", show_default=False)]
KitThatAsks = Annotated[Path | None, typer.Option("--kit", help="Your instruments (TOML): they decide what is asked.")]
FirstNumber = Annotated[int, typer.Option("--start", help="First part number.")]

# Stickers on a page.
StickerGrid = Annotated[
    str | None,
    typer.Option("--grid", help='Stickers: "38.1x21.2 mm, 5x13, margins 10.7/4.7, gaps 2.5/0" (the default).'),
]
FirstPlace = Annotated[int, typer.Option("--first", help="First free place on a page that was begun.")]
Outline = Annotated[bool, typer.Option("--outline", help="Draw the edges, to cut plain paper.")]
