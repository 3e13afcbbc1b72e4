"""The value of a part at the condition of a limit: read there, carried there by the fit, or not reached. Sweep
quantities.

Between readings the fit gives the shape and the readings the level: the difference of each neighbouring reading to
the fit is interpolated in ln IC and added to the fit at the limit's conditions. So the value is that of the readings,
corrected by what the fit says of the difference in VCE, temperature and forced gain.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.screening.limits.curve_model import REFERENCE_TEMPERATURE, CurveModel, PlainLaws

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

NOT_REACHED, DIRECT, CARRIED = 0, 1, 2
REACHED_WORDS = {NOT_REACHED: "not_reached", DIRECT: "direct", CARRIED: "carried"}

BEYOND_END = 1.05  # a reading this close to the limit's current stands for it
WIDEST_GAP = (
    5.0  # neighbouring readings further apart than this leave the shape between to the fit: carried (assumption)
)
CARRY = 3.0  # at most this factor beyond the readings (design)
VCE_SPAN = (
    3.0  # readings within this factor of the limit's VCE are comparable; the rest is the fit's to say (assumption)
)
FORCED_GAIN_SPAN = 1.5  # the same for the forced gain of a saturation reading (assumption)
TEMPERATURE_SPAN = 40.0  # [K] further away the temperature law is not trusted to decide (assumption)

# How well a correction between conditions is known, as shares of itself: of VCE (or forced gain) and self-heating,
# and of case temperature. Assumptions: the Early voltage and the thermal resistance of a reading are known to a
# factor of about three from ratings, and that is skew; XTB lies at 1.5 +- 0.5; the slope of VBE over temperature
# between 1.6 and 2.3 mV/K.
HFE_SHARES, VBE_SHARES, SAT_SHARES = (1.5, 0.35), (1.0, 0.15), (0.5, 0.5)
# A correction larger than this is more the fit's word than the reading's: the value counts as carried (assumption).
LARGEST_SHIFT_LN, LARGEST_SHIFT_SAT = 0.25, 0.5

UNSTATED_VCE_LN_STD = 0.05  # hFE, VCE not stated (assumption: 5 % per doubling of VCE at VAF of 100 V)

HFE_PER_KELVIN = 0.005  # d ln hFE / dT for XTB 1.5 at 300 K
VBE_PER_KELVIN = 2e-3


@dataclass(frozen=True, slots=True)
class LimitValues:
    """One figure per part. `log`: uncertainty is relative and the chance of conforming is worked out in logarithms.

    value [SI], std [SI, or relative where log], reached (NOT_REACHED, DIRECT, CARRIED): shape (n_parts,); NaN where
    not reached.
    """

    value: Floats
    std: Floats
    reached: npt.NDArray[np.int8]
    log: bool

    @property
    def std_si(self) -> Floats:
        """Standard uncertainty in the unit of the value."""
        return self.value * self.std if self.log else self.std


def nothing_reached(n_parts: int, *, log: bool = False) -> LimitValues:
    """No part has a reading that speaks of this limit."""
    return LimitValues(np.full(n_parts, np.nan), np.full(n_parts, np.nan), np.zeros(n_parts, dtype=np.int8), log)


@dataclass(frozen=True, slots=True)
class _Bracket:
    """Neighbours of the limit's current: columns (shape (n,)), weight of the right one, and how it is reached."""

    left: Ints
    right: Ints
    weight: Floats
    reached: npt.NDArray[np.int8]


def _bracket(ic: Floats, comparable: Bools, any_reading: Bools, at: float) -> _Bracket:
    n, m = ic.shape
    if not m:
        zero = np.zeros(n, dtype=np.int64)
        return _Bracket(zero, zero, np.zeros(n), np.zeros(n, dtype=np.int8))
    with np.errstate(invalid="ignore"):
        below, above = comparable & (ic <= at * (1 + 1e-9)), comparable & (ic >= at * (1 - 1e-9))
    has_low, has_high = below.any(axis=1), above.any(axis=1)
    left = np.where(has_low, m - 1 - np.argmax(below[:, ::-1], axis=1), np.argmax(above, axis=1))
    right = np.where(has_high, np.argmax(above, axis=1), left)
    row = np.arange(n)
    i_low, i_high = ic[row, left], ic[row, right]
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = np.log(at / i_low) / np.log(i_high / i_low)
        weight = np.where(np.isfinite(weight), np.clip(weight, 0.0, 1.0), 0.0)
        near = (np.maximum(i_low / at, at / i_low) <= BEYOND_END) | (np.maximum(i_high / at, at / i_high) <= BEYOND_END)
        direct = (has_low | has_high) & (near | (has_low & has_high & (i_high / i_low <= WIDEST_GAP)))
        top = np.max(np.where(any_reading, ic, -np.inf), axis=1)
        bottom = np.min(np.where(any_reading, ic, np.inf), axis=1)
        carried = (at <= CARRY * top) & (at >= bottom / CARRY)  # never where nothing was read
    reached = np.where(direct, DIRECT, np.where(carried, CARRIED, NOT_REACHED)).astype(np.int8)
    return _Bracket(left, right, weight, reached)


