"""From a batch and its judgement to the ready arrays the report draws: readings, residuals, envelopes, limit points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from partscreen.errors import UnknownType
from partscreen.quantities import ZERO_CELSIUS
from partscreen.readings.tables import Batch, Points, Spots, Sweep
from partscreen.reference import Library, ReferenceType, limits
from partscreen.reference.curves import typical_forced_gain, typical_vce
from partscreen.reference.envelope import envelope
from partscreen.reference.population import Population, population_for
from partscreen.report.collect_lot import capacitance_region, control_courses
from partscreen.report.data import Envelope, LimitPoint, LotData, PartData
from partscreen.report.residuals import Residuals, residuals_of
from partscreen.results import LotResult

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_DRAWN: dict[str, Literal["hfe", "vbe", "vce_sat"]] = {"hfe": "hfe", "vbe": "vbe", "vce_sat": "vce_sat"}
_DEFAULT_VCE, _DEFAULT_FORCED_GAIN = (
    5.0,
    10.0,
)  # where neither the readings nor the type's sheet say (common practice, no source)


def lot_data(
    batch: Batch, lots: Sequence[LotResult], library: Library, with_control: Batch | None = None
) -> dict[str, LotData]:
    """What the figures of each lot need.

    Parameters
    ----------
    batch : Batch
        As judged: `use` False readings are left out.
    lots : sequence of LotResult
        In the order of `batch.lots`.
    with_control : Batch, optional
        The batch before control pieces were taken out of it; without it their course is not drawn.
    """
    rows_of = _rows_of_parts(batch.points.part, batch.n_parts)
    spots_of = _rows_of_parts(batch.spots.part, batch.n_parts)
    out: dict[str, LotData] = {}
    for number, lot in enumerate(lots):
        members = np.flatnonzero(batch.part_lot == number)
        found = _one_lot(batch, lot, members, _type_of(lot, library), rows_of, spots_of)
        if with_control is not None:
            found = replace(found, control=control_courses(with_control, _sessions(batch, members)))
        out[lot.lot] = found
    return out


def _sessions(batch: Batch, members: Ints) -> list[int]:
    mine = np.isin(batch.points.part, members)
    return [int(session) for session in np.unique(batch.points.session[mine])]


def _type_of(lot: LotResult, library: Library) -> ReferenceType | None:
    try:
        return library.find(lot.type).type if lot.type else None
    except UnknownType:
        return None


def _rows_of_parts(part: Ints, n_parts: int) -> Mapping[int, Ints]:
    order = np.argsort(part, kind="stable")
    edges = np.searchsorted(part[order], np.arange(n_parts + 1))
    return {i: order[edges[i] : edges[i + 1]] for i in range(n_parts) if edges[i] < edges[i + 1]}


def _one_lot(
    batch: Batch,
    lot: LotResult,
    members: Ints,
    kind: ReferenceType | None,
    rows_of: Mapping[int, Ints],
    spots_of: Mapping[int, Ints],
) -> LotData:
    points = batch.points
    nothing = np.zeros(0, dtype=np.int64)
    mine = np.concatenate([rows_of.get(int(p), nothing) for p in members]) if members.size else nothing
    mine = mine[points.use[mine] & ~points.control[mine]]
    gain_rows = mine[np.isin(points.sweep[mine], (Sweep.GAIN, Sweep.GUMMEL)) & (points.ic[mine] > 0)]
    sat_rows = mine[(points.sweep[mine] == Sweep.SATURATION) & (points.ic[mine] > 0)]
    vce = _median(points.vce[gain_rows], (typical_vce(kind) if kind else None) or _DEFAULT_VCE)
    forced = _median(
        points.ic[sat_rows] / points.ib[sat_rows], (typical_forced_gain(kind) if kind else None) or _DEFAULT_FORCED_GAIN
    )
    temp = _median(points.case_temp[mine], 25.0 + ZERO_CELSIUS)
    limit_rows = limits(kind) if kind else ()
    working = _working_current(
        points, gain_rows, [row.conditions["IC"] for row in limit_rows if row.quantity == "hfe" and row.is_limit]
    )
    population = population_for(kind) if kind else None
    fits = {int(n): one.fit.theta for n, one in zip(members, lot.parts, strict=True) if one.fit is not None}
    drawn = mine[points.ic[mine] > 0]
    against = residuals_of(points, drawn, fits, population.constants if population else None)
    parts = {
        result.part: _one_part(
            batch, rows_of.get(int(number), nothing), spots_of.get(int(number), nothing), working, against
        )
        for number, result in zip(members, lot.parts, strict=True)
    }  # fmt: skip
    bands: dict[Literal["hfe", "vbe", "vce_sat"], Envelope] = {}
    if kind is not None:
        rated = kind.rating("IC")
        top = float(np.max(points.ic[mine], initial=0.0)) or rated or 1.0
        low = max(float(np.min(points.ic[mine], initial=np.inf)), 1e-4) if mine.size else top / 300.0
        grid = np.geomspace(min(low, top / 3.0), min(3.0 * top, max(rated or top, top)), 25)
        bands = {q: _band(kind, q, grid, vce, temp, forced) for q in _DRAWN.values()}
    celsius = f"case {temp - ZERO_CELSIUS:.0f} °C"
    return LotData(
        hfe=bands.get("hfe"),
        vbe=bands.get("vbe"),
        vce_sat=bands.get("vce_sat"),
        limits=tuple(
            LimitPoint(_DRAWN[row.quantity], row.conditions["IC"], row.value, row.side, row.basis)
            for row in limit_rows
            if row.quantity in _DRAWN and "IC" in row.conditions
        ),
        parts=parts,
        working_ic=working,
        conditions=f"VCE = {vce:.2g} V, {celsius}",
        sat_conditions=f"IC/IB = {forced:.3g}, {celsius}",
        c_cb_conditions=_bias_words(batch.spots, members, "c_cb", "VCB"),
        c_be_conditions=_bias_words(batch.spots, members, "c_be", "VEB"),
        **_regions(kind, population, batch.spots, members),
    )


def _median(values: Floats, otherwise: float) -> float:
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if finite.size else otherwise


def _working_current(points: Points, rows: Ints, limit_currents: Sequence[float]) -> float | None:
    """Where the gain of the parts is told: the lowest current of an hFE limit all readings reach, else the middle."""
    if not rows.size:
        return None
    low, high = float(points.ic[rows].min()), float(points.ic[rows].max())
    reached = [ic for ic in sorted(limit_currents) if low <= ic <= high]
    return reached[0] if reached else float(np.sqrt(low * high))


def _band(
    kind: ReferenceType,
    quantity: Literal["hfe", "vbe", "vce_sat"],
    grid: Floats,
    vce: float,
    temp: float,
    forced: float,
) -> Envelope:
    found = envelope(kind, population_for(kind), quantity, grid, vce=vce, temp=temp, forced_gain=forced)
    return Envelope(found.ic, found.low, found.high, found.typical, found.origin)


def _one_part(batch: Batch, rows: Ints, spots: Ints, working: float | None, against: Residuals) -> PartData:
    points = batch.points
    rows = rows[points.use[rows] & ~points.control[rows] & (points.ic[rows] > 0)]
    gain = rows[np.isin(points.sweep[rows], (Sweep.GAIN, Sweep.GUMMEL, Sweep.OUTPUT))]
    sat = rows[points.sweep[rows] == Sweep.SATURATION]
    gain, sat = gain[np.argsort(points.ic[gain], kind="stable")], sat[np.argsort(points.ic[sat], kind="stable")]
    hfe_residual, vbe_residual, _ = against.at(gain)
    sat_residual = against.at(sat)[2]
    return PartData(
        ic=points.ic[gain],
        hfe=points.hfe[gain],
        vbe=points.vbe[gain],
        hfe_residual=hfe_residual,
        vbe_residual=vbe_residual,
        sat_ic=points.ic[sat],
        vce_sat=points.vce[sat],
        sat_residual=sat_residual,
        c_cb=_spot(batch.spots, spots, "c_cb"),
        c_be=_spot(batch.spots, spots, "c_be"),
        gain=_gain_at(points, gain, working),
    )


def _gain_at(points: Points, rows: Ints, working: float | None) -> float | None:
    rows = rows[np.isfinite(points.hfe[rows])]
    if working is None or not rows.size or not points.ic[rows[0]] <= working <= points.ic[rows[-1]]:
        return None
    return float(np.exp(np.interp(np.log(working), np.log(points.ic[rows]), np.log(points.hfe[rows]))))


def _spot(spots: Spots, rows: Ints, quantity: str) -> float | None:
    rows = rows[(spots.quantity[rows] == quantity) & spots.use[rows] & ~spots.control[rows]]
    return float(np.mean(spots.value[rows])) if rows.size else None


def _bias(spots: Spots, members: Ints, quantity: str, bias: str) -> set[float | str | None]:
    """Every bias the quantity was read at; None: not stated."""
    rows = np.flatnonzero(np.isin(spots.part, members) & (spots.quantity == quantity) & ~spots.control)
    return {spots.conditions[i].get(bias) for i in rows}


def _bias_words(spots: Spots, members: Ints, quantity: str, bias: str) -> str:
    told = _bias(spots, members, quantity, bias)
    if not told:
        return ""
    if len(told) != 1:
        return f"{bias} differs between readings"
    (value,) = told
    return f"{bias} = {value:g} V" if isinstance(value, float | int) else f"{bias} not stated"


def _regions(kind: ReferenceType | None, population: Population | None, spots: Spots, members: Ints) -> dict[str, Any]:
    """The type's region of each capacitance that all parts were read at one stated bias."""
    found = {}
    for quantity, bias in (("c_cb", "VCB"), ("c_be", "VEB")):
        told = _bias(spots, members, quantity, bias)
        value = next(iter(told)) if len(told) == 1 else None
        if kind is not None and isinstance(value, float | int):
            found[quantity] = capacitance_region(kind, population, quantity, float(value))
    return found
