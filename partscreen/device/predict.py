"""What parts with given coordinates read, with derivatives to every coordinate and to the case temperature.

The junction voltages are solved for; the derivatives follow from the implicit-function theorem, so they are exact.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.intrinsic import Point, base_resistance, currents
from partscreen.device.parameters import INDEX, N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.device.sensitivity import (
    Parts,
    current_sensitivities,
    parts_from_theta,
    points_of,
    spread,
    temperature_sensitivity,
)
from partscreen.device.solve import (
    TOLERANCE,
    VCE_SAT_MAX,
    WARM_TOLERANCE,
    Forced,
    gain_system,
    newton,
    saturation_system,
    start_gain,
    start_saturation,
)

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


_ZERO = np.zeros(1)  # RBM


@dataclass(slots=True)
class State:
    """Junction voltages of a solution, flat: a warm start for coordinates nearby. NaN where there is none."""

    vbe: Floats
    vbc: Floats
    vce: Floats | None = None
    tolerance: float = WARM_TOLERANCE  # to which a solution from here is sought [V]


@dataclass(frozen=True, slots=True)
class GainPrediction:
    """hFE and VBE at forced IC and VCE.

    ln_hfe, vbe : shape (n_parts, n_points); NaN where not reached. d_ln_hfe, d_vbe : (n_parts, n_points,
    n_parameters), None if
    not asked for. dt_* : derivative to the case temperature [1/K, V/K]. junction_temp : [K].
    """

    ln_hfe: Floats
    vbe: Floats
    d_ln_hfe: Floats | None
    d_vbe: Floats | None
    dt_ln_hfe: Floats | None
    dt_vbe: Floats | None
    junction_temp: Floats
    reached: Bools
    state: State


@dataclass(frozen=True, slots=True)
class SaturationPrediction:
    """VCE(sat) and VBE(sat) at forced IC and IB; members as in `GainPrediction`."""

    vce: Floats
    vbe: Floats
    d_vce: Floats | None
    d_vbe: Floats | None
    dt_vce: Floats | None
    dt_vbe: Floats | None
    junction_temp: Floats
    reached: Bools
    state: State


class Rows:
    """Derivatives of points to coordinates, filled column by column; columns nobody asked for are left out."""

    def __init__(self, n_rows: int, columns: npt.NDArray[np.intp] | None) -> None:
        wanted = range(N_PARAMETERS) if columns is None else columns.tolist()
        self.place = {index: place for place, index in enumerate(wanted)}
        self.table = np.zeros((n_rows, len(self.place)))

    def put(self, name: str, values: Floats) -> None:
        """Write the column of a coordinate."""
        place = self.place.get(INDEX[name])
        if place is not None:
            self.table[:, place] = values

    def laid_out(self, shape: tuple[int, ...]) -> Floats:
        """The table as (n_parts, n_points, n_columns); there may be no points."""
        return self.table.reshape(*shape, self.table.shape[1])

    def add(self, index: int, w_ic: Floats, w_ib: Floats, d_ic: Floats | None, d_ib: Floats | None) -> None:
        """Write one column: the sum of both currents' weighted derivatives, None standing for zero."""
        place = self.place.get(index)
        if place is None:
            return
        column = self.table[:, place]
        if d_ic is not None:
            np.multiply(w_ic, d_ic, out=column)
        if d_ib is not None:
            column += w_ib * d_ib


