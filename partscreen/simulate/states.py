"""What is truly there while a lot is read: temperatures, currents, voltages, before any instrument error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import INDEX
from partscreen.device.prior import TypeConstants
from partscreen.simulate.kits import BenchKit, Plan, Sitting
from partscreen.simulate.parts import Kind, Parts
from partscreen.simulate.physics import base_current_points, capacitance_points, gain_points, sat_points

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

OPEN_COLLECTOR = 5.0  # across an open part: the collector supply as set for VCE (assumption) [V]
SHORT_OHM = 0.02  # collector to emitter through a melted die (assumption) [ohm]
OPEN_FARAD = 3e-12  # what is left between the leads of an open part (assumption) [F]
JUNCTION_TIME = 0.03  # the sheets' ZTHJC curves reach most of RthJC at 30 ms [s]
CHANGE_PART = 20.0  # seconds to put in the next part (assumption)
SAT_GUESS = 0.3  # VCE(sat) for the heat of a saturation point; its heat is small (assumption) [V]


@dataclass(frozen=True, slots=True)
class Truth:
    """Shapes as in `Readings`: parts first, then gain, saturation or capacitance points; the last three: all points."""

    gain_ic: Floats
    gain_ib: Floats
    gain_vce: Floats
    gain_vbe: Floats
    clipped: Bools
    sat_ic: Floats
    sat_ib: Floats
    vce_sat: Floats
    sat_vbe: Floats
    cap: Floats
    case: Floats
    junction: Floats
    time: Floats


def true_states(parts: Parts, kit: BenchKit, plan: Plan, where: Sitting) -> Truth:
    """Everything that happens while the lot is read, part after part."""
    n_gain = len(plan.gain_ic) if plan.base_steps is None else len(plan.base_steps)
    n_sat = len(plan.sat_ic)
    time = where.start + _times(parts.n_parts, n_gain + n_sat, kit)
    case, junction = _temperatures(_power(parts, plan, kit), time, kit, where, np.exp(parts.theta[:, INDEX["rth"]]))
    if kit.pulsed:
        junction = case
    hot = junction[:, :n_gain]
    ic, ib, vbe = _forced_collector(parts, plan, hot) if plan.base_steps is None else _forced_base(parts, plan, hot)
    vce = np.full(ic.shape, plan.gain_vce)
    clipped = _supply_limit(parts, plan, where, hot, ic, vce, vbe)
    sat_ic = np.tile(plan.sat_ic, (parts.n_parts, 1))
    sat_ib = sat_ic / plan.forced_gain
    vce_sat, sat_vbe = np.empty_like(sat_ic), np.empty_like(sat_ic)
    for rows, constants in _by_card(parts):
        point = sat_points(parts.theta[rows], constants, sat_ic[rows], sat_ib[rows], junction[rows, n_gain:])
        vce_sat[rows], sat_vbe[rows] = point.vce, point.vbe
    truth = Truth(
        ic, ib, vce, vbe, clipped, sat_ic, sat_ib, vce_sat, sat_vbe, _capacitances(parts, plan), case, junction, time
    )
    with np.errstate(invalid="ignore"):
        beyond = (ib > kit.base_limit) | (vbe > kit.base_volts)
        beyond_sat = (sat_ib > kit.base_limit) | (sat_vbe > kit.base_volts)
    for values in (ic, ib, vce, vbe):
        values[beyond] = np.nan
    for values in (vce_sat, sat_vbe):
        values[beyond_sat] = np.nan
    _dead(parts, truth, kit)
    return truth


def _by_card(parts: Parts) -> list[tuple[Ints, TypeConstants]]:
    """Rows of the parts that share one set of constants."""
    found = [(np.flatnonzero(parts.card == k), constants) for k, constants in enumerate(parts.constants)]
    return [(rows, constants) for rows, constants in found if len(rows)]


def _times(n_parts: int, n_points: int, kit: BenchKit) -> Floats:
    start = np.arange(n_parts)[:, None] * (n_points * (kit.dwell + kit.pause) + CHANGE_PART)
    return np.asarray(np.round(10 * (start + np.arange(n_points) * (kit.dwell + kit.pause))) / 10)


def _power(parts: Parts, plan: Plan, kit: BenchKit) -> Floats:
    """Power at each point [W]; in base-current steps from the gain at room temperature."""
    if plan.base_steps is None:
        gain = np.tile(plan.gain_ic * plan.gain_vce, (parts.n_parts, 1))
    else:
        cold = np.full((parts.n_parts, len(plan.base_steps)), 298.15)
        gain = np.minimum(np.nan_to_num(_forced_base(parts, plan, cold)[0]), kit.ic_max) * plan.gain_vce
    sat = np.tile(SAT_GUESS * plan.sat_ic, (parts.n_parts, 1))
    return np.concatenate([gain, sat], axis=1)


def _temperatures(power: Floats, time: Floats, kit: BenchKit, where: Sitting, rth: Floats) -> tuple[Floats, Floats]:
    """Case and junction temperature at each point [K]: parts start at air temperature, earlier points warm them."""
    case = where.air + where.drift * time / 3600.0
    rise = np.zeros(len(power))
    cool = np.exp(-(kit.dwell + kit.pause) / kit.heat_time)
    warm = 1 - np.exp(-kit.dwell / kit.heat_time)
    for k in range(power.shape[1]):
        case[:, k] += rise
        rise = (rise + power[:, k] * kit.heat_sink * warm) * cool
    return case, case + power * rth[:, None] * (1 - np.exp(-kit.dwell / JUNCTION_TIME))


def _forced_collector(parts: Parts, plan: Plan, temp: Floats) -> tuple[Floats, Floats, Floats]:
    ic = np.tile(plan.gain_ic, (parts.n_parts, 1))
    ib, vbe = np.empty_like(ic), np.empty_like(ic)
    for rows, constants in _by_card(parts):
        point = gain_points(parts.theta[rows], constants, ic[rows], np.full(ic[rows].shape, plan.gain_vce), temp[rows])
        ib[rows], vbe[rows] = point.ib, point.vbe
    return ic, ib + vbe / parts.shunt[:, None], vbe


def _forced_base(parts: Parts, plan: Plan, temp: Floats) -> tuple[Floats, Floats, Floats]:
    assert plan.base_steps is not None
    ib = np.tile(plan.base_steps, (parts.n_parts, 1))
    ic, vbe = np.empty_like(ib), np.empty_like(ib)
    for rows, constants in _by_card(parts):
        ic[rows], vbe[rows] = base_current_points(
            parts.theta[rows], constants, ib[rows], plan.gain_vce, temp[rows], parts.shunt[rows]
        )
    return ic, ib, vbe


def _supply_limit(
    parts: Parts, plan: Plan, where: Sitting, temp: Floats, ic: Floats, vce: Floats, vbe: Floats
) -> Bools:
    """Hold the collector supply's limit on the named parts, in place: driven harder, the transistor saturates."""
    clipped = np.zeros(ic.shape, dtype=bool)
    if plan.base_steps is None:
        return clipped
    for i in np.flatnonzero(np.isin(parts.names, where.clipped)):
        over = ic[i] > where.supply_limit
        if not over.any():
            continue
        ic[i, over] = where.supply_limit
        constants = parts.constants[parts.card[i]]
        point = sat_points(
            parts.theta[[i]], constants, ic[[i]][:, over], plan.base_steps[None, over], temp[[i]][:, over]
        )
        vce[i, over], vbe[i, over] = point.vce[0], point.vbe[0]
        clipped[i] = over
    return clipped


