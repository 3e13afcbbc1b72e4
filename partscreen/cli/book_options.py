"""Options that several commands of `partscreen book` share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

BookPlace = Annotated[
    str | None,
    typer.Option(
        "--book",
        metavar="PLACE",
        help="File of the book, or postgresql://USER@HOST/DATABASE. Default: PARTSCREEN_BOOK, else your data folder.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Write JSON to standard output.")]
Part = Annotated[str | None, typer.Option("--part", help="Number of the part, as on its sticker.")]
ThePart = Annotated[str, typer.Option("--part", help="Number of the part, as on its sticker.")]  # asked for
Lot = Annotated[str | None, typer.Option("--lot", help="Name of the lot.")]
Supplier = Annotated[
    str | None, typer.Option("--supplier", help="Supplier, where two sold lots of one name; or everything from one.")
]
TypeName = Annotated[str | None, typer.Option("--type", help="Type number, as the lot is marked.")]
Job = Annotated[str | None, typer.Option("--job", help="Your reference of the job: the amplifier, the repair.")]
TheJob = Annotated[
    str, typer.Option("--job", help="Your reference of the job: the amplifier, the repair.")
]  # asked for
Position = Annotated[str | None, typer.Option("--position", help="Where in the circuit, say Q12.")]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who did it, or decided.")]
On = Annotated[
    str | None, typer.Option("--on", metavar="DATE", help="Day, as year-month-day; today if not given.")
]  # fmt: skip
Note = Annotated[str | None, typer.Option("--note", help="What else should be known.")]
ReasonText = Annotated[str | None, typer.Option("--reason", help="Why. Required.")]
Photos = Annotated[list[Path] | None, typer.Option("--photo", help="A picture. May be repeated.")]
