"""What the figures of a lot can draw from a result alone: fitted curves, printed limits, the band of the type."""

from __future__ import annotations

from typing import Literal

import numpy as np

from partscreen.errors import UnknownType
from partscreen.reference import Library, ReferenceType
from partscreen.reference.envelope import envelope
from partscreen.reference.population import population_for
from partscreen.report.data import Envelope, LimitPoint, LotData, PartData
from partscreen.report.papers.chosen import limit_current
from partscreen.results import Curves, LotResult

_QUANTITY: dict[str, Literal["hfe", "vbe", "vce_sat"]] = {"hFE": "hfe", "VBE": "vbe", "VCE(sat)": "vce_sat"}
_POINTS = 25  # of a band
REFERENCE_TEMP = 298.15  # [K] junction temperature of fitted curves


def lot_arrays(lot: LotResult, library: Library) -> LotData | None:
    """Arrays for the panels of `partscreen.report.figures`; None where no part has curves (a brief result)."""
    curves = {part.part: part.curves for part in lot.parts if part.curves is not None and len(part.curves.ic) > 1}
    if not curves:
        return None
    some = next(iter(curves.values()))
    vce, forced = some.vce or 5.0, some.forced_gain or 10.0
    low = min(c.ic[0] for c in curves.values())
    high = max(c.ic[-1] for c in curves.values())
    kind = _kind(lot, library)
    bands: dict[str, Envelope] = {}
    if kind is not None:
        grid = np.geomspace(low, high, _POINTS)
        population = population_for(kind)
        for quantity in _QUANTITY.values():
            band = envelope(kind, population, quantity, grid, vce=vce, temp=REFERENCE_TEMP, forced_gain=forced)
            bands[quantity] = Envelope(band.ic, band.low, band.high, band.typical, band.origin)
    return LotData(
        hfe=bands.get("hfe"),
        vbe=bands.get("vbe"),
        vce_sat=bands.get("vce_sat"),
        limits=_limits(lot),
        parts={name: _part(one) for name, one in curves.items()},
        conditions=f"VCE = {vce:.3g} V, junction 25 °C",
        sat_conditions=f"IC/IB = {forced:.3g}, junction 25 °C",
    )


def _kind(lot: LotResult, library: Library) -> ReferenceType | None:
    try:
        return library.find(lot.type).type if lot.type else None
    except UnknownType:
        return None


def _part(curves: Curves) -> PartData:
    ic = np.array(curves.ic)

    def known(values: list[float | None]) -> np.ndarray:
        return np.array([np.nan if v is None else v for v in values])

    return PartData(ic=ic, hfe=known(curves.hfe), vbe=known(curves.vbe), sat_ic=ic, vce_sat=known(curves.vce_sat))


def _limits(lot: LotResult) -> tuple[LimitPoint, ...]:
    found: dict[tuple[str, float, float, str], LimitPoint] = {}
    for row in (row for part in lot.parts for row in part.limits if row.symbol in _QUANTITY):
        ic = limit_current(row)
        if ic is not None:
            quantity = _QUANTITY[row.symbol]
            found.setdefault(
                (quantity, ic, row.limit, row.side), LimitPoint(quantity, ic, row.limit, row.side, row.basis)
            )
    return tuple(found.values())
