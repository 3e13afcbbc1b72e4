"""Which lots of a large run are judged together: known-good lots go with every bundle of their type and teach it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from partscreen.workflow.judge.learned import populations_of

if TYPE_CHECKING:
    from partscreen.readings.tables import Ints
    from partscreen.screening.fitting import SessionErrors
    from partscreen.screening.lot.setup import TypeSetup
    from partscreen.workflow.judge.screening import Prepared

TOGETHER = 2_000  # parts of a bundle, where its lots are not larger: some 0.3 GiB while it is judged (measured)
OF_A_SESSION = 2_000
"""Parts of a session, evenly taken, that find its errors where it holds several bundles: with so many the errors are
known to a fiftieth of the spread of the parts, far below the uncertainty of any reading."""

Key = tuple[str, str | None]


@dataclass(frozen=True, slots=True)
class Bundle:
    """Numbers of the lots judged together, and of known-good lots of their type that only teach here.

    key : type and gain group.
    """

    number: int
    key: Key
    lots: tuple[int, ...]
    teachers: tuple[int, ...]


def plan_bundles(ready: Prepared) -> list[Bundle]:
    """All lots of the batch in bundles; the same for the same input.

    Lots of a type that the library does not hold are compared with each other, and stay together.
    """
    batch = ready.batch
    counts = np.bincount(batch.part_lot, minlength=len(batch.lots))
    out: list[Bundle] = []
    for key, (setup, lots) in _by_type(ready).items():
        good = [i for i in lots if batch.lots[i].known_good]
        for some in [lots] if setup.kind is None else _runs(lots, counts):
            out.append(Bundle(len(out), key, tuple(some), tuple(i for i in good if i not in some)))
    return out


def _by_type(ready: Prepared) -> dict[Key, tuple[TypeSetup, list[int]]]:
    from partscreen.screening.lot.setup import set_up

    population_for, _ = populations_of(ready.chosen, ())
    setups: dict[tuple[str | None, str | None], TypeSetup] = {}
    out: dict[Key, tuple[TypeSetup, list[int]]] = {}
    for number, lot in enumerate(ready.batch.lots):
        told = (lot.type, lot.gain_group)
        if told not in setups:
            setups[told] = set_up(lot, ready.library, population_for)
        setup = setups[told]
        key = (setup.name or f"lot {number} without a type", setup.gain_group)
        out.setdefault(key, (setup, []))[1].append(number)
    return out


def _runs(lots: Sequence[int], counts: Ints) -> list[list[int]]:
    out: list[list[int]] = []
    size = 0
    for lot in lots:
        if not out or size + int(counts[lot]) > TOGETHER:
            out.append([])
            size = 0
        out[-1].append(lot)
        size += int(counts[lot])
    return out


def errors_of_sessions(ready: Prepared, bundles: Sequence[Bundle]) -> Mapping[Key, SessionErrors]:
    """Errors that sessions share, of the types whose sessions hold parts of several bundles."""
    out: dict[Key, SessionErrors] = {}
    lot_sessions = _sessions_of_lots(ready)
    setups = _by_type(ready)
    counts = np.bincount(ready.batch.part_lot, minlength=len(ready.batch.lots))
    for key in dict.fromkeys(bundle.key for bundle in bundles):
        setup, lots = setups[key]
        runs = [lots] if setup.kind is None else _runs(lots, counts)
        seen = [set().union(*(lot_sessions[i] for i in run)) for run in runs]
        spans = len(runs) > 1 and len(set().union(*seen)) < sum(map(len, seen))
        if spans and setup.prior is not None and setup.population is not None:
            found = _errors(ready, setup, lots)
            if found is not None:
                out[key] = found
    return out


def _sessions_of_lots(ready: Prepared) -> list[set[int]]:
    batch = ready.batch
    out: list[set[int]] = [set() for _ in batch.lots]
    for rows in (batch.points, batch.spots):
        if rows.part.size:
            pairs = np.unique(np.stack([batch.part_lot[rows.part], rows.session]), axis=1)
            for lot, session in pairs.T.tolist():
                out[lot].add(session)
    return out


def _errors(ready: Prepared, setup: TypeSetup, lots: Sequence[int]) -> SessionErrors | None:
    from partscreen.readings.some_parts import Bundles
    from partscreen.screening.fitting import session_errors
    from partscreen.screening.model_error import misfit_for, widened
    from partscreen.screening.observe import build_observations

    batch = ready.batch
    alive = np.array([p not in batch.condition for p in range(batch.n_parts)]) & np.isin(batch.part_lot, lots)
    session = np.zeros(batch.n_parts, dtype=np.int64)
    for rows in (batch.spots, batch.points):
        session[rows.part[::-1]] = rows.session[::-1]  # of its first reading
    parts = np.flatnonzero(alive)
    if not parts.size or setup.prior is None or setup.population is None:
        return None
    some = [_evenly(parts[session[parts] == one]) for one in np.unique(session[parts]).tolist()]
    taken, _ = Bundles(batch).take(list(range(len(batch.lots))), np.sort(np.concatenate(some)))
    readings = build_observations(
        taken, np.arange(taken.n_parts), temperature=ready.temperature, session_uncertainty=ready.shared
    )
    o = readings.observations
    wide = widened(o, misfit_for(o, setup.population), setup.population.gradings)
    counts = np.bincount(session[parts], minlength=int(readings.sessions.max(initial=0)) + 1)
    return session_errors(wide, setup.prior, readings.sessions, counts[readings.sessions])


def _evenly(parts: Ints) -> Ints:
    if parts.size <= OF_A_SESSION:
        return parts
    return parts[np.unique(np.linspace(0, parts.size - 1, OF_A_SESSION).astype(np.int64))]
