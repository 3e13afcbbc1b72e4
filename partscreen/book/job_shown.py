"""Jobs as answers: all on a line each, or one with everything needed on the day it comes back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from partscreen.book.day import silent
from partscreen.book.entries import FAILED, BiasKept, OutcomeKept
from partscreen.book.facts import Facts
from partscreen.book.jobs import Fitting, fittings, whereabouts
from partscreen.book.places import LotRef, job_parts
from partscreen.book.show import OF_A_JOB, erased_photos, head_fields, lines, sibling, standing_line
from partscreen.book.standing import standing_of, standings_of_lot
from partscreen.book.words import sentence
from partscreen.results.bench import JobLine, JobPlace, Jobs, JobShown, SiblingsOf


def job_lines(facts: Facts, fitted: Sequence[Fitting], *, today: date, after: int) -> list[JobLine]:
    """Every job on a line, the one fitted into last comes first. `after`: days until a silent part is overdue."""
    bias: dict[str, int] = {}
    for fact in facts.find("bias"):
        job = fact.of(BiasKept).job
        bias[job] = bias.get(job, 0) + 1
    by_job: dict[str, list[Fitting]] = {}
    for one in fitted:
        by_job.setdefault(one.fitted.job, []).append(one)
    found = [_job_line(job, several, bias.get(job, 0), today, after) for job, several in by_job.items()]
    return sorted(found, key=lambda line: line.last_on, reverse=True)


def _job_line(job: str, fitted: Sequence[Fitting], bias: int, today: date, after: int) -> JobLine:
    untold = silent(fitted)
    since = min((one.fitted.on for one in untold), default=None)
    days = (today - since).days if since else None
    return JobLine(
        job=job,
        inside=sum(not one.out for one in fitted),
        out=sum(one.out for one in fitted),
        silent=len(untold),
        failed=sum(any(o.of(OutcomeKept).what in FAILED for o in one.outcomes) for one in fitted),
        bias=bias,
        first_on=min(one.fitted.on for one in fitted).isoformat(),
        last_on=max(one.fitted.on for one in fitted).isoformat(),
        silent_since=since.isoformat() if since else None,
        days=days,
        overdue=days is not None and days >= after,
    )


def all_jobs(facts: Facts, *, today: date, after: int) -> Jobs:
    """Every job of the book."""
    return Jobs(**head_fields(facts), jobs=job_lines(facts, fittings(facts), today=today, after=after))


def job_in_full(facts: Facts, job: str, *, today: date) -> JobShown:
    """What sits where in a job, bias at sign-off, outcomes, and where the siblings of its parts are.

    Raises
    ------
    UnusableInput
        Nothing is fitted in a job of that name.
    """
    job_parts(facts, job)
    fitted = fittings(facts, job=job)
    bias = [fact.of(BiasKept) for fact in facts.find("bias", job=job)]
    lots = dict.fromkeys(LotRef(one.ref.supplier, one.ref.lot, one.ref.type) for one in fitted)
    return JobShown(
        **head_fields(facts),
        job=job,
        places=[_place(facts, one, bias, today) for one in sorted(fitted, key=lambda one: one.out)],
        lots=[_siblings(facts, lot, job) for lot in lots],
        history=lines(facts.find(OF_A_JOB, job=job)),
        erased=erased_photos(facts),
    )


def _place(facts: Facts, one: Fitting, bias: Sequence[BiasKept], today: date) -> JobPlace:
    fitted = one.fitted
    mine = [b for b in bias if (b.supplier, b.lot, b.part, b.position) == (*_named(one), fitted.position)]
    return JobPlace(
        part=fitted.part,
        lot=fitted.lot,
        supplier=fitted.supplier,
        type=fitted.type,
        channel=fitted.channel,
        position=fitted.position,
        on=fitted.on.isoformat(),
        days=(today - fitted.on).days,
        out=one.out,
        outcome=sentence(one.outcomes[-1].payload) if one.outcomes else None,
        disposition=standing_of(facts, one.ref).disposition,
        bias=[sentence(b) for b in mine],
        entry=one.fact.seq,
    )


def _named(one: Fitting) -> tuple[str | None, str, str]:
    return one.ref.supplier, one.ref.lot, one.ref.part


def _siblings(facts: Facts, lot: LotRef, job: str) -> SiblingsOf:
    found = whereabouts(facts, lot, standings_of_lot(facts, lot))
    return SiblingsOf(
        lot=lot.lot,
        supplier=lot.supplier,
        type=lot.type,
        elsewhere=[sibling(one) for one in found.fitted if one.fitted.job != job],
        drawer=[standing_line(one) for one in found.drawer],
    )