def predict_gain(
    theta: npt.ArrayLike,
    constants: TypeConstants,
    ic: npt.ArrayLike,
    vce: npt.ArrayLike,
    case_temp: npt.ArrayLike,
    pulsed: npt.ArrayLike = True,
    *,
    jacobian: bool = True,
    temperature: bool = True,
    columns: npt.NDArray[np.intp] | None = None,
    start: State | None = None,
) -> GainPrediction:
    """Gain and base voltage of parts.

    Parameters
    ----------
    theta : array, shape (n_parts, n_parameters)
    constants : TypeConstants
    ic, vce, case_temp : array, broadcastable to (n_parts, n_points)
        [A], [V], [K]. `vce` NaN: not stated; the Early effect of the collector and self-heating are left out.
    pulsed : bool array
        True: the junction is at case temperature. False: RTH IC VCE above it.
    jacobian : bool
        Also give derivatives.
    temperature : bool
        Also give derivatives to the case temperature.
    columns : int array, optional
        Derivatives to these coordinates only, in this order.
    start : State, optional
        Of an earlier call with the same points; the solution is then sought to its `tolerance`.
    """
    parts = parts_from_theta(np.atleast_2d(np.asarray(theta, dtype=float)), constants)
    ic_, vce_, temp, pulsed_ = _grid(parts, ic, vce, case_temp, pulsed)
    n_parts, n_points = ic_.shape
    power = np.where(pulsed_ > 0.0, 0.0, np.nan_to_num(ic_ * vce_))
    heated = bool(np.any(power))
    junction = temp + parts["rth"] * power if heated else temp
    used_temp = junction if heated else _one_per_part(temp)
    p, rise = points_of(parts, used_temp, n_points)
    forced = Forced(ic_.ravel(), vce_.ravel(), _flat(parts["rc"], n_points), _flat(parts["re"], n_points))
    tolerance = TOLERANCE if start is None else start.tolerance
    vbe, vbc, reached = newton(p, forced, gain_system, *_begin(start, start_gain, p, forced), tolerance=tolerance)
    with np.errstate(all="ignore"):
        c = currents(p, vbe, vbc)
        reached &= (c.q1 > 0.0) & (c.ib > 0.0)
        rb, slope = base_resistance(c.ib, c.qb, _flat(parts["rb"], n_points), _ZERO, _flat(parts["irb"], n_points))
        ib = c.ib
        ln_hfe = np.log(forced.ic / ib)
        terminal = vbe + ib * rb + (forced.ic + ib) * forced.re
    shape = (n_parts, n_points)
    no = ~reached
    ln_hfe[no], terminal[no] = np.nan, np.nan
    state = State(np.where(reached, vbe, np.nan), np.where(reached, vbc, np.nan))
    base = (ln_hfe.reshape(shape), terminal.reshape(shape))
    if not jacobian:
        return GainPrediction(*base, None, None, None, None, junction, reached.reshape(shape), state)

    with np.errstate(all="ignore"):
        stated = np.isfinite(forced.other).astype(float)
        a, b = c.ic_vbe, c.ic_vbc
        d = stated * (1.0 + forced.re * c.ib_vbe)
        e = stated * (forced.re * c.ib_vbc - 1.0) + (1.0 - stated)
        inv = 1.0 / (a * e - b * d)
        p1 = inv * (c.ib_vbc * d - c.ib_vbe * e)  # d ib / d (ic residual), voltages following
        p2 = inv * (c.ib_vbe * b - c.ib_vbc * a) * stated
        through = 1.0 + forced.re * p2
        v1, v2 = -e * inv, b * inv * stated
        inv_ib = -1.0 / ib
        h1, h2, h3 = p1 * inv_ib, through * inv_ib, p2 * inv_ib
        total = rb + slope + forced.re
        b1, b2, b3 = v1 + p1 * total, forced.re * v2 + through * total, v2 + p2 * total
    hfe_rows, vbe_rows = Rows(n_parts * n_points, columns), Rows(n_parts * n_points, columns)
    for index, d_ic, d_ib in current_sensitivities(parts, p, c, rise, vbe, vbc, n_points):
        hfe_rows.add(index, h1, h2, d_ic, d_ib)
        vbe_rows.add(index, b1, b2, d_ic, d_ib)
    drop_c, drop_e = forced.ic * forced.rc, (forced.ic + ib) * forced.re
    hfe_rows.put("rc", h3 * drop_c)
    hfe_rows.put("re", h3 * drop_e)
    vbe_rows.put("rc", b3 * drop_c)
    vbe_rows.put("re", b3 * drop_e + drop_e)
    vbe_rows.put("rb", ib * rb)
    vbe_rows.put("irb", -ib * slope)
    if not (heated or temperature):
        return GainPrediction(
            *base, hfe_rows.laid_out(shape), vbe_rows.laid_out(shape), None, None, junction,
            reached.reshape(shape), state,
        )  # fmt: skip
    t_ic, t_ib = temperature_sensitivity(parts, p, c, vbe, vbc, used_temp, n_points)
    dt_hfe = h1 * t_ic + h2 * t_ib
    dt_vbe = b1 * t_ic + b2 * t_ib
    if heated:
        rise_of_rth = (parts["rth"] * power).ravel()
        hfe_rows.put("rth", dt_hfe * rise_of_rth)
        vbe_rows.put("rth", dt_vbe * rise_of_rth)
    return GainPrediction(
        *base, hfe_rows.laid_out(shape), vbe_rows.laid_out(shape), dt_hfe.reshape(shape),
        dt_vbe.reshape(shape), junction, reached.reshape(shape), state,
    )  # fmt: skip


