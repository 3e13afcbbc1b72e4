"""Accept, hold or reject: three actions, each with its cost.

Costs are counted in parts thrown away: a bad part accepted costs `cost` (the one question asked of the user), a good
part rejected costs itself and a wronged supplier, a part held costs its bench minutes. Limits and dead parts decide
before evidence does; without evidence nothing is accepted.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from partscreen.results import Disposition, Reason

REJECT_EVIDENCE = 3.0  # natural log; evidence below it never rejects alone
ACCEPT_EVIDENCE = 0.0
HOLD_COST = 0.5  # bench minutes of a held part, in parts thrown away (assumption)
WRONG_REJECT_COST = 5.0  # a good part and a wronged supplier, in parts thrown away (assumption)
DEFAULT_COST = 10.0  # of a bad part accepted, in parts thrown away (assumption: an output stage is worth ten of them)
FAULT_PROBABILITY = 0.95  # rejecting asks for more where only a gain or a leak inside the limits leads (assumption)
FAULTS = ("gain", "base-emitter leak")  # beginnings of their names
MISFIT_P = 0.001  # a part with less chance than this is held (assumption: one good part in a thousand)


@dataclass(frozen=True, slots=True)
class PartEvidence:
    """Evidence on one part, as the decision needs it.

    evidence : above 0 speaks against the marking. probability_unfit : given the lot. reach : the one that counts
    (relative in a lot, absolute for a part alone). fault_leads : evidence would reject, and one of `FAULTS` leads.
    say : the reason for one of the outcomes "against", "undecided", "in_favour", "short_reach", "risky".
    """

    evidence: float
    probability_unfit: float
    reach: float
    fault_leads: bool
    say: Callable[[str], Reason]


@dataclass(frozen=True, slots=True)
class Rule:
    """What the user asks of an accept, and what a bad part costs."""

    reach: float
    cost: float = DEFAULT_COST

    @property
    def most_probability(self) -> float:
        """Accepting costs less than holding up to this probability of being unfit."""
        return min(HOLD_COST / self.cost, 0.5)

    @property
    def least_probability(self) -> float:
        """Rejecting costs less than holding from this probability of being unfit on."""
        return 1.0 - HOLD_COST / WRONG_REJECT_COST


@dataclass(frozen=True, slots=True)
class Findings:
    """What was found on a part before evidence.

    reject : decides. bar : evidence may neither accept nor reject, these first. hold : stands in the way of an accept.
    remarks : none of these.
    """

    reject: tuple[Reason, ...] = ()
    hold: tuple[Reason, ...] = ()
    remarks: tuple[Reason, ...] = ()
    bar: tuple[Reason, ...] = ()


def decide(
    found: Findings, weighed: PartEvidence | None, rule: Rule, waiting: Reason
) -> tuple[Disposition, list[Reason]]:
    """Disposition and reasons of a judged part, the deciding reason first.

    Parameters
    ----------
    weighed : PartEvidence or None
        None: evidence cannot be weighed (no population of the type), so nothing is accepted.
    waiting : Reason
        Said of a part that failed nothing and whose evidence has not been weighed.
    """
    rest = [*found.bar, *found.hold, *found.remarks]
    if weighed is None or found.bar:
        if found.reject:
            return "reject", [*found.reject, *rest]
        if found.bar:
            return "hold", rest
        return "hold", rest if found.hold else [waiting, *rest]
    suspect = rejected_by(weighed.evidence, weighed.probability_unfit, rule, fault_leads=weighed.fault_leads)
    if found.reject:
        return "reject", [*found.reject, *([weighed.say("against")] if suspect else []), *rest]
    if suspect:
        return "reject", [weighed.say("against"), *rest]
    if weighed.evidence > ACCEPT_EVIDENCE:
        return "hold", [weighed.say("undecided"), *rest]
    if found.hold:
        return "hold", rest
    if weighed.reach < rule.reach:
        return "hold", [weighed.say("short_reach"), *rest]
    if weighed.probability_unfit > rule.most_probability:
        return "hold", [weighed.say("risky"), *rest]
    return "accept", [weighed.say("in_favour"), *rest]


def rejected_by(evidence: float, probability_unfit: float, rule: Rule, *, fault_leads: bool) -> bool:
    """Evidence of at least 3, and a probability at which rejecting costs less than holding."""
    wanted = max(rule.least_probability, FAULT_PROBABILITY) if fault_leads else rule.least_probability
    return evidence >= REJECT_EVIDENCE and probability_unfit >= wanted
