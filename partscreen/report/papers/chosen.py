"""What papers of one lot share: which lot and parts, its files, figures at one current, limits as numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partscreen.errors import Problem, UnusableInput
from partscreen.readings.columns.conditions import parse_conditions
from partscreen.report.papers.visible import visible
from partscreen.results import InputFile, LimitResult, LotResult, PartResult, Screening

FALLBACK_CURRENT = 1.0  # [A] where no hFE limit was reached (assumption: a usual idle to low drive current)


def pick_lot(screening: Screening, name: str | None) -> LotResult:
    """The lot asked for; without a name, the only one.

    Raises
    ------
    UnusableInput
        There is no such lot, or several and none is named.
    """
    names = [lot.lot for lot in screening.lots]
    if name is None and len(names) == 1:
        return screening.lots[0]
    found = [lot for lot in screening.lots if lot.lot == name]
    if len(found) == 1:
        return found[0]
    told = ", ".join(names[:20]) + (f" and {len(names) - 20} more" if len(names) > 20 else "")
    what = "the result holds several lots" if name is None else f"the result holds no one lot {name!r}"
    if not names:
        what, told = "the result holds no lot", "none"
    raise UnusableInput([Problem("PAPER_LOT", what, f"name one with --lot: {told}", "--lot")])


def pick_parts(lot: LotResult, names: Sequence[str]) -> list[PartResult]:
    """The parts named, in the order of the result; all without a name.

    Raises
    ------
    UnusableInput
        A name is no part of the lot; all of them are told.
    """
    known = {part.part for part in lot.parts}
    strange = [name for name in names if name not in known]
    if strange:
        fix = f"parts of lot {lot.lot}: {', '.join(sorted(known)[:20])}"
        raise UnusableInput(
            [Problem("PAPER_PART", f"{name!r} is no part of the lot", fix, "--part") for name in strange]
        )
    return [part for part in lot.parts if not names or part.part in names]


def files_of(screening: Screening, lot: LotResult) -> list[InputFile]:
    """The files that hold readings of the lot; of a result that does not tell, those of the whole run."""
    named = [item for item in screening.inputs if item.file in lot.files]
    return named or [item for item in screening.inputs if item.rows and len(screening.lots) == 1]


LONG_NAME = 26  # letters of a part's name beyond which its column is held narrow and the name broken


def long_names(parts: Sequence[PartResult]) -> bool:
    """Whether a part's name would take the width of the page from the other columns."""
    return any(len(visible(part.part)) > LONG_NAME for part in parts)


@dataclass(frozen=True, slots=True)
class AtCurrent:
    """Fitted hFE and VBE [V] of a part at one collector current, 25 degC junction; None where not known."""

    hfe: float | None = None
    hfe_std: float | None = None
    vbe: float | None = None
    vbe_std: float | None = None


def at_current(part: PartResult, ic: float) -> AtCurrent:
    """Read off the part's fitted curves; nothing outside them."""
    curves = part.curves
    if curves is None or len(curves.ic) < 2 or not curves.ic[0] * 0.999 <= ic <= curves.ic[-1] * 1.001:
        return AtCurrent()

    def read(values: list[float | None]) -> float | None:
        y = np.array([np.nan if v is None else v for v in values])
        found = float(np.interp(np.log(ic), np.log(curves.ic), y))
        return found if np.isfinite(found) else None

    return AtCurrent(read(curves.hfe), read(curves.hfe_std), read(curves.vbe), read(curves.vbe_std))


def working_current(lot: LotResult) -> float | None:
    """The lowest current of an hFE limit that a part's readings reach, else 1 A; None where no part has curves. [A]"""
    rows = [row for part in lot.parts for row in part.limits if row.symbol == "hFE" and row.reached == "direct"]
    reached = sorted({ic for ic in map(limit_current, rows) if ic is not None})
    for ic in (*reached, FALLBACK_CURRENT):
        if any(at_current(part, ic).hfe is not None for part in lot.parts):
            return ic
    return None


def limit_current(row: LimitResult) -> float | None:
    """Collector current of a limit's conditions. [A]"""
    ic = parse_conditions(row.conditions)[0].get("IC")
    return ic if isinstance(ic, float) else None


_DECIMAL = re.compile(r"(?<=\d)\.(?=\d)")


def local(figure: str, mark: str) -> str:
    """A figure with the decimal mark of a language."""
    return _DECIMAL.sub(mark, figure)


_RECALLED = re.compile(r"(^|; )[^;]*\brecalled\b[^()]*\(memory\)")


def printed_source(source: str) -> str:
    """The sources of a limit that can be shown to others: those that were only recalled are left out.

    "unknown (memory)" closes a recalled source, whose words may hold a semicolon; a row that is recalled alone is no
    limit to state, and keeps its words.
    """
    kept = _RECALLED.sub("", source).removeprefix("; ")
    return kept or source


class Numbered:
    """Sources in the order they are first named, told by their number."""

    def __init__(self) -> None:
        self.names: list[str] = []

    def number(self, source: str) -> str:
        """`[2]`: where the source stands in the list."""
        printed = printed_source(source)
        if printed not in self.names:
            self.names.append(printed)
        return f"[{self.names.index(printed) + 1}]"
