"""What digitised hFE curves say of every marking of their polarity, by the whole chain; prints the table of the docs.

`python -m tests.outside.confusion` prints docs/checks_outside.md anew (the table of markings); the test compares.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from partscreen.reference.library import Library
from partscreen.reference.population import Population, population_for
from partscreen.results import PartResult
from partscreen.screening.screen import screen_batch
from tests.outside.curve_expectations import Expectation, expectation
from tests.outside.tester_files import DrawnPart, drawn_parts, imported

POLARITIES = ("NPN", "PNP")


@dataclass(frozen=True)
class Cell:
    """One drawn part under one marking: what plain interpolation expects, and what the screening found."""

    part: DrawnPart
    marking: str
    expected: Expectation
    found: PartResult

    @property
    def own(self) -> bool:
        return self.part.type == self.marking

    @property
    def rejected_for_gain(self) -> bool:
        broken = any(r.code == "LIMIT_BROKEN" and (r.limit or "").startswith("hFE") for r in self.found.reasons)
        return self.found.disposition == "reject" and broken

    @property
    def unconfirmed(self) -> bool:
        return any(r.code == "LIMIT_UNCONFIRMED" and (r.limit or "").startswith("hFE") for r in self.found.reasons)

    def __str__(self) -> str:
        margins = ", ".join(f"{v.side} {v.row.conditions} {v.margin:.1f} std" for v in self.expected.rows if v.broken)
        reasons = ", ".join(f"{r.code} {r.limit or ''}".strip() for r in self.found.reasons)
        return f"{self.part.name} as {self.marking}: broken {margins or 'none'}; {self.found.disposition}: {reasons}"


def no_population(of: object, *, gain_group: str | None = None) -> None:
    """Nothing known but the limits: parts are judged by their readings alone."""
    return None


def own_marking(library: Library, part: DrawnPart, folder: Path) -> PartResult:
    """A drawn part under its own type, with its curves and every figure of its sheet left out of the prior."""

    def without_its_sheet(of: object, *, gain_group: str | None = None) -> Population | None:
        return population_for(
            library.type(part.type),
            leave_out_sources=part.source.split(),
            leave_out_curves=part.curve_indices,
            gain_group=gain_group,
        )

    batch, shared = imported(folder, [part], [part.type])
    lots = screen_batch(batch, library, session_uncertainty=shared, population_for=without_its_sheet)
    return lots[0].parts[0]


def other_markings(
    library: Library, polarity: str, folder: Path, *, markings: Sequence[str] = (), fitted: bool = False
) -> list[Cell]:
    """Every drawn part of a polarity under every marking of it (or those named), its own type's left out.

    `fitted`: with the population and the device fit of the marked type; else by limits and readings alone.
    """
    parts = drawn_parts(library, polarity)
    names = list(markings) or [kind.name for kind in library if kind.polarity == polarity]
    batch, shared = imported(folder, parts, names)
    prior = {} if fitted else {"population_for": no_population}
    lots = screen_batch(batch, library, session_uncertainty=shared, **prior)  # type: ignore[arg-type]
    by_name = {part.name: part for part in parts}
    cells = []
    for lot in lots:
        for found in lot.parts:
            part = by_name[found.part.split(" as ")[0]]
            if part.type != lot.lot:
                cells.append(Cell(part, lot.lot, expectation(part, library.type(lot.lot)), found))
    return cells


def table(cells: Sequence[Cell]) -> str:
    """The confusion table as lines of Markdown: a line for each drawn part, counts and the markings not rejected."""
    lines = [
        "| curve of | sheet | rejected for its gain | by another quantity | held, limit unconfirmed | held |",
        "|---|---|---|---|---|---|",
    ]
    for part in dict.fromkeys(cell.part for cell in cells):
        mine = [c for c in cells if c.part is part]
        gain = [c for c in mine if c.rejected_for_gain]
        other = [c for c in mine if c.found.disposition == "reject" and c not in gain]
        weak = [c for c in mine if c.found.disposition == "hold" and c.unconfirmed]
        rest = [c for c in mine if c not in gain and c not in other and c not in weak]
        named = ", ".join(c.marking for c in gain) or "none"
        lines.append(
            f"| {part.type} | {part.source} | {len(gain)}: {named} | {len(other)} | {len(weak)} | {len(rest)} |"
        )
    return "\n".join(lines)


def main() -> None:
    library = Library.load()
    with tempfile.TemporaryDirectory() as folder:
        for polarity in POLARITIES:
            print(f"{polarity}\n\n{table(other_markings(library, polarity, Path(folder)))}\n")


if __name__ == "__main__":
    main()