def predict_saturation(
    theta: npt.ArrayLike,
    constants: TypeConstants,
    ic: npt.ArrayLike,
    ib: npt.ArrayLike,
    case_temp: npt.ArrayLike,
    pulsed: npt.ArrayLike = True,
    *,
    jacobian: bool = True,
    temperature: bool = True,
    base_voltage: bool = True,
    columns: npt.NDArray[np.intp] | None = None,
    start: State | None = None,
) -> SaturationPrediction:
    """Saturation voltages of parts at forced currents [A]; other arguments as in `predict_gain`.

    `base_voltage`: also give derivatives of VBE(sat).

    VCE(sat) carries QS (IC/IC_rated)^2 for quasi-saturation, on top of the Gummel-Poon model. A point above 5 V is
    not reached.
    """
    parts = parts_from_theta(np.atleast_2d(np.asarray(theta, dtype=float)), constants)
    ic_, ib_, temp, pulsed_ = _grid(parts, ic, ib, case_temp, pulsed)
    n_parts, n_points = shape = ic_.shape
    heat = np.where(pulsed_ > 0.0, 0.0, parts["rth"] * ic_)  # [K/V]
    heated = bool(np.any(heat))
    forced = Forced(ic_.ravel(), ib_.ravel(), _flat(parts["rc"], n_points), _flat(parts["re"], n_points))
    drop_c, drop_e = forced.ic * forced.rc, (forced.ic + forced.other) * forced.re
    square = (forced.ic / constants.ic_rated) ** 2
    extra = drop_c + drop_e + _flat(parts.qs, n_points) * square
    junction = temp
    if heated and start is not None and start.vce is not None:
        junction = temp + heat * np.nan_to_num(start.vce.reshape(shape))
    used_temp = junction if heated else _one_per_part(temp)
    p, rise = points_of(parts, used_temp, n_points)
    vbe, vbc = _begin(start, start_saturation, p, forced)
    tolerance = TOLERANCE if start is None else start.tolerance
    vbe, vbc, reached = newton(p, forced, saturation_system, vbe, vbc, tolerance=tolerance)
    vce = vbe - vbc + extra
    for _ in range(14 if heated else 0):
        before = junction
        junction = temp + heat * np.where(reached, vce, 0.0).reshape(shape)
        warming = np.flatnonzero(np.abs(junction - before).ravel() >= 1e-7)
        if warming.shape[0] == 0:
            break
        used_temp = junction
        p, rise = points_of(parts, used_temp, n_points)
        vbe[warming], vbc[warming], reached[warming] = newton(
            p.pick(warming), forced.pick(warming), saturation_system, vbe[warming], vbc[warming], tolerance=tolerance
        )
        vce = vbe - vbc + extra
    with np.errstate(all="ignore"):
        c = currents(p, vbe, vbc)
        reached &= (c.q1 > 0.0) & (vce <= VCE_SAT_MAX)
        rb, slope = base_resistance(
            forced.other, c.qb, _flat(parts["rb"], n_points), _ZERO, _flat(parts["irb"], n_points)
        )
        terminal = vbe + forced.other * rb + drop_e
    no = ~reached
    vce[no], terminal[no] = np.nan, np.nan
    state = State(np.where(reached, vbe, np.nan), np.where(reached, vbc, np.nan), vce)
    base = (vce.reshape(shape), terminal.reshape(shape))
    if not jacobian:
        return SaturationPrediction(*base, None, None, None, None, junction, reached.reshape(shape), state)

    with np.errstate(all="ignore"):
        inv = 1.0 / (c.ic_vbe * c.ib_vbc - c.ic_vbc * c.ib_vbe)
        s1, s2 = -(c.ib_vbc + c.ib_vbe) * inv, (c.ic_vbc + c.ic_vbe) * inv
        b1, b2 = -c.ib_vbc * inv, c.ic_vbc * inv
    vce_rows = Rows(n_parts * n_points, columns)
    vbe_rows = Rows(n_parts * n_points, columns if base_voltage else np.zeros(0, dtype=np.intp))
    for index, d_ic, d_ib in current_sensitivities(parts, p, c, rise, vbe, vbc, n_points):
        vce_rows.add(index, s1, s2, d_ic, d_ib)
        vbe_rows.add(index, b1, b2, d_ic, d_ib)
    vce_rows.put("rc", drop_c)
    vce_rows.put("re", drop_e)
    vce_rows.put("qs", square)
    vbe_rows.put("re", drop_e)
    vbe_rows.put("rb", forced.other * rb)
    vbe_rows.put("irb", -forced.other * slope)
    if not (heated or temperature):
        return SaturationPrediction(
            *base, vce_rows.laid_out(shape), vbe_rows.laid_out(shape), None, None, junction,
            reached.reshape(shape), state,
        )  # fmt: skip
    t_ic, t_ib = temperature_sensitivity(parts, p, c, vbe, vbc, used_temp, n_points)
    dt_vce = s1 * t_ic + s2 * t_ib
    dt_vbe = b1 * t_ic + b2 * t_ib
    if heated:  # the junction follows VCE(sat): TJ = Tcase + RTH IC VCE
        per_volt = heat.ravel()
        vce_rows.put("rth", dt_vce * per_volt * vce)
        lift = 1.0 / (1.0 - dt_vce * per_volt)
        vce_rows.table *= lift[:, None]
        vbe_rows.put("rth", dt_vbe * per_volt * vce)
        if base_voltage:
            vbe_rows.table += (dt_vbe * per_volt)[:, None] * vce_rows.table
        dt_vce = dt_vce * lift
        dt_vbe = dt_vbe * (1.0 + per_volt * dt_vce)
    return SaturationPrediction(
        *base, vce_rows.laid_out(shape), vbe_rows.laid_out(shape), dt_vce.reshape(shape),
        dt_vbe.reshape(shape), junction, reached.reshape(shape), state,
    )  # fmt: skip


