"""The door of the evidence engine: readings of a lot in, evidence, reach and area of every part out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc

from partscreen.device.observations import Observations
from partscreen.device.parameters import N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.engine import weigh_lot
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge, TypeCentre, learn, session_variance, widen
from partscreen.screening.evidence.linear import ORDER, Linearised
from partscreen.screening.evidence.lot import Share, share_priors
from partscreen.screening.evidence.quadratic import inverse
from partscreen.screening.evidence.reach import Area, area_ratio, powers, reach
from partscreen.screening.evidence.settle import Settled, settle
from partscreen.screening.model_error import Misfit

Floats = npt.NDArray[np.float64]

KNOWN_GOOD_SHARE = Share(0.02, 1.98)  # of parts of a known-good lot that do not belong (assumption: 1 %)
CONTRADICTION = 1e-3  # probability below which a known-good lot contradicts the data sheet


@dataclass(frozen=True, slots=True)
class LotEvidence:
    """Everything the engine says of one lot. First axis the part.

    weighed : evidence and probabilities. area : ln of die area against the type's (the lot's, where it is the type).
    reach, reach_absolute : (n,), relative to the lot's main population and to the reference alone.
    alternatives, power : names, and (n, h) probability that such a part would have got evidence above 0.
    readings : about the parts' own fits, as they were weighed. read : (n, len(ORDER)), kinds the part has a reading of.
    """

    weighed: Weighed
    area: Area
    reach: Floats
    reach_absolute: Floats
    alternatives: tuple[str, ...]
    power: Floats
    readings: Linearised
    read: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class KnownGood:
    """What known-good parts taught.

    known : knowledge after them. parts : how many, lots : of how many. surprise : per lot, probability of a centre
    further from the data sheet's than this one; below `CONTRADICTION` the lot contradicts the sheet, which is told.
    """

    known: Knowledge
    parts: int
    lots: int
    surprise: tuple[float, ...]


def knowledge_from(
    centre: Floats,
    centre_covariance: Floats,
    between: Floats,
    within: Floats,
    *,
    temperature_std: float,
    gain_std: float,
    lead_std: float,
    others: Sequence[TypeCentre] = (),
) -> Knowledge:
    """Knowledge of a type from its population (arrays over N_PARAMETERS) and the uncertainty of one session."""
    return Knowledge(
        np.concatenate((centre, np.zeros(3))),
        widen(centre_covariance),
        widen(between) + session_variance(temperature_std, gain_std, lead_std),
        widen(within),
        tuple(others),
    )


def learn_from_known_good(
    known: Knowledge, lots: Sequence[tuple[Observations, bool, Misfit | None]], constants: TypeConstants
) -> KnownGood:
    """Update by known-good lots, one after the other.

    Parameters
    ----------
    lots : (observations, read in the same session as the lot to be judged, the model's own error by reading)
    """
    surprise, parts = [], 0
    for observations, same_session, misfit in lots:
        found = settle(observations, constants, known, KNOWN_GOOD_SHARE, misfit).marked
        step = (found.centre - known.centre)[:N_PARAMETERS]
        covariance = inverse(found.precision)
        moved = (known.lot_covariance - covariance)[:N_PARAMETERS, :N_PARAMETERS]
        values, vectors = np.linalg.eigh(moved)
        seen = values > 0.05 * np.diag(known.lot_covariance)[:N_PARAMETERS].min()
        along = vectors[:, seen].T @ step
        surprise.append(float(chdtrc(max(int(seen.sum()), 1), (along**2 / values[seen]).sum())))
        known = learn(known, found.centre, covariance, same_session=same_session)
        parts += observations.n_parts
    return KnownGood(known, parts, len(lots), tuple(surprise))


def weigh_observations(
    observations: Observations,
    constants: TypeConstants,
    known: Knowledge,
    *,
    prior_share: float = 0.1,
    misfit: Misfit | None = None,
    settled: Settled | None = None,
) -> LotEvidence:
    """Evidence, probabilities, reach and area of the parts of one lot, read in one session.

    Parameters
    ----------
    observations : readings of the lot's parts, shape (n_parts, ...)
    constants : of the marked type
    known : of the marked type, after known-good parts where there are any
    prior_share : expected share of unfit parts (assumption 0.1 unless the user says otherwise)
    misfit : the model's own error by reading; None where the readings come from the model itself
    settled : the lot as `settle_lots` left it, with others of its type; None: it is settled here
    """
    _, good, _ = share_priors(prior_share)
    readings = (settled or settle(observations, constants, known, good, misfit)).readings
    weighed = weigh_lot(readings, known, prior_share=prior_share)
    about = weighed.centre_covariance + known.within
    groups = families(known.within, known.device_between)
    names, power = powers(readings, about, groups)
    absolute = reach(readings, known.lot_covariance + known.within)
    return LotEvidence(
        weighed,
        area_ratio(readings, weighed.centre, about),
        reach(readings, about),
        absolute,
        names,
        power,
        readings,
        np.stack([readings.present[:, readings.kind == i].any(axis=1) for i in range(len(ORDER))], axis=1),
    )
