"""The control piece: one part read first, every so often and last. Its drift corrects the session, or widens it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from partscreen.device.temperature import vbe_slope
from partscreen.device.thermal import log_gain_slope
from partscreen.readings.findings import add_note
from partscreen.readings.instruments.leads import empty_fixture
from partscreen.readings.some_parts import take_parts
from partscreen.readings.tables import Batch, Bools, Floats, Points, Sweep
from partscreen.results import QualityNote

SIGMA = 3.0  # drift beyond this many standard uncertainties is corrected; below, it only widens (assumption)
SCATTER = 1.5  # scatter beyond what the readings' uncertainty explains, from which it widens (assumption)
# Temperature laws of the share that a logged case temperature explains (SPICE defaults; XTB: memory), and the relative
# uncertainty of that share (assumption: XTB of 1 to 2; VBE is read across the series resistance as well).
XTB, EG, XTI = 1.5, 1.11, 3.0
EXPLAINED_STD = {"hfe": 0.33, "vbe": 0.1}


@dataclass(frozen=True, slots=True)
class Drift:
    """Readings of the control piece of one session: `at` place in the order of reading; differences from the first
    reading.

    `gain` in ln hFE, `vbe` in volts, each with a standard uncertainty; shape (n_readings,). NaN where it was not read.
    """

    at: Floats
    gain: Floats
    gain_std: Floats
    vbe: Floats
    vbe_std: Floats


def control_drift(points: Points, session: int, *, temperature_known: bool) -> Drift | None:
    """Drift of the control piece over a session, or None with fewer than two readings of it.

    Each run of the control piece counts as one reading. Where the case temperature was read, the share it explains is
    taken out: the fit accounts for that.
    """
    junction = (points.sweep == Sweep.GAIN) | (points.sweep == Sweep.GUMMEL)
    rows = points.control & (points.session == session) & junction & (points.ic > 0.0)
    runs = np.unique(points.run[rows])
    if runs.size < 2:
        return None
    place = reading_order(points, session)
    members = [np.flatnonzero(rows & (points.run == run)) for run in runs]
    members.sort(key=lambda index: float(place[index].mean()))
    first, found = members[0], []
    for index in members:
        gain, gain_std = _difference(points, first, index, "hfe", temperature_known)
        vbe, vbe_std = _difference(points, first, index, "vbe", temperature_known)
        found.append((float(place[index].mean()), gain, gain_std, vbe, vbe_std))
    columns = np.array(found, dtype=float).T
    return Drift(*columns)


def reading_order(points: Points, session: int) -> Floats:
    """Time where every point of the session has one, else file and row."""
    rows = points.session == session
    if np.isfinite(points.time[rows]).all():
        return points.time
    return np.asarray(points.file * 1e7 + points.row, dtype=np.float64)


def _difference(
    points: Points, first: np.ndarray, index: np.ndarray, name: str, temperature_known: bool
) -> tuple[float, float]:
    """Mean of (reading - first reading) at like collector currents, and its standard uncertainty."""
    values: Floats = getattr(points, name)
    std: Floats = getattr(points, f"{name}_std")
    with np.errstate(invalid="ignore", divide="ignore"):
        y = np.log(values) if name == "hfe" else values
        noise = std / values if name == "hfe" else std
    base = first[np.isfinite(y[first]) & np.isfinite(noise[first])]
    base = base[np.argsort(points.ic[base])]
    index = index[np.isfinite(y[index]) & np.isfinite(noise[index])]
    if base.size == 0 or index.size == 0:
        return np.nan, np.nan
    x, at = np.log(points.ic[base]), np.log(points.ic[index])
    inside = (at >= x[0] - 0.05) & (at <= x[-1] + 0.05)
    index, at = index[inside], at[inside]
    if index.size == 0:
        return np.nan, np.nan
    delta = y[index] - np.interp(at, x, y[base])
    explained = 0.0
    if temperature_known:
        warmer = points.case_temp[index] - np.interp(at, x, points.case_temp[base])
        rate = log_gain_slope(points.case_temp[index], XTB) if name == "hfe" else _rate(points, index)
        delta = delta - np.nan_to_num(rate * warmer)
        explained = float(np.nan_to_num(rate * warmer).mean()) * EXPLAINED_STD[name]
    spread = np.sqrt(np.mean(noise[index] ** 2 + np.interp(at, x, noise[base]) ** 2))
    return float(delta.mean()), float(np.hypot(spread / np.sqrt(index.size), explained))


def _rate(points: Points, index: np.ndarray) -> Floats:
    return vbe_slope(points.vbe[index], points.case_temp[index], EG, XTI)


# NaN is "not measured" and every comparison with it fails; zeros and infinities of a file must not stop a batch.
@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def follow_control_piece(batch: Batch) -> Batch:
    """Correct or widen every session by its control piece; last of all, take the control piece out of its lot.

    A drift beyond three standard uncertainties is taken off by straight lines between the control readings; what the
    straight lines do not know (a third of the largest step, as of a rectangular width) is added to the uncertainty. A
    smaller one widens only.
    """
    points = batch.points
    for session in np.unique(points.session[points.control]):
        number = int(session)
        drift = control_drift(batch.points, number, temperature_known=number not in batch.assumed_temp)
        if drift is not None:
            batch = _apply(batch, number, drift)
    points, spots = batch.points, batch.spots
    batch = replace(
        batch,
        points=replace(points, use=points.use & ~points.control),
        spots=replace(spots, use=spots.use & ~spots.control),
    )
    return without_bench_pieces(batch)


def without_bench_pieces(batch: Batch) -> Batch:
    """Take out of the lots what was never a part to be judged: pieces with nothing but control, short-circuit or empty
    readings.

    Their rows go with them; a notice names them. A lot of which nothing else is left goes too.
    """
    points, spots, n = batch.points, batch.spots, batch.n_parts
    own_spots = ~spots.control & ~empty_fixture(batch)
    own = np.bincount(points.part[~points.control], minlength=n) + np.bincount(spots.part[own_spots], minlength=n)
    rows = np.bincount(points.part, minlength=n) + np.bincount(spots.part, minlength=n)
    pieces = (own == 0) & (rows > 0)
    if not pieces.any():
        return batch
    keep = ~pieces
    names = [batch.part_names[i] for i in np.flatnonzero(pieces)]
    notice = (
        f"{', '.join(names)}: read to follow the bench (control piece, short or empty fixture), not judged as a part"
    )
    return replace(take_parts(batch, keep), notices=(*batch.notices, notice))


def _apply(batch: Batch, session: int, drift: Drift) -> Batch:
    points = batch.points
    rows = points.session == session
    place = reading_order(points, session)
    gain, gain_add = _course(drift.at, drift.gain, drift.gain_std, place)
    vbe, vbe_add = _course(drift.at, drift.vbe, drift.vbe_std, place)
    gain, gain_add, vbe, vbe_add = (np.where(rows, values, 0.0) for values in (gain, gain_add, vbe, vbe_add))
    if not (gain_add.any() or vbe_add.any()):
        return batch
    hfe = points.hfe * np.exp(-gain)
    points = replace(
        points,
        hfe=hfe,
        hfe_std=np.hypot(points.hfe_std * np.exp(-gain), gain_add * np.abs(hfe)),
        vbe=points.vbe - vbe,
        vbe_std=np.hypot(points.vbe_std, vbe_add),
    )
    corrected = bool(gain.any() or vbe.any())
    return _noted(replace(batch, points=points), session, rows & ~points.control, drift, corrected)


def _course(at: Floats, value: Floats, std: Floats, place: Floats) -> tuple[Floats, Floats]:
    """Correction at every place, and standard uncertainty to add: both zero where the control piece stood still."""
    nothing = np.zeros(place.shape[0])
    known = np.isfinite(value) & np.isfinite(std)
    if known.sum() < 2:
        return nothing, nothing
    at, value, std = at[known], value[known], std[known]
    moved, noise = value[1:], std[1:]
    if np.any(np.abs(moved) > SIGMA * noise):
        step = float(np.max(np.abs(np.diff(value))))
        return np.interp(place, at, value), np.full(place.shape[0], np.hypot(float(noise.mean()), step / np.sqrt(12.0)))
    scatter = float(np.sqrt(np.mean(moved**2)))
    if scatter > SCATTER * float(np.sqrt(np.mean(noise**2))):
        return nothing, np.full(place.shape[0], scatter)
    return nothing, nothing


def _noted(batch: Batch, session: int, rows: Bools, drift: Drift, corrected: bool) -> Batch:
    def largest(values: Floats) -> float | None:
        finite = values[np.isfinite(values)]
        return float(finite[np.argmax(np.abs(finite))]) if finite.size else None

    gain, vbe = largest(drift.gain), largest(drift.vbe)
    moved = [f"gain by {100.0 * np.expm1(gain):.2g} %"] if gain is not None else []
    moved += [f"VBE by {1e3 * vbe:.2g} mV"] if vbe is not None else []
    action = "Corrected between its readings" if corrected else "Added to the uncertainty"
    sentence = f"The control piece of this session moved over {drift.at.size} readings ({', '.join(moved)}). {action}."
    figures: dict[str, float | int | str | None] = {
        "gain_ln": gain,
        "vbe_v": vbe,
        "control_readings": int(drift.at.size),
    }
    note = QualityNote(code="CONTROL_DRIFT", sentence=sentence, run=batch.sessions[session], figures=figures)
    for part in np.unique(batch.points.part[rows]):
        batch = add_note(batch, int(part), note)
    return replace(batch, notices=(*batch.notices, f"session {batch.sessions[session]}: {sentence}"))
