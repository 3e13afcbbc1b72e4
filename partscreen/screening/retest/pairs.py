"""Two sittings of one part: like readings brought together, with what separates the sittings in their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.readings.instruments.uncertainty import SessionUncertainty
from partscreen.readings.tables import Batch
from partscreen.screening.limits.spot_conditions import number_of, spot_temperature
from partscreen.screening.observe import build_observations

Floats = npt.NDArray[np.float64]

SAME_CURRENT = 0.02  # relative difference up to which two currents are one
SAME_BIAS = 0.05  # of voltages, and of the forced gain
SAME_VCE = 0.25  # of VCE in gain readings: the Early effect moves hFE by a few per cent at most
BETWEEN = 3.0  # largest ratio of two currents between which the first sitting's curve is read
CURVE_STD, CURVE_VOLTS = 0.01, 2e-3
"""Relative hFE, and volts, by which a curve may bend between two such readings (assumption)."""

GAIN_EXPONENT, GAIN_EXPONENT_STD = 1.35, 0.6
"""d ln hFE / d ln T: data sheets' curves give 1.13 (NPN) and 1.56 (PNP), docs/population.md."""

VBE_SLOPE, VBE_SLOPE_STD = -2.0e-3, 0.4e-3  # [V/K] (check values section 11: -1.8 to -2.3 mV/K, derived)
LEAK_DOUBLES, LEAK_STD = 10.0, 0.3
"""Leakage of silicon doubles every 10 K, 30 % more or less in the exponent (common practice, no source)."""

LEAKS = {"icbo": "VCB", "iceo": "VCE", "ices": "VCE", "icer": "VCE", "icex": "VCE", "iebo": "VEB"}
UNSTATED_LEAK_STD = 0.2  # relative, where nothing is known of the meter (assumption)


@dataclass(frozen=True, slots=True)
class Leak:
    """A leakage reading: quantity key, bias [V], value and standard uncertainty [A], temperature [K]."""

    quantity: str
    bias: float
    value: float
    std: float
    temperature: float


@dataclass(frozen=True, slots=True)
class Sitting:
    """One part as read at one time. `condition`: why it cannot be read at all (dead, reversed), else empty."""

    observations: Observations
    leaks: tuple[Leak, ...] = ()
    session: str | None = None
    condition: str = ""

    @property
    def temp_std(self) -> float:
        return float(self.observations.session_temp_std[self.observations.session].max(initial=0.0))

    @property
    def gain_std(self) -> float:
        return float(self.observations.session_gain_ln_std[self.observations.session].max(initial=0.0))

    @property
    def lead_std(self) -> float:
        return float(self.observations.session_lead_std[self.observations.session].max(initial=0.0))


@dataclass(frozen=True, slots=True)
class Pair:
    """One quantity at one condition. first, now and their uncertainties: ln for hFE, SI else; `now` brought to the
    first sitting's temperature. shared : standard uncertainty of what the two sittings do not share. unit, conditions
    : as printed. ic : [A], NaN for leakage."""

    quantity: str
    conditions: str
    ic: float
    first: float
    first_std: float
    now: float
    now_std: float
    shared: float
    carried: bool = False


def sitting_of(
    batch: Batch, part: int, *, shared: SessionUncertainty | None = None, temperature: float | None = None
) -> Sitting:
    """One part of a batch. `temperature`: of the case where none was read [K]."""
    number = np.array([part], dtype=np.int64)
    found = build_observations(batch, number, temperature=temperature, session_uncertainty=shared)
    condition = batch.condition.get(part)
    return Sitting(
        found.observations,
        tuple(_leaks(batch, part, temperature)),
        next((name for name in found.session_names if name), None),
        condition.sentence if condition else "",
    )


def _leaks(batch: Batch, part: int, temperature: float | None) -> list[Leak]:
    spots, out = batch.spots, []
    for row in np.flatnonzero((spots.part == part) & spots.use & ~spots.control).tolist():
        quantity, value = str(spots.quantity[row]), float(spots.value[row])
        if quantity in LEAKS and np.isfinite(value):
            std = float(spots.std[row])
            conditions = spots.conditions[row]
            out.append(
                Leak(
                    quantity,
                    number_of(conditions, LEAKS[quantity]),
                    value,
                    std if np.isfinite(std) and std > 0.0 else UNSTATED_LEAK_STD * abs(value),
                    spot_temperature(conditions, temperature),
                )
            )
    return out


def pairs_of(first: Sitting, now: Sitting) -> tuple[list[Pair], list[str]]:
    """Like readings of both sittings, and in words what has no like."""
    temp = float(np.hypot(first.temp_std, now.temp_std))
    pairs: list[Pair] = []
    alone: list[str] = []
    for found, missing in (
        _gain(first, now, temp), _saturation(first, now), _leakage(first, now, temp)
    ):  # fmt: skip
        pairs += found
        alone += missing
    return pairs, alone


