"""What the sheets of a type say of its typical part, as readings with honest errors: bands, one-sided limits, typical values, curves."""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from partscreen.reference.models import Characteristic, Curve, ReferenceType
from partscreen.reference.population_spreads import ReadingFigure, Spreads

Floats = npt.NDArray[np.float64]
ZERO_CELSIUS = 273.15
LINEAR_REGION = 0.6  # V; above it a saturation point has left saturation (assumption, as in the fit)
ACTIVE_REGION = 3.0  # V; below it an output curve of a power part may be in quasi-saturation (assumption)


class Kind(enum.IntEnum):
    """What a witness speaks of. Gains and capacitances are held as logarithms, voltages as volts."""

    HFE = 0
    VBE = 1
    VCE_SAT = 2
    VBE_SAT = 3
    C_BE = 4
    C_CB = 5


KIND_OF = {
    "hFE": Kind.HFE,
    "VBE": Kind.VBE,
    "VCE(sat)": Kind.VCE_SAT,
    "VBE(sat)": Kind.VBE_SAT,
    "C_BE": Kind.C_BE,
    "C_CB": Kind.C_CB,
}
LOGARITHMIC = (Kind.HFE, Kind.C_BE, Kind.C_CB)
ORIGINS = ("limit interval", "one-sided limit", "typical value", "digitised curve")


@dataclass(slots=True)
class Witnesses:
    """Pseudo-readings of the typical part; lists of equal length, one entry a point. SI units.

    second : VCE of a gain point, IB of a saturation point, reverse bias of a capacitance; group : points with common errors;
    offset, slope : their standard deviations (slope a decade of IC); edition : sheet edition (or source) a point belongs to.
    """

    kind: list[Kind] = field(default_factory=list)
    ic: list[float] = field(default_factory=list)
    second: list[float] = field(default_factory=list)
    temp: list[float] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    point: list[float] = field(default_factory=list)
    offset: list[float] = field(default_factory=list)
    slope: list[float] = field(default_factory=list)
    group: list[int] = field(default_factory=list)
    edition: list[str] = field(default_factory=list)
    origin: list[str] = field(default_factory=list)
    source: list[str] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.kind)

    def add(self, kind: Kind, ic: float, second: float, temp: float, value: float, errors: tuple[float, float, float], group: int,
            edition: str, origin: str, source: str) -> None:  # fmt: skip
        """Append one point; `errors`: point, offset, slope."""
        columns = (kind, ic, second, temp, value, *errors, group, edition, origin, source)
        names = (
            "kind",
            "ic",
            "second",
            "temp",
            "value",
            "point",
            "offset",
            "slope",
            "group",
            "edition",
            "origin",
            "source",
        )
        for name, entry in zip(names, columns, strict=True):
            getattr(self, name).append(entry)

    def next_group(self) -> int:
        """A number no group has yet."""
        return max(self.group, default=-1) + 1

    def covariance(self) -> Floats:
        """Covariance of the reading errors, edition spread not included; shape (n, n)."""
        point, offset, slope = (np.array(x, float) for x in (self.point, self.offset, self.slope))
        group = np.array(self.group)
        decades = np.array(
            [np.log10(ic) if kind < Kind.C_BE else 0.0 for kind, ic in zip(self.kind, self.ic, strict=True)]
        )
        for g in np.unique(group):
            decades[group == g] -= decades[group == g].mean()
        same = (group[:, None] == group[None, :]).astype(float)
        tilt = slope * decades
        return np.asarray(np.diag(point**2) + same * (np.outer(offset, offset) + np.outer(tilt, tilt)))


def gather(
    of: ReferenceType, spreads: Spreads, ic_rated: float, *, leave_out_sources: Iterable[str] = (), leave_out_curves: Iterable[int] = (),
    gain_group: str | None = None,
) -> Witnesses:  # fmt: skip
    """Every usable row and curve of a type as witnesses, those of left-out sources and curves apart."""
    left_out, left_curves = frozenset(leave_out_sources), frozenset(leave_out_curves)
    rows = [row for row in of.characteristics if not set(row.source) <= left_out]
    out = Witnesses()
    for index, curve in enumerate(of.curves):
        if index not in left_curves and not set(curve.source) <= left_out:
            _add_curve(out, of, curve, spreads, ic_rated)
    _add_typical(out, of, rows, spreads, ic_rated)
    _add_bands(out, of, rows, spreads, ic_rated, gain_group)
    _add_one_sided(out, of, rows, spreads, ic_rated)
    return out


