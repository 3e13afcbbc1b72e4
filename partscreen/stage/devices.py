"""What is known of the devices of one side: the type's sheet, and the fitted curves of screened parts."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from partscreen.errors import UnknownType
from partscreen.reference.library import Library
from partscreen.reference.limits import Limit, limits
from partscreen.reference.models import ReferenceType
from partscreen.results import Curves, Fit, Screening


@dataclass(frozen=True, slots=True)
class KnownPart:
    """An accepted part with its fitted curves."""

    name: str
    lot: str
    type: str
    curves: Curves
    fit: Fit

    def hfe(self, ic: float) -> tuple[float, float] | None:
        """hFE at a collector current [A] and its standard uncertainty, 25 degC junction; None where not fitted."""
        value = _at(self.curves.ic, self.curves.hfe, ic)
        std = _at(self.curves.ic, self.curves.hfe_std, ic)
        return None if value is None else (value, std or 0.0)

    def vbe(self, ic: float) -> float | None:
        """VBE at a collector current [V]; None where not fitted."""
        return _at(self.curves.ic, self.curves.vbe, ic, log=False)

    def vce_sat(self, ic: float) -> float | None:
        """VCE(sat) at a collector current and the curves' forced gain [V]; None where not fitted."""
        return _at(self.curves.ic, self.curves.vce_sat, ic)


@dataclass(frozen=True, slots=True)
class Side:
    """The devices of one rail: their type, gain group and the parts at hand (none: the sheet alone speaks)."""

    kind: ReferenceType
    gain_group: str | None
    parts: tuple[KnownPart, ...] = ()

    @property
    def name(self) -> str:
        return self.kind.name

    @property
    def about(self) -> str:
        """Polarity and type, as checks name it."""
        return f"{self.kind.polarity} {self.name}"


def _at(ic: list[float], values: list[float | None], at: float, *, log: bool = True) -> float | None:
    """A curve at a current, between its points on a logarithmic current axis; None outside of what is drawn."""
    known = [(i, v) for i, v in zip(ic, values, strict=True) if v is not None]
    if len(known) < 2 or not known[0][0] * 0.999 <= at <= known[-1][0] * 1.001:
        return None
    from scipy.interpolate import PchipInterpolator

    x = np.log([i for i, _ in known])
    y = np.array([v for _, v in known])
    logs = log and bool((y > 0).all())
    value = float(PchipInterpolator(x, np.log(y) if logs else y)(np.clip(math.log(at), x[0], x[-1])))
    return math.exp(value) if logs else value


def known_parts(screenings: Iterable[Screening], library: Library) -> tuple[tuple[KnownPart, ...], tuple[str, ...]]:
    """Accepted parts with fitted curves, and notes on those left out."""
    parts: list[KnownPart] = []
    left_out: dict[str, list[str]] = {}
    for screening in screenings:
        for lot in screening.lots:
            try:
                type_name = library.find(lot.type).type.name if lot.type else ""
            except UnknownType:
                type_name = lot.type or ""
            for part in lot.parts:
                if part.disposition != "accept":
                    left_out.setdefault("not accepted by the screening", []).append(part.part)
                elif part.curves is None or part.fit is None:
                    left_out.setdefault("no fitted curves in the result", []).append(part.part)
                else:
                    parts.append(KnownPart(part.part, lot.lot, type_name, part.curves, part.fit))
    notes = [f"Left out, {why}: {', '.join(names)}." for why, names in left_out.items()]
    return tuple(parts), tuple(notes)


def gain_rows(kind: ReferenceType, gain_group: str | None) -> tuple[Limit, ...]:
    """Printed gain minima that hold for parts of this group (plain rows, and the group's own)."""
    rows = limits(kind, None, gain_group)
    return tuple(row for row in rows if row.symbol == "hFE" and row.side == "min" and row.is_limit)


def sheet_gain(kind: ReferenceType, gain_group: str | None, ic: float) -> Limit | None:
    """The printed minimum to reckon with at a collector current: of the row at the next higher current.

    Gain falls with current at the currents of an output stage's peaks, so a minimum at a higher current holds below
    it too. None where every row lies at a lower current. Of several rows at that current the lowest counts.
    """
    above = [row for row in gain_rows(kind, gain_group) if row.conditions["IC"] >= ic * 0.999]
    return min(above, key=lambda row: (row.conditions["IC"], row.value), default=None)


def sheet_saturation(kind: ReferenceType, ic: float) -> Limit | None:
    """The printed maximum of VCE(sat) at the next higher collector current; None where no row reaches so far."""
    rows = [r for r in limits(kind) if r.symbol == "VCE(sat)" and r.side == "max" and r.is_limit]
    above = [row for row in rows if row.conditions["IC"] >= ic * 0.999]
    return min(above, key=lambda row: (row.conditions["IC"], -row.value), default=None)
