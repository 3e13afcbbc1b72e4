"""Pages of stickers: a QR code of the name and a few lines beside it, laid on a grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from partscreen.errors import Problem, UnusableInput
from partscreen.report.papers.fonts import readable
from partscreen.report.papers.grid import Grid
from partscreen.report.papers.press import press
from partscreen.report.papers.qr import qr_svg
from partscreen.report.papers.visible import visible

PAD = (
    1.2  # [mm] between edge of a sticker and ink; sheets are cut, and printers feed, to about a millimetre (assumption)
)
LEAST_MODULE = 0.25  # [mm] of a QR module that office printers and telephone cameras manage (assumption)
LARGEST_QR = 16.0  # [mm]
QR_SHARE = 0.38  # of a sticker's width
LEAST_POINTS, LARGEST_POINTS = 4.5, 11.0  # size of letters [pt]; smaller cannot be read at arm's length (assumption)
GOOD_POINTS = 6.5  # [pt] read without effort (assumption)
MM_PER_POINT = 25.4 / 72.0
ADVANCE = 0.6021  # width of a letter of DejaVu Sans Mono over its size (its font file: 1233 of 2048)
LEADING = 1.22


@dataclass(frozen=True, slots=True)
class Sticker:
    """`code`: what the QR code says; `lines`: the first is set bold; `shape`: of a disposition, before the last."""

    code: str
    lines: tuple[str, ...]
    shape: str | None = None


def sticker_pages(
    stickers: Sequence[Sticker], grid: Grid, *, title: str, first: int = 1, outline: bool = False
) -> bytes:
    """The PDF of all stickers.

    Parameters
    ----------
    first : place of the first sticker on the first page, counted from 1 along the rows (a page that was begun)
    outline : draw the edges, for paper that is cut by hand

    Raises
    ------
    UnusableInput
        Text or code do not fit the sticker.
    """
    if not 1 <= first <= grid.per_page:
        what = f"the page has {grid.per_page} places, the first sticker cannot stand on place {first}"
        raise UnusableInput(
            [Problem("STICKERS_DO_NOT_FIT", what, f"give a place from 1 to {grid.per_page}", "--first")]
        )
    codes = [_code(one) for one in stickers]
    side = min(LARGEST_QR, grid.height - 2 * PAD, QR_SHARE * grid.width)
    modules = max(n for _, n in codes)
    if side / modules < LEAST_MODULE:
        what = (
            f"stickers of {grid.width:g} x {grid.height:g} mm leave {max(side, 0):.1f} mm for a QR code of {modules} "
            "modules; it would not be read"
        )
        least = modules * LEAST_MODULE
        fix = (
            f"take stickers at least {least / QR_SHARE:.1f} mm wide and {least + 2 * PAD:.1f} mm high, or shorter names"
        )
        raise UnusableInput([Problem("STICKERS_DO_NOT_FIT", what, fix, "--grid")])
    size = _letters(stickers, grid, side)
    pictures = {f"qr{i}.svg": svg for i, (svg, _) in enumerate(codes)}
    cells = [_cell(one, i, i + first - 1, grid) for i, one in enumerate(stickers)]
    pages = [[c for c in cells if c["page"] == page] for page in range(cells[-1]["page"] + 1)]
    data = {
        "title": title, "pages": pages, "width": grid.width, "height": grid.height, "page_width": grid.page_width,
        "page_height": grid.page_height, "side": side, "pad": PAD, "size": size, "outline": outline, "leading": LEADING,
    }  # fmt: skip
    return press("stickers", data, pictures)


def letters_that_fit(grid: Grid, points: float = GOOD_POINTS) -> int:
    """Letters of a line beside the code that can be read well."""
    side = min(LARGEST_QR, grid.height - 2 * PAD, QR_SHARE * grid.width)
    return int((grid.width - 3 * PAD - side) / (points * ADVANCE * MM_PER_POINT))


def _code(one: Sticker) -> tuple[bytes, int]:
    try:
        return qr_svg(one.code)
    except ValueError as error:
        raise UnusableInput([Problem("QR", f"{one.code[:60]!r} {error}", "shorten the name", part=one.code)]) from None


def _letters(stickers: Sequence[Sticker], grid: Grid, side: float) -> float:
    """Size of the letters [pt], one for all stickers."""
    room = grid.width - 3 * PAD - side
    wide = {_shown(line): len(_shown(line)) + (2 if one.shape and i == len(one.lines) - 1 else 0)
            for one in stickers for i, line in enumerate(one.lines)}  # fmt: skip
    longest = max(wide, key=lambda line: wide[line])
    letters = max(wide[longest], 1)
    lines = max(len(one.lines) for one in stickers)
    by_width = room / (letters * ADVANCE) / MM_PER_POINT
    by_height = (grid.height - 2 * PAD) / (lines * LEADING) / MM_PER_POINT
    size = min(LARGEST_POINTS, by_width, by_height)
    if size < LEAST_POINTS:
        tight = f"{longest[:40]!r} ({len(longest)} letters)" if by_width < by_height else f"{lines} lines"
        what = (
            f"{tight} beside the QR code would need letters of {max(size, 0):.1f} pt on stickers of {grid.width:g} x "
            f"{grid.height:g} mm; below {LEAST_POINTS:g} pt nobody reads them"
        )
        raise UnusableInput([Problem("STICKERS_DO_NOT_FIT", what, "take larger stickers or shorter names", "--grid")])
    return round(size - 0.05, 1)


def _shown(line: str) -> str:
    return readable(visible(line)).replace("\N{ZERO WIDTH SPACE}", "")


def _cell(one: Sticker, number: int, at: int, grid: Grid) -> dict[str, Any]:
    x, y = grid.place(at)
    return {
        "page": at // grid.per_page, "x": x, "y": y, "qr": f"qr{number}.svg", "lines": list(one.lines),
        "shape": one.shape,
    }  # fmt: skip
