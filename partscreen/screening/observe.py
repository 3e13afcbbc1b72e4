"""From a batch of readings to the rectangle a fit sees: one row a part, columns by collector current, NaN where not
read.

Control pieces and readings with `use` False are left out. Output sweeps give gain points at each stated VCE, as far
as the part is in its active region there; Gummel runs give gain and VBE points; spot readings of hFE, VBE, VCE(sat)
and capacitance join in.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.readings.instruments.uncertainty import SessionUncertainty
from partscreen.readings.instruments.uncertainty import session_uncertainty as without_kit
from partscreen.readings.tables import Batch, Points, Spots, Sweep
from partscreen.screening.limits.spot_conditions import ROOM_TEMPERATURE, number_of, spot_base_current, spot_temperature
from partscreen.screening.output_sweeps import active_rows

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

# Stand-ins where the door gave no uncertainty (assumption: an ordinary hand-held tester).
DEFAULT_HFE_LN_STD = 0.02
DEFAULT_VBE_STD = 3e-3
DEFAULT_SAT_STD = 5e-3
DEFAULT_SAT_REL = 0.02
DEFAULT_CAP_LN_STD = 0.03

# A capacitance without bias is taken as read at 0 V; a meter that biases by up to a volt moves it by up to a quarter
# ((1 + 1/0.7)^-0.33 = 0.75), hence this relative standard uncertainty (assumption).
UNSTATED_BIAS_LN_STD = 0.15


@dataclass(frozen=True, slots=True)
class GroupReadings:
    """Readings of the parts of one type.

    `parts`: batch numbers, shape (n,). `gain_row`, `sat_row`: row of `Batch.points` a cell came from, -2 - row of
    `Batch.spots` for a spot reading, -1 for an empty cell.
    """

    parts: Ints
    observations: Observations
    gain_row: Ints
    sat_row: Ints
    session_names: tuple[str, ...]
    sessions: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))  # numbers of them in the batch


@dataclass(slots=True)
class _Column:
    """Flat readings of one kind, to be laid out; `row` as in GroupReadings."""

    part: Ints
    key: Floats
    row: Ints
    values: dict[str, npt.NDArray[np.generic]]


def build_observations(
    batch: Batch,
    parts: Ints,
    *,
    temperature: float | None = None,
    session_uncertainty: SessionUncertainty | None = None,
) -> GroupReadings:
    """Lay out the usable readings of `parts` for one fit call.

    Parameters
    ----------
    parts : array of int, shape (n,)
        Numbers of the parts in the batch.
    temperature : float, optional
        Case temperature where neither case nor ambient was read. [K]
    session_uncertainty : SessionUncertainty, optional
        What the readings of a session share; None: as without a kit.
    """
    place = np.full(batch.n_parts, -1, dtype=np.int64)
    place[parts] = np.arange(parts.size)
    gain = _gain_column(batch, place, temperature)
    sat = _saturation_column(batch, place, temperature)
    cap = _capacitance_column(batch, place)
    names, local = np.unique(_sessions_of(batch, parts, place), return_inverse=True)
    shared = session_uncertainty or without_kit(batch, None, temperature=temperature)
    g, s, c = (_lay_out(column, parts.size) for column in (gain, sat, cap))
    observations = Observations(
        gain_ic=g["ic"], gain_vce=g["vce"], gain_temp=g["temp"], gain_pulsed=g["pulsed"] > 0, hfe=g["hfe"],
        hfe_ln_std=g["hfe_ln_std"], vbe=g["vbe"], vbe_std=g["vbe_std"],
        sat_ic=s["ic"], sat_ib=s["ib"], sat_temp=s["temp"], sat_pulsed=s["pulsed"] > 0, vce_sat=s["vce"],
        vce_sat_std=s["vce_std"], cap_junction=np.nan_to_num(c["junction"]).astype(np.int64), cap_bias=c["bias"],
        cap=c["cap"], cap_ln_std=c["ln_std"], session=local.astype(np.int64), session_temp_std=shared.temp_std[names],
        session_gain_ln_std=shared.gain_ln_std[names], session_lead_std=shared.lead_std[names],
    )  # fmt: skip
    labels = tuple(batch.sessions[i] if 0 <= i < len(batch.sessions) else "" for i in names)
    return GroupReadings(parts, observations, _as_int(g["row"]), _as_int(s["row"]), labels, names)


def _as_int(values: Floats) -> Ints:
    return np.where(np.isnan(values), -1, values).astype(np.int64)


def _lay_out(column: _Column, n_parts: int) -> dict[str, Floats]:
    """Rectangle (n_parts, most readings of any part), columns by ascending key."""
    order = np.lexsort((column.key, column.part))
    part = column.part[order]
    counts = np.bincount(part, minlength=n_parts)
    width = int(counts.max()) if counts.size and part.size else 0
    starts = np.concatenate(([0], np.cumsum(counts)[:-1])) if n_parts else np.zeros(0, dtype=np.int64)
    slot = np.arange(part.size) - starts[part]
    out: dict[str, Floats] = {}
    for name, values in {**column.values, "row": column.row}.items():
        grid = np.full((n_parts, width), np.nan)
        grid[part, slot] = values[order]
        out[name] = grid
    return out


def _point_temperature(points: Points, rows: Ints, temperature: float | None) -> Floats:
    assumed = ROOM_TEMPERATURE if temperature is None else temperature
    case, ambient = points.case_temp[rows], points.ambient[rows]
    return np.where(np.isfinite(case), case, np.where(np.isfinite(ambient), ambient, assumed))


def _usable(points: Points, place: Ints) -> Bools:
    usable: Bools = points.use & ~points.control & np.isfinite(points.ic) & (points.ic > 0)
    in_group = np.zeros(points.part.size, dtype=np.bool_)
    known = points.part >= 0
    in_group[known] = place[points.part[known]] >= 0
    return usable & in_group


def _gain_column(batch: Batch, place: Ints, temperature: float | None) -> _Column:
    points = batch.points
    keep = _usable(points, place)
    with np.errstate(divide="ignore", invalid="ignore"):
        hfe = np.where(np.isfinite(points.hfe), points.hfe, points.ic / points.ib)
    hfe = np.where(np.isfinite(hfe) & (hfe > 0), hfe, np.nan)
    keep &= np.isin(points.sweep, (Sweep.GAIN, Sweep.OUTPUT, Sweep.GUMMEL)) & (
        np.isfinite(hfe) | np.isfinite(points.vbe)
    )
    output = keep & (points.sweep == Sweep.OUTPUT)
    if output.any():
        keep[output] = False
        keep[active_rows(points, np.flatnonzero(output))] = True
    rows = np.flatnonzero(keep)
    ic, ic_rel = points.ic[rows], _relative(points.ic_std[rows], points.ic[rows])
    ln_std = _relative(points.hfe_std[rows], hfe[rows])
    vbe_std = np.where(points.vbe_std[rows] > 0, points.vbe_std[rows], DEFAULT_VBE_STD)
    spot = _spot_gain(batch.spots, place, temperature)
    values = {
        "ic": ic, "vce": points.vce[rows], "temp": _point_temperature(points, rows, temperature),
        "pulsed": points.pulsed[rows].astype(float), "hfe": hfe[rows],
        "hfe_ln_std": np.where(ln_std > 0, ln_std, DEFAULT_HFE_LN_STD), "vbe": points.vbe[rows],
        # VBE is read at a collector current that is itself uncertain: 26 mV per unit of ln IC.
        "vbe_std": np.hypot(vbe_std, 0.026 * np.nan_to_num(ic_rel)),
    }  # fmt: skip
    merged = {name: np.concatenate((np.asarray(v), spot.values[name])) for name, v in values.items()}
    part = np.concatenate((place[points.part[rows]], spot.part))
    return _Column(part, np.asarray(merged["ic"], dtype=float), np.concatenate((rows, spot.row)), merged)


def _relative(std: Floats, value: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.abs(std / value)


def _spot_rows(spots: Spots, place: Ints, quantities: tuple[str, ...]) -> Ints:
    if not spots.part.size:
        return np.zeros(0, dtype=np.int64)
    keep = (
        spots.use & ~spots.control & np.isin(spots.quantity, quantities) & np.isfinite(spots.value) & (spots.part >= 0)
    )
    keep[keep] = place[spots.part[keep]] >= 0
    return np.flatnonzero(keep)


def _spot_gain(spots: Spots, place: Ints, temperature: float | None) -> _Column:
    rows = _spot_rows(spots, place, ("hfe", "vbe"))
    told = [spots.conditions[i] for i in rows]
    ic = np.array([number_of(c, "IC") for c in told], dtype=float)
    placed = np.isfinite(ic) & (ic > 0)
    rows, told, ic = rows[placed], [c for c, p in zip(told, placed, strict=True) if p], ic[placed]
    gain = spots.quantity[rows] == "hfe" if rows.size else np.zeros(0, dtype=np.bool_)
    value, std = spots.value[rows], spots.std[rows]
    ln_std = _relative(std, value)
    values: dict[str, npt.NDArray[np.generic]] = {
        "ic": ic,
        "vce": np.array([number_of(c, "VCE") for c in told], dtype=float),
        "temp": np.array([spot_temperature(c, temperature) for c in told], dtype=float),
        "pulsed": np.zeros(rows.size),
        "hfe": np.where(gain, value, np.nan),
        "hfe_ln_std": np.where(gain & (ln_std > 0), ln_std, DEFAULT_HFE_LN_STD),
        "vbe": np.where(gain, np.nan, value),
        "vbe_std": np.where(~gain & (std > 0), std, DEFAULT_VBE_STD),
    }
    return _Column(place[spots.part[rows]], ic, -2 - rows, values)


def _saturation_column(batch: Batch, place: Ints, temperature: float | None) -> _Column:
    points, spots = batch.points, batch.spots
    keep = _usable(points, place) & (points.sweep == Sweep.SATURATION) & np.isfinite(points.vce)
    rows = np.flatnonzero(keep & np.isfinite(points.ib) & (points.ib > 0))
    srows = _spot_rows(spots, place, ("vce_sat",))
    told = [spots.conditions[i] for i in srows]
    sic = np.array([number_of(c, "IC") for c in told], dtype=float)
    sib = np.array([spot_base_current(c) for c in told], dtype=float)
    placed = np.isfinite(sic) & np.isfinite(sib) & (sic > 0) & (sib > 0)
    stemp = np.array([spot_temperature(c, temperature) for c in told], dtype=float)[placed]
    srows, sic, sib = srows[placed], sic[placed], sib[placed]
    vce = np.concatenate((points.vce[rows], spots.value[srows]))
    std = np.concatenate((points.vce_std[rows], spots.std[srows]))
    ic = np.concatenate((points.ic[rows], sic))
    rel = np.concatenate((np.nan_to_num(_relative(points.ic_std[rows], points.ic[rows])), np.zeros(srows.size)))
    std = np.where(std > 0, std, DEFAULT_SAT_STD + DEFAULT_SAT_REL * vce)
    values: dict[str, npt.NDArray[np.generic]] = {
        "ic": ic,
        "ib": np.concatenate((points.ib[rows], sib)),
        "temp": np.concatenate((_point_temperature(points, rows, temperature), stemp)),
        "pulsed": np.concatenate((points.pulsed[rows].astype(float), np.zeros(srows.size))),
        "vce": vce,
        "vce_std": np.hypot(std, vce * rel),
    }
    part = np.concatenate((place[points.part[rows]], place[spots.part[srows]]))
    return _Column(part, ic, np.concatenate((rows, -2 - srows)), values)


def _capacitance_column(batch: Batch, place: Ints) -> _Column:
    spots = batch.spots
    rows = _spot_rows(spots, place, ("c_be", "c_cb"))
    told = [spots.conditions[i] for i in rows]
    collector = spots.quantity[rows] == "c_cb" if rows.size else np.zeros(0, dtype=np.bool_)
    bias = np.array(
        [number_of(c, "VCB" if k else "VEB", "V") for c, k in zip(told, collector, strict=True)], dtype=float
    )
    ln_std = _relative(spots.std[rows], spots.value[rows])
    ln_std = np.where(ln_std > 0, ln_std, DEFAULT_CAP_LN_STD)
    values: dict[str, npt.NDArray[np.generic]] = {
        "junction": collector.astype(float),
        "bias": np.where(np.isfinite(bias), bias, 0.0),
        "cap": spots.value[rows],
        "ln_std": np.where(np.isfinite(bias), ln_std, np.hypot(ln_std, UNSTATED_BIAS_LN_STD)),
    }
    return _Column(place[spots.part[rows]], collector.astype(np.float64), -2 - rows, values)


def _sessions_of(batch: Batch, parts: Ints, place: Ints) -> Ints:
    """Session of each part: that of its first sweep reading, else of its first spot reading."""
    session = np.zeros(parts.size, dtype=np.int64)
    for part, of in ((batch.spots.part, batch.spots.session), (batch.points.part, batch.points.session)):
        rows = np.flatnonzero(part >= 0)[::-1]
        rows = rows[place[part[rows]] >= 0]
        session[place[part[rows]]] = of[rows]
    return session
