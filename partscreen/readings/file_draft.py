"""One file on its way into the batch."""

from __future__ import annotations

from dataclasses import dataclass, field

from partscreen.errors import Problem
from partscreen.readings.builder import Block, SpotRow


@dataclass(slots=True)
class FileDraft:
    """One file on its way into the batch."""

    name: str
    number: int
    default_lot: str
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    spots: list[SpotRow] = field(default_factory=list)
    told_apart: bool = False  # a run or time column says which rows belong together
    run_labels: dict[str, int] = field(default_factory=dict)
    sweeps: dict[str, int] = field(default_factory=dict)
    n_parts: int = 0
    rows: int = 0
    sha256: str | None = None
    first_rows: dict[tuple[str, str], int] = field(default_factory=dict)  # (lot, part) to the row it first stands in
