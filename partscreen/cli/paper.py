"""`partscreen paper lot|refund|labels|record|card|pairs ... --out FILE.pdf`: papers, one command a paper."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partscreen.cli.options import FirstPlace, Outline, References, StickerGrid
from partscreen.cli.paper_power_up import card, pairs

if TYPE_CHECKING:
    from partscreen.workflow import PaperOptions

app = typer.Typer(help="Papers from a result of `screen`, as PDF.", no_args_is_help=True, rich_markup_mode=None)

Result = Annotated[Path, typer.Argument(help="Result of `screen --json` or `--out`.", show_default=False)]
Out = Annotated[Path, typer.Option("--out", help="File to write.", show_default=False)]
LotName = Annotated[str | None, typer.Option("--lot", help="Which lot, where the result holds several.")]
Parts = Annotated[list[str] | None, typer.Option("--part", help="Only this part. May be repeated.")]
On = Annotated[str | None, typer.Option("--on", help="Date on the paper, year-month-day; today if not given.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there.")]


@app.command("lot")
def lot(
    result: Result,
    out: Out,
    lot_name: LotName = None,
    reference: References = None,
    book: Annotated[
        str | None, typer.Option("--book", help="Bench book that holds the lot: its head is printed.")
    ] = None,
    overwrite: Overwrite = False,
) -> None:
    """Lot report: what to do with the lot, its parts, what to measure next, figures, what was not tested."""
    from partscreen.workflow import PaperOptions, paper_lot

    options = PaperOptions(lot=lot_name, references=tuple(reference or ()), book=book, overwrite=overwrite)
    _make(paper_lot, result, out, options)


@app.command("refund")
def refund(
    result: Result,
    out: Out,
    lot_name: LotName = None,
    part: Parts = None,
    language: Annotated[str, typer.Option("--language", help="en, de, es or pt.")] = "en",
    listing: Annotated[
        str | None, typer.Option("--listing", help="Words of the listing the parts were sold by.")
    ] = None,
    photo: Annotated[list[Path] | None, typer.Option("--photo", help="Photo (JPEG, PNG). May be repeated.")] = None,
    on: On = None,
    overwrite: Overwrite = False,
) -> None:
    """Refund sheet: rejected parts with readings, limits and sources, in the supplier's language."""
    from partscreen.workflow import PaperOptions, paper_refund

    options = PaperOptions(
        lot=lot_name, parts=tuple(part or ()), language=language, listing=listing, photos=tuple(photo or ()), on=on,
        overwrite=overwrite,
    )  # fmt: skip
    _make(paper_refund, result, out, options)


@app.command("labels")
def labels(
    result: Result,
    out: Out,
    lot_name: LotName = None,
    part: Parts = None,
    current: Annotated[
        float | None, typer.Option("--current", min=1e-6, help="Collector current of hFE and VBE [A].")
    ] = None,
    match: Annotated[
        Path | None, typer.Option("--match", help="Result of `match --json`: the pair stands on the label.")
    ] = None,
    grid: StickerGrid = None,
    first: FirstPlace = 1,
    outline: Outline = False,
    bag: Annotated[bool, typer.Option("--bag", help="A label for the bag, before those of the parts.")] = False,
    on: On = None,
    overwrite: Overwrite = False,
) -> None:
    """Result labels: part, pair, VBE, hFE, disposition, date, and a QR code of the part's name."""
    from partscreen.workflow import PaperOptions, paper_labels

    options = PaperOptions(
        lot=lot_name, parts=tuple(part or ()), current=current, match=match, grid=grid, first=first, outline=outline,
        bag=bag, on=on, overwrite=overwrite,
    )  # fmt: skip
    _make(paper_labels, result, out, options)


@app.command("record")
def record(
    result: Result,
    out: Out,
    lot_name: LotName = None,
    part: Parts = None,
    customer: Annotated[str | None, typer.Option("--customer", help="For whom.")] = None,
    on: On = None,
    overwrite: Overwrite = False,
) -> None:
    """Test record for a customer: what was tested, and what this plan would not have found."""
    from partscreen.workflow import PaperOptions, paper_record

    options = PaperOptions(lot=lot_name, parts=tuple(part or ()), customer=customer, on=on, overwrite=overwrite)
    _make(paper_record, result, out, options)


@app.command("stock")
def stock(result: Result, out: Out, on: On = None, overwrite: Overwrite = False) -> None:
    """Table for stock systems: one row a lot (CSV), as `screen --stock` writes it."""
    from partscreen.workflow import PaperOptions, paper_stock

    _make(paper_stock, result, out, PaperOptions(on=on, overwrite=overwrite))


app.command("card")(card)
app.command("pairs")(pairs)


def _make(paper: Callable[[Path, Path, PaperOptions], Path], result: Path, out: Path, options: PaperOptions) -> None:
    """Make a paper and say where it is; exit code 3 where something cannot be used."""
    from partscreen.cli.show import exit_with, say
    from partscreen.errors import UnusableInput

    try:
        written = paper(result, out, options)
    except UnusableInput as error:
        exit_with(3, error)
    say(f"written: {written}")
