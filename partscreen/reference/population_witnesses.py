"""What the sheets of a type say of its typical part, as readings with honest errors: bands, one-sided limits,
typical values, curves.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from partscreen.reference.models import Characteristic, Curve, ReferenceType
from partscreen.reference.population_spreads import ReadingFigure, Spreads

Floats = npt.NDArray[np.float64]
ZERO_CELSIUS = 273.15
LINEAR_REGION = 0.6  # V; above it a saturation point has left saturation (assumption, as in the fit)
SATURATED_SHARE = (
    0.5  # of rated current; above it the gain nears the forced gain and silicon leaves saturation (assumption)
)
SURELY_SATURATED = 0.4  # V, on a curve of VCE against IB (assumption)
LIMITS = "limits"  # all limits of a type count as one edition: makers print each other's
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
WAVE_LENGTH = 0.5  # decades; the model bends away from silicon slowly (assumption)
CURVE_POINTS = 9  # more on one curve tell nothing new, their errors move together
ORIGINS = ("limit interval", "one-sided limit", "typical value", "digitised curve")


@dataclass(slots=True)
class Witnesses:
    """Pseudo-readings of the typical part; lists of equal length, one entry a point. SI units.

    second : VCE of a gain point, IB of a saturation point, reverse bias of a capacitance.
    group : points with common errors; offset : sd of what is common to all; shape : sd of a smooth wave along the
    curve.
    edition : sheet edition (or source) a point belongs to.
    """

    kind: list[Kind] = field(default_factory=list)
    ic: list[float] = field(default_factory=list)
    second: list[float] = field(default_factory=list)
    temp: list[float] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    point: list[float] = field(default_factory=list)
    offset: list[float] = field(default_factory=list)
    shape: list[float] = field(default_factory=list)
    group: list[int] = field(default_factory=list)
    edition: list[str] = field(default_factory=list)
    origin: list[str] = field(default_factory=list)
    source: list[str] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.kind)

    def add(
        self, where: Where, value: float, errors: Errors, group: int, edition: str, origin: str, source: str
    ) -> None:
        """Append one point; `value` in the sheet's unit."""
        held = float(np.log(value)) if where.kind in LOGARITHMIC else value
        columns = {
            **{"kind": where.kind, "ic": where.ic, "second": where.second, "temp": where.temp, "value": held},
            **{"point": errors.point, "offset": errors.offset, "shape": errors.shape},
            **{"group": group, "edition": edition, "origin": origin, "source": source},
        }
        for name, entry in columns.items():
            getattr(self, name).append(entry)

    def next_group(self) -> int:
        """A number no group has yet."""
        return max(self.group, default=-1) + 1

    def covariance(self, stretch: Floats | None = None) -> Floats:
        """Covariance of the reading errors, edition spread not included; shape (n, n). `stretch`: factor on the sd
        of each group.
        """
        point, offset, shape = (np.array(x, float) for x in (self.point, self.offset, self.shape))
        group = np.array(self.group)
        along = np.array(
            [
                np.log10(ic if kind < Kind.C_BE else second + 0.7)
                for kind, ic, second in zip(self.kind, self.ic, self.second, strict=True)
            ]
        )
        same = group[:, None] == group[None, :]
        wave = np.exp(-0.5 * ((along[:, None] - along[None, :]) / WAVE_LENGTH) ** 2)
        total = np.diag(point**2) + np.where(same, np.outer(offset, offset) + np.outer(shape, shape) * wave, 0.0)
        factor = np.ones(len(point)) if stretch is None else stretch[group]
        return np.asarray(total * np.outer(factor, factor))


@dataclass(frozen=True, slots=True)
class Where:
    """What is read, and where: IC, then VCE, IB or reverse bias; kelvin."""

    kind: Kind
    ic: float
    second: float
    temp: float


@dataclass(frozen=True, slots=True)
class Errors:
    """Standard deviations of one point: its own, common to its group, and of a smooth misfit along the curve."""

    point: float
    offset: float
    shape: float = 0.0


