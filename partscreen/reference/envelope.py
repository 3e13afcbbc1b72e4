"""A type's band over collector current: where good parts lie, each stretch marked with where it comes from."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.reference.limits import Limit, limits
from partscreen.reference.models import ReferenceType
from partscreen.reference.population import Population

Floats = npt.NDArray[np.float64]
EnvelopeQuantity = Literal["hfe", "vbe", "vce_sat"]

SHARE = 0.95
DRAWS = 800
_SEED = 20_230_501  # the band of a type is the same on every run
_NEAR_CURRENT = 1.05
_BETWEEN = 3.0  # two limits of one side no further apart than this are joined: as far as a limit is ever carried
_NEAR_VCE = 2.0
_NEAR_GAIN = 1.35
_NEAR_TEMP = 10.0
_CURVE_NAMES = {"hfe": "hFE", "vbe": "VBE", "vce_sat": "VCE(sat)"}


@dataclass(frozen=True, slots=True)
class Envelope:
    """Band of a type; arrays of one shape.

    ic : collector current, rising; the currents of printed limits are among them. [A]
    low, high : 95 % of parts of an unknown lot lie between, and every conforming part where `origin` is "limit"; NaN:
    open.
    typical : drawn curve, else the population's centre; NaN: not known.
    origin : "limit", "typical curve" or "population", one a point.
    share : share of good parts the population's band is made for.
    """

    ic: Floats
    low: Floats
    high: Floats
    typical: Floats
    origin: tuple[str, ...]
    share: float = SHARE


def envelope(
    of: ReferenceType,
    population: Population | None,
    quantity: EnvelopeQuantity,
    ic_grid: Floats,
    *,
    vce: float = 5.0,
    temp: float = 298.15,
    forced_gain: float = 10.0,
    edition: str | None = None,
    gain_group: str | None = None,
) -> Envelope:
    """The band of a quantity over collector current.

    Parameters
    ----------
    population : Population or None
        None (a Darlington): limits and typical curves only, open elsewhere.
    ic_grid : array, shape (n,), > 0
        [A]
    vce, temp, forced_gain : V, K (junction), IC/IB; `vce` for gain and VBE, `forced_gain` for VCE(sat)
    edition, gain_group : limits of one edition or gain group; else the widest of all editions
    """
    rows = _limits_near(of, quantity, vce, temp, forced_gain, edition, gain_group)
    grid = np.asarray(ic_grid, dtype=float)
    inside = [ic for ic, _, _ in rows if grid.min() <= ic <= grid.max()]
    ic = np.unique(np.concatenate([grid, inside]))
    origin = np.full(ic.shape, "population", dtype=object)
    if population is None:
        low, typical, high = (np.full(ic.shape, np.nan) for _ in range(3))
    else:
        low, typical, high = population_band(population, quantity, ic, vce=vce, temp=temp, forced_gain=forced_gain)
    drawn = _typical_curve(of, quantity, ic, vce, temp, forced_gain)
    on_curve = np.isfinite(drawn)
    typical, origin[on_curve] = np.where(on_curve, drawn, typical), "typical curve"
    for side, band in (("min", low), ("max", high)):
        printed = _limit_line([(at, value) for at, which, value in rows if which == side], ic)
        held = np.isfinite(printed)
        band[held], origin[held] = printed[held], "limit"
    return Envelope(ic, low, high, typical, tuple(str(o) for o in origin))


def population_band(
    population: Population,
    quantity: EnvelopeQuantity,
    ic: Floats,
    *,
    vce: float = 5.0,
    temp: float = 298.15,
    forced_gain: float = 10.0,
) -> tuple[Floats, Floats, Floats]:
    """2.5 %, 50 % and 97.5 % of parts of an unknown lot, by drawing parts; each of the shape of `ic`.

    NaN where more than a third of the parts cannot be there; a part that cannot counts as no gain, or as a voltage
    without bound.
    """
    prior = population.part_prior()
    rng = np.random.default_rng(_SEED)
    half = rng.multivariate_normal(np.zeros(len(prior.mean)), prior.covariance, DRAWS // 2, method="eigh")
    theta = prior.mean + np.concatenate([half, -half])  # antithetic: the median is steadier
    values = read(population, theta, quantity, ic, vce=vce, temp=temp, forced_gain=forced_gain)
    lost = np.mean(~np.isfinite(values), axis=0)
    filled = np.where(np.isfinite(values), values, 0.0 if quantity == "hfe" else np.inf)
    tail = (1.0 - SHARE) / 2.0
    low, middle, high = np.quantile(filled, [tail, 0.5, 1.0 - tail], axis=0, method="lower")
    open_ = lost > 1.0 / 3.0
    low, middle, high = (np.where(open_ | ~np.isfinite(line), np.nan, line) for line in (low, middle, high))
    return low, middle, high


def read(
    population: Population,
    theta: Floats,
    quantity: EnvelopeQuantity,
    ic: Floats,
    *,
    vce: float = 5.0,
    temp: float = 298.15,
    forced_gain: float = 10.0,
) -> Floats:
    """Readings of parts of given coordinates, junction at `temp`; shape (n_parts, n_currents), NaN where not
    reached.
    """
    constants = population.constants
    if quantity == "vce_sat":
        sagging = predict_saturation(theta, constants, ic, ic / forced_gain, temp, jacobian=False).vce
        return np.maximum(sagging, 0.0)  # the quasi-saturation term may be below nil, a voltage across a die may not
    at = predict_gain(theta, constants, ic, vce, temp, jacobian=False)
    return np.exp(at.ln_hfe) if quantity == "hfe" else at.vbe


def _limits_near(
    of: ReferenceType,
    quantity: EnvelopeQuantity,
    vce: float,
    temp: float,
    forced_gain: float,
    edition: str | None,
    gain_group: str | None,
) -> list[tuple[float, str, float]]:
    """(IC, side, value) of usable limits near the conditions; of several at one current the widest."""
    found: dict[tuple[float, str], float] = {}
    rows = [row for row in limits(of, edition, gain_group) if row.is_limit and row.quantity == quantity]
    # A gain group's own rows are narrower than the type's: they take the place of these.
    own = {(row.conditions["IC"], row.side) for row in rows if row.gain_group}
    for row in rows:
        key = (row.conditions["IC"], row.side)
        if not _near(row, quantity, vce, temp, forced_gain) or (row.gain_group is None and key in own):
            continue
        widest = min if row.side == "min" else max
        found[key] = widest(found.get(key, row.value), row.value)
    return [(ic, side, value) for (ic, side), value in sorted(found.items())]


def _near(row: Limit, quantity: EnvelopeQuantity, vce: float, temp: float, forced_gain: float) -> bool:
    if abs(row.temperature - temp) > _NEAR_TEMP:
        return False
    if quantity == "vce_sat":
        return _within(row.conditions["IC"] / row.conditions["IB"], forced_gain, _NEAR_GAIN)
    return _within(row.conditions["VCE"], vce, _NEAR_VCE)


def _within(value: float, other: float, factor: float) -> bool:
    return bool(abs(np.log(value / other)) <= np.log(factor) + 1e-9)


def _limit_line(points: list[tuple[float, float]], ic: Floats) -> Floats:
    """Limits at their own currents, joined where they are near each other; NaN elsewhere."""
    out = np.full(ic.shape, np.nan)
    for (left, low), (right, high) in itertools.pairwise(points):
        if right / left <= _BETWEEN:
            between = (ic >= left) & (ic <= right)
            out[between] = np.exp(np.interp(np.log(ic[between]), np.log([left, right]), np.log([low, high])))
    for at, value in points:
        out[np.abs(np.log(ic / at)) <= np.log(_NEAR_CURRENT)] = value
    return out


def _typical_curve(
    of: ReferenceType, quantity: EnvelopeQuantity, ic: Floats, vce: float, temp: float, forced_gain: float
) -> Floats:
    """Drawn curve nearest the conditions, NaN outside what it shows; several are averaged in the logarithm."""
    lines = []
    for curve in of.curves:
        if curve.quantity != _CURVE_NAMES[quantity] or curve.x != "IC":
            continue
        degrees = 25.0 if curve.temperature_c is None else curve.temperature_c
        if abs(degrees + 273.15 - temp) > _NEAR_TEMP:
            continue
        if quantity == "vce_sat":
            fits = "IC_over_IB" in curve.conditions and _within(curve.conditions["IC_over_IB"], forced_gain, _NEAR_GAIN)
        else:
            fits = _within(curve.conditions.get("VCE", vce), vce, _NEAR_VCE)
        if fits:
            points = np.log(np.array(sorted(curve.points)))
            lines.append(np.interp(np.log(ic), points[:, 0], points[:, 1], left=np.nan, right=np.nan))
    if not lines:
        return np.full(ic.shape, np.nan)
    stacked = np.array(lines)
    count = np.isfinite(stacked).sum(axis=0)
    total = np.nansum(stacked, axis=0)
    return np.where(count > 0, np.exp(total / np.maximum(count, 1)), np.nan)