def _two(grid: npt.NDArray[np.generic], rows: Ints, left: Ints, right: Ints) -> Floats:
    return np.stack((grid[rows, left], grid[rows, right]), axis=1).astype(float)


def _mix(pair: Floats, weight: Floats) -> Floats:
    mixed: Floats = (1 - weight) * pair[:, 0] + weight * pair[:, 1]
    return mixed


def _assemble(
    read: Floats, std: Floats, model: Floats, weight: Floats, shares: tuple[float, float], shared_std: Floats
) -> tuple[Floats, Floats, Floats]:
    """Value, standard uncertainty and size of the correction for VCE or forced gain, from two neighbours.

    `read`, `std`: (k, 2); `model`: (k, 7) = neighbours as read; at the limit's VCE or forced gain and without
    self-heating; at the limit's temperature as well; the limit itself.
    """
    residual = read - model[:, :2]
    bias = _mix(model[:, 2:4] - model[:, :2], weight)
    warmth = shares[1] * _mix(model[:, 4:6] - model[:, 2:4], weight)
    value = model[:, 6] + _mix(residual, weight)
    reading = np.hypot((1 - weight) * std[:, 0], weight * std[:, 1])
    # Between the neighbours the residual lies between theirs: at the middle a rectangle of that width (JCGM 100,
    # 4.3.7).
    shape = 2 * np.minimum(weight, 1 - weight) * np.abs(residual[:, 1] - residual[:, 0]) / np.sqrt(12)
    total: Floats = np.sqrt(reading**2 + shape**2 + (shares[0] * bias) ** 2 + warmth**2 + shared_std**2)
    return value, total, np.abs(bias)


def _plan(
    o_ic: Floats, o_temp: Floats, o_pulsed: Floats, at: float, temperature: float
) -> tuple[Floats, Floats, Bools]:
    """Currents, temperatures and pulsing of the seven points of `_assemble`."""
    n = o_ic.shape[0]
    ic = np.hstack((o_ic, o_ic, o_ic, np.full((n, 1), at)))
    t = np.hstack((o_temp, o_temp, np.full((n, 3), temperature)))
    return ic, t, np.hstack((o_pulsed > 0, np.full((n, 5), True)))


def gain_at_limit(
    observations: Observations, model: CurveModel, quantity: str, conditions: Mapping[str, float], temperature: float
) -> LimitValues:
    """hFE or VBE at a limit's IC, VCE and temperature. [1, V]

    Parameters
    ----------
    quantity : "hfe" or "vbe"
    conditions : mapping
        IC [A] and VCE [V].
    temperature : float
        Of the limit: case and junction, since data sheets read these rows with short pulses. [K]
    """
    o, n = observations, observations.n_parts
    gain = quantity == "hfe"
    at, vce = float(conditions["IC"]), float(conditions["VCE"])
    read = o.hfe if gain else o.vbe
    finite = np.isfinite(read) & np.isfinite(o.gain_ic)
    with np.errstate(invalid="ignore"):
        like = finite & (np.abs(o.gain_temp - temperature) <= TEMPERATURE_SPAN)
        like &= np.isnan(o.gain_vce) | (np.maximum(o.gain_vce / vce, vce / o.gain_vce) <= VCE_SPAN)
    bracket = _bracket(o.gain_ic, like, finite, at)
    out = nothing_reached(n, log=gain)
    _gain_direct(o, model, gain, at, vce, temperature, bracket, out)
    _gain_carried(model, gain, at, vce, temperature, bracket, out)
    return out


def _gain_direct(
    o: Observations,
    model: CurveModel,
    gain: bool,
    at: float,
    vce: float,
    temperature: float,
    b: _Bracket,
    out: LimitValues,
) -> None:
    rows = np.flatnonzero(b.reached == DIRECT)
    if not rows.size:
        return
    left, right, weight = b.left[rows], b.right[rows], b.weight[rows]
    read, std = (
        _two(o.hfe if gain else o.vbe, rows, left, right),
        _two(o.hfe_ln_std if gain else o.vbe_std, rows, left, right),
    )
    vce_read = _two(o.gain_vce, rows, left, right)
    unstated = np.isnan(vce_read)
    temp, heated = _two(o.gain_temp, rows, left, right), _two(o.gain_pulsed, rows, left, right)
    ic, t, pulsed = _plan(_two(o.gain_ic, rows, left, right), temp, heated, at, temperature)
    v = np.hstack((np.where(unstated, vce, vce_read), np.full((rows.size, 5), vce)))
    index = 0 if gain else 1
    curve, plain = model.gain(rows, ic, v, t, pulsed)[index], PlainLaws().gain(rows, ic, v, t, pulsed)[index]
    curve = np.where(np.isfinite(curve).all(axis=1, keepdims=True), curve, plain)
    session = o.session[rows]
    kelvin = o.session_temp_std[session]
    if gain:
        std = np.where(unstated, np.hypot(std, UNSTATED_VCE_LN_STD), std)
        shared = np.hypot(o.session_gain_ln_std[session], HFE_PER_KELVIN * kelvin)
        ln, out.std[rows], shift = _assemble(np.log(read), std, np.log(curve), weight, HFE_SHARES, shared)
        out.value[rows] = np.exp(ln)
        out.reached[rows] = np.where(shift > LARGEST_SHIFT_LN, CARRIED, DIRECT)
    else:
        out.value[rows], out.std[rows], _ = _assemble(read, std, curve, weight, VBE_SHARES, VBE_PER_KELVIN * kelvin)
        out.reached[rows] = DIRECT