def _capacitances(parts: Parts, plan: Plan) -> Floats:
    cap = np.empty((parts.n_parts, len(plan.capacitance)))
    reversed_ = parts.of_kind(Kind.REVERSED)
    for k, (junction, bias) in enumerate(plan.capacitance):
        for rows, constants in _by_card(parts):
            cap[rows, k] = capacitance_points(parts.theta[rows], constants, junction, bias)
        if bias > 5.0:
            cap[reversed_, k] = np.nan  # the emitter junction breaks down there: no reading
    cap[parts.of_kind(Kind.OPEN)] = OPEN_FARAD
    cap[parts.of_kind(Kind.SHORT)] = np.nan
    return cap


def _dead(parts: Parts, truth: Truth, kit: BenchKit) -> None:
    """Overwrite what dead parts show, in place."""
    is_open, is_short = parts.of_kind(Kind.OPEN), parts.of_kind(Kind.SHORT)
    for values in (truth.gain_ic, truth.sat_ic):
        values[is_open] = 0.0
    for values in (truth.gain_ib, truth.sat_ib):
        values[is_open | is_short] = 0.0
    for values in (truth.gain_vbe, truth.sat_vbe):
        values[is_open], values[is_short] = kit.base_volts, 0.0
    truth.vce_sat[is_open] = OPEN_COLLECTOR
    truth.vce_sat[is_short] = SHORT_OHM * truth.sat_ic[is_short]
    truth.gain_vce[is_short] = SHORT_OHM * truth.gain_ic[is_short]
