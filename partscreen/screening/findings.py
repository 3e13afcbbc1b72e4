"""From arrays of a judged lot to the results of its parts: which findings reject, hold or only remark, and in which
order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.readings.tables import Batch
from partscreen.results import Curves, Fit, LimitResult, PartResult, QualityNote, Reason, made
from partscreen.screening import evidence_words as words
from partscreen.screening import reasons as say
from partscreen.screening.disposition import FAULTS, MISFIT_P, REJECT_EVIDENCE, Findings, PartEvidence, Rule, decide
from partscreen.screening.fitting import GroupFit
from partscreen.screening.limits.conformance import CONFORMING, UNDECIDED
from partscreen.screening.limits.judge import LimitJudgement
from partscreen.screening.limits.not_reached import not_reached_reasons
from partscreen.screening.limits.spots import SpotTable
from partscreen.screening.limits.values import CARRIED, DIRECT, NOT_REACHED
from partscreen.screening.lot.alike import compare
from partscreen.screening.lot.view import LotView
from partscreen.screening.outliers.parts import outlier_reason
from partscreen.screening.stress import Stressed
from partscreen.screening.weighing import FEW
from partscreen.screening.without_power.observations import Seen

if TYPE_CHECKING:
    from partscreen.screening.lot.setup import TypeSetup
    from partscreen.screening.weighing import WeighedLot

Ints = npt.NDArray[np.int64]


class SettingsLike(Protocol):
    """Of the settings, what findings need."""

    @property
    def risk(self) -> float: ...
    @property
    def rule(self) -> Rule: ...


@dataclass(frozen=True, slots=True)
class LotFindings:
    """Everything found on the judged parts of a lot; lists and arrays go over `parts` (batch numbers)."""

    setup: TypeSetup
    parts: Ints
    observations: Observations
    spots: dict[str, SpotTable]
    judged: LimitJudgement
    fit: GroupFit | None
    view: LotView
    capacitance: dict[int, tuple[Reason, ...]]
    limit_results: list[list[LimitResult]]
    fit_results: list[Fit | None]
    curves: list[Curves | None]
    readings_used: list[list[str]]
    sessions: list[str | None]
    weighed: WeighedLot | None = None
    seen: Mapping[int, Seen] = field(default_factory=dict)
    stressed: Mapping[int, Stressed] = field(default_factory=dict)


def findings_of_parts(found: LotFindings, batch: Batch, settings: SettingsLike) -> list[PartResult]:
    """Results of the parts, in their order."""
    judged = found.judged
    limits_open = not_reached_reasons(judged, found.observations, found.spots)
    reached = judged.reached != NOT_REACHED
    # Most parts conform wherever they were read: look closely only where one does not for certain.
    unsure = (reached & (judged.decision != CONFORMING)).any(axis=0)
    read_near_a_limit = reached.any(axis=0)
    misfits = _misfits(found)
    out = []
    for i, number in enumerate(found.parts.tolist()):
        used = found.readings_used[i]
        quality = list(batch.quality.get(number, ()))
        name = batch.part_names[number]
        if not used:
            out.append(_unusable(name, found.sessions[i], quality))
            continue
        limit_part = _limit_findings(judged, i, settings.risk) if unsure[i] else Findings()
        bar, unlike = _barred(found, i, fits_nothing=i in misfits)
        seen = found.seen.get(number, Seen())
        hold = [*limit_part.hold, *misfits.get(i, ()), *unlike, *seen.hold]
        remarks = [*limit_part.remarks, *found.view.outliers.get(i, ())]
        unreached = limits_open[i]
        if unreached is not None:
            remarks.append(unreached)
        remarks.extend(found.capacitance.get(i, ()))
        if found.weighed is not None and i in found.weighed.edge_remarks:
            remarks.append(found.weighed.edge_remarks[i])
        remarks.extend(seen.remarks)
        if number in found.stressed:
            remarks.append(found.stressed[number].reason(leaks=_leaks(found.weighed, i)))
        if found.setup.kind is None:
            hold, bar = [_no_reference(found.setup), *_alike(found, i), *bar, *hold], ()
        waiting = _waiting(found.setup, bool(read_near_a_limit[i]))
        disposition, reasons = decide(
            Findings(limit_part.reject, tuple(hold), tuple(remarks), bar),
            _evidence(found.weighed, i, settings.rule),
            settings.rule,
            waiting,
        )
        told = _told(found, i)
        out.append(
            made(
                PartResult, part=name, session=found.sessions[i], status="judged", disposition=disposition, **told,
                limits=found.limit_results[i], fit=found.fit_results[i], curves=found.curves[i], quality=quality,
                readings_used=used, outlier_distance=_distance(found, i), reasons=reasons, next_measurement=None,
            )
        )  # fmt: skip
    return out


def _evidence(weighed: WeighedLot | None, part: int, rule: Rule) -> PartEvidence | None:
    if weighed is None or weighed.assumed:  # an assumed population decides nothing
        return None
    found, alone = weighed.evidence, len(weighed.rows) < FEW
    reach = float((found.reach_absolute if alone else found.reach)[part])
    evidence = float(found.weighed.evidence[part])
    fault_leads = evidence >= REJECT_EVIDENCE and words.leading(weighed, part)[1].startswith(FAULTS)
    return PartEvidence(
        evidence,
        float(found.weighed.probability_unfit[part]),
        reach,
        fault_leads,
        words.reason_for(weighed, part, reach, alone=alone, rule=rule),
    )


_NOT_WEIGHED: dict[str, Any] = dict.fromkeys(
    (
        "evidence", "evidence_by_reading", "hypotheses", "probability_unfit", "probability_of_substitution",
        "area_ratio", "reach", "reach_absolute", "closest_types", "cannot_see",
    )
)  # fmt: skip


def _told(found: LotFindings, part: int) -> dict[str, Any]:
    """Fields of the result that evidence fills."""
    weighed = found.weighed
    if weighed is None:
        return _NOT_WEIGHED
    of = weighed.evidence
    return {
        "evidence": float(of.weighed.evidence[part]),
        "evidence_by_reading": words.by_reading(weighed, part),
        "hypotheses": words.hypotheses_of(weighed, part),
        "probability_unfit": float(of.weighed.probability_unfit[part]),
        "probability_of_substitution": float(of.weighed.probability_of_substitution[part]),
        "area_ratio": words.area_of(weighed, part),
        "reach": float(of.reach[part]),
        "reach_absolute": None if weighed.assumed else float(of.reach_absolute[part]),
        "closest_types": None if weighed.assumed else weighed.closest[part],
        "cannot_see": words.unseen(weighed, part),
    }


def _barred(found: LotFindings, part: int, *, fits_nothing: bool) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Reasons why evidence decides nothing about a part, and those that only stand in the way of an accept.

    What no hypothesis explains is held, whatever its evidence; `fits_nothing`: its own fit misses the readings too.
    """
    weighed = found.weighed
    if weighed is None:
        return (), ()
    halves = weighed.undecided_halves
    bar = () if halves is None else (halves.reason(),)
    if not bar and float(weighed.evidence.weighed.evidence[part]) >= REJECT_EVIDENCE:
        if weighed.sheets_alone(part):
            bar = (words.sheets_alone(weighed, part),)
        elif weighed.bulk_near(part):
            bar = (words.bulk_near(weighed, part),)
    reason = outlier_reason(weighed.outliers, part)
    if reason is None:
        return bar, ()
    return ((*bar, reason), ()) if fits_nothing or words.unexplained(weighed, part) else (bar, (reason,))