def _gain_carried(
    model: CurveModel, gain: bool, at: float, vce: float, temperature: float, b: _Bracket, out: LimitValues
) -> None:
    rows = np.flatnonzero(b.reached == CARRIED)
    if not rows.size:
        return
    ic, v, t = (np.full((rows.size, 1), value) for value in (at, vce, temperature))
    hfe, vbe, hfe_std, vbe_std = model.gain_std(rows, ic, v, t)
    _put_carried(out, rows, *((hfe, hfe_std) if gain else (vbe, vbe_std)))


def _put_carried(out: LimitValues, rows: Ints, value: Floats, std: Floats) -> None:
    ok = np.isfinite(value[:, 0]) & np.isfinite(std[:, 0])
    rows = rows[ok]
    out.value[rows], out.std[rows], out.reached[rows] = value[ok, 0], std[ok, 0], CARRIED


def saturation_at_limit(
    observations: Observations, model: CurveModel, conditions: Mapping[str, float], temperature: float
) -> LimitValues:
    """VCE(sat) at a limit's IC, forced gain and temperature. `conditions`: IC and IB [A]. [V]"""
    o, n = observations, observations.n_parts
    at, ib = float(conditions["IC"]), float(conditions["IB"])
    finite = np.isfinite(o.vce_sat) & np.isfinite(o.sat_ic) & np.isfinite(o.sat_ib)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (o.sat_ic / o.sat_ib) / (at / ib)
        like = finite & (np.maximum(ratio, 1 / ratio) <= FORCED_GAIN_SPAN)
        like &= np.abs(o.sat_temp - temperature) <= TEMPERATURE_SPAN
    b = _bracket(o.sat_ic, like, finite, at)
    out = nothing_reached(n)
    rows = np.flatnonzero(b.reached == DIRECT)
    if rows.size:
        _saturation_direct(o, model, at, ib, temperature, b, rows, out)
    rows = np.flatnonzero(b.reached == CARRIED)
    if rows.size:
        ic, base, t = (np.full((rows.size, 1), value) for value in (at, ib, temperature))
        _put_carried(out, rows, *model.saturation_std(rows, ic, base, t))
    return out


def _saturation_direct(
    o: Observations,
    model: CurveModel,
    at: float,
    ib: float,
    temperature: float,
    b: _Bracket,
    rows: Ints,
    out: LimitValues,
) -> None:
    left, right, weight = b.left[rows], b.right[rows], b.weight[rows]
    read, std = _two(o.vce_sat, rows, left, right), _two(o.vce_sat_std, rows, left, right)
    ic_read, temp = _two(o.sat_ic, rows, left, right), _two(o.sat_temp, rows, left, right)
    ic, t, pulsed = _plan(ic_read, temp, _two(o.sat_pulsed, rows, left, right), at, temperature)
    # Neighbours at the limit's conditions keep their current and take the limit's forced gain.
    base = np.hstack((_two(o.sat_ib, rows, left, right), ic[:, 2:] * (ib / at)))
    curve = model.saturation(rows, ic, base, t, pulsed)
    curve = np.where(np.isfinite(curve).all(axis=1, keepdims=True), curve, 0.0)
    lead = o.session_lead_std[o.session[rows]] * at
    value, total, shift = _assemble(read, std, curve, weight, SAT_SHARES, lead)
    # A reading just beside the limit's current, without a curve: in proportion to the current (ohmic).
    alone = (curve == 0.0).all(axis=1) & (left == right)
    value = np.where(alone, value * np.maximum(1.0, at / ic_read[:, 0]), value)
    out.value[rows], out.std[rows] = value, total
    with np.errstate(invalid="ignore"):
        out.reached[rows] = np.where(shift > LARGEST_SHIFT_SAT * np.abs(value), CARRIED, DIRECT)


__all__ = [
    "CARRIED",
    "DIRECT",
    "NOT_REACHED",
    "REACHED_WORDS",
    "REFERENCE_TEMPERATURE",
    "LimitValues",
    "gain_at_limit",
    "nothing_reached",
    "saturation_at_limit",
]
