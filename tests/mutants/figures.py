"""What the verdicts come to: results.tsv (each mutant tried) and figures.json (shares, with their interval).

Under "fresh" in figures.json stand the samples of mutants never tried before, the last first, by their first verdicts:
the unbiased figures. The share of all tried has gone up by tests written for those that survived.
"""

from __future__ import annotations

import csv
import json
import math
from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from tests.mutants import fresh
from tests.mutants.operators import Mutant
from tests.mutants.rooms import ROOMS, room_of, room_of_path

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


def interval(killed: int, tried: int) -> tuple[float, float]:
    """95 % interval of one room's share (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, 209-212)."""
    z2, own = 1.959964**2, killed / tried
    middle, half = own + z2 / (2 * tried), math.sqrt(z2 * (own * (1 - own) + z2 / (4 * tried)) / tried)
    return (middle - half) / (1 + z2 / tried), (middle + half) / (1 + z2 / tried)


def fresh_figures(mutants: list[Mutant]) -> list[dict]:
    """Of each sample of mutants never tried before, the last first. Rooms weigh as all their mutants.

    A row counts by the code as it was when it was tried, also where that was rewritten since.
    """
    out = []
    same = {key for key, (kind, _) in explained().items() if kind == "equivalent"}
    for seed, rows in reversed(fresh.kept().items()):
        rooms = {}
        for room in ROOMS:
            states = [row["state"] for key, row in rows.items() if room_of_path(key.partition("::")[0]) == room]
            killed, tried = sum(state in ("killed", "timeout") for state in states), len(states)
            if tried < 2:
                break
            low, high = interval(killed, tried)
            rooms[room] = {
                "mutants": sum(room_of(mutant.module) == room for mutant in mutants),
                "tried": tried,
                "killed": killed,
                "timeouts": states.count("timeout"),
                "interval_95": [round(low, 4), round(high, 4)],
            }
        else:
            share, low, high = share_killed(rooms)
            out.append(
                {
                    "seed": seed,
                    "date": max(row["date"] for row in rows.values()),
                    "tried": sum(room["tried"] for room in rooms.values()),
                    "killed": sum(room["killed"] for room in rooms.values()),
                    "equivalent": len(same.intersection(rows)),
                    "share_killed": round(share, 4),
                    "interval_95": [round(low, 4), round(high, 4)],
                    "rooms": rooms,
                }
            )
    return out


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
        "fresh": fresh_figures(mutants),
        "rooms": rooms,
        "modules": {
            module: counts([m for m in mutants if m.module == module], verdicts)
            for module in sorted({m.module for m in mutants})
        },
    }
    FIGURES.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    of = "all" if whole else f"a random sample of {len(tried)} of"
    return f"{100 * share:.1f} % ({100 * low:.1f} to {100 * high:.1f} %) of {of} {len(mutants)} mutants killed"


def on_record() -> dict[str, dict[str, str]]:
    """Verdicts of results.tsv by mutant."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))
    return {row["mutant"]: {"state": row["state"], "by": row["noticed by"]} for row in rows}


def survivors() -> set[str]:
    """Mutants on record that no test noticed."""
    return {key for key, row in on_record().items() if row["state"] == "survived"}


def explained() -> dict[str, tuple[str, str]]:
    """Survivors that stay, by key: kind (equivalent, not worth it, open) and why."""
    with SURVIVORS.open(encoding="utf-8", newline="") as file:
        return {row["mutant"]: (row["kind"], row["why"]) for row in csv.DictReader(file, delimiter="\t")}
