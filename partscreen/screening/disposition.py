"""Accept, hold or reject: what the limits say, and later the evidence.

Three actions (design section 6). Until evidence is weighed nothing is accepted: `Weighed` is what the evidence engine
will hand over,
and its absence holds a part that failed nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from partscreen.results import Disposition, Reason

REJECT_EVIDENCE = 3.0  # design section 6
MISFIT_P = 0.001  # a part with less chance than this is held (assumption: one good part in a thousand)


@dataclass(frozen=True, slots=True)
class Weighed:
    """Evidence on one part. `evidence` above 0 speaks against the marking; `reach`: what an accept would be worth."""

    evidence: float
    reach: float
    cost_favours_reject: bool = True


@dataclass(frozen=True, slots=True)
class Findings:
    """What was found on a part before evidence. `reject`: decides; `hold`: stands in the way of an accept;
    `remarks`."""

    reject: tuple[Reason, ...] = ()
    hold: tuple[Reason, ...] = ()
    remarks: tuple[Reason, ...] = ()


def decide(
    found: Findings, weighed: Weighed | None, reach_wanted: float, waiting: Reason
) -> tuple[Disposition, list[Reason]]:
    """Disposition and reasons of a judged part, the deciding reason first.

    Parameters
    ----------
    weighed : Weighed or None
        None: evidence has not been weighed, so nothing is accepted.
    reach_wanted : float
        Least reach an accept must have. [1]
    waiting : Reason
        Said of a part that failed nothing and whose evidence has not been weighed.
    """
    if found.reject:
        return "reject", [*found.reject, *found.hold, *found.remarks]
    if weighed is None:
        leading = list(found.hold) if found.hold else [waiting]
        return "hold", [*leading, *found.remarks]
    if weighed.evidence >= REJECT_EVIDENCE and weighed.cost_favours_reject:
        return "reject", [*found.hold, *found.remarks]
    clear = not found.hold and weighed.evidence <= 0 and weighed.reach >= reach_wanted
    return ("accept" if clear else "hold"), [*found.hold, *found.remarks]
