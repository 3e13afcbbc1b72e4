"""Screen a batch: every lot judged against its marked type, every part with a disposition and reasons."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations, take_observations
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.instruments.uncertainty import SessionUncertainty
from partscreen.readings.instruments.uncertainty import session_uncertainty as shared_of
from partscreen.readings.tables import Batch
from partscreen.reference.library import Library
from partscreen.reference.population import population_for as library_population
from partscreen.results import LotResult, PartResult, Reason
from partscreen.screening.advice.held_parts import with_advice
from partscreen.screening.disposition import DEFAULT_COST, MISFIT_P, Rule
from partscreen.screening.findings import LotFindings, findings_of_parts
from partscreen.screening.fitting import FitFunction, GroupFit, SessionErrors, fit_group
from partscreen.screening.limits.capacitance import capacitance_remarks
from partscreen.screening.limits.conformance import DEFAULT_RISK
from partscreen.screening.limits.curve_model import CurveModel, PlainLaws
from partscreen.screening.limits.fitted_curves import FittedCurves
from partscreen.screening.limits.judge import PartReadings, judge_limits
from partscreen.screening.limits.spots import spot_tables
from partscreen.screening.limits.values import NOT_REACHED
from partscreen.screening.lot.setup import PopulationFor, Progress, TypeSetup, editions_of_maker, other_types, set_up
from partscreen.screening.lot.sub_lots import with_own_shares
from partscreen.screening.lot.unknown_types import summary, weigh_unknown
from partscreen.screening.lot.view import TOLERABLE_SHARE, judge_lot, view_lot
from partscreen.screening.lot.words import has_reference, lot_reasons, share_unfit
from partscreen.screening.model_error import misfit_for, widened
from partscreen.screening.observe import GroupReadings, build_observations
from partscreen.screening.own_spread import own_spread
from partscreen.screening.part_results import SpreadAt, curve_results, fit_results, limit_results, readings_used
from partscreen.screening.reasons import QUANTITY_WORDS, no_population, no_reference
from partscreen.screening.stress import Stressed, stressed_parts
from partscreen.screening.weighing import WeighedLot, weigh_group
from partscreen.screening.without_power.observations import Seen, look_at, with_observations
from partscreen.screening.without_power.opened_pieces import opened, with_opened_pieces

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user set.

    risk : of a wrong pass at a limit. rule : what an accept asks for. prior_share : of unfit parts.
    temperature : [K]. kit : the user's instruments.
    """

    risk: float
    rule: Rule
    prior_share: float
    temperature: float | None
    kit: Kit | None


@dataclass(frozen=True, slots=True)
class _Group:
    """Lots of one type and gain group, laid out and fitted in one call.

    lots : numbers in the batch. weighed : by lot number; a lot of a type without a population is absent. remarks : on
    every lot.
    """

    setup: TypeSetup
    lots: tuple[int, ...]
    readings: GroupReadings
    fit: GroupFit | None
    weighed: dict[int, WeighedLot]
    remarks: tuple[Reason, ...] = ()
    seen: Mapping[int, Seen] = field(default_factory=dict)
    stressed: Mapping[int, Stressed] = field(default_factory=dict)


