"""Ready arrays of a whole lot's figures: how the control piece moved, where the type's capacitance lies."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from partscreen.device.capacitance import BASE_EMITTER, COLLECTOR_BASE, predict_capacitance
from partscreen.device.parameters import INDEX
from partscreen.readings.instruments.control_piece import control_drift
from partscreen.readings.tables import Batch
from partscreen.reference import Limit, ReferenceType, limits
from partscreen.reference.population import Population
from partscreen.report.data import ControlCourse, Region

REACH_OF_95 = 1.96  # standard deviations that 95 % of a normal distribution lie within
NEAR_BIAS = 0.05  # a printed limit holds for a reading whose bias is that near, as a share (assumption)


def control_courses(with_control: Batch, sessions: Iterable[int]) -> tuple[ControlCourse, ...]:
    """How the control piece of each session moved; sessions without two readings of it are left out.

    `with_control`: the batch before the control piece was taken out of it.
    """
    courses = (_course(with_control, session) for session in sessions)
    return tuple(course for course in courses if course is not None)


def _course(batch: Batch, session: int) -> ControlCourse | None:
    points = batch.points
    if not (points.control & (points.session == session)).any():
        return None
    drift = control_drift(points, session, temperature_known=session not in batch.assumed_temp)
    if drift is None:
        return None
    timed = bool(np.isfinite(points.time[points.session == session]).all())
    at = drift.at - drift.at[0] if timed else np.arange(1.0, drift.at.size + 1.0)
    return ControlCourse(
        session=batch.sessions[session],
        at=at,
        timed=timed,
        temperature_known=session not in batch.assumed_temp,
        gain=np.expm1(drift.gain),
        gain_std=drift.gain_std,
        vbe=drift.vbe,
        vbe_std=drift.vbe_std,
    )


def capacitance_region(
    kind: ReferenceType, population: Population | None, quantity: str, bias: float | None
) -> Region | None:
    """Where the type's capacitance ("c_cb", "c_be") lies at a reverse bias [V]: 95 % of parts of an unknown lot, cut
    off at a printed limit of that bias. None where neither is known, or the bias is not.
    """
    if bias is None:
        return None
    low, high = _population_ends(population, quantity, bias)
    words = ["95 % of the type's population"] if np.isfinite(high) else []
    for row in limits(kind):
        if row.is_limit and row.quantity == quantity and _at_bias(row, quantity, bias):
            low, high = (max(low, row.value) if np.isfinite(low) else row.value, high) if row.side == "min" else (
                low, min(high, row.value) if np.isfinite(high) else row.value
            )  # fmt: skip
            words.append(f"the printed {row.side}imum")
    return Region(low, high, " and ".join(words)) if words else None


def _population_ends(population: Population | None, quantity: str, bias: float) -> tuple[float, float]:
    if population is None:
        return np.nan, np.nan
    junction, name = (COLLECTOR_BASE, "cjc") if quantity == "c_cb" else (BASE_EMITTER, "cje")
    prior, grading = population.part_prior(), population.gradings[1 if quantity == "c_cb" else 0]
    ln = float(predict_capacitance(prior.mean, prior.constants, junction, bias).ln_c[0, 0])
    place = INDEX[name]
    sd = float(np.hypot(np.sqrt(prior.covariance[place, place]), grading.ln_std(bias)))
    return float(np.exp(ln - REACH_OF_95 * sd)), float(np.exp(ln + REACH_OF_95 * sd))


def _at_bias(row: Limit, quantity: str, bias: float) -> bool:
    told = row.conditions.get("VCB" if quantity == "c_cb" else "VEB")
    return told is not None and abs(told - bias) <= NEAR_BIAS * max(abs(bias), 1.0)
