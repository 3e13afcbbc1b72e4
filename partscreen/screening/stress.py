"""What may have changed a part on the bench: its base-emitter junction in breakdown, a breakdown reading, a dwell.

A junction driven into breakdown loses gain at low current within microseconds (IEEE Trans. Electron Devices 17(10),
1970, 871-878, abstract), so that readings taken afterwards may tell of the test and not of the part.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.quantities import QUANTITIES
from partscreen.readings.tables import Batch
from partscreen.reference.wording import figure_text
from partscreen.results import Reason

Ints = npt.NDArray[np.int64]

AVALANCHE, BREAKDOWN, DWELL = "avalanche_base_emitter", "breakdown", "dwell"
WORDS = {
    AVALANCHE: "its base-emitter junction was driven into breakdown",
    BREAKDOWN: "its collector was driven into breakdown",
    DWELL: "it went through a power dwell",
}
SENSITIVE = ("hfe", "iebo", "icbo", "iceo", "ices", "icer", "icex")
"""Readings that a worn junction moves first: gain at low current, leakage."""

SOURCE = "IEEE Trans. Electron Devices 17(10), 1970, 871-878, abstract"
_AFTER = {
    "avalanche": AVALANCHE, "avalanche_base_emitter": AVALANCHE, "avalanche-base-emitter": AVALANCHE,
    "breakdown": BREAKDOWN, "dwell": DWELL,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stressed:
    """What a part went through, in words; readings known to be taken after it; whether the order of others is told."""

    kinds: tuple[str, ...]
    events: tuple[str, ...]
    later: tuple[str, ...] = ()
    order_open: bool = False

    def reason(self, *, leaks: bool = False) -> Reason:
        """The remark. `leaks`: the readings speak for a leaking base-emitter junction."""
        sentence = f"Stressed: {'; '.join(self.events)}."
        if self.later:
            sentence += (
                f" Read after it: {', '.join(self.later)}; gain at low current and leakage may tell of the test."
            )
        elif self.order_open:
            sentence += (
                " Whether gain and leakage were read before or after is not told; add after=avalanche, after=breakdown "
                "or after=dwell to the conditions of those read later."
            )
        if leaks:
            cause = "that breakdown" if AVALANCHE in self.kinds else "the test"
            sentence += f" The readings speak for a leaking base-emitter junction: {cause} may be the cause."
        figures: dict[str, float | int | str | None] = {
            "stress": ", ".join(self.kinds), "read_after": ", ".join(self.later) or None,
        }  # fmt: skip
        return Reason(code="STRESSED", sentence=sentence, figures=figures, source=SOURCE)


def kind_of(quantity: str) -> str | None:
    """The stress that taking a reading means; None: none."""
    if quantity == "v_br_ebo":
        return AVALANCHE
    if quantity.startswith("v_br_"):
        return BREAKDOWN
    return DWELL if quantity == "dwell" else None


def stressed_parts(batch: Batch, parts: Iterable[int]) -> dict[int, Stressed]:
    """Parts that were stressed, by part number, from their readings and from conditions such as `after=avalanche`.

    A reading counts as taken later where its conditions say so, or where it stands below the stress in the same file.
    """
    spots = batch.spots
    told = np.array([bool(c.get("after")) for c in spots.conditions], dtype=np.bool_)
    stress = np.array([kind_of(str(q)) is not None for q in spots.quantity], dtype=np.bool_)
    rows = np.flatnonzero((told | stress) & ~spots.control) if spots.value.size else np.zeros(0, dtype=np.int64)
    wanted = {int(p) for p in parts}
    found = sorted({int(spots.part[r]) for r in rows} & wanted)
    return {part: _of(batch, part, rows[spots.part[rows] == part]) for part in found}


def _of(batch: Batch, part: int, rows: Ints) -> Stressed:
    spots = batch.spots
    kinds: dict[str, None] = {}
    events: list[str] = []
    below: dict[int, int] = {}
    for row in rows.tolist():
        kind = kind_of(str(spots.quantity[row]))
        if kind is not None:
            kinds.setdefault(kind)
            events.append(_event(batch, row, kind))
            file = int(spots.file[row])
            below[file] = min(below.get(file, int(spots.row[row])), int(spots.row[row]))
    later, open_ = [], False
    for row in np.flatnonzero((spots.part == part) & ~spots.control).tolist():
        after = str(spots.conditions[row].get("after", ""))
        if after:
            kind = _AFTER.get(after.strip().lower(), "")
            kinds.setdefault(kind or after)
            if kind not in {kind_of(str(spots.quantity[r])) for r in rows}:
                events.append(WORDS.get(kind, f"as its readings say: after {after}"))
        if str(spots.quantity[row]) not in SENSITIVE:
            continue
        if after or int(spots.row[row]) > below.get(int(spots.file[row]), 1 << 60):
            later.append(f"{QUANTITIES[str(spots.quantity[row])].symbol} (row {int(spots.row[row])})")
        elif int(spots.file[row]) not in below:
            open_ = True
    points = batch.points
    mine = points.part == part
    if mine.any():
        file_below = np.array([below.get(int(f), 1 << 60) for f in points.file[mine]])
        if (points.row[mine] > file_below).any():
            later.append("sweeps below it in the file")
        open_ = open_ or bool((~np.isin(points.file[mine], list(below))).any())
    return Stressed(tuple(kinds), tuple(dict.fromkeys(events)), tuple(dict.fromkeys(later)), open_)


def _event(batch: Batch, row: int, kind: str) -> str:
    spots = batch.spots
    quantity = QUANTITIES[str(spots.quantity[row])]
    told = spots.conditions[row]
    shown = figure_text(float(f"{spots.value[row]:.3g}"), quantity.unit)
    survived = {"no": ", did not survive", "yes": ", survived"}.get(str(told.get("survived", "")).lower(), "")
    return f"{WORDS[kind]} ({quantity.symbol} {shown}, row {int(spots.row[row])}{survived})"