def screen_batch(
    batch: Batch,
    library: Library,
    *,
    risk: float = DEFAULT_RISK,
    reach: float = 0.6,
    prior_share: float = 0.1,
    cost: float = DEFAULT_COST,
    kit: Kit | None = None,
    temperature: float | None = None,
    session_uncertainty: SessionUncertainty | None = None,
    population_for: PopulationFor = library_population,
    fit: FitFunction = fit_group,
    progress: Progress | None = None,
    only: Collection[int] | None = None,
    errors: Mapping[tuple[str, str | None], SessionErrors] | None = None,
) -> list[LotResult]:
    """Judge every part of a batch.

    Parameters
    ----------
    batch : Batch
        After quality checks and corrections.
    library : Library
    risk : float
        Consumer's risk at a limit, sets the guard band (ANSI/NCSL Z540.3: 0.02).
    reach : float
        Least reach an accept must have. (assumption 0.6)
    prior_share : float
        Share of unfit parts expected before any reading. (assumption 0.1)
    cost : float
        What a bad part costs, against a part thrown away. (assumption 10)
    kit : Kit, optional
        For what the readings of a session share, where `session_uncertainty` is not given.
    temperature : float, optional
        Case temperature where none was read. [K]
    population_for, fit : callables
        The prior of a type's parts, and the device fit.
    progress : callable(what, done, total), optional
    only : numbers of the lots that are judged; the others may teach them, and their results are empty. None: all.
    errors : of sessions, by type and gain group, where they are known already; None: found here

    Returns
    -------
    list of LotResult
        In the order of `batch.lots`, every part of a lot in the order of the batch. A lot without parts is empty.

    Raises
    ------
    ValueError
        risk, reach or prior_share is not a share, or the cost is not above 0.
    """
    if not 0 < risk <= 0.5:
        raise ValueError(f"risk is {risk}; between 0 and 0.5 is expected (2 % is 0.02)")
    if not 0 <= reach <= 1:
        raise ValueError(f"reach is {reach}; a share between 0 and 1 is expected")
    if not 0 < prior_share < 1:
        raise ValueError(f"prior_share is {prior_share}; a share between 0 and 1 is expected (one in ten is 0.1)")
    if not cost > 0:
        raise ValueError(f"cost is {cost}; a number above 0 is expected: parts thrown away that one bad part is worth")
    shared = session_uncertainty or shared_of(batch, kit, temperature=temperature)
    settings = Settings(risk, Rule(reach, cost), prior_share, temperature, kit)
    results: dict[int, LotResult] = {}
    done = 0
    for group in _groups(batch, library, population_for, fit, shared, settings, progress, only, errors):
        for number in group.lots:
            wanted = only is None or number in only
            results[number] = _screen_lot(batch, number, group, settings) if wanted else _not_asked(batch, number)
            done += 1
            if progress:
                progress("judging lots", done, len(batch.lots))
    return [results[i] for i in range(len(batch.lots))]


def _groups(
    batch: Batch,
    library: Library,
    population_for: PopulationFor,
    fit: FitFunction,
    shared: SessionUncertainty,
    settings: Settings,
    progress: Progress | None,
    only: Collection[int] | None,
    errors: Mapping[tuple[str, str | None], SessionErrors] | None,
) -> list[_Group]:
    by_type: dict[tuple[str | int, str | None], tuple[TypeSetup, list[int]]] = {}
    for number, lot in enumerate(batch.lots):
        setup = set_up(lot, library, population_for)
        # Lots of no stated type have nothing in common.
        by_type.setdefault((setup.name or number, setup.gain_group), (setup, []))[1].append(number)
    groups, done = [], 0
    for setup, lots in by_type.values():
        parts = np.flatnonzero(np.isin(batch.part_lot, lots))
        # Dead and reversed parts are judged by their condition alone; their readings would bend nothing, but fit
        # nothing.
        alive = np.array([p for p in parts.tolist() if p not in batch.condition], dtype=np.int64)
        readings = build_observations(batch, alive, temperature=settings.temperature, session_uncertainty=shared)
        made: GroupFit | None = None
        weighed: dict[int, WeighedLot] = {}
        remarks: tuple[Reason, ...] = ()
        if setup.kind is None:
            weighed, remarks = weigh_unknown(
                batch, lots, readings, prior_share=settings.prior_share, name=setup.name or "", progress=progress
            )
        elif setup.population is not None and setup.prior is not None and alive.size:
            o = readings.observations
            model_error = misfit_for(o, setup.population)
            wide = widened(o, model_error, setup.population.gradings)
            found = None if errors is None else errors.get((setup.name or "", setup.gain_group))
            made = (
                fit(wide, setup.prior) if found is None else fit_group(wide, setup.prior, found.of(readings.sessions))
            )
            weighed = weigh_group(
                o,
                batch.part_lot[alive],
                {number: batch.lots[number] for number in lots},
                setup.population,
                other_types(library, setup, population_for),
                prior_share=settings.prior_share,
                name=setup.name or "",
                progress=progress,
                only=None if only is None or opened(batch) else only,
            )
        weighed = with_own_shares(weighed, batch, readings.parts, settings.prior_share)
        weighed = with_opened_pieces(batch, readings.parts, weighed)
        seen = look_at(batch, readings.parts, setup.kind)
        weighed = with_observations(readings.parts, seen, weighed)
        stressed = stressed_parts(batch, readings.parts)
        groups.append(_Group(setup, tuple(lots), readings, made, weighed, remarks, seen, stressed))
        done += parts.size
        if progress:
            progress("fitting parts", done, batch.n_parts)
    return groups