def gather(
    of: ReferenceType,
    spreads: Spreads,
    ic_rated: float,
    *,
    leave_out_sources: Iterable[str] = (),
    leave_out_curves: Iterable[int] = (),
    gain_group: str | None = None,
) -> Witnesses:
    """Every usable row and curve of a type as witnesses, those of left-out sources and curves apart."""
    left_out, left_curves = frozenset(leave_out_sources), frozenset(leave_out_curves)
    rows = [row for row in of.characteristics if not set(row.source) <= left_out]
    out = Witnesses()
    for index, curve in enumerate(of.curves):
        if index not in left_curves and not set(curve.source) <= left_out:
            _add_curve(out, of, curve, spreads, ic_rated)
    _add_typical(out, of, rows, spreads, ic_rated)
    _add_bands(out, rows, spreads, ic_rated, gain_group)
    _add_one_sided(out, rows, spreads, ic_rated)
    return out


def _edition(of: ReferenceType, source: Iterable[str]) -> str:
    ids = tuple(source)
    found = of.editions_of(ids)
    return found[0] if of.editions and found else ids[0]


def _errors(figure: ReadingFigure, where: Where, value: float, reading_error: float, ic_rated: float) -> Errors:
    """Errors of a drawn or typical value; the model's own misfit grows towards the rated current."""
    scale = 1.0 if where.kind in LOGARITHMIC else value
    share = where.ic / ic_rated if where.kind < Kind.C_BE else 0.0
    own = figure.relative * value
    return Errors(
        float(np.sqrt(figure.point**2 + (reading_error * scale) ** 2 + own**2)),
        float(np.hypot(figure.offset, own)),
        float(figure.misfit_std(value, share)),
    )


def _where(row: Characteristic, ic_rated: float) -> Where | None:
    """Quantity and conditions of a row; None where it is no DC reading near 25 degC up to the rated current."""
    kind, c = KIND_OF.get(row.symbol), row.conditions
    degrees, _ = row.temperature
    degrees = 25.0 if degrees is None else degrees
    if kind is None or not 15.0 <= degrees <= 35.0:
        return None
    temp = degrees + ZERO_CELSIUS
    if kind in (Kind.C_BE, Kind.C_CB):
        bias = c.get("VCB" if kind is Kind.C_CB else "VEB")
        return None if bias is None else Where(kind, 1.0, bias, temp)
    ic, second = c.get("IC"), c.get("VCE" if kind in (Kind.HFE, Kind.VBE) else "IB")
    return Where(kind, ic, second, temp) if ic and second and ic <= ic_rated * 1.001 else None


def _add_typical(
    out: Witnesses, of: ReferenceType, rows: list[Characteristic], spreads: Spreads, ic_rated: float
) -> None:
    groups: dict[tuple[Kind, str], int] = {}
    seen: set[tuple[Where, float]] = set()  # makers print each other's figures: those count once
    for row in rows:
        where = _where(row, ic_rated)
        if row.typ is None or where is None or row.rank is not None or (where, row.typ) in seen:
            continue
        seen.add((where, row.typ))
        edition = _edition(of, row.source)
        group = groups.setdefault((where.kind, edition), out.next_group())
        figure = spreads.readings[row.symbol]
        errors = _errors(figure, where, row.typ, 0.05, ic_rated)  # printed to one or two digits
        scale = 1.0 if where.kind in LOGARITHMIC else row.typ
        errors = replace(errors, offset=float(np.hypot(errors.offset, figure.printed * scale)))
        out.add(where, row.typ, errors, group, edition, "typical value", row.source[0])


def _add_bands(
    out: Witnesses, rows: list[Characteristic], spreads: Spreads, ic_rated: float, gain_group: str | None
) -> None:
    """hFE bands: minimum and maximum together place the centre. All bands of a type speak of the same part, in one
    group.
    """
    figure = spreads.limits["hfe_band"]
    bands: dict[Where, list[Characteristic]] = {}
    for row in rows:
        where = _where(row, ic_rated)
        if where and where.kind is Kind.HFE and row.min is not None and row.max is not None:
            bands.setdefault(where, []).append(row)
    group = out.next_group()
    for where, printed in bands.items():
        own = [row for row in printed if row.rank == gain_group] if gain_group else []
        of_type = [row for row in printed if row.rank is None] or printed
        used = own or of_type
        low, high = min(row.min or np.inf for row in used), max(row.max or 0.0 for row in used)
        width = float(np.log(high / low))
        errors = Errors(max(0.5 * figure.sd * width, 0.1), figure.sd * width)
        middle = float(low * np.exp(figure.mean * width))
        out.add(where, middle, errors, group, LIMITS, "limit interval", used[0].source[0])


