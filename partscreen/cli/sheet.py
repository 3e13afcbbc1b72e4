"""`partscreen sheet TYPE --lot A1 --count 20`: stickers, and a sheet to fill in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import BagName, FirstNumber, FirstPlace, KitThatAsks, Outline, References, StickerGrid


def sheet(
    type_name: Annotated[str, typer.Argument(metavar="TYPE", help="Type number, as marked.", show_default=False)],
    lot: BagName,
    count: Annotated[int, typer.Option("--count", help="How many parts to number.", show_default=False)],
    kit: KitThatAsks = None,
    supplier: Annotated[str | None, typer.Option("--supplier", help="Printed on stickers and sheet.")] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Folder for the files; LOT_sheet if not given.")] = None,
    grid: StickerGrid = None,
    first: FirstPlace = 1,
    start: FirstNumber = 1,
    outline: Outline = False,
    control: Annotated[str, typer.Option("--control", help="Name of the control piece.")] = "REF",
    drawn_from: Annotated[
        int | None, typer.Option("--from", help="Pieces in the lot: draw the --count parts by lot.")
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", min=0, help="With --from: repeats a drawing.")] = None,
    reference: References = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace files that are there.")] = False,
) -> None:
    """Number the parts of a bag and print what to read: stickers, paper, workbook and CSV.

    Exit codes: 0 done; 3 something cannot be used; 2 usage.
    """
    from partscreen.cli.show import exit_with, say
    from partscreen.errors import UnusableInput
    from partscreen.workflow import SheetOptions, write_sheet

    options = SheetOptions(
        lot=lot, count=count, kit=kit, supplier=supplier, out=out, grid=grid, first=first, start=start,
        outline=outline, control=control, drawn_from=drawn_from, seed=seed, references=tuple(reference or ()),
        overwrite=overwrite,
    )  # fmt: skip
    try:
        made = write_sheet(type_name, options)
    except UnusableInput as error:
        exit_with(3, error)
    for note in made.notices:
        say(f"note: {note}")
    for path in made.files:
        say(f"written: {path}")