def _screen_lot(batch: Batch, number: int, group: _Group, settings: Settings) -> LotResult:
    lot, setup = batch.lots[number], group.setup
    everyone = np.flatnonzero(batch.part_lot == number)
    rows = np.flatnonzero(batch.part_lot[group.readings.parts] == number)
    parts = group.readings.parts[rows]
    found = _judge(batch, number, parts, rows, group, settings)
    judged = with_advice(found, findings_of_parts(found, batch, settings), settings.kit)
    results = {int(p): r for p, r in zip(parts, judged, strict=True)}
    dead = [int(p) for p in everyone if int(p) not in results]
    results |= {p: _by_condition(batch, p) for p in dead}
    ordered = [results[int(p)] for p in everyone]
    rejected = sum(r.disposition == "reject" for r in ordered)
    weighed = group.weighed.get(number)
    certain = sum(_rejected_without_evidence(r) for r in ordered)
    usable = sum(r.status == "judged" and not _rejected_without_evidence(r) for r in ordered)
    share = share_unfit(weighed, certain, usable)
    # Parts outside a limit, dead or reversed are unfit whatever the bulk is held against.
    speaks = weighed is None or has_reference(weighed) or certain > TOLERABLE_SHARE * len(ordered)
    reasons = [*group.remarks, *lot_reasons(weighed), *found.view.reasons]
    if setup.kind is None:
        if weighed is not None:
            reasons.insert(0, summary(weighed, [batch.part_names[p] for p in parts.tolist()]))
        reasons.insert(0, no_reference(setup.name, setup.close, setup.two_types))
    elif setup.prior is None:
        reasons.insert(0, no_population(setup.why_no_prior))
    editions = editions_of_maker(setup, lot.maker)
    return LotResult.model_construct(
        lot=lot.name,
        supplier=lot.supplier,
        type=setup.name,
        edition=", ".join(editions) if editions else None,
        known_good=lot.known_good,
        n_parts=len(ordered),
        judgement="undecided"
        if setup.kind is not None and weighed is not None and weighed.undecided_halves is not None
        else judge_lot(
            known_type=setup.kind is not None and speaks,
            about_equal=found.view.about_equal,
            rejected=rejected,
            share_unfit=share,
        ),
        share_unfit=share,
        bulk_unfit=None if weighed is None or weighed.assumed else weighed.evidence.weighed.main_unfit,
        actions=[],
        reasons=reasons,
        parts=ordered,
        groups=found.view.seen,
    )


def _not_asked(batch: Batch, number: int) -> LotResult:
    """In place of the result of a lot that only teaches."""
    return LotResult(lot=batch.lots[number].name, n_parts=0, judgement="test_all")


def _rejected_without_evidence(part: PartResult) -> bool:
    """Dead, reversed, or outside a limit."""
    return part.disposition == "reject" and part.reasons[0].code != "SUSPECT"


