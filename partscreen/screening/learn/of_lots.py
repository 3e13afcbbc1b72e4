"""From measured lots to learned spreads: twice over, because a model is straight only near where the parts lie."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations, take_observations
from partscreen.reference.learned import LearnedSpreads, learn_spreads, learned_centres
from partscreen.reference.learned_file import spreads_of
from partscreen.reference.learned_residuals import learn_readings
from partscreen.reference.models import ReferenceType
from partscreen.reference.population import Population, population_for
from partscreen.reference.population_spreads import LearnedReading, Spreads, load_spreads
from partscreen.screening.learn.laid_out import TaughtLot, lot_record, reading_record, teach

Floats = npt.NDArray[np.float64]

LEAST_WEIGHT = 0.02  # a part less likely to be as marked teaches nothing (assumption; saves time)
MOST_PARTS = 24  # of one lot; more would hardly tell more of it (saves time)
LEAST_PARTS = 3  # of a lot; fewer do not tell their spread from the lot's own place


@dataclass(frozen=True, slots=True)
class MeasuredLot:
    """One lot to learn from.

    of : its type. lot : its name, with the supplier's. observations : of n parts. weight : (n,), 1 for known-good,
    else the probability of being as marked.
    """

    of: ReferenceType
    lot: str
    known_good: bool
    observations: Observations
    weight: Floats


def learn_from_lots(
    lots: Sequence[MeasuredLot],
    *,
    default: Spreads | None = None,
    progress: Callable[[str, int, int], None] | None = None,
) -> LearnedSpreads | None:
    """Spreads, errors of the model and centres from lots of library types; None where no lot can teach.

    Parameters
    ----------
    lots : in any order; those of a type without a population, or with fewer than `LEAST_PARTS` parts, are left out
    default : spreads that little data is shrunk toward; None: the packaged ones
    progress : callable(what, done, total), optional

    Notes
    -----
    Known-good lots and judged lots teach spreads and errors; known-good lots alone teach where a type's centre lies, so
    that a stream of bad lots cannot move what later lots are judged by.
    """
    usual = default or load_spreads()
    by_type = {lot.of.name: lot.of for lot in lots}
    plain = {name: _plain_population(of, default) for name, of in by_type.items()}
    known = {name: population for name, population in plain.items() if population is not None}
    used = [_some(lot) for lot in lots if lot.of.name in known]
    used = [lot for lot in used if (lot.weight > 0.5).sum() >= LEAST_PARTS]
    if not used:
        return None
    start = {name: (of.centre, of.centre_covariance) for name, of in known.items()}
    at = known
    for turn in range(2):
        taught = []
        for done, lot in enumerate(used):
            if progress:
                progress("learning spreads", turn * len(used) + done, 2 * len(used))
            taught.append(teach(lot.observations, at[lot.of.name], lot.weight, type_number=lot.of.name, lot=lot.lot))
        errors = _errors(taught, usual)
        spreads = usual.model_copy(update={"type_readings": errors})
        records = [lot_record(one, spreads) for one in taught]
        if turn == 0:  # once more about the centres found, the model's error as known by now
            centres = learned_centres(records, spreads, start)
            at = {
                name: replace(
                    of, centre=centres[name].centre, centre_covariance=centres[name].covariance, spreads=spreads
                )
                for name, of in known.items()
                if name in centres
            }
    learned = replace(learn_spreads(records, usual, start), readings=errors)
    trusted = [record for record, lot in zip(records, used, strict=True) if lot.known_good]
    return replace(learned, centres=learned_centres(trusted, spreads_of(learned, usual), start))


def _plain_population(of: ReferenceType, default: Spreads | None) -> Population | None:
    return population_for(of) if default is None else population_for(of, spreads=default)


def _some(lot: MeasuredLot) -> MeasuredLot:
    """The parts that count, evenly taken where there are many."""
    rows = np.flatnonzero(lot.weight > LEAST_WEIGHT)
    if rows.size > MOST_PARTS:
        rows = rows[np.unique(np.linspace(0, rows.size - 1, MOST_PARTS).astype(np.int64))]
    return replace(lot, observations=take_observations(lot.observations, rows), weight=lot.weight[rows])


def _errors(taught: Sequence[TaughtLot], usual: Spreads) -> dict[str, dict[str, LearnedReading]]:
    out = {}
    for name in sorted({one.type for one in taught}):
        found = learn_readings([reading_record(one) for one in taught if one.type == name], usual.readings)
        if found:
            out[name] = found
    return out
