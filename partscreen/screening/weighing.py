"""Evidence of the lots of one type: known-good lots teach the reference, then every lot is weighed as a whole."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations, take_observations
from partscreen.device.parameters import INDEX
from partscreen.device.prior import TypeConstants
from partscreen.readings.tables import Lot
from partscreen.reference.population_spreads import Spreads, load_spreads
from partscreen.results import ClosestType, Reason
from partscreen.screening.evidence.hypotheses import area_name
from partscreen.screening.evidence.joined import TOGETHER
from partscreen.screening.evidence.knowledge import Knowledge, TypeCentre, session_block, widen
from partscreen.screening.evidence.linear import N_COORDINATES
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.evidence.settle import Settled, Unsettled, settle_lots
from partscreen.screening.evidence.weigh_lots import (
    CONTRADICTION,
    LotEvidence,
    knowledge_from,
    learn_from_known_good,
    weigh_observations,
)
from partscreen.screening.lot.halves import Halves, apart, halves_of
from partscreen.screening.lot.view import ABOUT_EQUAL
from partscreen.screening.model_error import GradingLike, misfit_for
from partscreen.screening.naming import name_weighed
from partscreen.screening.outliers.parts import UNLIKE, LotOutliers, find_outliers

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MANY = 300  # parts; of a larger lot only those worth it are named
WORTH_NAMING = 0.02  # probability of being unfit from which a part of a large lot is named (assumption)
FEW = 5  # parts; below it a lot says nothing of itself and only the absolute reach counts (design section 6)
LONE_EVIDENCE = 7.0  # natural log, odds of a thousand (assumption: a sound type's drawn curve came out at 4.9)
BULK_EVIDENCE = 12.0
"""Natural log, odds of 160,000: from here on parts are rejected where their lot's bulk is taken for something near.

One error shared by a lot (a start that settles in the wrong place, a sitting) moves all its parts at once, by little.
Assumption: sound lots taken so came out at 3 to 12, as `NEAR`; bad bulks at 13 and above (docs/honesty.md). A bulk
taken for something further off is held below `LONE_EVIDENCE`.
"""
NEAR = (area_name(0.8), area_name(1.25), UNLIKE, "die of ")
"""Dies of nearly the type's area, unlike anything, and of another type: some type lies near wherever a lot may lie, and
most bad lots of another type come out at a hundred and more (assumption from lots made by a simulator)."""
MIXED = "several date codes"
"""Key of `Lot.extra`: parts of several production lots, to be weighed with the spread from lot to lot added."""

KNOWN_GOOD_SHARE = 0.02  # expected share of unfit parts in a lot the user trusts (assumption)


class PopulationLike(Protocol):
    """Of a type's population, what weighing needs. `spreads`: None where they are the packaged ones."""

    @property
    def type_number(self) -> str: ...
    @property
    def spreads(self) -> Spreads | None: ...
    @property
    def centre(self) -> Floats: ...
    @property
    def centre_covariance(self) -> Floats: ...
    @property
    def between(self) -> Floats: ...
    @property
    def within(self) -> Floats: ...
    @property
    def constants(self) -> TypeConstants: ...
    @property
    def gradings(self) -> tuple[GradingLike, ...]: ...


@dataclass(frozen=True, slots=True)
class WeighedLot:
    """One lot, weighed. `rows`: of the group's observations, in the order of the evidence.

    known_good_parts, known_good_lots: what the reference rests on besides the sheets. surprise: probability the sheets
    give to a known-good lot lying where the least likely of them lies. outliers : parts unlike any known part.
    closest : library types each die may be of, the likeliest first. halves : two populations of about equal size, where
    no known-good parts were read.
    """

    rows: Ints
    evidence: LotEvidence
    known: Knowledge
    known_good_parts: int
    known_good_lots: int
    outliers: LotOutliers
    closest: list[list[ClosestType]]
    surprise: float | None = None
    halves: Halves | None = None
    assumed: str = ""
    edge_term: Floats | None = None
    edge_remarks: Mapping[int, Reason] = field(default_factory=dict)
    seen_term: Floats | None = None

    @property
    def undecided_halves(self) -> Halves | None:
        """Two populations of which nothing says which is right; None where something does, or there is but one."""
        return self.halves if self.halves is not None and self.halves.undecided else None

    def sheets_alone(self, part: int) -> bool:
        """Only the data sheets speak against the part, and not loudly enough to reject it.

        A lot's bulk, and a part of a lot too small to say anything of itself, are held against the sheets alone where
        no known-good parts were read. How far sheets are off a type's own parts is an assumption, and sound parts were
        found beyond it: a bulk is never rejected so, a part alone from `LONE_EVIDENCE` on.
        """
        if self.known_good_parts:
            return False
        if self.rows.size < FEW:
            return bool(self.evidence.weighed.evidence[part] < LONE_EVIDENCE)
        return self.evidence.weighed.main_unfit > 0.5

    def bulk_near(self, part: int) -> bool:
        """Known-good parts speak against the bulk of the lot, but by less than an error shared by the lot could."""
        if not self.known_good_parts or self.rows.size < FEW or self.evidence.weighed.main_unfit <= 0.5:
            return False
        taken_for = max(self.evidence.weighed.modes, key=lambda mode: mode[2])[0]
        wanted = BULK_EVIDENCE if taken_for.startswith(NEAR) else LONE_EVIDENCE
        return bool(self.evidence.weighed.evidence[part] < wanted)

    @property
    def contradicts(self) -> bool:
        """The known-good lots contradict the data sheet."""
        return self.surprise is not None and self.surprise < CONTRADICTION


