"""Digitised curves of a type as arrays, and the working point its sheet takes as typical."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.models import Basis, ReferenceType

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CurveData:
    """One curve as printed.

    Attributes
    ----------
    quantity, axis : what is drawn against what (hFE against IC)
    x, y : array, shape (n_points,). SI units, in the order of the figure (not always rising).
    conditions : SI magnitudes (VCE, IB, IC_over_IB, f, ...)
    temperature : [K]; None where the figure states none
    reading_error : relative standard uncertainty of reading the figure; None where not stated
    index : position in the type's list of curves, for leaving one out
    """

    quantity: str
    axis: str
    x: Floats
    y: Floats
    unit: str
    conditions: Mapping[str, float]
    temperature: float | None
    reading_error: float | None
    basis: Basis
    source_ids: tuple[str, ...]
    source: str
    note: str
    index: int


def curves(
    kind: ReferenceType,
    quantity: str | None = None,
    axis: str | None = None,
    *,
    leave_out: Collection[str] = (),
) -> tuple[CurveData, ...]:
    """The type's curves, all or of one quantity and axis, without those of the source ids in `leave_out`."""
    out = []
    for index, curve in enumerate(kind.curves):
        if quantity not in (None, curve.quantity) or axis not in (None, curve.x) or set(curve.source) & set(leave_out):
            continue
        points = np.array(curve.points, dtype=np.float64)
        out.append(
            CurveData(
                quantity=curve.quantity,
                axis=curve.x,
                x=points[:, 0],
                y=points[:, 1],
                unit=curve.unit,
                conditions=dict(curve.conditions),
                temperature=None if curve.temperature_c is None else curve.temperature_c + ZERO_CELSIUS,
                reading_error=curve.reading_error,
                basis=kind.basis(curve.source),
                source_ids=curve.source,
                source=kind.source_text(curve.source),
                note=curve.note,
                index=index,
            )
        )
    return tuple(out)


def typical_vce(kind: ReferenceType) -> float | None:
    """VCE at which the sheets state the gain [V]: of most hFE rows, drawn ones before others; else of most curves."""
    drawn = Counter(c.conditions["VCE"] for c in kind.curves if c.quantity == "hFE" and "VCE" in c.conditions)
    rows = Counter(c.conditions["VCE"] for c in kind.characteristics if c.symbol == "hFE" and "VCE" in c.conditions)
    both = Counter({vce: n for vce, n in rows.items() if vce in drawn})
    return _commonest(both) or _commonest(rows) or _commonest(drawn)


def typical_forced_gain(kind: ReferenceType) -> float | None:
    """IC/IB at which the sheets state VCE(sat): that of most rows, drawn ones before others; else of most curves."""
    drawn = Counter(
        c.conditions["IC_over_IB"] for c in kind.curves if c.quantity == "VCE(sat)" and "IC_over_IB" in c.conditions
    )
    rows = Counter(
        round(c.conditions["IC"] / c.conditions["IB"], 3)
        for c in kind.characteristics
        if c.symbol == "VCE(sat)" and c.conditions.get("IB", 0.0) > 0 and "IC" in c.conditions
    )
    both = Counter({gain: n for gain, n in rows.items() if gain in drawn})
    return _commonest(both) or _commonest(rows) or _commonest(drawn)


def _commonest(counted: Counter[float]) -> float | None:
    """The commonest figure; of equally common ones the smallest, whatever the order of rows."""
    return min(counted, key=lambda v: (-counted[v], v)) if counted else None
