"""What the verdicts come to: results.tsv (each mutant tried) and figures.json (shares, with their interval)."""

from __future__ import annotations

import csv
import json
import math
from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from tests.mutants.operators import Mutant
from tests.mutants.rooms import ROOMS, room_of

RESULTS = Path(__file__).with_name("results.tsv")
FIGURES = Path(__file__).with_name("figures.json")
SURVIVORS = Path(__file__).with_name("survivors.tsv")
COMMAND = "python -m tests.mutants.run"
COLUMNS = ("mutants", "tried", "killed", "timeouts", "survived", "crashed")


def counts(mutants: Iterable[Mutant], verdicts: dict[str, dict]) -> dict[str, int]:
    """How many there are, were tried, and how it went. `killed` counts timeouts too: a test that hangs is noticed."""
    mine = list(mutants)
    states = Counter(verdicts[m.key]["state"] for m in mine if m.key in verdicts)
    killed = states["killed"] + states["timeout"]
    row = (len(mine), states.total(), killed, states["timeout"], states["survived"], states["crash"])
    return dict(zip(COLUMNS, row, strict=True))


def share_killed(rooms: dict[str, dict]) -> tuple[float, float, float]:
    """Share of all mutants that are killed, and its 95 % interval from the mutants tried.

    A stratified sample: each room's share weighs as the room has mutants (W. G. Cochran, Sampling Techniques, ch. 5:
    variance with the finite population correction, normal interval). Crashes of the apparatus count as survived.
    """
    total = sum(room["mutants"] for room in rooms.values())
    share = variance = 0.0
    for room in rooms.values():
        weight, tried, all_of = room["mutants"] / total, room["tried"], room["mutants"]
        own = room["killed"] / tried
        share += weight * own
        if tried < all_of:
            variance += weight**2 * (1 - tried / all_of) * own * (1 - own) / (tried - 1)
    half = 1.959964 * math.sqrt(variance)
    return share, max(share - half, 0.0), min(share + half, 1.0)


def write(mutants: list[Mutant], verdicts: dict[str, dict]) -> str:
    """Write both files; returns a line to print."""
    mutants = sorted(mutants, key=lambda mutant: mutant.key)
    tried = [m for m in mutants if m.key in verdicts]
    with RESULTS.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter="\t", lineterminator="\n")
        out.writerow(["mutant", "state", "noticed by"])
        out.writerows([m.key, verdicts[m.key]["state"], verdicts[m.key]["by"]] for m in tried)
    rooms = {room: counts([m for m in mutants if room_of(m.module) == room], verdicts) for room in ROOMS}
    if not all(room["tried"] > 1 for room in rooms.values()):
        return f"{len(tried)} of {len(mutants)} tried; too few for figures"
    share, low, high = share_killed(rooms)
    whole = len(tried) == len(mutants)
    figures = {
        "date": datetime.now(UTC).date().isoformat(),
        "command": COMMAND,
        "whole": whole,
        **counts(mutants, verdicts),
        "share_killed": round(share, 4),
        "interval_95": [round(low, 4), round(high, 4)],
        "rooms": rooms,
        "modules": {
            module: counts([m for m in mutants if m.module == module], verdicts)
            for module in sorted({m.module for m in mutants})
        },
    }
    FIGURES.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    of = "all" if whole else f"a random sample of {len(tried)} of"
    return f"{100 * share:.1f} % ({100 * low:.1f} to {100 * high:.1f} %) of {of} {len(mutants)} mutants killed"


def survivors() -> set[str]:
    """Mutants on record that no test noticed."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        return {row["mutant"] for row in csv.DictReader(file, delimiter="\t") if row["state"] == "survived"}


def explained() -> dict[str, tuple[str, str]]:
    """Survivors that stay, by key: kind (equivalent, not worth it, open) and why."""
    with SURVIVORS.open(encoding="utf-8", newline="") as file:
        return {row["mutant"]: (row["kind"], row["why"]) for row in csv.DictReader(file, delimiter="\t")}