def _edition(of: ReferenceType, source: Iterable[str]) -> str:
    ids = tuple(source)
    found = of.editions_of(ids)
    return found[0] if of.editions and found else ids[0]


def _errors(figure: ReadingFigure, kind: Kind, value: float, reading_error: float) -> tuple[float, float, float]:
    """Point, offset and slope errors of a value (V or relative)."""
    scale = 0.0 if kind in LOGARITHMIC else value
    point = float(np.hypot(figure.point, figure.relative * scale))
    reading = reading_error if kind in LOGARITHMIC else reading_error * value
    return float(np.hypot(point, reading)), float(np.hypot(figure.offset, figure.relative * scale)), figure.slope


def _conditions(row: Characteristic, kind: Kind) -> tuple[float, float] | None:
    """IC and second condition of a row, or None where one is missing."""
    c = row.conditions
    if kind in (Kind.HFE, Kind.VBE):
        return (c["IC"], c["VCE"]) if c.get("IC") and c.get("VCE") else None
    if kind in (Kind.VCE_SAT, Kind.VBE_SAT):
        return (c["IC"], c["IB"]) if c.get("IC") and c.get("IB") else None
    bias = c.get("VCB" if kind is Kind.C_CB else "VEB")
    return (1.0, bias) if bias is not None else None


def _temperature(row: Characteristic) -> float | None:
    """Kelvin, 25 degC where not stated; None where the row is far from it."""
    degrees, _ = row.temperature
    degrees = 25.0 if degrees is None else degrees
    return degrees + ZERO_CELSIUS if 15.0 <= degrees <= 35.0 else None


def _located(
    rows: Iterable[Characteristic], ic_rated: float
) -> Iterable[tuple[Characteristic, Kind, float, float, float]]:
    for row in rows:
        kind, temp = KIND_OF.get(row.symbol), _temperature(row)
        if kind is None or temp is None:
            continue
        where = _conditions(row, kind)
        if where and (kind >= Kind.C_BE or where[0] <= ic_rated * 1.001):
            yield row, kind, *where, temp


def _held(kind: Kind, value: float) -> float:
    return float(np.log(value)) if kind in LOGARITHMIC else value


def _add_typical(
    out: Witnesses, of: ReferenceType, rows: list[Characteristic], spreads: Spreads, ic_rated: float
) -> None:
    groups: dict[tuple[Kind, str], int] = {}
    for row, kind, ic, second, temp in _located(rows, ic_rated):
        if row.typ is None or (row.rank is not None and kind is Kind.HFE):
            continue
        edition = _edition(of, row.source)
        group = groups.setdefault((kind, edition), out.next_group())
        errors = _errors(spreads.readings[row.symbol], kind, row.typ, 0.05)  # printed to one or two digits
        out.add(kind, ic, second, temp, _held(kind, row.typ), errors, group, edition, "typical value", row.source[0])


def _add_bands(
    out: Witnesses,
    of: ReferenceType,
    rows: list[Characteristic],
    spreads: Spreads,
    ic_rated: float,
    gain_group: str | None,
) -> None:
    """hFE bands: minimum and maximum together place the centre. One group an edition: its rows speak of the same part."""
    figure = spreads.limits["hfe_band"]
    bands: dict[tuple[str, float, float, float], tuple[float, float, str]] = {}
    for row, kind, ic, vce, temp in _located(rows, ic_rated):
        if (
            kind is not Kind.HFE
            or row.min is None
            or row.max is None
            or (gain_group and row.rank not in (None, gain_group))
        ):
            continue
        key = (_edition(of, row.source), ic, vce, temp)
        low, high, _ = bands.get(key, (np.inf, 0.0, ""))
        if gain_group and row.rank == gain_group:
            bands[key] = (row.min, row.max, row.source[0])
        elif not gain_group or key not in bands:
            bands[key] = (min(low, row.min), max(high, row.max), row.source[0])
    groups: dict[str, int] = {}
    for (edition, ic, vce, temp), (low, high, source) in bands.items():
        width = float(np.log(high / low))
        group = groups.setdefault(edition, out.next_group())
        errors = (max(0.5 * figure.sd * width, 0.1), figure.sd * width, 0.0)
        out.add(
            Kind.HFE, ic, vce, temp, np.log(low) + figure.mean * width, errors, group, edition, "limit interval", source
        )


