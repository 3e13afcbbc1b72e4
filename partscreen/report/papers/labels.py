"""Result labels: what a person wants to read off a part in the drawer without the computer."""

from __future__ import annotations

from dataclasses import dataclass, field

from partscreen.errors import Problem, UnusableInput
from partscreen.report import numbers
from partscreen.report.figures import SHAPES, WORDS
from partscreen.report.papers.chosen import at_current, pick_lot, pick_parts, working_current
from partscreen.report.papers.grid import DEFAULT_GRID, Grid
from partscreen.report.papers.sticker_pages import Sticker, sticker_pages
from partscreen.results import LotJudgement, LotResult, PartResult, Screening
from partscreen.results.matching import Matching

LONGEST = 16  # letters of a supplier on the label of a bag; the name of a part is never shortened
_TO_DO: dict[LotJudgement, str] = {
    "use": "use", "test_all": "test every part", "return": "return", "undecided": "undecided",
    "no_reference": "no reference",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class LabelOptions:
    """`current`: of hFE and VBE [A], None: the lowest current of an hFE limit that was reached. `matching`: names the
    set a part is in. `day`: date on the labels. `bag`: a label for the bag comes first."""

    parts: tuple[str, ...] = ()
    current: float | None = None
    matching: Matching | None = None
    day: str = ""
    grid: Grid = field(default=DEFAULT_GRID)
    first: int = 1
    outline: bool = False
    bag: bool = False


def labels_pdf(screening: Screening, lot_name: str | None, options: LabelOptions) -> bytes:
    """Labels of one lot as PDF, in the order of the result.

    Raises
    ------
    UnusableInput
        No such lot or part, or the text does not fit the grid.
    """
    lot = pick_lot(screening, lot_name)
    parts = pick_parts(lot, options.parts)
    if not parts:
        raise UnusableInput([Problem("PAPER_PART", f"lot {lot.lot} has no parts", "screen its readings", "--lot")])
    ic = options.current if options.current is not None else working_current(lot)
    pairs = pair_names(lot, options.matching)
    stickers = [_label(part, lot, ic, pairs, options) for part in parts]
    if options.bag:
        stickers.insert(0, _bag_label(lot, options.day))
    title = f"Labels of lot {lot.lot}"
    return sticker_pages(stickers, options.grid, title=title, first=options.first, outline=options.outline)


def _bag_label(lot: LotResult, day: str) -> Sticker:
    """What a person wants to read off the bag: lot, type, supplier, how its parts stand, what to do with it."""
    count = {word: sum(part.disposition == key for part in lot.parts) for key, word in WORDS.items()}
    lines = [f"lot {lot.lot}", lot.type or "type not stated", *([_short(lot.supplier)] if lot.supplier else [])]
    lines += [f"{n} {word}" for word, n in count.items() if n]
    lines += [_TO_DO[lot.judgement], *([day] if day else [])]
    return Sticker(lot.lot, tuple(lines))


def _short(name: str) -> str:
    return name if len(name) <= LONGEST else name[: LONGEST - 1].rstrip() + "…"


def pair_names(lot: LotResult, matching: Matching | None) -> dict[str, str]:
    """By part of the lot, the set it was put in: `pair 3`, `group 1`, `set 2 P1`."""
    if matching is None:
        return {}
    word = {"pairs": "pair", "groups": "group", "sets": "set"}[matching.kind]
    return {
        place.part: f"{word} {number}" + (f" {place.position}" if word == "set" else "")
        for number, one in enumerate(matching.sets, 1)
        for place in one.places
        if place.lot == lot.lot
    }


def _label(part: PartResult, lot: LotResult, ic: float | None, pairs: dict[str, str], options: LabelOptions) -> Sticker:
    at = at_current(part, ic) if ic is not None else None
    lines = [part.part, lot.type or "type not stated"]
    lines.append(f"hFE {numbers.figure(at.hfe, '1')}" if at is not None and at.hfe is not None else "hFE –")
    lines.append(f"VBE {1e3 * at.vbe:.1f} mV" if at is not None and at.vbe is not None else "VBE –")
    if ic is not None:
        vce = part.curves.vce if part.curves is not None else None
        lines.append(f"at {numbers.exact(ic, 'A')}" + (f" {vce:.3g} V 25°C" if vce is not None else ""))
    if options.matching is not None:
        lines.append(pairs.get(part.part, "not matched"))
    if options.day:
        lines.append(options.day)
    lines.append(WORDS[part.disposition])
    return Sticker(part.part, tuple(lines), SHAPES[part.disposition])
