"""What trust in a supplier rests on: judged lots with their parts' evidence, and what became of parts in service."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from partscreen.lots.likelihood import Bulk, Readings, laid_out

FAILED_FIRST = 30.0
"""How much likelier an unfit part is to fail at first power-up (assumption: 3 in 10 against 1 in 100; parts of reported
lots failed within seconds to minutes of power, and a sound part is rarely killed by the work alone)."""

FAILED_WITHIN = ((30, 10.0), (365, 4.0))
"""Days in service, and how much likelier an unfit part is to fail within them; later it is 1.5 (assumption)."""

FAILED_LATER = 1.5
PASSED_SOAK = 0.5
"""An unfit part passes a soak at full power half as often as a sound one (assumption)."""

STAGE_CAUSE = 0.1
"""Weight of a failure that the stage explains: its ln likelihood ratio times this (assumption: one finding in ten is
wrong about the cause)."""

PART_CAUSE = 3.0
"""Further factor where the part was found to be the cause (assumption: the finding is an opinion, not a reading)."""


@dataclass(frozen=True, slots=True)
class LotRecord:
    """One lot from one supplier. `evidence`, by part: ln likelihood ratio, unfit over as marked; never a posterior.

    certain : parts unfit for certain (dead, reversed, outside a limit). bulk : what screening says of the lot's main
    population; None: not known, the parts' median stands for it. when : bought or judged.
    """

    supplier: str
    lot: str
    type: str = ""
    when: date | None = None
    evidence: Mapping[str, float] = field(default_factory=dict)
    certain: frozenset[str] = frozenset()
    bulk: Bulk | None = None

    @property
    def n_read(self) -> int:
        """Parts that say something."""
        return len(self.evidence) + len(self.certain)


@dataclass(frozen=True, slots=True)
class FieldOutcome:
    """What became of one fitted part. `what`: passed_soak, failed_first_power_up, failed_after (`days`), or anything
    else, which says nothing of the part. `cause`: part, stage or not known. `event`: parts that failed in one event
    share it (job and channel); empty: on its own."""

    supplier: str
    lot: str
    part: str
    what: str
    days: int | None = None
    cause: str | None = None
    event: str = ""
    type: str = ""
    when: date | None = None


def key_of(name: str) -> str:
    """A name without regard to case and blanks, so that one supplier typed in two ways is one."""
    return " ".join(name.split()).casefold()


def field_evidence(outcome: FieldOutcome) -> float:
    """Ln likelihood ratio, unfit over as marked, of one outcome on its own."""
    if outcome.what == "passed_soak":
        return float(np.log(PASSED_SOAK))
    if outcome.what == "failed_first_power_up":
        ratio = FAILED_FIRST
    elif outcome.what == "failed_after":
        ratio = FAILED_LATER
        if outcome.days is not None:
            ratio = next((r for days, r in FAILED_WITHIN if outcome.days <= days), FAILED_LATER)
    else:
        return 0.0
    if outcome.cause == "stage":
        return float(STAGE_CAUSE * np.log(ratio))
    return float(np.log(ratio * (PART_CAUSE if outcome.cause == "part" else 1.0)))


def field_by_part(outcomes: Iterable[FieldOutcome]) -> dict[tuple[str, str], dict[str, float]]:
    """Evidence from service by (supplier, lot) and part. Parts that failed in one event share the evidence of one: the
    first to fail takes its neighbours with it, and which one was first is rarely known."""
    told = list(outcomes)
    failed = [o for o in told if o.what in ("failed_first_power_up", "failed_after")]
    together = Counter(o.event for o in failed if o.event)
    out: dict[tuple[str, str], dict[str, float]] = {}
    for o in told:
        adds = field_evidence(o)
        if not adds:
            continue
        if o.event and o.what != "passed_soak":
            adds /= together[o.event]
        mine = out.setdefault((key_of(o.supplier), key_of(o.lot)), {})
        mine[o.part] = mine.get(o.part, 0.0) + adds
    return out


def merged(records: Sequence[LotRecord]) -> list[LotRecord]:
    """One record a lot: of a lot judged more than once the later judgement of each part counts.

    The records come in the order of judging. The date kept is the earliest.
    """
    out: dict[tuple[str, str], LotRecord] = {}
    for record in records:
        key = (key_of(record.supplier), key_of(record.lot))
        before = out.get(key)
        if before is None:
            out[key] = record
            continue
        evidence = {p: e for p, e in before.evidence.items() if p not in record.certain} | dict(record.evidence)
        certain = record.certain | {p for p in before.certain if p not in record.evidence}
        dates = [d for d in (before.when, record.when) if d is not None]
        out[key] = replace(
            record,
            supplier=before.supplier,
            type=record.type or before.type,
            evidence=evidence,
            certain=frozenset(certain),
            when=min(dates) if dates else None,
        )
    return list(out.values())


def with_field_only(records: Sequence[LotRecord], outcomes: Sequence[FieldOutcome]) -> list[LotRecord]:
    """Lots that are known by what became of their parts alone, added to those that were read."""
    known = {(key_of(r.supplier), key_of(r.lot)) for r in records}
    out = list(records)
    for o in outcomes:
        key = (key_of(o.supplier), key_of(o.lot))
        if key not in known and field_evidence(o):
            known.add(key)
            out.append(LotRecord(o.supplier, o.lot, o.type))
    return out


def readings_of(records: Sequence[LotRecord], outcomes: Sequence[FieldOutcome]) -> Readings:
    """Evidence of all parts in arrays. A part unfit for certain stays so, whatever became of it."""
    service = field_by_part(outcomes)
    evidence, met = [], []
    for record in records:
        lived = service.get((key_of(record.supplier), key_of(record.lot)), {})
        names = [*record.evidence, *(p for p in lived if p not in record.evidence and p not in record.certain)]
        evidence.append([record.evidence.get(p, 0.0) for p in names])
        met.append([lived.get(p, 0.0) for p in names])
    return laid_out(evidence, [len(r.certain) for r in records], met if service else None)


def weights(records: Sequence[LotRecord], as_of: date | None, half_life_days: float) -> np.ndarray:
    """Power each lot's likelihood is raised to: halved every `half_life_days`; 1 for a lot without a date.

    Raises
    ------
    ValueError
        The half-life is not above 0.
    """
    if not half_life_days > 0:
        raise ValueError(f"half-life is {half_life_days} days; a number above 0 is expected")
    if as_of is None:
        return np.ones(len(records))
    ages = [0.0 if r.when is None else max((as_of - r.when).days, 0) for r in records]
    return np.asarray(0.5 ** (np.array(ages) / half_life_days))
