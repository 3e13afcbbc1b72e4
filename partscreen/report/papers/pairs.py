"""The pair list: which part goes where, what the parts of a set differ by, what each should read, lines to write on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from partscreen.matching.words import place_list
from partscreen.report.papers.press import press
from partscreen.results.matching import MatchedSet, Matching

_KINDS = {"pairs": "pair", "groups": "group", "sets": "channel set"}
CAUTION = (
    "Matched parts do not make a stage safe. Mains voltage kills, reservoir capacitors stay charged after the plug is "
    "pulled. Work on an open amplifier is for people trained and licensed for it; local codes come first."
)
ALIKE = "alike: alike within measurement, the readings cannot rank these."
SESSIONS = "*: read in different sessions; the uncertainty holds what a session shares."


@dataclass(frozen=True, slots=True)
class InStage:
    """The stage the parts go into: its name, expected warm drops [V] by (lot, part), on what they rest, and sets
    (counted from 1) that have none with the reason."""

    name: str
    drops: Mapping[tuple[str, str], float]
    basis: str = ""
    without: Mapping[int, str] | None = None


def pairs_pdf(matching: Matching, stage: InStage | None = None) -> bytes:
    """The list as PDF; a set is never cut by the end of a page."""
    return press("pairs", pairs_data(matching, stage))


def pairs_data(matching: Matching, stage: InStage | None = None) -> dict[str, Any]:
    """What the template prints; every text ready."""
    kind = _KINDS[matching.kind]
    title = f"{kind.capitalize()} list"
    expected = {key: drop * 1e3 for key, drop in stage.drops.items()} if stage is not None else {}
    places = place_list(matching, expected)
    without = dict(stage.without or {}) if stage is not None else {}
    hfe, vbe = matching.settings.get("tolerance_hfe"), matching.settings.get("tolerance_vbe")
    sets = [
        {
            "head": f"{kind.capitalize()} {number}" + (f", amplifier {found.amplifier}" if found.amplifier else ""),
            "rank": "alike" if found.rank is None else f"rank {found.rank}",
            "differs": _differs(found),
            "tolerance": ("within tolerance" if found.within_tolerance else "outside tolerance")
            + ("" if found.one_session else " *"),
            "rows": [
                [place.position, place.part, place.lot, place.type, _signed(place.vbe_from_mean_mv),
                 "not known" if place.expected_mv is None else f"{place.expected_mv:.1f}"]
                for place in places if place.set_number == number
            ],
            "why": without.get(number, ""),
        }
        for number, found in enumerate(matching.sets, 1)
    ]  # fmt: skip
    return {
        "title": f"{title}, {stage.name}" if stage is not None and stage.name else title,
        "caution": CAUTION,
        "summary": _summary(matching, kind, hfe, vbe),
        "reasons": [reason.sentence for reason in matching.reasons],
        "currents": [f"{found.types}: {found.words}" for found in matching.currents],
        "expected": stage is not None,
        "basis": _basis(stage),
        "sets": sets,
        "notes": [
            *([ALIKE] if any(found.rank is None for found in matching.sets) else []),
            *([SESSIONS] if not all(found.one_session for found in matching.sets) else []),
        ],
        "left": _left(matching),
        "method": matching.method,
        "program": f"partscreen {matching.version}",
    }


def _summary(matching: Matching, kind: str, hfe: object, vbe: object) -> str:
    count = len(matching.sets)
    if not count:
        return f"No {kind} is within tolerance."
    inside = sum(found.within_tolerance for found in matching.sets)
    known = isinstance(hfe, float | int) and isinstance(vbe, float | int)
    told = f" of {hfe:g} % hFE and {vbe:g} mV VBE" if known else ""
    return f"{count} {kind}{'s' if count != 1 else ''}, {inside} within tolerance{told}."


def _differs(found: MatchedSet) -> str:
    hfe = _with(found.hfe_difference_percent, found.hfe_uncertainty_percent, "%")
    vbe = _with(found.vbe_difference_mv, found.vbe_uncertainty_mv, "mV")
    words = f"hFE differs by {hfe}, VBE by {vbe}"
    if found.across_hfe_percent is not None and found.across_vbe_mv is not None:
        words += (
            f"; NPN to PNP: hFE by up to {found.across_hfe_percent:.1f} %, VBE by up to {found.across_vbe_mv:.1f} mV"
        )
    return words


def _with(value: float, std: float | None, unit: str) -> str:
    return f"{value:.1f} {unit}" if std is None else f"{value:.1f} ± {2.0 * std:.1f} {unit}"


def _signed(value: float | None) -> str:
    return "–" if value is None else f"{value:+.1f}".replace("-", "−")


def _basis(stage: InStage | None) -> str:
    if stage is None:
        return ""
    return (
        f"Expected: across the emitter resistor, idle, warm, the mean of a side at the target; by {stage.basis}."
        if (stage.basis)
        else "Expected readings are not known."
    )


def _left(matching: Matching) -> list[str]:
    by_why: dict[str, list[str]] = {}
    for part in matching.unmatched:
        by_why.setdefault(part.why, []).append(_label(part.lot, part.part))
    return [f"{why}: {', '.join(names)}" for why, names in by_why.items()]


def _label(lot: str, part: str) -> str:
    return part if part.startswith(lot) else f"{lot}/{part}"


def sets_in(matching: Matching, wanted: int | None) -> Sequence[tuple[int, MatchedSet]]:
    """Sets with their numbers, counted from 1; only the one wanted where one is."""
    return [(i, found) for i, found in enumerate(matching.sets, 1) if wanted in (None, i)]