def _add_one_sided(out: Witnesses, rows: list[Characteristic], spreads: Spreads, ic_rated: float) -> None:
    """A minimum or maximum alone, placed by how far typical parts were found from such limits; only where nothing
    better is.
    """
    better = set(out.kind)
    groups: dict[Kind, int] = {}
    seen: set[tuple[Where, float]] = set()
    for row in rows:
        where = _where(row, ic_rated)
        side = "min" if row.max is None else "max"
        figure, limit = spreads.limits.get(f"{row.symbol} {side}"), row.min if side == "min" else row.max
        if (
            where is None
            or figure is None
            or limit is None
            or row.rank
            or (where, limit) in seen
            or where.kind in better
        ):
            continue
        if row.min is not None and row.max is not None:
            continue
        seen.add((where, limit))
        middle = float(limit * np.exp(figure.mean))
        sd = figure.sd if where.kind in LOGARITHMIC else figure.sd * middle
        group = groups.setdefault(where.kind, out.next_group())
        out.add(where, middle, Errors(0.5 * sd, sd), group, LIMITS, "one-sided limit", row.source[0])


def _add_curve(out: Witnesses, of: ReferenceType, curve: Curve, spreads: Spreads, ic_rated: float) -> None:
    degrees = 25.0 if curve.temperature_c is None else curve.temperature_c
    if not 15.0 <= degrees <= 35.0:
        return
    group, edition = out.next_group(), _edition(of, curve.source)
    read = curve.reading_error or 0.05
    own = [rating.value for e in of.editions_of(curve.source) for rating in of.ratings_of("IC", e)]
    points = curve_readings(curve, min([ic_rated, *own]))  # a maker may draw beyond his own rating
    slopes = _edge_errors(points, read) if curve.x == "IB" else np.zeros(len(points))
    for at in (
        np.unique(np.linspace(0, len(points) - 1, min(CURVE_POINTS, len(points))).round().astype(int)) if points else ()
    ):
        kind, ic, second, value = points[at]
        where = Where(kind, ic, second, degrees + ZERO_CELSIUS)
        symbol = next(name for name, k in KIND_OF.items() if k is kind)
        errors = _errors(spreads.readings[symbol], where, value, read, ic_rated)
        errors = replace(errors, point=float(np.hypot(errors.point, slopes[at])))
        out.add(where, value, errors, group, edition, "digitised curve", curve.source[0])


def _edge_errors(points: list[tuple[Kind, float, float, float]], read: float) -> Floats:
    """Error of VCE from the error of IB: large where the transistor is about to leave saturation. [V]"""
    if len(points) < 2:
        return np.zeros(len(points))
    slope = np.gradient([p[3] for p in points], np.log([p[2] for p in points]))
    return np.asarray(np.abs(slope) * max(read, 0.05))


def curve_readings(curve: Curve, ic_rated: float) -> list[tuple[Kind, float, float, float]]:
    """Points of a curve as (kind, IC, second condition, value) up to the rated current; empty where the curve is of
    no use.
    """
    points, c = curve.points, curve.conditions
    kind = KIND_OF.get(curve.quantity)
    if kind in (Kind.HFE, Kind.VBE) and curve.x == "IC":
        # A sheet's figure without VCE is taken in the active region, where it hardly matters (assumption: 5 V).
        return [(kind, x, c.get("VCE", 5.0), y) for x, y in points if x <= ic_rated]
    if kind in (Kind.VCE_SAT, Kind.VBE_SAT) and curve.x == "IC" and "IC_over_IB" in c:
        top = ic_rated * SATURATED_SHARE
        inside = [(x, y) for x, y in points if x <= top and (kind is Kind.VBE_SAT or y < LINEAR_REGION)]
        return [(kind, x, x / c["IC_over_IB"], y) for x, y in inside]
    if kind in (Kind.C_BE, Kind.C_CB):
        return [(kind, 1.0, x, y) for x, y in points]
    if curve.quantity == "IC" and curve.x == "VCE" and "IB" in c:
        return [(Kind.HFE, y, x, y / c["IB"]) for x, y in points if x >= ACTIVE_REGION and 0 < y <= ic_rated]
    if curve.quantity == "VCE" and curve.x == "IB" and "IC" in c and c["IC"] <= ic_rated:
        return [(Kind.VCE_SAT, c["IC"], x, y) for x, y in points if y < SURELY_SATURATED]
    return []
