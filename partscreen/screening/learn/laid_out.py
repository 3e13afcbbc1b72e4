"""What the parts of a measured lot teach about spreads: the evidence engine's own straight-line readings, laid out for
`partscreen.reference.learned`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.device.parameters import N_PARAMETERS
from partscreen.reference.learned import LotRecord
from partscreen.reference.learned_effects import N_SESSION
from partscreen.reference.learned_residuals import ReadingRecord
from partscreen.reference.population_spreads import Spreads, load_spreads
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import ORDER, Linearised, linearise
from partscreen.screening.evidence.lot import Share
from partscreen.screening.evidence.quadratic import information, inverse
from partscreen.screening.evidence.settle import settle
from partscreen.screening.evidence.shared_misfit import share_misfit
from partscreen.screening.model_error import Misfit, misfit_for
from partscreen.screening.weighing import PopulationLike, knowledge_of

Floats = npt.NDArray[np.float64]
SHARE = Share(0.02, 1.98)  # of parts that do not belong, where only parts that count for something are given
LOOSER = 4.0  # variance of a part about its lot's centre, against the spread, while the model's error is learned


@dataclass(frozen=True, slots=True)
class TaughtLot:
    """One lot, its parts fitted about the lot's own centre.

    raw : readings about those fits, nothing taken off. low, high, share : as in `ReadingRecord`. centre : (q,).
    about : (q, q), uncertainty of the centre. weight : (n,).
    """

    type: str
    lot: str
    raw: Linearised
    low: Floats
    high: Floats
    share: Floats
    centre: Floats
    about: Floats
    within: Floats
    session: Floats
    several_sessions: bool
    weight: Floats


def teach(
    observations: Observations, population: PopulationLike, weight: Floats, *, type_number: str, lot: str
) -> TaughtLot:
    """Fit the parts of one lot about its centre, as evidence does.

    Parameters
    ----------
    observations : readings of the parts that count for something
    weight : (n_parts,), 1 for known-good parts, else the probability of being as marked
    """
    constants = population.constants
    sessions = np.unique(observations.session)
    known: Knowledge = knowledge_of(observations, sessions, population)
    found = settle(observations, constants, known, SHARE, misfit_for(observations, population))
    theta = found.readings.point[:, :N_PARAMETERS]
    low, high, share = _defaults(observations, constants.ic_rated)
    raw = linearise(observations, theta, constants, low)
    return TaughtLot(
        type_number,
        lot,
        raw,
        raw.misfit,
        linearise(observations, theta, constants, high).misfit,
        linearise(observations, theta, constants, share).misfit,
        found.marked.centre,
        inverse(found.marked.precision),
        known.within,
        np.array([observations.session_temp_std[sessions].max(), observations.session_gain_ln_std[sessions].max(),
                  observations.session_lead_std[sessions].max()]) ** 2,
        sessions.size > 1,
        np.asarray(weight, dtype=float),
    )  # fmt: skip


def _defaults(o: Observations, ic_rated: float) -> tuple[Misfit, Misfit, Misfit]:
    """The default error of the model at small currents, what it adds towards the rated current, and the currents."""
    figures = load_spreads().readings
    gain, sat = o.gain_ic / ic_rated, o.sat_ic / ic_rated
    values = (("hFE", o.hfe, gain), ("VBE", o.vbe, gain), ("VCE(sat)", o.vce_sat, sat))
    low = [np.nan_to_num(figures[q].misfit_std(v, np.zeros_like(v))) for q, v, _ in values]
    high = [np.nan_to_num(figures[q].at_rated * s**1.5) for q, _, s in values]
    return Misfit(*low), Misfit(*high), Misfit(np.nan_to_num(gain), np.nan_to_num(gain), np.nan_to_num(sat))


def reading_record(of: TaughtLot) -> ReadingRecord:
    """For learning the model's error."""
    raw = of.raw
    about = raw.residual + np.einsum("nkq,nq->nk", raw.jacobian, raw.point - of.centre)
    session = np.zeros_like(of.about)
    at = np.arange(N_PARAMETERS, N_PARAMETERS + N_SESSION)
    session[at, at] = of.session
    return ReadingRecord(
        np.where(raw.present, about, 0.0), raw.jacobian, raw.std, of.about + LOOSER * of.within + session,
        of.low, of.high, of.share, np.array(ORDER)[raw.kind], of.weight,
    )  # fmt: skip


def lot_record(of: TaughtLot, spreads: Spreads) -> LotRecord:
    """For learning how parts and lots spread, the model's error as known by now."""
    names = np.array(ORDER)[of.raw.kind]
    misfit = np.zeros_like(of.low)
    for k, name in enumerate(names):
        if name in spreads.readings and of.low[:, k].any():
            usual = spreads.readings[str(name)]
            learned = spreads.type_readings.get(of.type, {}).get(str(name), usual)
            ratio = learned.shape / usual.shape
            more = learned.at_rated / usual.at_rated if usual.at_rated else 0.0
            misfit[:, k] = np.hypot(ratio * of.low[:, k], more * of.high[:, k])
    readings = share_misfit(replace(of.raw, misfit=misfit), of.weight)
    origin = of.centre.copy()
    origin[N_PARAMETERS:] = 0.0
    info = information(readings, origin)
    precision, score, session = info.precision, info.score, of.session
    if of.several_sessions:  # each part has errors of its own session: taken into its own uncertainty
        precision, score = _without_session(precision, score, session)
        session = np.zeros(N_SESSION)
    return LotRecord(of.type, of.lot, origin[:N_PARAMETERS], precision, score, of.weight, session)


def _without_session(precision: Floats, score: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Session errors integrated out, part by part."""
    p = N_PARAMETERS
    held = precision[:, p:, p:] + np.diag(1.0 / (variance + 1e-12))
    gain = np.linalg.solve(held, precision[:, p:, :p])
    out, pull = np.zeros_like(precision), np.zeros_like(score)
    out[:, :p, :p] = precision[:, :p, :p] - precision[:, :p, p:] @ gain
    pull[:, :p] = score[:, :p] - np.einsum("npq,np->nq", gain, score[:, p:])
    return out, pull