def weigh_group(
    observations: Observations,
    lot_of: Ints,
    lots: Mapping[int, Lot],
    population: PopulationLike,
    others: Sequence[TypeCentre],
    *,
    prior_share: float,
    name: str = "the marked type",
    bulk_is_type: bool = False,
    progress: Callable[[str, int, int], None] | None = None,
    only: Collection[int] | None = None,
) -> dict[int, WeighedLot]:
    """Weigh all lots of one type.

    Parameters
    ----------
    observations : of all parts of the group
    lot_of : (n_parts,), number of the lot of each part
    lots : the lots by number; those marked known-good teach the reference of all the others
    population : of the type
    others : the other types a die could be of
    prior_share : expected share of unfit parts before any reading
    name : of the type
    bulk_is_type : nothing is known of the type; without known-good parts a lot is compared with its own bulk
    only : numbers of the lots to weigh, the others only teach; None: all

    Returns
    -------
    dict of lot number to WeighedLot; a lot without readings is absent.
    """
    good = [number for number in lots if lots[number].known_good]
    taught = {number: take_observations(observations, np.flatnonzero(lot_of == number)) for number in good}
    taught = {number: o for number, o in taught.items() if o.n_parts}
    school = _School(taught, population)
    waiting = []
    for number, lot in lots.items():
        rows = np.flatnonzero(lot_of == number)
        if rows.size and (only is None or number in only):
            alone = bulk_is_type and not any(other != number for other in taught)
            waiting.append(_prepared(observations, rows, number, lot, school, others, prior_share, alone))
    out: dict[int, WeighedLot] = {}
    told = len(lots) - len(waiting)
    for some in _in_turn(waiting):
        settled = settle_lots([one.unsettled for one in some], population.constants)
        for one, its in zip(some, settled, strict=True):
            out[one.number] = _weighed(one, its, population, name)
            told += 1
            if progress:
                progress("weighing lots", told, len(lots))
    return out


@dataclass(frozen=True, slots=True)
class _Prepared:
    """A lot about to be weighed. teachers: parts of known-good lots behind what is known, by lot."""

    number: int
    rows: Ints
    unsettled: Unsettled
    prior_share: float
    teachers: tuple[int, ...]
    surprise: float | None


@dataclass(slots=True)
class _School:
    """Known-good lots of a type, and what they taught lots of which as much was known before."""

    lots: Mapping[int, Observations]
    population: PopulationLike
    learnt: dict[tuple[object, ...], tuple[Knowledge, float]] = field(default_factory=dict)

    def teach(self, known: Knowledge, number: int, sessions: Ints) -> tuple[Knowledge, float | None]:
        """What is known of a lot of these sessions after the other known-good lots, and their surprise."""
        told = [
            (n, sessions.size == 1 and set(o.session.tolist()) == set(sessions.tolist()))
            for n, o in self.lots.items()
            if n != number
        ]
        if not told:
            return known, None
        arrays = (known.centre, known.centre_covariance, known.between, known.within)
        key = (*(a.tobytes() for a in arrays), known.bulk_is_type, tuple(told))
        if key not in self.learnt:
            # Lots of other sessions first: what the last one tells of its session's errors must reach the lot unspoilt.
            lots = [
                (self.lots[n], same, misfit_for(self.lots[n], self.population))
                for n, same in sorted(told, key=lambda pair: pair[1])
            ]
            found = learn_from_known_good(known, lots, self.population.constants)
            self.learnt[key] = found.known, min(found.surprise)
        return self.learnt[key]


