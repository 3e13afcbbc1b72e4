"""Once a file is read: repeats and duplicates of its parts, and ids that stand in two lots."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from partscreen.errors import Problem
from partscreen.readings.rows.builder import Builder
from partscreen.readings.rows.file_draft import FileDraft
from partscreen.readings.rows.identity import find_repeats, find_restarts, numbered_per_bag
from partscreen.readings.tables import Floats, Ints


def close_draft(builder: Builder, draft: FileDraft) -> None:
    """After the last table of a file: repeats and duplicates, one id in two lots; then its blocks join the batch."""
    names = list(builder.parts)
    if draft.blocks:
        _settle_repeats(builder, draft, lambda code: names[code])
    for code, row in _spots_read_twice(draft).items():
        if code not in builder.condition:
            say_twice(builder, draft, code, *names[code], row)
    builder.blocks += draft.blocks
    builder.spots += draft.spots


def _settle_repeats(builder: Builder, draft: FileDraft, name_of: Callable[[int], tuple[str, str]]) -> None:
    def joined(pick: str) -> Ints:
        return np.concatenate([getattr(block, pick) for block in draft.blocks])

    def figures(key: str) -> Floats:
        return np.concatenate([block.numbers.get(key, np.full(len(block.part), np.nan)) for block in draft.blocks])

    marked = joined("control").astype(np.bool_) | ~np.isnan(figures("time"))
    run_label = joined("run_label")
    found = find_repeats(
        joined("part"),
        joined("session"),
        joined("sweep"),
        run_label,
        marked,
        joined("row"),
        (figures("ic"), figures("ib"), figures("vce")),
    )
    again = find_restarts(
        joined("part"),
        joined("session"),
        joined("sweep"),
        found.repeat,
        {key: figures(key) for key in ("ic", "ib", "vce", "vbe")},
    )
    at = 0
    for block in draft.blocks:
        told = block.run_label >= 0
        block.repeat = np.where(told, 0, found.repeat[at : at + len(block.part)] + again[at : at + len(block.part)])
        at += len(block.part)
    for code, row in found.duplicates.items():
        if code in draft.told_twice:
            continue
        lot, part = name_of(code)
        say_twice(builder, draft, code, lot, part, row)


def say_twice(builder: Builder, draft: FileDraft, code: int, lot: str, part: str, row: int) -> None:
    """A part whose rows stand twice in a file: not usable, and told."""
    what = (
        f"part {part} of lot {lot} is read again from row {row} on: two parts under one number, or one part read twice"
    )
    fix = "give the second part its own number; a meant repeat needs a column run, time or control"
    draft.problems.append(Problem("DUPLICATE_PART", what, fix, draft.name, row, "part", part, lot))
    builder.unusable(code, "DUPLICATE_PART", f"{draft.name}: {what}")


def _spots_read_twice(draft: FileDraft) -> dict[int, int]:
    """Parts of which one spot reading stands twice with rows of other parts in between."""
    if draft.told_apart:
        return {}
    found: dict[int, int] = {}
    where: dict[tuple[object, ...], int] = {}
    block, last = 0, -1
    for spot in draft.spots:
        block += spot.part != last
        last = spot.part
        key = (spot.part, spot.session, spot.quantity, *sorted((k, str(v)) for k, v in spot.conditions.items()))
        if where.setdefault(key, block) != block and not spot.control:
            found.setdefault(spot.part, spot.row)
    return found


def find_parts_in_two_lots(builder: Builder, drafts: Sequence[FileDraft]) -> dict[str, list[Problem]]:
    """One id in two lots: within a file, or across files when the id is not a bare number. Problems by file."""
    found: dict[str, list[Problem]] = {}
    if len(builder.lots) < 2:
        return found
    owners = _first_rows(builder, drafts)
    told: set[str] = set()
    for file, pairs in owners.items():
        lots: dict[str, set[str]] = {}
        for lot, part in pairs:
            if part.isdigit():
                lots.setdefault(lot, set()).add(part)
        fine = numbered_per_bag(list(lots.values()))
        twice = _in_several_lots(pairs)
        for part, where in twice.items():
            if not (part.isdigit() and fine):
                told.add(part)
                _say_two_lots(
                    builder, found.setdefault(file, []), file, max(pairs[lot, part] for lot in where), part, where
                )
        if fine and any(part.isdigit() for part in twice):
            builder.notices.append(
                f"{file}: several lots number their parts 1, 2, 3, ...: equal numbers are different parts"
            )
    everywhere = {pair: 0 for pairs in owners.values() for pair in pairs}
    for part, where in _in_several_lots(everywhere).items():
        if not part.isdigit() and part not in told:
            file, pairs = [
                (file, pairs) for file, pairs in owners.items() if any((lot, part) in pairs for lot in where)
            ][-1]
            row = max(pairs.get((lot, part), 0) for lot in where)
            _say_two_lots(builder, found.setdefault(file, []), file, row, part, where)
    return found


def _first_rows(builder: Builder, drafts: Sequence[FileDraft]) -> dict[str, dict[tuple[str, str], int]]:
    """By file, (lot, part) to the row where it first stands."""
    pairs = list(builder.parts)
    owners: dict[str, dict[tuple[str, str], int]] = {}
    for draft in drafts:
        mine = owners[draft.name] = {}
        for codes, rows in draft.first_rows:
            for code, row in zip(codes.tolist(), rows.tolist(), strict=True):
                mine.setdefault(pairs[code], row)
    return owners


def _in_several_lots(pairs: dict[tuple[str, str], int]) -> dict[str, list[str]]:
    by_part: dict[str, list[str]] = {}
    for lot, part in pairs:
        by_part.setdefault(part, []).append(lot)
    return {part: sorted(lots) for part, lots in by_part.items() if len(lots) > 1}


def _say_two_lots(builder: Builder, problems: list[Problem], file: str, row: int, part: str, lots: list[str]) -> None:
    what = f"part {part} stands in {len(lots)} lots: {', '.join(lots)}; a part belongs to one bag"
    fix = "correct the lot or the number of one of them"
    problems.append(Problem("PART_IN_TWO_LOTS", what, fix, file, row, "lot", part, lots[0]))
    for lot in lots:
        builder.unusable(builder.parts[lot, part], "PART_IN_TWO_LOTS", what)