def _grid(parts: Parts, *values: npt.ArrayLike) -> list[Floats]:
    n_parts = parts.value.shape[0]
    arrays = [np.asarray(v, dtype=float) for v in values]
    shape = np.broadcast_shapes((n_parts, 1), *(a.shape for a in arrays))
    return [np.broadcast_to(a, shape) for a in arrays]


def _flat(value: Floats, n_points: int) -> Floats:
    return spread(value, value.shape[0], n_points)


def _one_per_part(temp: Floats) -> Floats:
    first = temp[:, :1]
    return first if temp.shape[1] and bool(np.all(temp == first)) else temp


def _begin(
    start: State | None, cold: Callable[[Point, Forced], tuple[Floats, Floats]], p: Point, forced: Forced
) -> tuple[Floats, Floats]:
    """Junction voltages to start from: those of the earlier solution, a cold guess where there is none."""
    if start is None:
        return cold(p, forced)
    missing = np.flatnonzero(np.isnan(start.vbe) | np.isnan(start.vbc))
    if missing.shape[0] == 0:
        return start.vbe, start.vbc
    vbe, vbc = start.vbe.copy(), start.vbc.copy()
    vbe[missing], vbc[missing] = cold(p.pick(missing), forced.pick(missing))
    return vbe, vbc