def _distance(found: LotFindings, part: int) -> float | None:
    distance = float(found.weighed.outliers.found.distance[part]) if found.weighed is not None else np.nan
    return distance if np.isfinite(distance) else None


def _unusable(name: str, session: str | None, quality: list[QualityNote]) -> PartResult:
    return PartResult(
        part=name, session=session, status="unusable", disposition=None, quality=quality, reasons=[say.NO_READINGS]
    )


def _no_reference(setup: TypeSetup) -> Reason:
    return say.no_reference(setup.name, setup.close, setup.two_types)


def _alike(found: LotFindings, part: int) -> tuple[Reason, ...]:
    """Of a part of an unknown type: like or unlike its lot, or the known-good parts. It decides nothing."""
    of = found.weighed
    if of is None:
        return ()
    parts, lots = of.known_good_parts, of.known_good_lots
    alike = compare(of.evidence, part, known_good_parts=parts, known_good_lots=lots, basis=of.assumed)
    return (alike.reason,)


def _leaks(weighed: WeighedLot | None, part: int) -> bool:
    """The readings speak against the part, and a leaking base-emitter junction is the likeliest reason."""
    if weighed is None or weighed.assumed or not weighed.evidence.weighed.evidence[part] > 0:
        return False
    return words.leading(weighed, part)[1].startswith("base-emitter leak")


def _waiting(setup: TypeSetup, reached: bool) -> Reason:
    """What is said of a part that failed nothing."""
    if setup.kind is not None and setup.prior is None:
        return say.LIMITS_ALONE if reached else say.NO_LIMIT_REACHED
    return say.NOT_YET_WEIGHED if reached else say.NO_LIMIT_REACHED


def _misfits(found: LotFindings) -> dict[int, list[Reason]]:
    fit = found.fit
    if fit is None:
        return {}
    out: dict[int, list[Reason]] = {}
    with np.errstate(invalid="ignore"):
        bad = fit.fitted & (fit.p < MISFIT_P)
    for i in np.flatnonzero(bad).tolist():
        name = found.setup.name or "marked type's"
        out.setdefault(i, []).append(say.misfit(float(fit.chi_square[i]), int(fit.dof[i]), float(fit.p[i]), name))
    for i in np.flatnonzero(fit.fitted & ~fit.converged).tolist():
        out.setdefault(i, []).append(say.fit_failed(fit.status[i]))
    return out


def _limit_findings(judged: LimitJudgement, part: int, risk: float) -> Findings:
    reject: list[tuple[float, Reason]] = []
    hold: list[tuple[float, Reason]] = []
    remarks: list[Reason] = []
    for k, limit in enumerate(judged.limits):
        if judged.reached[k, part] == NOT_REACHED:
            continue
        value, std, chance = (float(a[k, part]) for a in (judged.value, judged.std, judged.chance))
        if judged.unconfirmed[k, part]:
            carried = bool(judged.reached[k, part] == CARRIED)
            hold.append((chance, say.limit_unconfirmed(limit, value, std, chance, carried=carried)))
        elif judged.broken[k, part] and judged.nonconforming[part]:
            reject.append((chance, say.limit_broken(limit, value, std, chance)))
        elif judged.broken[k, part]:
            hold.append((chance, say.some_editions(limit, value, std, chance)))
        elif judged.decision[k, part] == UNDECIDED and judged.reached[k, part] == DIRECT:
            remarks.append(say.guard_band(limit, value, std, chance, risk))
        elif judged.decision[k, part] < UNDECIDED:
            carried = bool(judged.reached[k, part] == CARRIED)
            hold.append((chance, say.near_miss(limit, value, std, chance, carried=carried)))
    return Findings(_worst_first(reject), _worst_first(hold), tuple(remarks))


def _worst_first(pairs: list[tuple[float, Reason]]) -> tuple[Reason, ...]:
    return tuple(reason for _, reason in sorted(pairs, key=lambda pair: pair[0]))
