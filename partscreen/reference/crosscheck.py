"""Ratings of one sheet held against each other: dissipation, junction temperature, thermal resistance, derating.

P(TC) = P25 (TJmax - TC) / (TJmax - 25), so P25 / (TJmax - 25), the printed derating and 1 / RthJC are one number.
"""

from __future__ import annotations

from dataclasses import dataclass

from partscreen.reference.models import Note, ReferenceType

TOLERANCE = 0.05
"""Relative difference taken as rounding. Assumption: two figures of two digits each are off by at most 5 % together."""


@dataclass(frozen=True, slots=True)
class DeratingCheck:
    """Slope from P25 and TJmax [W/K]; printed derating and 1/RthJC as ratios to it (None: not printed)."""

    slope: float
    derating_ratio: float | None
    thermal_ratio: float | None

    @property
    def agrees(self) -> bool:
        """Every printed figure fits within the tolerance."""
        ratios = (self.derating_ratio, self.thermal_ratio)
        return all(r is None or abs(r - 1.0) <= TOLERANCE for r in ratios)


def check_derating(
    p25: float, tj_max: float, derating: float | None = None, rth_jc: float | None = None, *, case: float = 25.0
) -> DeratingCheck:
    """Hold one sheet's thermal ratings against each other.

    Parameters
    ----------
    p25 : dissipation at case temperature `case`. [W]
    tj_max, case : [degC]
    derating : printed slope. [W/K]
    rth_jc : printed thermal resistance. [K/W]

    Raises
    ------
    ValueError
        A figure that cannot be (tj_max at or below `case`, power or resistance not above zero).
    """
    if tj_max <= case or p25 <= 0 or (rth_jc is not None and rth_jc <= 0):
        raise ValueError(f"cannot be: {p25} W at {case} degC case, {tj_max} degC junction, {rth_jc} K/W")
    slope = p25 / (tj_max - case)
    return DeratingCheck(
        slope,
        None if derating is None else derating / slope,
        None if rth_jc is None else 1.0 / rth_jc / slope,
    )


def _figures(kind: ReferenceType, source: str) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {}
    for rating in kind.ratings:
        if source in rating.source:
            out.setdefault(rating.symbol, []).append(rating.value)
    return out


def contradictions(kind: ReferenceType) -> tuple[Note, ...]:
    """Notes on ratings of one source that do not fit each other, and on sources that print different ratings."""
    notes = []
    for source in kind.sources:
        figures = _figures(kind, source.id)
        if len(figures.get("PC", [])) != 1 or len(figures.get("TJ", [])) != 1:
            continue
        p25, tj = figures["PC"][0], figures["TJ"][0]
        derating, rth = (figures[k][0] if len(figures.get(k, [])) == 1 else None for k in ("DERATING", "RTHJC"))
        if tj <= 25.0:
            continue
        check = check_derating(p25, tj, derating, rth)
        if check.agrees:
            continue
        bits = []
        if check.derating_ratio is not None and abs(check.derating_ratio - 1) > TOLERANCE:
            bits.append(f"the printed derating is {derating:g} W/degC ({check.derating_ratio:.2f} of it)")
        if check.thermal_ratio is not None and abs(check.thermal_ratio - 1) > TOLERANCE:
            bits.append(f"1/RTHJC is {1 / rth if rth else 0:.3g} W/degC ({check.thermal_ratio:.2f} of it)")
        text = f"{p25:g} W and {tj:g} degC give {check.slope:.3g} W/degC, but {' and '.join(bits)}"
        notes.append(Note(text=text, source=(source.id,), computed=True))
    notes.extend(_between_sheets(kind))
    return tuple(notes)


def _between_sheets(kind: ReferenceType) -> list[Note]:
    notes = []
    for symbol in ("VCEO", "VCBO", "IC", "PC", "TJ", "RTHJC"):
        printed = {r.value: r for r in kind.ratings if r.symbol == symbol}
        values = list(printed)
        rounding = TOLERANCE if symbol == "RTHJC" else 0.0  # 1.5 and 1.52 are one figure, rounded
        if len(values) > 1 and max(values) > min(values) * (1.0 + rounding):
            each = "; ".join(f"{v:g} {r.unit} ({', '.join(r.source)})" for v, r in sorted(printed.items()))
            sources = tuple(dict.fromkeys(s for r in printed.values() for s in r.source))
            notes.append(Note(text=f"sheets differ in {symbol}: {each}", source=sources, computed=True))
    return notes
