"""A match as a table: one row a part in its place, parts left over last."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from partscreen.report.table import plain_cell
from partscreen.results.matching import Matching
from partscreen.whole_files import write_whole

MATCH_COLUMNS = (
    "set", "rank", "amplifier", "position", "lot", "part", "type", "session", "vbe_from_mean_mv",
    "hfe_difference_percent", "hfe_uncertainty_percent", "vbe_difference_mv", "vbe_uncertainty_mv",
    "across_hfe_percent", "across_vbe_mv", "within_tolerance", "alike_within_measurement", "one_session", "distance",
    "why_not_placed",
)  # fmt: skip
"""Differences are those of the whole set; `vbe_from_mean_mv` is of the part."""
_OF_SET = MATCH_COLUMNS[9:19]


def match_rows(matching: Matching) -> list[dict[str, Any]]:
    """One dict a part with the keys of `MATCH_COLUMNS`; unknown is None."""
    rows = []
    for number, found in enumerate(matching.sets, 1):
        of_set = {name: getattr(found, name) for name in _OF_SET}
        for place in found.places:
            told: dict[str, Any] = {
                "set": number, "rank": found.rank, "amplifier": found.amplifier, "position": place.position,
                "lot": place.lot, "part": place.part, "type": place.type, "session": place.session,
                "vbe_from_mean_mv": place.vbe_from_mean_mv, **of_set,
            }  # fmt: skip
            rows.append(dict.fromkeys(MATCH_COLUMNS) | told)
    left = [
        dict.fromkeys(MATCH_COLUMNS) | {"lot": one.lot, "part": one.part, "why_not_placed": one.why}
        for one in matching.unmatched
    ]
    return rows + left


def write_match_table(matching: Matching, path: Path) -> None:
    """Write the table as UTF-8 CSV with a byte order mark.

    Text that a spreadsheet would take for a formula gets an apostrophe in front; numbers are written in full.

    Raises
    ------
    OSError
        It cannot be written.
    """
    sink = io.StringIO(newline="")
    writer = csv.DictWriter(sink, MATCH_COLUMNS)
    writer.writeheader()
    for row in match_rows(matching):
        writer.writerow({key: _cell(value) for key, value in row.items()})
    write_whole(path, sink.getvalue().encode("utf-8-sig"))


def _cell(value: Any) -> Any:
    return ("no", "yes")[value] if isinstance(value, bool) else plain_cell(value)