def _prepared(
    observations: Observations,
    rows: Ints,
    number: int,
    lot: Lot,
    school: _School,
    others: Sequence[TypeCentre],
    prior_share: float,
    alone: bool,
) -> _Prepared:
    mine = take_observations(observations, rows)
    sessions = np.unique(mine.session)
    known = replace(knowledge_of(mine, sessions, school.population, others), bulk_is_type=alone)
    if MIXED in lot.extra:
        known = replace(known, within=known.within + known.device_between)
    known, surprise = school.teach(known, number, sessions)
    share = KNOWN_GOOD_SHARE if lot.known_good else prior_share
    unsettled = Unsettled(mine, known, share_priors(share)[1], misfit_for(mine, school.population))
    teachers = tuple(o.n_parts for n, o in school.lots.items() if n != number)
    return _Prepared(number, rows, unsettled, share, teachers, surprise)


def _in_turn(waiting: Sequence[_Prepared]) -> Iterator[list[_Prepared]]:
    """Lots that are settled in one go: as many as are fitted side by side."""
    some: list[_Prepared] = []
    for one in waiting:
        if some and sum(two.rows.size for two in some) + one.rows.size > TOGETHER:
            yield some
            some = []
        some.append(one)
    if some:
        yield some


def _weighed(one: _Prepared, settled: Settled, population: PopulationLike, name: str) -> WeighedLot:
    mine, known = one.unsettled.observations, one.unsettled.known
    found = weigh_observations(
        mine, population.constants, known, prior_share=one.prior_share, misfit=one.unsettled.misfit, settled=settled
    )
    return WeighedLot(
        one.rows,
        found,
        known,
        sum(one.teachers),
        len(one.teachers),
        find_outliers(found.readings, found.weighed, known),
        _closest(found, known, name),
        one.surprise,
        None if one.teachers else _halves(found, known),
    )


def _halves(found: LotEvidence, known: Knowledge) -> Halves | None:
    """The halves of a lot that may be of two populations of about equal size; others are not looked at closely."""
    share = float(apart(found.weighed, known).mean())
    if min(share, 1.0 - share) < ABOUT_EQUAL:
        return None
    return halves_of(found.readings, found.weighed, found.area, known)


def _closest(found: LotEvidence, known: Knowledge, name: str) -> list[list[ClosestType]]:
    """Closest types of every part; in a large lot only of those that may not be of the marked one."""
    n = found.weighed.evidence.size
    if not known.others:  # nothing to choose from
        return [[] for _ in range(n)]
    rows = np.flatnonzero(found.weighed.probability_unfit > WORTH_NAMING) if n > MANY else np.arange(n)
    out = [[ClosestType.model_construct(type=name, probability=1.0)] for _ in range(n)]
    if rows.size:
        for row, named in zip(
            rows, name_weighed(found.readings.pick(rows), found.weighed.pick(rows), known, name), strict=True
        ):
            out[row] = named
    return out


def knowledge_of(
    mine: Observations, sessions: Ints, population: PopulationLike, others: Sequence[TypeCentre] = ()
) -> Knowledge:
    """What is known of a lot before it is read, in the sessions it was read in."""
    known = knowledge_from(
        population.centre,
        population.centre_covariance,
        population.between,
        # Of parts within a lot the printed gain band says nothing: the spread is taken whole, not held to the band.
        (population.spreads or load_spreads()).spread("within"),
        temperature_std=float(mine.session_temp_std[sessions].max()),
        gain_std=float(mine.session_gain_ln_std[sessions].max()),
        lead_std=float(mine.session_lead_std[sessions].max()),
        others=others,
    )
    known = replace(known, centre_covariance=known.centre_covariance + _grading(mine, population.gradings))
    if sessions.size == 1:
        return known
    # Several sessions: their errors differ from part to part, so they widen the parts and not the lot.
    shared = session_block(known.between)
    return replace(known, between=known.between - shared + 1e-9 * shared, within=known.within + shared)


def _grading(mine: Observations, gradings: Sequence[GradingLike]) -> Floats:
    """What a capacitance at another bias than the sheet's leaves open, shared by the whole lot."""
    out = np.zeros((N_COORDINATES, N_COORDINATES))
    for junction, (grading, name) in enumerate(zip(gradings, ("cje", "cjc"), strict=False)):
        bias = mine.cap_bias[(mine.cap_junction == junction) & np.isfinite(mine.cap)]
        if bias.size:
            out[INDEX[name], INDEX[name]] = float(np.nanmax(grading.ln_std(bias), initial=0.0)) ** 2
    return out


def type_centre(name: str, population: PopulationLike) -> TypeCentre:
    """Another type as a hypothesis: one part of an unknown lot of it."""
    covariance = population.centre_covariance + population.between + population.within
    return TypeCentre(name, np.concatenate((population.centre, np.zeros(3))), widen(covariance))
