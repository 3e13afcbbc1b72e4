"""From a bag to numbered parts: stickers, and a sheet to fill in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnknownType, UnusableInput, not_writable
from partscreen.whole_files import kept_by_windows, write_whole
from partscreen.workflow.settings import load_library

if TYPE_CHECKING:
    from partscreen.readings.instruments.kit import Kit
    from partscreen.reference import ReferenceType
    from partscreen.report.papers.form import Sheet
    from partscreen.report.papers.grid import Grid

MOST_PARTS = 9999  # numbers have four digits
_NAME = re.compile(r"[^\W_][\w .()+-]{0,31}$")


@dataclass(frozen=True, slots=True)
class SheetOptions:
    """What the user set for one run of `sheet`.

    `grid`: as text, None for 65 stickers on A4. `first`: place of the first sticker on a page that was begun. `start`:
    first part number. `drawn_from`: pieces in the lot, of which `count` are drawn by lot; `seed` repeats a drawing.
    """

    lot: str
    count: int
    kit: Path | None = None
    supplier: str | None = None
    out: Path | None = None
    grid: str | None = None
    first: int = 1
    start: int = 1
    outline: bool = False
    control: str = "REF"
    drawn_from: int | None = None
    seed: int | None = None
    references: tuple[Path, ...] = ()
    overwrite: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """Files written, and what should be told besides."""

    files: tuple[Path, ...]
    notices: tuple[str, ...] = ()


def write_sheet(type_name: str, options: SheetOptions) -> Written:
    """Stickers (PDF), a sheet for the pen (PDF), the same table as workbooks and CSV, and a lot sheet of one row.

    Raises
    ------
    UnusableInput
        A name, number, grid or kit cannot be used, the stickers do not fit, or a file is there already.
    """
    from partscreen.report.papers.form import Sheet, csv_text, headers, lot_row, sheet_pdf, table, workbook
    from partscreen.report.papers.form_columns import form_of
    from partscreen.report.papers.open_document import ods_table

    grid, kit = _settings(options)
    library = load_library(options.references)
    kind: ReferenceType | None
    notices: list[str] = []
    try:
        kind = library.find(type_name).type
    except UnknownType as unknown:
        kind, notices = None, [str(unknown)]
    numbers, seed = _numbers(options)
    sheet = Sheet(
        lot=options.lot,
        type_name=type_name,
        parts=tuple(f"{options.lot}-T{n:04d}" for n in numbers),
        form=form_of(kind, kit),
        control=options.control,
        supplier=options.supplier,
        polarity=kind.polarity if kind is not None else None,
        kit=kit.name if kit is not None else None,
        drawn=_drawn_words(options, numbers, seed),
    )
    folder = options.out or Path(f"{options.lot}_sheet")
    pieces = options.drawn_from or options.count
    stickers, shortened = stickers_pdf(sheet, grid, first=options.first, outline=options.outline)
    contents = {
        f"{options.lot}_stickers.pdf": stickers,
        f"{options.lot}_sheet.pdf": sheet_pdf(sheet),
        f"{options.lot}.xlsx": workbook(sheet),
        f"{options.lot}.ods": ods_table("readings", [headers(sheet), *table(sheet)]),
        f"{options.lot}.csv": csv_text(sheet).encode("utf-8-sig"),
        f"{options.lot}_lot.csv": lot_row(sheet, [("count", str(pieces))]).encode("utf-8-sig"),
    }
    written = write_all({folder / name: content for name, content in contents.items()}, overwrite=options.overwrite)
    return Written(written, (*notices, *shortened, *sheet.form.notes, *([sheet.drawn] if sheet.drawn else [])))


def stickers_pdf(sheet: Sheet, grid: Grid, *, first: int = 1, outline: bool = False) -> tuple[bytes, list[str]]:
    """The stickers of a sheet's parts and, last, of its control piece, each with a QR code of the name; and notices.

    A long supplier is shortened, and told; the name of a part never is.

    Raises
    ------
    UnusableInput
        They do not fit the grid.
    """
    from partscreen.report.papers.sticker_pages import Sticker, letters_that_fit, sticker_pages

    supplier, notices = sheet.supplier or "", []
    fitting = max(letters_that_fit(grid), 8)
    if len(supplier) > fitting:
        supplier = supplier[: fitting - 1].rstrip() + "…"
        notices.append(f"the supplier is shortened on the stickers, to {supplier!r}; the sheet has the whole name")
    told = [sheet.type_name, *([supplier] if supplier else [])]
    stickers = [Sticker(part, (part, *told)) for part in sheet.parts]
    stickers.append(Sticker(sheet.control, (sheet.control, "control piece", f"lot {sheet.lot}")))
    title = f"Stickers of lot {sheet.lot}"
    return sticker_pages(stickers, grid, title=title, first=first, outline=outline), notices


def _settings(options: SheetOptions) -> tuple[Grid, Kit | None]:
    """Grid and kit; problems of all settings are told at once."""
    from partscreen.readings.instruments.kit import load_kit
    from partscreen.report.papers.grid import DEFAULT_GRID, parse_grid

    problems = [*_names(options), *_counts(options)]
    grid, kit = DEFAULT_GRID, None
    try:
        grid = parse_grid(options.grid) if options.grid else DEFAULT_GRID
    except UnusableInput as error:
        problems += error.problems
    try:
        kit = load_kit(options.kit) if options.kit else None
    except UnusableInput as error:
        problems += error.problems
    if problems:
        raise UnusableInput(problems)
    return grid, kit


def _names(options: SheetOptions) -> list[Problem]:
    found = []
    for option, name in (("--lot", options.lot), ("--control", options.control)):
        if not _NAME.match(name) or name.endswith((" ", ".")) or kept_by_windows(name):
            what = f"{name!r} cannot stand on stickers and in file names"
            fix = "use letters, digits, space, - . _ + ( ), at most 32, a letter or digit first"
            found.append(Problem("SHEET_NAME", what, fix, option))
    return found


def _counts(options: SheetOptions) -> list[Problem]:
    found = []
    last = options.drawn_from or options.start + options.count - 1
    if options.count < 1 or options.start < 1 or last > MOST_PARTS:
        what = f"part numbers {options.start} to {last} cannot be"
        found.append(Problem("SHEET_COUNT", what, f"numbers go from 1 to {MOST_PARTS}", "--count"))
    if options.drawn_from is not None and options.drawn_from < options.count:
        what = f"{options.count} parts cannot be drawn from {options.drawn_from}"
        found.append(Problem("SHEET_COUNT", what, "draw fewer, or put --from right", "--from"))
    return found


def _numbers(options: SheetOptions) -> tuple[list[int], int | None]:
    """Part numbers in rising order; the seed they were drawn with, None where all parts are read."""
    from partscreen.lots.draw import draw_pieces, new_seed

    if options.drawn_from is None:
        return list(range(options.start, options.start + options.count)), None
    seed = options.seed if options.seed is not None else new_seed()
    return draw_pieces(options.drawn_from, options.count, seed), seed


def _drawn_words(options: SheetOptions, numbers: list[int], seed: int | None) -> str:
    if seed is None:
        return ""
    return (
        f"Count the {options.drawn_from} pieces of the lot as they lie and take these {options.count}, drawn by lot "
        f"(seed {seed}): {', '.join(map(str, numbers))}."
    )


def write_all(contents: dict[Path, bytes], *, overwrite: bool) -> tuple[Path, ...]:
    """Write files; none is replaced unasked, for it may be filled in.

    Raises
    ------
    UnusableInput
        A file is there already, or a place cannot be written to; then nothing was written.
    """
    there = [path for path in contents if path.exists()]
    if there and not overwrite:
        fix = "name another place, move it away, or add --overwrite; nothing was written"
        raise UnusableInput(
            [Problem("FILE_EXISTS", "is there already and may be filled in", fix, str(p)) for p in there]
        )
    try:
        for path, content in contents.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, content)
    except OSError as error:
        raise not_writable(error, error.filename or "") from error
    return tuple(contents)
