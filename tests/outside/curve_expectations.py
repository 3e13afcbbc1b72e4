"""What a digitised hFE curve says of the printed hFE limits of a type: plain interpolation, nothing of the program's.

Only the rows of the reference file are used: figures, conditions, sources. What counts as reached, comparable and
broken is written down here again, so that a slip in the screening shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.reference.models import ReferenceType
from partscreen.reference.rows import Characteristic
from tests.outside.tester_files import DrawnCurve, DrawnPart

BEYOND_END = 1.05  # a point this close to the limit's current stands for it
WIDEST_GAP = 5.0  # two points further apart than this do not reach a current between them
VCE_SPAN = 3.0  # a curve drawn at a VCE within this factor of the limit's speaks of it
NEIGHBOURING_VCE = 1.3
SURELY = 3.5  # standard uncertainties of the digitised point: a break beyond is one
CELSIUS_SPAN = 40.0
# A figure that states no temperature is taken as 25 degC within 5 K; gain goes by half a per cent for each (XTB 1.5).
UNSTATED_TEMPERATURE = 0.025


@dataclass(frozen=True)
class RowVerdict:
    """One side of one row against one curve. `margin`: how far inside, in standard uncertainties; negative: broken."""

    row: Characteristic
    side: str
    editions: tuple[str, ...]
    memory: bool
    margin: float
    std: float
    vce_ratio: float

    @property
    def firm(self) -> bool:
        return not self.memory and not self.row.doubt

    @property
    def broken(self) -> bool:
        return self.margin < -SURELY

    @property
    def surely(self) -> bool:
        """Broken whatever VCE does: gain rises with VCE, so a minimum missed at more than the limit's VCE is missed at
        it, and a maximum passed at less is passed at it. The other way round, between neighbouring voltages (4 and 5
        V), the gain is allowed to go in proportion to VCE: more than any of the figures shows (0.75 powers of it)."""
        against = max(float(np.log(self.vce_ratio)) * (-1.0 if self.side == "min" else 1.0), 0.0)
        return against < np.log(NEIGHBOURING_VCE) and self.margin + against / self.std < -SURELY


@dataclass(frozen=True)
class Expectation:
    """What the gain of a drawn part says of a marking.

    `may_reject`: broken in every edition that prints a gain limit; `must_reject`: and whatever VCE does between curve
    and limit. `unconfirmed`: surely broken, but by recalled rows only.
    """

    may_reject: bool
    must_reject: bool
    unconfirmed: bool
    rows: tuple[RowVerdict, ...]


def read_at(curve: DrawnCurve, ic: float) -> float | None:
    """hFE at a current between the points, straight in the logarithms; None where the curve does not reach it."""
    above = curve.ic[curve.ic >= ic / BEYOND_END]
    below = curve.ic[curve.ic <= ic * BEYOND_END]
    if not above.size or not below.size:
        return None
    near = max(below[-1], above[0]) / min(below[-1], above[0])
    if near > WIDEST_GAP:
        return None
    return float(np.exp(np.interp(np.log(ic), np.log(curve.ic), np.log(curve.value))))


def verdict(part: DrawnPart, kind: ReferenceType, row: Characteristic) -> list[RowVerdict]:
    """What the curve at the nearest VCE says of the row; empty where none reaches it."""
    celsius, _ = row.temperature
    if row.symbol != "hFE" or row.rank is not None or not {"IC", "VCE"} <= row.conditions.keys():
        return []
    if celsius is not None and abs(celsius - 25.0) > CELSIUS_SPAN:
        return []
    vce = row.conditions["VCE"]
    curve = min(part.gain, key=lambda c: abs(np.log(c.condition / vce)))
    if abs(np.log(curve.condition / vce)) > np.log(VCE_SPAN) * (1 + 1e-9):
        return []
    value = read_at(curve, row.conditions["IC"])
    if value is None:
        return []
    memory = all(kind.source_by_id[s].basis == "memory" for s in row.source)
    editions = tuple(e.id for e in kind.sheet_editions if set(e.sources) & set(row.source))
    std = (
        curve.reading_error if curve.stated_celsius is not None else np.hypot(curve.reading_error, UNSTATED_TEMPERATURE)
    )
    out = []
    for side, limit, sign in (("min", row.min, 1.0), ("max", row.max, -1.0)):
        if limit is not None:
            margin = sign * np.log(value / limit) / std
            out.append(RowVerdict(row, side, editions, memory, float(margin), float(std), curve.condition / vce))
    return out


def expectation(part: DrawnPart, kind: ReferenceType) -> Expectation:
    """Whether the gain of a drawn part rejects it, under the marking of `kind`."""
    rows = tuple(v for row in kind.characteristics for v in verdict(part, kind, row))
    # An edition is asked if it prints a gain limit with its condition; a recalled one speaks only where it is met.
    asked = {e for v in rows if not v.firm and not v.broken for e in v.editions}
    for row in kind.characteristics:
        limits = row.symbol == "hFE" and row.rank is None and not (row.min is None and row.max is None)
        recalled = all(kind.source_by_id[s].basis == "memory" for s in row.source)
        if limits and {"IC", "VCE"} <= row.conditions.keys() and not row.doubt and not recalled:
            asked |= {e.id for e in kind.sheet_editions if set(e.sources) & set(row.source)}

    def in_every(broken: list[RowVerdict]) -> bool:
        return bool(broken) and asked <= {e for v in broken for e in v.editions}

    firm = [v for v in rows if v.firm and v.broken]
    surely = [v for v in rows if v.surely]
    only_weak = bool(surely) and not firm
    return Expectation(in_every(firm), in_every([v for v in firm if v.surely]), only_weak, rows)
