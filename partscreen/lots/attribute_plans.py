"""Single sampling by attributes: code letters and plans of the open standards ISO 2859-1, MIL-STD-105E, ANSI/ASQ Z1.4.

The plans lie on diagonals: one code letter further and one AQL step finer is the same acceptance number, so the table
is rebuilt from one row of numbers a severity. Entries that were compared with a published copy carry the basis
"copy", all others "memory": they follow the diagonals but were not read in the standard. The user is told which.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["normal", "tightened", "reduced"]
Basis = Literal["copy", "memory"]

SOURCE_COPY = "CRAN package AQLSchemes, R/AAZ14Single.R and vignette (MIL-STD-105E, ANSI/ASQ Z1.4, ISO 2859-1)"
SOURCE_MEMORY = "recalled from MIL-STD-105E, not read in the standard"

LETTERS = "ABCDEFGHJKLMNPQRS"
SIZES: dict[Severity, tuple[int, ...]] = {
    "normal": (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000),
    "tightened": (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150),
    "reduced": (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800),
}
AQLS = (0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0)
"""The series of the standards in percent bad parts; above 10 they count faults per hundred parts, which is not ours."""

LOT_SIZES = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
"""Upper ends of the classes of lot size; the last class is open. The first begins at 2."""

LEVELS = {
    "I": "AABCCDEFGHJKLMN",
    "II": "ABCDEFGHJKLMNPQ",
    "III": "BCDEFGHJKLMNPQR",
    "S-1": "AAAABBBBCCCCDDD",
    "S-2": "AAABBBCCCDDDEEE",
    "S-3": "AABBCCDDEEFFGGH",
    "S-4": "AABCCDEEFGGHJJK",
}
_LEVELS_COPIED = frozenset({"I", "II", "S-4"})

# Along a diagonal from the zero-acceptance entry on: (accept up to, refuse from), "up" or "down" for an arrow.
_Step = tuple[int, int] | Literal["up", "down"]
_NORMAL: tuple[_Step, ...] = (
    (0, 1), "up", "down", (1, 2), (2, 3), (3, 4), (5, 6), (7, 8), (10, 11), (14, 15), (21, 22),
)  # fmt: skip
_TIGHTENED: tuple[_Step, ...] = (
    (0, 1), "down", "down", (1, 2), (2, 3), (3, 4), (5, 6), (8, 9), (12, 13), (18, 19),
)  # fmt: skip
_REDUCED: tuple[_Step, ...] = (
    (0, 1), "up", "down", (0, 2), (1, 3), (1, 4), (2, 5), (3, 6), (5, 8), (7, 10), (10, 13),
)  # fmt: skip
_STEPS: dict[Severity, tuple[_Step, ...]] = {"normal": _NORMAL, "tightened": _TIGHTENED, "reduced": _REDUCED}
# Letter index plus AQL index of the zero-acceptance diagonal: E at AQL 1.0; one step further when tightened.
_ZERO: dict[Severity, int] = {"normal": 14, "tightened": 15, "reduced": 14}

_COPIED: dict[Severity, tuple[float, ...]] = {"normal": (0.65, 1.0, 1.5, 2.5, 4.0), "tightened": (1.0, 2.5)}
_COPIED_LETTERS = "CDEFGHJKL"


@dataclass(frozen=True, slots=True)
class TablePlan:
    """A single plan of the tables, arrows followed.

    letter : of the lot size; plan_letter: of the row the arrows led to.
    n : sample, never above the lot; c, refuse_from: accept up to, refuse from. Only reduced plans leave a gap between
    them: the lot is accepted and the next one goes back to normal.
    whole_lot : the table asks for as many parts as there are, or more, so all are read.
    """

    lot_size: int
    aql: float
    level: str
    severity: Severity
    letter: str
    plan_letter: str
    n: int
    c: int
    refuse_from: int
    whole_lot: bool
    basis: Basis

    @property
    def source(self) -> str:
        """Where the entry was read, in words."""
        return SOURCE_COPY if self.basis == "copy" else SOURCE_MEMORY

    @property
    def accepts_up_to(self) -> int:
        """Bad parts with which the lot is still accepted (in the gap of a reduced plan it is)."""
        return self.refuse_from - 1


def code_letter(lot_size: int, level: str = "II") -> str:
    """Code letter of a lot size (2 or more) at an inspection level.

    Raises
    ------
    ValueError
        A lot of fewer than 2 parts, or a level that does not exist.
    """
    if lot_size < 2:
        raise ValueError(f"the tables begin at a lot of 2 parts, this one has {lot_size}")
    if level not in LEVELS:
        raise ValueError(f"level {level!r} does not exist; levels: {', '.join(LEVELS)}")
    place = sum(lot_size > end for end in LOT_SIZES)
    return LEVELS[level][place]


def neighbours(aql: float) -> tuple[float, ...]:
    """The values of the series next to `aql` (one if it lies outside the series or on it)."""
    on = [a for a in AQLS if abs(a - aql) < 1e-9]
    below, above = [a for a in AQLS if a < aql], [a for a in AQLS if a > aql]
    return tuple(on) or (*below[-1:], *above[:1])


def table_plan(lot_size: int, aql: float, *, level: str = "II", severity: Severity = "normal") -> TablePlan:
    """The single plan of the tables for a lot.

    Parameters
    ----------
    aql : acceptance quality limit in percent, of the series `AQLS`

    Raises
    ------
    ValueError
        As `code_letter`, or an AQL that is not of the series.
    """
    letter = code_letter(lot_size, level)
    column = _column(aql)
    row, (accept, refuse) = _follow(LETTERS.index(letter), column, severity)
    n = SIZES[severity][row]
    copied = level in _LEVELS_COPIED and letter in _COPIED_LETTERS and AQLS[column] in _COPIED.get(severity, ())
    return TablePlan(
        lot_size, AQLS[column], level, severity, letter, LETTERS[row], min(n, lot_size), accept, refuse,
        n >= lot_size, "copy" if copied else "memory",
    )  # fmt: skip


def _column(aql: float) -> int:
    for i, value in enumerate(AQLS):
        if abs(value - aql) < 1e-9:
            return i
    raise ValueError(
        f"AQL {aql:g} is not of the standard's series; next to it: {', '.join(f'{a:g}' for a in neighbours(aql))}"
    )


def step_tighter(aql: float) -> float | None:
    """The next finer AQL of the series; None at its end."""
    column = _column(aql)
    return AQLS[column - 1] if column else None


def _follow(row: int, column: int, severity: Severity) -> tuple[int, tuple[int, int]]:
    """Row and numbers where the arrows lead; up where the table has no row further down."""
    steps, rows = _STEPS[severity], len(SIZES[severity])
    direction = 0
    at = row
    while True:
        place = at + column - _ZERO[severity]
        step: _Step = "down" if place < 0 else steps[place] if place < len(steps) else "up"
        if not isinstance(step, str):
            return at, step
        if direction == 0:
            direction = 1 if step == "down" else -1
        if not 0 <= at + direction < rows:  # no row further: back to the first plan on the other side
            direction = -direction
            at = row
        at += direction
