"""What the library knows of the type a lot is marked with: limits, editions, population, where its curves are drawn."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from partscreen.device.prior import PartPrior
from partscreen.errors import UnknownType
from partscreen.readings.tables import SEVERAL_TYPES, Lot
from partscreen.reference.library import Library
from partscreen.reference.limits import Limit, limits
from partscreen.reference.models import ReferenceType
from partscreen.reference.population import population_for as library_population
from partscreen.reference.population import populations_of, why_no_population
from partscreen.screening.evidence.knowledge import TypeCentre
from partscreen.screening.limits.capacitance import FieldReference
from partscreen.screening.part_results import CurvePlan
from partscreen.screening.weighing import PopulationLike as Weighable
from partscreen.screening.weighing import type_centre


class PopulationLike(Weighable, Protocol):
    """What is needed of `partscreen.reference.population.Population`."""

    def part_prior(self) -> PartPrior:
        """Prior of one part of an unknown lot."""
        ...


class PopulationFor(Protocol):
    """`partscreen.reference.population.population_for`, or one like it (with sources left out, say)."""

    def __call__(self, of: ReferenceType, *, gain_group: str | None = None) -> PopulationLike | None: ...


@dataclass(frozen=True, slots=True)
class TypeSetup:
    """A type as the lots of one gain group see it. `kind` None: not in the library; `close`: names it may have been
    meant to be. `two_types`: those that lot sheet or files name, where they contradict each other."""

    name: str | None
    gain_group: str | None = None
    kind: ReferenceType | None = None
    close: tuple[str, ...] = ()
    limits: tuple[Limit, ...] = ()
    prior: PartPrior | None = None
    population: PopulationLike | None = None
    why_no_prior: str = ""
    plan: CurvePlan = field(default_factory=CurvePlan)
    field_references: tuple[FieldReference, ...] = ()
    two_types: str = ""


def _usual(values: list[float], otherwise: float) -> float:
    return Counter(values).most_common(1)[0][0] if values else otherwise


def _plan(kind: ReferenceType, rows: tuple[Limit, ...]) -> CurvePlan:
    vce = _usual([r.conditions["VCE"] for r in rows if r.quantity == "hfe" and r.is_limit], 5.0)
    saturated = [r.conditions for r in rows if r.quantity == "vce_sat" and r.is_limit]
    forced = _usual([c["IC"] / c["IB"] for c in saturated if c.get("IB") and "IC" in c], 10.0)
    return CurvePlan(vce, forced, kind.rating("IC"))


def set_up(lot: Lot, library: Library, population_for: PopulationFor) -> TypeSetup:
    """Everything the library knows of the type a lot is marked with. A type it does not know is no error."""
    if not lot.type:
        return TypeSetup(None, two_types=lot.extra.get(SEVERAL_TYPES, ""))
    try:
        found = library.find(lot.type)
    except UnknownType as error:
        return TypeSetup(lot.type, close=error.close)
    kind, group = found.type, lot.gain_group or found.gain_group
    rows = limits(kind, gain_group=group)
    population = population_for(kind, gain_group=group)
    references = tuple(FieldReference(r, kind.source_text(r.source)) for r in kind.readings)
    return TypeSetup(
        kind.name, group, kind, (), rows, population.part_prior() if population else None, population,
        "" if population else why_no_population(kind), _plan(kind, rows), references,
    )  # fmt: skip


def editions_of_maker(setup: TypeSetup, maker: str | None) -> tuple[str, ...] | None:
    """Editions of the maker the lot names; None where it names none, or none of them is on record."""
    if setup.kind is None or not maker:
        return None
    wanted = maker.strip().casefold()
    mine = tuple(e.id for e in setup.kind.sheet_editions if e.maker and _same_maker(e.maker.casefold(), wanted))
    return mine or None


def _same_maker(a: str, b: str) -> bool:
    """Maker names that mean one: equal, or one with further words ("onsemi", "onsemi (also Motorola)")."""
    return a == b or b in a.replace("(", " ").replace(")", " ").replace("/", " ").replace(",", " ").split()


Progress = Callable[[str, int, int], None]


def other_types(library: Library, setup: TypeSetup, population_for: PopulationFor) -> tuple[TypeCentre, ...]:
    """Every other library type of the polarity, as a die the part could be; Darlingtons have none."""
    if setup.kind is None:
        return ()
    mine = setup.kind
    # Without special wishes the stored ones do.
    if population_for is library_population or getattr(population_for, "others_as_packaged", False):
        known = populations_of(library, mine.polarity, besides=mine.name)
        return tuple(type_centre(name, population) for name, population in known)
    others = (kind for kind in library if kind.name != mine.name and kind.polarity == mine.polarity)
    found = ((kind.name, population_for(kind)) for kind in others)
    return tuple(type_centre(name, population) for name, population in found if population is not None)
