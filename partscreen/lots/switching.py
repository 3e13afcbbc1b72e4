"""Normal, tightened and reduced inspection over a supplier's lots, one after another.

Rules: two refused lots of five or fewer consecutive ones tighten; five accepted in a row bring back normal (both
compared with a published scheme); five refused lots while tightened stop the supply; reduced after a switching score
of 30, back to normal at the first lot that is refused or falls into the gap of its plan (these three are memory of
ISO 2859-1 and MIL-STD-105E).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from partscreen.lots.attribute_plans import Basis, Severity, TablePlan, step_tighter, table_plan

State = Literal["normal", "tightened", "reduced", "stopped"]

TIGHTEN_WITHIN = 5  # two refused of so many
NORMAL_AFTER = 5  # accepted in a row while tightened
STOP_AFTER = 5  # refused while tightened (memory: ISO 2859-1:1999, 9.4; MIL-STD-105E, 4.7.4)
REDUCED_SCORE = 30  # memory: ISO 2859-1:1999, 9.3.3
RULES_MEMORY = "the rules for reduced inspection and for stopping are recalled, not read in the standard"


@dataclass(frozen=True, slots=True)
class PastLot:
    """A lot as it was read: its size and the bad parts found in the sample its plan asked for.

    `read`: of a lot that was read without a plan, whether each part counted against it, in the order read; the first
    of them are then the sample, and `found` is not looked at.
    """

    lot_size: int
    found: int
    name: str = ""
    read: tuple[bool, ...] | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One past lot: how it was to be inspected, whether it was accepted, what follows for the next."""

    lot: PastLot
    plan: TablePlan
    accepted: bool
    next_state: State
    why: str
    basis: Basis


@dataclass(frozen=True, slots=True)
class History:
    """All past lots and the state in which the next one is inspected.

    `too_few`: lots that were left out, for fewer parts were read than their plan asks, each as name, read, asked.
    """

    steps: tuple[Step, ...]
    state: State
    score: int
    too_few: tuple[tuple[str, int, int], ...] = ()


class Switcher:
    """Walks lots in the order they came; `take` returns what follows from one.

    Parameters
    ----------
    aql, level : as for `table_plan`, the same for all lots
    reduced : whether reduced inspection may be used at all (steady production is a condition of it)
    start : severity of the first lot
    """

    def __init__(self, aql: float, *, level: str = "II", reduced: bool = True, start: Severity = "normal") -> None:
        self.aql, self.level, self.reduced = aql, level, reduced
        self.state: State = start
        self.score = 0
        self._recent: list[bool] = []  # accepted or not, since the state began
        self._refused_tightened = 0

    def asked(self, lot: PastLot) -> int:
        """How many parts of a lot the plan reads in the state that holds now."""
        severity: Severity = "tightened" if self.state == "stopped" else self.state
        return table_plan(lot.lot_size, self.aql, level=self.level, severity=severity).n

    def take(self, lot: PastLot) -> Step:
        """Inspect one more lot.

        Raises
        ------
        ValueError
            More bad parts than the sample has, or a lot after the supply was stopped.
        """
        if self.state == "stopped":
            raise ValueError("no lot is inspected after the supply was stopped; begin anew, tightened")
        severity: Severity = self.state
        plan = table_plan(lot.lot_size, self.aql, level=self.level, severity=severity)
        if not 0 <= lot.found <= plan.n:
            raise ValueError(f"{lot.found} bad found, but the plan reads {plan.n} of {lot.lot_size}")
        accepted = lot.found <= plan.accepts_up_to
        self._recent.append(accepted)
        why, basis = self._next(lot, plan, accepted)
        return Step(lot, plan, accepted, self.state, why, basis)

    def _next(self, lot: PastLot, plan: TablePlan, accepted: bool) -> tuple[str, Basis]:
        if self.state == "normal":
            return self._from_normal(lot, plan, accepted)
        if self.state == "tightened":
            return self._from_tightened(accepted)
        if not accepted:
            return self._go("normal", "refused while reduced"), "memory"
        if lot.found > plan.c:
            return self._go("normal", "accepted, but more bad parts than the reduced plan allows"), "memory"
        return "", "memory"

    def _from_normal(self, lot: PastLot, plan: TablePlan, accepted: bool) -> tuple[str, Basis]:
        if self._recent[-TIGHTEN_WITHIN:].count(False) >= 2:
            return self._go("tightened", f"two lots refused of {TIGHTEN_WITHIN} or fewer in a row"), "copy"
        self.score = self._scored(lot, plan, accepted)
        if self.reduced and self.score >= REDUCED_SCORE:
            return self._go("reduced", f"switching score of {REDUCED_SCORE} reached"), "memory"
        return "", "copy"

    def _from_tightened(self, accepted: bool) -> tuple[str, Basis]:
        self._refused_tightened += not accepted
        if self._refused_tightened >= STOP_AFTER:
            return self._go("stopped", f"{STOP_AFTER} lots refused while tightened"), "memory"
        if len(self._recent) >= NORMAL_AFTER and all(self._recent[-NORMAL_AFTER:]):
            return self._go("normal", f"{NORMAL_AFTER} lots accepted in a row"), "copy"
        return "", "copy"

    def _scored(self, lot: PastLot, plan: TablePlan, accepted: bool) -> int:
        """The switching score after a lot of normal inspection (memory: ISO 2859-1:1999, 9.3.3.2).

        Plans that allow 2 or more: +3 if the lot would pass with the AQL one step finer. Others: +2 if accepted.
        Else back to 0.
        """
        if plan.c < 2:
            return self.score + 2 if accepted else 0
        finer = step_tighter(self.aql)
        limit = plan.c if finer is None else table_plan(lot.lot_size, finer, level=self.level).c
        return self.score + 3 if lot.found <= limit else 0

    def _go(self, state: State, why: str) -> str:
        if state == "tightened" or self.state == "tightened":
            self._refused_tightened = 0
        self.state, self.score, self._recent = state, 0, []
        return why


def walk_lots(
    lots: Iterable[PastLot], aql: float, *, level: str = "II", reduced: bool = True, start: Severity = "normal"
) -> History:
    """The severity each past lot was to be inspected with, and that of the next lot."""
    switcher = Switcher(aql, level=level, reduced=reduced, start=start)
    steps = tuple(switcher.take(lot) for lot in lots)
    return History(steps, switcher.state, switcher.score)


def scheme_acceptance(normal: float, tightened: float) -> float:
    """Long-run share of lots accepted under normal and tightened inspection with switching.

    Parameters
    ----------
    normal, tightened : chance that one lot is accepted by each plan, both between 0 and 1, excluded

    References
    ----------
    CRAN package AQLSchemes, vignette: mean stay of a = (2 - PN^4) / ((1 - PN)(1 - PN^4)) lots in normal and of
    b = (1 - PT^5) / ((1 - PT) PT^5) in tightened inspection. Stopping is left out.
    """
    stay_normal = (2.0 - normal**4) / ((1.0 - normal) * (1.0 - normal**4))
    stay_tightened = (1.0 - tightened**NORMAL_AFTER) / ((1.0 - tightened) * tightened**NORMAL_AFTER)
    return (stay_normal * normal + stay_tightened * tightened) / (stay_normal + stay_tightened)
