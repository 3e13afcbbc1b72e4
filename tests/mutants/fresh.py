"""Samples of mutants never tried before, each by its own seed: the first verdict on each stays, whatever tests come."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from tests.mutants.operators import Mutant
from tests.mutants.rooms import order, room_of

FRESH = Path(__file__).with_name("fresh.tsv")
HEAD = ("seed", "date", "mutant", "state")


def kept() -> dict[int, dict[str, dict[str, str]]]:
    """Rows of fresh.tsv by seed, then by mutant."""
    out: dict[int, dict[str, dict[str, str]]] = defaultdict(dict)
    if FRESH.exists():
        with FRESH.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file, delimiter="\t"):
                out[int(row["seed"])].setdefault(row["mutant"], row)
    return out


def keep(seed: int, key: str, state: str) -> None:
    """Add a first verdict. A crash of the apparatus is kept too: it counts as survived."""
    new = not FRESH.exists()
    with FRESH.open("a", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter="\t", lineterminator="\n")
        if new:
            out.writerow(HEAD)
        out.writerow((seed, datetime.now(UTC).date().isoformat(), key, state))


def wanted(
    seed: int, all_of: Iterable[Mutant], had: set[str], rooms: Iterable[str], per_room: int | None
) -> list[Mutant]:
    """The mutants to try now, in random order. A sample that was begun goes on, and may be made larger."""
    mine = set(kept().get(seed, {}))
    by_room: dict[str, list[Mutant]] = defaultdict(list)
    for mutant in sorted(all_of, key=lambda mutant: order(mutant.key, seed)):
        if mutant.key in mine or mutant.key not in had:
            by_room[room_of(mutant.module)].append(mutant)
    chosen = [mutant for room in rooms for mutant in by_room[room][:per_room]]
    return sorted((m for m in chosen if m.key not in mine), key=lambda mutant: order(mutant.key, seed))