def _judge(batch: Batch, number: int, parts: Ints, rows: Ints, group: _Group, settings: Settings) -> LotFindings:
    lot, setup = batch.lots[number], group.setup
    o = take_observations(group.readings.observations, rows)
    fit = group.fit.take(rows) if group.fit is not None else None
    drawn: CurveModel = PlainLaws()
    model: CurveModel = PlainLaws()
    if fit is not None and setup.prior is not None:
        drawn = FittedCurves(fit.theta, fit.covariance, setup.prior.constants)
        # A fit that misses the readings, or never came to rest, corrects nothing and carries nothing: such parts are
        # judged by readings alone.
        with np.errstate(invalid="ignore"):
            trusted = fit.fitted & fit.converged & ~(fit.p < MISFIT_P)
        model = FittedCurves(np.where(trusted[:, None], fit.theta, np.nan), fit.covariance, setup.prior.constants)
    spots = spot_tables(batch, parts, settings.temperature)
    editions = editions_of_maker(setup, lot.maker)
    judged = judge_limits(setup.limits, PartReadings(o, spots, model), risk=settings.risk, editions=editions)
    held = {q: _held_against(judged.limits, judged.reached, q, parts.size) for q in ("c_be", "c_cb")}
    process = lot.extra.get("process")
    remarks = capacitance_remarks(spots, held, setup.field_references, lot.maker, process) if setup.kind else {}
    fitted = fit.fitted if fit is not None else np.zeros(parts.size, dtype=np.bool_)
    return LotFindings(
        setup=setup,
        parts=parts,
        observations=o,
        spots=spots,
        judged=judged,
        fit=fit,
        view=view_lot(o, [batch.part_names[p] for p in parts.tolist()]),
        capacitance=remarks,
        limit_results=limit_results(judged),
        fit_results=fit_results(fit) if fit is not None else [None] * parts.size,
        curves=curve_results(o, drawn, fitted, setup.plan, _spread_at(o, fit, setup)),
        readings_used=readings_used(o, _spot_words(batch, parts)),
        sessions=_session_names(group.readings, rows),
        weighed=group.weighed.get(number),
        seen=group.seen,
        stressed=group.stressed,
    )


def _spread_at(o: Observations, fit: GroupFit | None, setup: TypeSetup) -> SpreadAt | None:
    """What is a part's own of its curves' uncertainty, on a grid of currents."""
    prior, population = setup.prior, setup.population
    if fit is None or prior is None or population is None:
        return None
    wide = widened(o, misfit_for(o, population), population.gradings)
    theta = np.where(fit.fitted[:, None], fit.theta, np.nan)
    return lambda ic, vce, temperature: own_spread(
        o, wide, theta, fit.covariance, prior, population.within, ic, vce, temperature
    )


def _held_against(
    limits: Sequence[object], reached: npt.NDArray[np.int8], quantity: str, n: int
) -> npt.NDArray[np.bool_]:
    mine = [i for i, limit in enumerate(limits) if getattr(limit, "quantity", None) == quantity]
    return (reached[mine] != NOT_REACHED).any(axis=0) if mine else np.zeros(n, dtype=np.bool_)


def _session_names(readings: GroupReadings, rows: Ints) -> list[str | None]:
    names = readings.session_names
    return [names[i] or None if i < len(names) else None for i in readings.observations.session[rows].tolist()]


def _spot_words(batch: Batch, parts: Ints) -> list[list[str]]:
    """Names of the usable spot readings of each part that no sweep shows."""
    spots = batch.spots
    place = {int(p): i for i, p in enumerate(parts)}
    out: list[list[str]] = [[] for _ in place]
    usable = spots.use & ~spots.control & np.isfinite(spots.value)
    for row in np.flatnonzero(usable).tolist():
        at = place.get(int(spots.part[row]))
        quantity = str(spots.quantity[row])
        if at is not None and quantity not in ("hfe", "vbe", "vce_sat"):
            out[at].append(QUANTITY_WORDS.get(quantity, quantity))
    return out


def _by_condition(batch: Batch, part: int) -> PartResult:
    """Dead, reversed or unusable: judged by that alone. Unusable parts have no disposition."""
    condition = batch.condition[part]
    status = condition.status
    reason = Reason(code=condition.code, sentence=condition.sentence, figures=dict(condition.figures))
    return PartResult(
        part=batch.part_names[part],
        status="dead" if status == "dead" else "wrong_polarity" if status == "wrong_polarity" else "unusable",
        disposition=None if status == "unusable" else "reject",
        quality=list(batch.quality.get(part, ())),
        reasons=[reason],
    )
