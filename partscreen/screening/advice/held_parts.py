"""The next measurement of every held part of a lot, whether its evidence was weighed or not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from partscreen.device.observations import Observations
from partscreen.readings.instruments.kit import Kit
from partscreen.results import NextMeasurement, PartResult
from partscreen.screening.advice.candidates import TypeFacts, facts_of
from partscreen.screening.advice.next_measurement import Undecided, first_measurement, next_measurements
from partscreen.screening.findings import LotFindings
from partscreen.screening.lot.setup import TypeSetup
from partscreen.screening.weighing import WeighedLot

_SYMBOLS = {"C_CB": "c_cb", "C_BE": "c_be", "ICEO": "iceo", "V(BR)CEO": "v_br_ceo", "dwell": "dwell"}
_NOT_ADVISED = frozenset({"MISFIT"})
"""A part that fits no transistor of its type is to be read again before anything else."""


def facts_of_setup(setup: TypeSetup) -> TypeFacts:
    """What recipes need of the type a lot is marked with."""
    return facts_of(setup.kind, vce=setup.plan.vce, forced_gain=setup.plan.forced_gain)


def with_advice(found: LotFindings, parts: Sequence[PartResult], kit: Kit | None) -> list[PartResult]:
    """The results of a lot's judged parts, in the order of `found.parts`, the held ones with their next measurement."""
    if found.weighed is not None and found.setup.population is not None:
        steps = advise_weighed(found.weighed, found.observations, found.setup, kit, parts)
    else:
        steps = advise_unweighed(found.setup, kit, parts)
    return [
        part if step is None else part.model_copy(update={"next_measurement": step})
        for part, step in zip(parts, steps, strict=True)
    ]


def advise_weighed(
    weighed: WeighedLot,
    observations: Observations,
    setup: TypeSetup,
    kit: Kit | None,
    parts: Sequence[PartResult],
) -> list[NextMeasurement | None]:
    """Next measurements of a weighed lot.

    Parameters
    ----------
    weighed, observations : of the lot, first axis its judged parts
    setup : of the marked type, with its population
    parts : results of the same parts, in the same order; those held are advised on
    """
    assert setup.population is not None
    wanted = np.array([advised(p) for p in parts], dtype=np.bool_)
    reach_only = np.array([p.evidence is not None and p.evidence <= 0.0 for p in parts], dtype=np.bool_)
    undecided = Undecided(
        observations, weighed.evidence.readings, weighed.evidence.weighed, weighed.known,
        setup.population.constants, [taken(p) for p in parts], setup.population.gradings, len(parts),
        setup.population.spreads, setup.population.type_number,
    )  # fmt: skip
    return next_measurements(undecided, facts_of_setup(setup), kit, wanted, by_reach=reach_only)


def advise_unweighed(setup: TypeSetup, kit: Kit | None, parts: Sequence[PartResult]) -> list[NextMeasurement | None]:
    """Next measurements of parts whose evidence cannot be weighed: no model of the type, or no usable reading."""
    facts = facts_of_setup(setup)
    limits_only = setup.kind is not None and setup.prior is None
    limited = frozenset(x.quantity for x in setup.limits if x.is_limit and x.quantity) if limits_only else frozenset()
    made: dict[frozenset[str], NextMeasurement | None] = {}
    out: list[NextMeasurement | None] = []
    for part in parts:
        if not (advised(part) or part.status == "unusable"):
            out.append(None)
            continue
        keys = taken(part)
        if keys not in made:
            made[keys] = first_measurement(kit, facts, keys, limited)
        out.append(made[keys])
    return out


def advised(part: PartResult) -> bool:
    """Held, and not waiting to be read again."""
    return part.disposition == "hold" and not any(r.code in _NOT_ADVISED for r in part.reasons[:1])


def taken(part: PartResult) -> frozenset[str]:
    """Keys of the candidates a part's used readings already hold."""
    out = set()
    for words in part.readings_used:
        symbol = words.split()[0]
        if symbol in _SYMBOLS:
            out.add(_SYMBOLS[symbol])
        elif symbol in ("hFE", "VBE"):
            out.add("sweep" if "points" in words else "two_currents")
        elif symbol == "VCE(sat)":
            out.add("vce_sat")
    return frozenset(out)
