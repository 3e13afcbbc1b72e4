"""The short table of docs/evidence.md: rows of docs/honesty.md, so that a figure stands in one place."""

from __future__ import annotations

import re

_PLACE = re.compile(r"(?<=<!-- rows of honesty.md -->\n).*?(?=<!-- end of rows -->)", re.DOTALL)
# Place of the row in the table of unseen worlds, and its words where it leans on the row before it.
_ROWS = {
    0: "",
    1: "",
    2: "1 A + both C, two known-good: area 0.8",
    3: "the same: base-emitter leak",
    4: "the same: another type",
    5: "the same: damaged bond",
    7: "a part alone, 1 A, no C, data sheet only: area 0.5",
    9: "lots of 40, 1 A, no C, data sheet only: area 0.5",
    12: "60 % small dies, eight known-good",
    15: "lots of 40 with 10 % of low gain inside the limits",
    16: "",
    19: "clean lots of two wafer lots, no known-good",
}


def with_rows(evidence: str, honesty: str) -> str:
    """The page of evidence with the rows as the honesty tables have them today."""
    section = honesty.split("## Worlds that no setting has seen")[1].split("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in section.splitlines() if line.startswith("| ")][1:]
    lines = ["| case | bad: rejected, % | bad: not accepted, % | sound: rejected, % | sound: rejected or held, % |"]
    lines.append("|---|---|---|---|---|")
    for place, words in _ROWS.items():
        name, _, rejected, missed, _, false, held = rows[place]
        figures = (_figure(rejected), _figure(missed), _figure(false), _figure(held))
        lines.append("| " + " | ".join((words or name, *figures)) + " |")
    return _PLACE.sub(lambda _: "\n".join(lines) + "\n", evidence)


def _figure(cell: str) -> str:
    """The share without its interval and the number to reach."""
    return cell.split(" (")[0]
