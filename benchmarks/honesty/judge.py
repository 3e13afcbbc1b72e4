"""Let the evidence engine judge a bag through the same door the screening uses."""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from benchmarks.honesty.bags import Bag, observations
from partscreen.device.fit import fit_parts
from partscreen.readings.tables import Lot
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.screening.disposition import ACCEPT_EVIDENCE, FAULTS, Rule, rejected_by
from partscreen.screening.evidence.knowledge import TypeCentre
from partscreen.screening.evidence.weigh_lots import LotEvidence
from partscreen.screening.evidence_words import leading, unexplained
from partscreen.screening.model_error import misfit_of, widened
from partscreen.screening.weighing import WeighedLot, type_centre, weigh_group

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
RULE = Rule(reach=0.6)


def area_interval(found: LotEvidence, coverage: float = 1.959964) -> tuple[Floats, Floats, Floats]:
    """Die area ratio, and the ends of its 95 % interval; shape (n_parts,) each."""
    ln, sd = found.area.ln, found.area.sd
    return np.exp(ln), np.exp(ln - coverage * sd), np.exp(ln + coverage * sd)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was said of the n parts of a bag.

    evidence, probability (of being unfit) : (n,). rejected, not_accepted : (n,), the reach rule off. short : (n,), held
    by reach alone. area, low, high : die area against the type's. reach : (n,). chi_square_p : (n,). seconds : of the
    whole bag. contradicts : its known-good lot contradicts the data sheet.
    """

    bag: Bag
    evidence: Floats
    probability: Floats
    rejected: Bools
    not_accepted: Bools
    short: Bools
    area: Floats
    low: Floats
    high: Floats
    reach: Floats
    chi_square_p: Floats
    seconds: float
    contradicts: bool
    leading: tuple[str, ...]
    modes: tuple[tuple[str, str, float], ...]


@lru_cache(maxsize=4)
def other_types(polarity: str, but: str) -> tuple[TypeCentre, ...]:
    """Every library type of the polarity that the model describes, but one."""
    found = ((of.name, population_for(of)) for of in _library() if of.polarity == polarity and of.name != but)
    return tuple(type_centre(name, population) for name, population in found if population is not None)


@lru_cache(maxsize=1)
def _library() -> tuple:  # type: ignore[type-arg]
    return tuple(Library.load())


def weigh(bag: Bag, prior_share: float = 0.1) -> WeighedLot:
    """The engine's own result for a bag."""
    several = [bag.readings, *bag.known]
    lots = {0: Lot("bag", bag.world.reference.name)}
    for i in range(len(bag.known)):
        lots[i + 1] = Lot(f"known {i}", bag.world.reference.name, known_good=True)
    lot_of = np.repeat(np.arange(len(several)), [r.n for r in several])
    others = other_types(bag.world.polarity, bag.world.reference.name)
    return weigh_group(observations(several), lot_of, lots, bag.world.population(), others, prior_share=prior_share)[0]


def judge(bag: Bag, *, prior_share: float = 0.1, fit: bool = False) -> Verdict:
    """Weigh a bag and apply the rule of disposition, no limits looked at. `fit`: chi-square of own fits too."""
    begin = time.perf_counter()
    lot = weigh(bag, prior_share)
    seconds = time.perf_counter() - begin
    found = lot.evidence.weighed
    evidence, probability = found.evidence, found.probability_unfit
    names = tuple(leading(lot, i)[1] for i in range(evidence.size))
    rejected = np.array(
        [
            rejected_by(float(e), float(p), RULE, fault_leads=bool(e > 0) and name.startswith(FAULTS))
            for e, p, name in zip(evidence, probability, names, strict=True)
        ]
    )
    # What stands between evidence and a reject in the screening: two halves, the data sheets alone, a bulk too near, or
    # a part that the outlier model finds unlike any and no hypothesis explains.
    rejected &= lot.undecided_halves is None
    rejected &= np.array([not (lot.sheets_alone(i) or lot.bulk_near(i)) for i in range(evidence.size)])
    rejected &= ~np.array([unexplained(lot, i) for i in range(evidence.size)])
    not_accepted = evidence > ACCEPT_EVIDENCE
    reach = lot.evidence.reach_absolute if evidence.size < 5 else lot.evidence.reach
    area, low, high = area_interval(lot.evidence)
    return Verdict(
        bag, evidence, probability, rejected, not_accepted, ~not_accepted & (reach < RULE.reach), area, low, high,
        reach, chi_square_p(bag) if fit else np.full(evidence.size, np.nan), seconds, lot.contradicts, names,
        found.modes,
    )  # fmt: skip


def chi_square_p(bag: Bag) -> Floats:
    """Probability of a larger misfit, from every part's own fit about the type's population."""
    population = bag.world.population()
    prior = population.part_prior()
    seen = observations([bag.readings])
    wide = widened(seen, misfit_of(seen, population.constants.ic_rated), population.gradings)
    return np.asarray(fit_parts(wide, prior.mean, prior.covariance, population.constants).p)
