"""A fixed sample of mutants that the tests noticed once: do they still? Prints what they do not.

    python -m tests.mutants.sample [40]

Each runs only against the test that noticed it, so forty take seconds. A mutant whose code is gone is passed over.
"""

from __future__ import annotations

import csv
import sys

from tests.mutants.figures import RESULTS
from tests.mutants.operators import Mutant
from tests.mutants.rooms import HOUSE, order
from tests.mutants.run import every_mutant
from tests.mutants.session import Task, Verdict, run


def recorded() -> dict[str, str]:
    """Killed mutants and the test that noticed each."""
    with RESULTS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))
    return {row["mutant"]: row["noticed by"] for row in rows if row["state"] == "killed" and "::" in row["noticed by"]}


def sample(count: int) -> tuple[list[Task], float]:
    """Tasks of a fixed random sample, and the share of recorded mutants whose code and test are still there."""
    by, now = recorded(), {mutant.key: mutant for mutant in every_mutant()}
    standing = [key for key in by if key in now and (HOUSE / by[key].partition("::")[0]).exists()]
    chosen: list[Mutant] = [now[key] for key in sorted(standing, key=order)[:count]]
    return [Task(mutant, (by[mutant.key],)) for mutant in chosen], len(standing) / len(by)


def main() -> int:
    tasks, standing = sample(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
    verdicts: list[Verdict] = []
    run(tasks, verdicts.append)
    missed = [v for v in verdicts if v.state not in ("killed", "timeout")]
    for verdict in missed:
        print(f"not noticed ({verdict.state} {verdict.by}): {verdict.mutant.key}")
    print(
        f"{len(verdicts) - len(missed)} of {len(tasks)} noticed; {100 * standing:.0f} % of the recorded mutants stand"
    )
    return 0 if tasks and not missed and len(verdicts) == len(tasks) else 1


if __name__ == "__main__":
    sys.exit(main())
