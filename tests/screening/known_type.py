"""The 2SC5200 as its data sheets have it, read in one session, with no other type among the hypotheses."""

from __future__ import annotations

from partscreen.reference import Library
from partscreen.reference.population import population_for
from partscreen.screening.evidence.weigh_lots import knowledge_from

POPULATION = population_for(Library.load().find("2SC5200").type)
CONSTANTS = POPULATION.constants
KNOWN = knowledge_from(
    POPULATION.centre, POPULATION.centre_covariance, POPULATION.between, POPULATION.within,
    temperature_std=0.5, gain_std=0.003, lead_std=1e-4,
)  # fmt: skip
