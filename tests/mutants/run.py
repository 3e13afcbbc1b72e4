"""Mutation testing: change the house a little in thousands of ways, and see whether its tests notice.

    python -m tests.mutants.record             first: which test runs which line
    python -m tests.mutants.run                every mutant (an hour or more on two processors)
    python -m tests.mutants.run --per-room 80  a seeded random sample of each room
    python -m tests.mutants.run --survivors    again those that survived: after tests were added
    python -m tests.mutants.run --fresh 9 --per-room 60   a sample by another seed of mutants never tried before

Verdicts are kept in build/mutants as they come, so that a run that was stopped goes on. What is known at the end is
written to tests/mutants/results.tsv and figures.json. Tests are written for survivors, so a share of mutants once tried
flatters; the first verdicts on a fresh sample, kept in fresh.tsv, do not.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict

from tests.mutants import fresh
from tests.mutants.choose import Chooser
from tests.mutants.figures import on_record, write
from tests.mutants.operators import Mutant, mutants
from tests.mutants.rooms import BUILD, HOUSE, ROOMS, modules, order, room_of
from tests.mutants.session import Task, Verdict, run

VERDICTS = BUILD / "verdicts.jsonl"


def every_mutant(room: str | None = None) -> list[Mutant]:
    """Of a room or of all, module by module."""
    paths = [(path, str(path.relative_to(HOUSE))) for path in modules(room)]
    return [mutant for path, name in paths for mutant in mutants(path.read_text(encoding="utf-8"), name)]


def known() -> dict[str, dict]:
    """Verdicts of earlier runs by key, the last one of each."""
    lines = VERDICTS.read_text(encoding="utf-8").splitlines() if VERDICTS.exists() else []
    return on_record() | {verdict["key"]: verdict for verdict in map(json.loads, lines) if verdict["state"] != "crash"}


def wanted(asked: argparse.Namespace, all_of: list[Mutant]) -> list[Mutant]:
    """The mutants to try now, mixed so that a stopped run is a random sample too."""
    had = known()
    if asked.fresh is not None:
        return fresh.wanted(asked.fresh, all_of, set(had), asked.room or ROOMS, asked.per_room)
    by_room: dict[str, list[Mutant]] = defaultdict(list)
    for mutant in sorted(all_of, key=lambda mutant: order(mutant.key)):
        by_room[room_of(mutant.module)].append(mutant)
    if asked.survivors:
        rooms = asked.room or ROOMS
        return [m for room in rooms for m in by_room[room] if had.get(m.key, {}).get("state") == "survived"]
    chosen = [m for room in asked.room or ROOMS for m in by_room[room][: asked.per_room]]
    return sorted((m for m in chosen if m.key not in had), key=lambda mutant: order(mutant.key))


def main() -> int:
    parser = argparse.ArgumentParser(description="Mutation testing of the deciding rooms.")
    parser.add_argument(
        "--per-room", type=int, help="as many mutants of each room, chosen by a fixed seed; default all"
    )
    parser.add_argument("--room", action="append", choices=list(ROOMS))
    parser.add_argument("--survivors", action="store_true", help="only those that survived before")
    parser.add_argument("--fresh", type=int, metavar="SEED", help="mutants never tried, drawn by another seed")
    parser.add_argument("--at-once", type=int, default=2)
    asked = parser.parse_args()
    all_of = every_mutant()
    todo = wanted(asked, all_of)
    chooser = Chooser()
    BUILD.mkdir(parents=True, exist_ok=True)
    with VERDICTS.open("a", encoding="utf-8") as kept:

        def said(verdict: Verdict) -> None:
            line = {"key": verdict.mutant.key, "state": verdict.state, "by": verdict.by, "seconds": verdict.seconds}
            print(json.dumps(line, ensure_ascii=False), file=kept, flush=True)
            if asked.fresh is not None:
                fresh.keep(asked.fresh, verdict.mutant.key, verdict.state)

        print(f"{len(todo)} of {len(all_of)} mutants to try")
        code = run([Task(mutant, chooser.tests(mutant)) for mutant in todo], said, asked.at_once) if todo else 0
    print(write(all_of, known()))
    return code


if __name__ == "__main__":
    sys.exit(main())
