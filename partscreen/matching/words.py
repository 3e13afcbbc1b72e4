"""A match in plain lines, and the list of places for the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from textwrap import wrap

from partscreen.results.matching import MatchedSet, Matching, PartsToBuy

_WIDTH = 110  # of a line of text
_SHOWN = 8  # parts named in full for one reason of being unmatched
_KINDS = {"pairs": "pair", "groups": "group", "sets": "channel set"}


@dataclass(frozen=True, slots=True)
class Place:
    """One part in its place: set number in the printed order, amplifier (None: not told), position in the set, and the
    voltage expected across its emitter resistor [mV] where a stage was told."""

    set_number: int
    amplifier: int | None
    position: str
    lot: str
    part: str
    type: str
    vbe_from_mean_mv: float | None
    expected_mv: float | None = None


def place_list(matching: Matching, expected_mv: Mapping[tuple[str, str], float] | None = None) -> list[Place]:
    """Which part goes where, one row a part, in the order of the sets.

    `expected_mv`: voltage across the emitter resistor by (lot, part) [mV], from the output stage; parts without one
    get None.
    """
    told = expected_mv or {}
    return [
        Place(number, found.amplifier, p.position, p.lot, p.part, p.type, p.vbe_from_mean_mv, told.get((p.lot, p.part)))
        for number, found in enumerate(matching.sets, 1)
        for p in found.places
    ]


def matching_lines(matching: Matching) -> list[str]:
    """The answer: what matching buys first, then the table, then how sure it is and what stays over."""
    lines = [line for reason in matching.reasons for line in wrap(reason.sentence, _WIDTH, subsequent_indent="  ")]
    lines += ["", *_table(matching), "", *_summary(matching)]
    if matching.to_buy is not None:
        lines += wrap(_buying(matching.to_buy, _KINDS[matching.kind]), _WIDTH, subsequent_indent="  ")
    for way in matching.other_ways:
        pairs = ", ".join(" + ".join(pair) for pair in way.pairs)
        lines.append(f"another way, total {way.total:.3f}: {pairs}")
    return [*lines, *_unmatched(matching)]


def _table(matching: Matching) -> list[str]:
    if not matching.sets:
        return [f"No {_KINDS[matching.kind]} is within tolerance."]
    width = max(len(_members(found)) for found in matching.sets)
    amplifiers = any(found.amplifier for found in matching.sets)
    head = f"{'no':>3}  {'rank':>5}  {'parts':<{width}}  {'hFE differs':>15}  {'VBE differs':>17}  {'tolerance':<9}"
    lines = [head + ("  amplifier" if amplifiers else "")]
    for number, found in enumerate(matching.sets, 1):
        rank = "alike" if found.rank is None else str(found.rank)
        hfe = _with_std(found.hfe_difference_percent, found.hfe_uncertainty_percent, "%", 1)
        vbe = _with_std(found.vbe_difference_mv, found.vbe_uncertainty_mv, "mV", 1)
        inside = ("within" if found.within_tolerance else "outside") + ("" if found.one_session else " *")
        row = f"{number:>3}  {rank:>5}  {_members(found):<{width}}  {hfe:>15}  {vbe:>17}  {inside:<9}"
        lines.append((row + (f"  {found.amplifier or '-':>9}" if amplifiers else "")).rstrip())
    if any(found.rank is None for found in matching.sets):
        lines.append("alike: alike within measurement; the readings cannot rank these.")
    if not all(found.one_session for found in matching.sets):
        lines.append("*: read in different sessions; the uncertainty after +- holds what a session shares.")
    return lines


def _members(found: MatchedSet) -> str:
    npn = [p for p, place in zip(found.parts, found.places, strict=True) if place.position.startswith("N")]
    pnp = [p for p, place in zip(found.parts, found.places, strict=True) if place.position.startswith("P")]
    return "  |  ".join("  ".join(side) for side in (npn, pnp) if side)


def _with_std(value: float, std: float | None, unit: str, digits: int) -> str:
    told = f"{value:.{digits}f} {unit}"
    return told if std is None else f"{value:.{digits}f} +- {std:.{digits}f} {unit}"


def _summary(matching: Matching) -> list[str]:
    currents = [f"Currents{'' if len(matching.currents) == 1 else ' of ' + c.types}: {c.words}."
                for c in matching.currents]  # fmt: skip
    kind, count = _KINDS[matching.kind], len(matching.sets)
    inside = sum(found.within_tolerance for found in matching.sets)
    hfe, vbe = matching.settings["tolerance_hfe"], matching.settings["tolerance_vbe"]
    lines = [
        *currents,
        f"{count} {kind}{'s' if count != 1 else ''}, {inside} within {hfe:g} % of hFE and {vbe:g} mV of VBE.",
    ]
    if matching.gap_percent is None or matching.bound is None:
        return [*lines, f"Method: {matching.method}. How far from the best is not known."]
    if matching.method.startswith("exact") and matching.gap_percent < 1e-6:
        return [*lines, f"Method: {matching.method}. No choice is better."]
    return [*lines, f"Method: {matching.method}. No choice can be better by more than {matching.gap_percent:.2f} %."]


def _buying(to_buy: PartsToBuy, kind: str) -> str:
    sets = f"{to_buy.sets} {kind}{'s' if to_buy.sets != 1 else ''} within tolerance"
    each = "parts" if kind == "group" else "parts of each polarity"
    if to_buy.parts.value is None:
        return (
            f"To buy: up to {to_buy.searched_to} {each} do not give {sets} with {to_buy.probability:.0%} probability."
        )
    high = f"{to_buy.parts.high:.0f}" if to_buy.parts.high is not None else f"more than {to_buy.searched_to}"
    return (
        f"To buy: {to_buy.parts.value:.0f} {each} give {sets} with {to_buy.probability:.0%} probability (90 % interval "
        f"{to_buy.parts.low:.0f} to {high}). From: {to_buy.spread_from}; {to_buy.accepted_share.value:.0%} of what is "
        "bought taken as accepted, as here."
    )


def _unmatched(matching: Matching) -> list[str]:
    by_why: dict[str, list[str]] = {}
    for part in matching.unmatched:
        by_why.setdefault(part.why, []).append(
            part.part if part.part.startswith(part.lot) else f"{part.lot}/{part.part}"
        )
    lines = []
    for why, parts in by_why.items():
        more = f" and {len(parts) - _SHOWN} more" if len(parts) > _SHOWN else ""
        lines.append(f"not placed, {why}: {', '.join(parts[:_SHOWN])}{more}")
    return lines
