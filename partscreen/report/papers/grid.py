"""The grid of a sheet of stickers, in millimetres, as a person writes it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from partscreen.errors import Problem, UnusableInput

EXAMPLE = "38.1x21.2 mm, 5x13, margins 10.7/4.7, gaps 2.5/0"
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_SIZE = re.compile(rf"{_NUMBER}\s*[x×]\s*{_NUMBER}\s*mm$", re.IGNORECASE)
_COUNT = re.compile(r"(\d+)\s*[x×]\s*(\d+)$", re.IGNORECASE)
_TWO = re.compile(rf"(margins|gaps|page)\s+{_NUMBER}\s*[/x×]\s*{_NUMBER}(?:\s*mm)?$", re.IGNORECASE)
TOO_MUCH = 0.05  # [mm] by which rounding may pass the edge of the page (assumption: half of the last digit written)
LARGEST_PAGE = 1000.0  # [mm]
MOST = 1000  # stickers on a page


@dataclass(frozen=True, slots=True)
class Grid:
    """Stickers on a page. Lengths in mm; `across` columns, `down` rows.

    `top`, `left`: margins to the first sticker; `gap_x`, `gap_y` between stickers.
    """

    width: float
    height: float
    across: int
    down: int
    top: float
    left: float
    gap_x: float = 0.0
    gap_y: float = 0.0
    page_width: float = 210.0
    page_height: float = 297.0

    @property
    def per_page(self) -> int:
        return self.across * self.down

    def place(self, number: int) -> tuple[float, float]:
        """Left and top edge of a sticker on its page; numbered from 0 along the rows. [mm]"""
        row, column = divmod(number % self.per_page, self.across)
        return self.left + column * (self.width + self.gap_x), self.top + row * (self.height + self.gap_y)


DEFAULT_GRID = Grid(38.1, 21.2, 5, 13, 10.7, 4.7, 2.5, 0.0)


def parse_grid(text: str) -> Grid:
    """A grid such as "38.1x21.2 mm, 5x13, margins 10.7/4.7, gaps 2.5/0": width x height of a sticker, columns x rows,
    margins top/left, gaps across/down; and `page 210x297` where the page is not A4.

    Raises
    ------
    UnusableInput
        A piece cannot be read, or the stickers do not fit the page; every problem at once.
    """
    found: dict[str, tuple[float, float]] = {}
    unknown = []
    for piece in filter(None, (piece.strip() for piece in re.split(r",(?!\d)|;", text))):
        size, count, two = _SIZE.match(piece), _COUNT.match(piece), _TWO.match(piece)
        match = two or size or count
        if match is None:
            unknown.append(piece)
            continue
        name = two[1].lower() if two else "size" if size else "count"
        first, second = match.groups()[-2:]
        if name in found:
            unknown.append(
                f"{piece} (given twice; a size has mm behind it)" if name == "count" else f"{piece} (given twice)"
            )
        found[name] = (_figure(first), _figure(second))
    missing = [
        words for name, words in (("size", "the size of a sticker"), ("count", "columns x rows")) if name not in found
    ]
    if unknown or missing:
        problems = [_problem(f"{piece!r} is no piece of a grid") for piece in unknown]
        problems += [_problem(f"{words} is missing") for words in missing]
        raise UnusableInput(problems)
    (width, height), (across, down) = found["size"], found["count"]
    page_width, page_height = found.get("page", (210.0, 297.0))
    gap_x, gap_y = found.get("gaps", (0.0, 0.0))
    used_x, used_y = across * width + (across - 1) * gap_x, down * height + (down - 1) * gap_y
    middle = (max(0.0, (page_height - used_y) / 2.0), max(0.0, (page_width - used_x) / 2.0))
    top, left = found.get("margins", middle)
    grid = Grid(width, height, int(across), int(down), top, left, gap_x, gap_y, page_width, page_height)
    check_grid(grid)
    return grid


def check_grid(grid: Grid) -> None:
    """Raises UnusableInput where the stickers do not fit their page."""
    problems = []
    if min(grid.width, grid.height) <= 0.0 or grid.across < 1 or grid.down < 1 or grid.per_page > MOST:
        raise UnusableInput([_problem(f"a page of {grid.across} x {grid.down} stickers cannot be")])
    if max(grid.page_width, grid.page_height) > LARGEST_PAGE or min(grid.page_width, grid.page_height) < 20.0:
        raise UnusableInput([_problem(f"a page of {grid.page_width:g} x {grid.page_height:g} mm cannot be")])
    right = grid.left + grid.across * grid.width + (grid.across - 1) * grid.gap_x
    bottom = grid.top + grid.down * grid.height + (grid.down - 1) * grid.gap_y
    for what, end, room, n in (
        ("columns", right, grid.page_width, grid.across),
        ("rows", bottom, grid.page_height, grid.down),
    ):
        if end > room + TOO_MUCH:
            fix = f"take fewer {what} than {n}, smaller stickers, gaps or margins"
            what_is = f"{n} {what} end {end:.1f} mm from the edge, the page is {room:g} mm: the stickers do not fit"
            problems.append(Problem("STICKERS_DO_NOT_FIT", what_is, fix, "--grid"))
    if problems:
        raise UnusableInput(problems)


def _figure(text: str) -> float:
    return float(text.replace(",", "."))


def _problem(what: str) -> Problem:
    return Problem("GRID", what, f'write it as "{EXAMPLE}" (margins top/left, gaps across/down)', "--grid")
