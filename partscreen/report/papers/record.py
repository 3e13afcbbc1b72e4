"""The test record for a customer: what was tested of the parts, what it showed, and what it would not have found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from partscreen.errors import Problem, UnusableInput
from partscreen.report import numbers
from partscreen.report.figures import SHAPES, WORDS
from partscreen.report.papers.chosen import Numbered, files_of, long_names, pick_lot, pick_parts
from partscreen.report.papers.lot import CODES, NOT_STRESSED, control_lines, kit_lines
from partscreen.report.papers.press import press
from partscreen.results import PartResult, Screening


@dataclass(frozen=True, slots=True)
class RecordOptions:
    """`parts`: only these, as a rule those that were fitted; `customer`: whose job it is; `day`: date of the record."""

    parts: tuple[str, ...] = ()
    customer: str | None = None
    day: str = ""


def record_pdf(screening: Screening, lot_name: str | None, options: RecordOptions) -> bytes:
    """The test record of parts of one lot as PDF.

    Raises
    ------
    UnusableInput
        No such lot or part.
    """
    lot = pick_lot(screening, lot_name)
    parts = pick_parts(lot, options.parts)
    if not parts:
        raise UnusableInput([Problem("PAPER_PART", f"lot {lot.lot} has no parts", "screen its readings", "--lot")])
    sources = Numbered()
    data = {
        "title": f"Test record: {lot.type or 'type not stated'}, lot {lot.lot}",
        "facts": [
            ["for", options.customer or ""], ["date", options.day], ["marked type", lot.type or "not stated"],
            ["lot", lot.lot], ["parts in this record", str(len(parts))], ["parts of the lot read", str(lot.n_parts)],
        ],
        "summary": _summary(parts),
        "parts": [_part(part) for part in parts],
        "long_names": long_names(parts),
        "limits": _limits(parts, sources),
        "sources": sources.names,
        "read": _read(parts),
        "kit": kit_lines(screening),
        "control": control_lines(lot),
        "missed": coverage(parts),
        "no_coverage": "" if coverage(parts) else "What these readings could not have told apart was not weighed.",
        "not_reached": _not_reached(parts),
        "not_stressed": [NOT_STRESSED, CODES],
        "files": [[item.file, item.sha256 or "not known"] for item in files_of(screening, lot)],
        "program": f"partscreen {screening.version}",
    }  # fmt: skip
    return press("record", data)


def _summary(parts: Sequence[PartResult]) -> str:
    count = {word: sum(p.disposition == key for p in parts) for key, word in WORDS.items()}
    told = ", ".join(f"{n} {word}" for word, n in count.items() if n)
    clear = sum(p.disposition == "accept" for p in parts)
    return f"{told}. No evidence of substitution found in {clear} of {len(parts)} parts."


def _part(part: PartResult) -> dict[str, str]:
    area, reach = part.area_ratio, part.reach
    interval = "–" if area is None or area.value is None else f"{area.value:.2f} ({area.low:.2f} to {area.high:.2f})"
    return {
        "part": part.part,
        "shape": SHAPES[part.disposition],
        "word": WORDS[part.disposition],
        "area": interval,
        "reach": "–" if reach is None else f"below {reach:.2f}",
        "met": str(sum(row.decision == "conforming" and row.reached == "direct" for row in part.limits)),
        "missed": str(sum(row.decision == "nonconforming" and row.reached == "direct" for row in part.limits)),
        "open": str(sum(row.reached == "direct" and row.decision == "undecided" for row in part.limits)),
    }


def _limits(parts: Sequence[PartResult], sources: Numbered) -> list[list[str]]:
    """Limits read directly, a row a limit: how many parts meet it, and the span of what was read."""
    rows: dict[tuple[str, str, str, float], list[Any]] = {}
    for row in (row for part in parts for row in part.limits if row.reached == "direct" and row.basis != "memory"):
        rows.setdefault((row.symbol, row.side, row.conditions, row.limit), []).append(row)
    out = []
    for (symbol, side, conditions, limit), found in rows.items():
        values = [row.value for row in found if row.value is not None]
        unit = found[0].unit
        met = sum(row.decision == "conforming" for row in found)
        span = numbers.figure(min(values), unit) if values else "–"
        if values and max(values) > min(values):
            span += f" to {numbers.figure(max(values), unit)}"
        word = "at least" if side == "min" else "at most"
        out.append(
            [f"{symbol}, {conditions}", f"{word} {numbers.exact(limit, unit)}", span, f"{met} of {len(found)}",
             sources.number(found[0].source)]
        )  # fmt: skip
    return out


def _read(parts: Sequence[PartResult]) -> list[str]:
    alike: dict[str, list[str]] = {}
    for part in parts:
        alike.setdefault("; ".join(part.readings_used) or "no reading could be used", []).append(part.part)
    return [f"{used}: {len(names)} part{'s' if len(names) != 1 else ''}" for used, names in alike.items()]


def coverage(parts: Sequence[PartResult]) -> list[str]:
    """What this plan would not have found: alternatives, by the least power over the parts."""
    least: dict[str, float] = {}
    for unseen in (unseen for part in parts for unseen in part.cannot_see or ()):
        least[unseen.alternative] = min(unseen.power, least.get(unseen.alternative, 1.0))
    return [f"{name}: found in {_share(power)}" for name, power in least.items()]


def _share(power: float) -> str:
    if power < 0.01:
        return "fewer than 1 of 100 such parts"
    return f"about {round(100 * power)} of 100 such parts"


def _not_reached(parts: Sequence[PartResult]) -> list[str]:
    count: dict[str, int] = {}
    for part in parts:
        for name in {f"{x.symbol} ({x.conditions})" for x in part.limits if x.reached != "direct"}:
            count[name] = count.get(name, 0) + 1
    return [name if n == len(parts) else f"{name}: {n} of {len(parts)} parts" for name, n in count.items()]
