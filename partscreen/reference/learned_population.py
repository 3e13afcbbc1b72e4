"""Populations made with learned spreads, for the screening."""

from __future__ import annotations

from partscreen.reference.models import ReferenceType
from partscreen.reference.population import Population, population_for
from partscreen.reference.population_spreads import Spreads


class LearnedPopulations:
    """`population_for` with learned spreads; each type is made once.

    `others_as_packaged`: of the types a die could be instead, where it comes from matters far more than how its lots
    spread, so those are the packaged ones (computed beforehand).
    """

    others_as_packaged = True

    def __init__(self, spreads: Spreads) -> None:
        self.spreads = spreads
        self._made: dict[tuple[str, str, str | None], Population | None] = {}

    def __call__(self, of: ReferenceType, *, gain_group: str | None = None) -> Population | None:
        key = (of.name, of.model_dump_json(), gain_group)
        if key not in self._made:
            self._made[key] = population_for(of, gain_group=gain_group, spreads=self.spreads)
        return self._made[key]