def _gain(first: Sitting, now: Sitting, temp: float) -> tuple[list[Pair], list[str]]:
    a, b = first.observations, now.observations
    pairs, alone = [], []
    shared_gain = float(np.hypot(first.gain_std, now.gain_std))
    for k in range(b.gain_ic.shape[1]):
        ic, vce, kelvin = float(b.gain_ic[0, k]), float(b.gain_vce[0, k]), float(b.gain_temp[0, k])
        where = f"IC = {_amp(ic)}" + (f", VCE = {vce:.3g} V" if np.isfinite(vce) else "")
        like = _same_vce(a.gain_vce[0], vce)
        for quantity in ("hFE", "VBE"):
            mine = (np.log(b.hfe), b.hfe_ln_std) if quantity == "hFE" else (b.vbe, b.vbe_std)
            theirs = (np.log(a.hfe), a.hfe_ln_std) if quantity == "hFE" else (a.vbe, a.vbe_std)
            value, std = float(mine[0][0, k]), float(mine[1][0, k])
            if not np.isfinite(value):
                continue
            bend = CURVE_STD if quantity == "hFE" else CURVE_VOLTS
            old = _read(a.gain_ic[0], theirs[0][0], theirs[1][0], a.gain_temp[0], like, ic, bend)
            if old is None:
                alone.append(f"{quantity} at {where}: not read at first")
                continue
            was, was_std, was_kelvin, carried = old
            step = kelvin - was_kelvin
            if quantity == "hFE":
                shift, wide = _gain_shift(was_kelvin, kelvin)
                common = float(np.hypot(shared_gain, temp * GAIN_EXPONENT / was_kelvin))
            else:
                shift, wide, common = VBE_SLOPE * step, VBE_SLOPE_STD * abs(step), abs(VBE_SLOPE) * temp
            pairs.append(
                Pair(quantity, where, ic, was, was_std, value - shift, std, float(np.hypot(common, wide)), carried)
            )
    return pairs, alone


def _gain_shift(before: float, after: float) -> tuple[float, float]:
    """Change of ln hFE with temperature, and its uncertainty."""
    step = float(np.log(after / before))
    return GAIN_EXPONENT * step, GAIN_EXPONENT_STD * abs(step)


def _same_vce(vce: Floats, wanted: float) -> npt.NDArray[np.bool_]:
    if not np.isfinite(wanted):
        return ~np.isfinite(vce)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.abs(np.log(vce / wanted)) <= np.log1p(SAME_VCE))


def _read(
    ic: Floats, value: Floats, std: Floats, kelvin: Floats, like: npt.NDArray[np.bool_], wanted: float, bend: float
) -> tuple[float, float, float, bool] | None:
    """The first sitting's value at a current: value, standard uncertainty, temperature, whether between two readings;
    None where it was not read near enough."""
    rows = np.flatnonzero(like & np.isfinite(value) & np.isfinite(ic) & (ic > 0.0))
    if not rows.size:
        return None
    away = np.abs(np.log(ic[rows] / wanted))
    nearest = rows[int(np.argmin(away))]
    if away.min() <= SAME_CURRENT:
        return float(value[nearest]), float(std[nearest]), float(kelvin[nearest]), False
    below, above = rows[ic[rows] < wanted], rows[ic[rows] > wanted]
    if not below.size or not above.size:
        return None
    low, high = below[int(np.argmax(ic[below]))], above[int(np.argmin(ic[above]))]
    if ic[high] / ic[low] > BETWEEN:
        return None
    share = float(np.log(wanted / ic[low]) / np.log(ic[high] / ic[low]))
    found = (1.0 - share) * value[low] + share * value[high]
    own = np.hypot((1.0 - share) * std[low], share * std[high])
    at = (1.0 - share) * kelvin[low] + share * kelvin[high]
    return float(found), float(np.hypot(own, bend)), float(at), True


def _saturation(first: Sitting, now: Sitting) -> tuple[list[Pair], list[str]]:
    a, b = first.observations, now.observations
    pairs, alone = [], []
    lead = float(np.hypot(first.lead_std, now.lead_std))
    with np.errstate(invalid="ignore", divide="ignore"):
        forced_a, forced_b = a.sat_ic[0] / a.sat_ib[0], b.sat_ic[0] / b.sat_ib[0]
    for k in range(b.sat_ic.shape[1]):
        ic, value = float(b.sat_ic[0, k]), float(b.vce_sat[0, k])
        if not np.isfinite(value):
            continue
        where = f"IC = {_amp(ic)}, IC/IB = {forced_b[k]:.3g}"
        with np.errstate(invalid="ignore", divide="ignore"):
            like = np.abs(np.log(forced_a / forced_b[k])) <= SAME_BIAS
        old = _read(a.sat_ic[0], a.vce_sat[0], a.vce_sat_std[0], a.sat_temp[0], like, ic, CURVE_VOLTS)
        if old is None:
            alone.append(f"VCE(sat) at {where}: not read at first")
            continue
        was, was_std, _, carried = old
        pairs.append(Pair("VCE(sat)", where, ic, was, was_std, value, float(b.vce_sat_std[0, k]), lead * ic, carried))
    return pairs, alone


def _leakage(first: Sitting, now: Sitting, temp: float) -> tuple[list[Pair], list[str]]:
    pairs, alone = [], []
    for leak in now.leaks:
        symbol = leak.quantity.upper()
        where = f"{LEAKS[leak.quantity]} = {leak.bias:.4g} V" if np.isfinite(leak.bias) else "no voltage stated"
        like = [
            old
            for old in first.leaks
            if old.quantity == leak.quantity and abs(old.bias - leak.bias) <= SAME_BIAS * leak.bias
        ]
        if not like:
            alone.append(f"{symbol} at {where}: not read at first at that voltage")
            continue
        old, per_kelvin = like[-1], np.log(2.0) / LEAK_DOUBLES
        step = leak.temperature - old.temperature
        to_first = float(np.exp(-per_kelvin * step))
        ln_std = float(np.hypot(per_kelvin * temp, LEAK_STD * per_kelvin * abs(step)))
        now_value = leak.value * to_first
        pairs.append(
            Pair(symbol, where, np.nan, old.value, old.std, now_value, leak.std * to_first, ln_std * abs(now_value))
        )
    return pairs, alone


def _amp(ic: float) -> str:
    return f"{ic:.3g} A" if ic >= 1.0 else f"{ic * 1e3:.3g} mA"