def _add_one_sided(
    out: Witnesses, of: ReferenceType, rows: list[Characteristic], spreads: Spreads, ic_rated: float
) -> None:
    """A minimum or maximum alone, placed by how far typical parts were found from such limits; weak, and only where nothing better is."""
    better = {(kind, edition) for kind, edition in zip(out.kind, out.edition, strict=True)}
    groups: dict[tuple[Kind, str], int] = {}
    for row, kind, ic, second, temp in _located(rows, ic_rated):
        edition = _edition(of, row.source)
        side = "min" if row.max is None else "max"
        figure, limit = spreads.limits.get(f"{row.symbol} {side}"), row.min if side == "min" else row.max
        if (
            figure is None
            or limit is None
            or row.rank
            or (row.min is not None and row.max is not None)
            or (kind, edition) in better
        ):
            continue
        middle = float(limit * np.exp(figure.mean))
        sd = figure.sd if kind in LOGARITHMIC else figure.sd * middle
        group = groups.setdefault((kind, edition), out.next_group())
        out.add(
            kind,
            ic,
            second,
            temp,
            _held(kind, middle),
            (0.5 * sd, sd, 0.0),
            group,
            edition,
            "one-sided limit",
            row.source[0],
        )


def _add_curve(out: Witnesses, of: ReferenceType, curve: Curve, spreads: Spreads, ic_rated: float) -> None:
    degrees = 25.0 if curve.temperature_c is None else curve.temperature_c
    if not 15.0 <= degrees <= 35.0:
        return
    group, edition = out.next_group(), _edition(of, curve.source)
    for kind, ic, second, value in curve_readings(curve, ic_rated):
        symbol = next(name for name, k in KIND_OF.items() if k is kind)
        errors = _errors(spreads.readings[symbol], kind, value, curve.reading_error or 0.05)
        out.add(
            kind,
            ic,
            second,
            degrees + ZERO_CELSIUS,
            _held(kind, value),
            errors,
            group,
            edition,
            "digitised curve",
            curve.source[0],
        )


def curve_readings(curve: Curve, ic_rated: float) -> list[tuple[Kind, float, float, float]]:
    """Points of a curve as (kind, IC, second condition, value) up to the rated current; empty where the curve is of no use here."""
    points, c = curve.points, curve.conditions
    kind = KIND_OF.get(curve.quantity)
    if kind in (Kind.HFE, Kind.VBE) and curve.x == "IC":
        # A sheet's figure without VCE is taken in the active region, where it hardly matters (assumption: 5 V).
        return [(kind, x, c.get("VCE", 5.0), y) for x, y in points if x <= ic_rated]
    if kind in (Kind.VCE_SAT, Kind.VBE_SAT) and curve.x == "IC" and "IC_over_IB" in c:
        return [
            (kind, x, x / c["IC_over_IB"], y)
            for x, y in points
            if x <= ic_rated and (kind is Kind.VBE_SAT or y < LINEAR_REGION)
        ]
    if kind in (Kind.C_BE, Kind.C_CB):
        return [(kind, 1.0, x, y) for x, y in points]
    if curve.quantity == "IC" and curve.x == "VCE" and "IB" in c:
        return [(Kind.HFE, y, x, y / c["IB"]) for x, y in points if x >= ACTIVE_REGION and 0 < y <= ic_rated]
    if curve.quantity == "VCE" and curve.x == "IB" and "IC" in c:
        return [(Kind.VCE_SAT, c["IC"], x, y) for x, y in points if y < LINEAR_REGION and c["IC"] <= ic_rated]
    return []
