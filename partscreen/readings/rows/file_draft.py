"""One file on its way into the batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from partscreen.errors import Problem
from partscreen.readings.rows.builder import Block, SpotRow
from partscreen.readings.tables import Bools, Ints


@dataclass(slots=True)
class FileDraft:
    """One file on its way into the batch."""

    name: str
    number: int
    default_lot: str
    default_part: str | None = None  # the part, where the lot's files name one file a part
    sitting: str = ""  # the session of files of one part each that the lot names together
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    spots: list[SpotRow] = field(default_factory=list)
    claimed_by: tuple[str, ...] = ()  # several lots whose files name this one: a column lot must say which
    shares_sitting: bool = False  # its rows were put into that session
    told_twice: set[int] = field(default_factory=set)  # parts whose second row was told already
    told_apart: bool = False  # a run or time column says which rows belong together
    run_labels: dict[str, int] = field(default_factory=dict)
    sweeps: dict[str, int] = field(default_factory=dict)
    n_parts: int = 0
    rows: int = 0
    sha256: str | None = None
    first_rows: list[tuple[Ints, Ints]] = field(default_factory=list)  # a table: parts, the row each first stands in

    def add_spots(
        self,
        spots: Sequence[tuple[int, str, float, dict[str, float | str]]],
        part: Ints,
        session: Ints,
        control: Bools,
        row: Ints,
    ) -> None:
        """Spot readings of a table: (its row, quantity key, SI magnitude, conditions); the arrays are by row."""
        for i, quantity, value, conditions in spots:
            owner, sitting, line = int(part[i]), int(session[i]), int(row[i])
            self.spots.append(SpotRow(owner, sitting, quantity, value, conditions, self.number, line, bool(control[i])))
        if spots:
            self.sweeps["spot readings"] = self.sweeps.get("spot readings", 0) + len(spots)
