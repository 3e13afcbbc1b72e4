"""From the lot to the amplifier and back: what was fitted where, bias at sign-off, what became of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from typing import Any

from partscreen.book.entries import (
    FAILED,
    OUT_OF_THE_STAGE,
    BiasKept,
    Cause,
    FittedKept,
    OutcomeKept,
    OutcomeWhat,
)
from partscreen.book.facts import Fact, Facts
from partscreen.book.places import LotRef, PartRef, job_parts
from partscreen.book.standing import Standing, standing_of
from partscreen.book.store import Draft
from partscreen.book.words import DISPOSITION_WORDS, OUTCOME_WORDS
from partscreen.errors import Problem, UnusableInput

NOT_FITTED_NEEDED = ("returned", "refunded")


@dataclass(frozen=True, slots=True)
class Fitting:
    """A part in a job. `outcomes`: what is recorded of it there since; `out`: it is no longer in the stage."""

    ref: PartRef
    fact: Fact
    outcomes: tuple[Fact, ...]

    @property
    def fitted(self) -> FittedKept:
        return self.fact.of(FittedKept)

    @property
    def out(self) -> bool:
        return any(one.of(OutcomeKept).what in OUT_OF_THE_STAGE for one in self.outcomes)


def fittings(facts: Facts, **keys: str | None) -> list[Fitting]:
    """Fittings by part, lot, supplier or job, each with the outcomes recorded since for that part in that job."""
    fitted = facts.find("fitted", **keys)
    outcomes: dict[tuple[str | None, str], list[Fact]] = {}
    for fact in facts.find("outcome", **keys):
        kept = fact.of(OutcomeKept)
        outcomes.setdefault((kept.supplier, kept.lot), []).append(fact)
    again: dict[tuple[str | None, str, str], list[int]] = {}
    for fact in fitted:
        part = fact.of(FittedKept)
        again.setdefault((part.supplier, part.lot, part.part), []).append(fact.first)
    out = []
    for fact in fitted:
        one = fact.of(FittedKept)
        until = min((f for f in again[one.supplier, one.lot, one.part] if f > fact.first), default=None)
        mine = tuple(
            o
            for o in outcomes.get((one.supplier, one.lot), ())
            if o.first > fact.first and (until is None or o.first < until) and _same(o.of(OutcomeKept), one)
        )
        out.append(Fitting(PartRef(one.supplier, one.lot, one.part, one.type), fact, mine))
    return out


def _same(outcome: OutcomeKept, fitted: FittedKept) -> bool:
    return outcome.part in (None, fitted.part) and outcome.job in (None, fitted.job)


def fitted_draft(
    facts: Facts, ref: PartRef, job: str, position: str, *, channel: str | None, by: str | None, on: date
) -> tuple[Draft, tuple[str, ...]]:
    """The entry of a part soldered in, and what should be thought about.

    Raises
    ------
    UnusableInput
        The part is fitted already, or another part sits at that position: first say what became of it.
    """
    problems = []
    for one in fittings(facts, **ref.keys):
        if not one.out:
            what = f"{ref.words} is fitted already: {_where(one.fitted)}"
            problems.append(Problem("BOOK_FITTED_ALREADY", what, _way_out(one), "--part", part=ref.part))
    for one in fittings(facts, job=job):
        if one.fitted.position == position and one.fitted.channel == channel and one.ref != ref and not one.out:
            what = f"position {position} of job {job} holds {one.ref.words}"
            problems.append(Problem("BOOK_POSITION_TAKEN", what, _way_out(one), "--position"))
    if problems:
        raise UnusableInput(problems)
    kept = FittedKept(**ref.placed, job=job, channel=channel, position=position, by=by, on=on)
    return Draft("fitted", kept.body()), (*_warnings(standing_of(facts, ref), ref), *_perhaps_a_slip(facts, job))


def _where(fitted: FittedKept) -> str:
    return f"job {fitted.job}, position {fitted.position}, since {fitted.on}"


def _way_out(one: Fitting) -> str:
    return (
        f"say what became of it (partscreen book outcome taken-out --job {one.fitted.job} --position "
        f"{one.fitted.position}), or correct entry {one.fact.first} (partscreen book correct {one.fact.first} ...)"
    )


def _warnings(standing: Standing, ref: PartRef) -> tuple[str, ...]:
    found = []
    if standing.disposition != "accept":
        found.append(
            f"{ref.words} is {DISPOSITION_WORDS[standing.disposition]}, not accepted; it is recorded as fitted all the "
            "same. If somebody decided so, record who and why: partscreen book override"
        )
    if standing.quarantine:
        found.append(f"{ref.words} was in quarantine in {standing.quarantine}")
    return tuple(found)


def _perhaps_a_slip(facts: Facts, job: str) -> tuple[str, ...]:
    """A hint where this part opens a job whose name is close to that of another."""
    known = {fact.of(FittedKept).job for fact in facts.find("fitted")}
    close = [] if job in known else get_close_matches(job, sorted(known), 3, 0.8)
    if not close:
        return ()
    return (f"this opens a job {job!r}; the book holds {', '.join(close)}. If it is a slip, correct the entry",)


def bias_drafts(
    facts: Facts, job: str, volts: Mapping[str, float], *, resistor: float | None, ambient: float | None,
    minutes: float | None, by: str | None, on: date,
) -> list[Draft]:  # fmt: skip
    """Bias readings at sign-off [V] by position, or by channel and position ("left Q12") where channels share names.

    Each names the part that sits there now.

    Raises
    ------
    UnusableInput
        The job holds no part, none at one of the positions, or several.
    """
    job_parts(facts, job)
    here = _by_place([one for one in fittings(facts, job=job) if not one.out])
    problems = [_not_one(name, here, job) for name in volts if len(here.get(name, ())) != 1]
    if problems:
        raise UnusableInput(problems)
    return [
        Draft(
            "bias",
            BiasKept(
                **here[place][0].ref.placed, job=job, position=here[place][0].fitted.position,
                channel=here[place][0].fitted.channel, volts=value,
                resistor=resistor, ambient=ambient, minutes=minutes, by=by, on=on,
            ).body(),
        )
        for place, value in volts.items()
    ]  # fmt: skip


def _by_place(fitted: Sequence[Fitting]) -> dict[str, list[Fitting]]:
    """Fittings by position, and by channel and position."""
    found: dict[str, list[Fitting]] = {}
    for one in fitted:
        found.setdefault(one.fitted.position, []).append(one)
        if one.fitted.channel:
            found.setdefault(f"{one.fitted.channel} {one.fitted.position}", []).append(one)
    return found


def _not_one(name: str, here: Mapping[str, Sequence[Fitting]], job: str) -> Problem:
    several = here.get(name, ())
    if several:
        what = f"position {name!r} of job {job!r} stands in several channels"
        told = ", ".join(f"{one.fitted.channel or ''} {one.fitted.position}".strip() for one in several)
        return Problem("BOOK_POSITION_TWICE", what, f"name the channel too: {told}", "readings")
    places = sorted({one.fitted.position for several in here.values() for one in several})
    fix = f"positions with a part: {', '.join(places) or 'none'}; record the part first: book fitted"
    return Problem("BOOK_NEVER_FITTED", f"no part is fitted at position {name!r} of job {job!r}", fix, "readings")


def outcome_drafts(
    facts: Facts, what: OutcomeWhat, *, ref: PartRef | None, lot: LotRef | None, job: str | None, position: str | None,
    days: int | None, cause: Cause | None, note: str | None, by: str | None, on: date,
) -> list[Draft]:  # fmt: skip
    """What became of parts: of one part, of all parts of a job (or of one position), or of a returned lot.

    Raises
    ------
    UnusableInput
        A part that was never fitted cannot pass a soak or fail; days or cause do not go with the outcome.
    """
    _goes_together(what, days, cause, on)
    common: dict[str, Any] = {"what": what, "days": days, "cause": cause, "note": note, "by": by, "on": on}
    if ref is None and lot is not None:
        if what not in NOT_FITTED_NEEDED:
            fix = "name the part with --part, or all parts of a job with --job"
            raise UnusableInput([Problem("BOOK_WHICH_PART", f"{OUTCOME_WORDS[what]}: which part?", fix, "--part")])
        return [Draft("outcome", OutcomeKept(**lot.placed, **common).body())]
    chosen = _chosen(facts, what, ref, job, position, on)
    return [
        Draft("outcome", OutcomeKept(**part.placed, job=where, position=place, **common).body())
        for part, where, place in chosen
    ]


def _goes_together(what: str, days: int | None, cause: str | None, on: date) -> None:
    problems = []
    if what == "failed_after" and days is None:
        problems.append(Problem("BOOK_DAYS", "after how many days did it fail?", "add --days N", "--days"))
    if what != "failed_after" and days is not None:
        problems.append(Problem("BOOK_DAYS", "days go with failed-after alone", "leave --days out", "--days"))
    if what in FAILED and cause is None:
        fix = "add --cause part, --cause stage or --cause not-known: a stage's fault does not count against the part"
        problems.append(Problem("BOOK_CAUSE", "what was the cause?", fix, "--cause"))
    if what not in FAILED and cause is not None:
        problems.append(Problem("BOOK_CAUSE", "a cause goes with a failure alone", "leave --cause out", "--cause"))
    if problems:
        raise UnusableInput(problems)


def _chosen(
    facts: Facts, what: str, ref: PartRef | None, job: str | None, position: str | None, on: date
) -> list[tuple[PartRef, str | None, str | None]]:
    if ref is not None:
        mine = [one for one in fittings(facts, **ref.keys) if job is None or one.fitted.job == job]
        mine = [one for one in mine if not one.out] or mine
        if mine:
            _in_order(mine[-1:], on)
            return [(ref, mine[-1].fitted.job, mine[-1].fitted.position)]
        if what in NOT_FITTED_NEEDED:
            return [(ref, None, None)]
        where = f" in job {job}" if job else ""
        fix = "record where it sits first: partscreen book fitted --job JOB --position POSITION --part PART"
        raise UnusableInput(
            [Problem("BOOK_NEVER_FITTED", f"{ref.words} was never fitted{where}", fix, "--part", part=ref.part)]
        )
    if job is None:
        fix = "name a part with --part, a job with --job, or a returned lot with --lot"
        raise UnusableInput([Problem("BOOK_WHICH_PART", f"{OUTCOME_WORDS[what]}: what?", fix, "--part")])
    job_parts(facts, job, position)
    here = [
        one for one in fittings(facts, job=job) if not one.out and (position is None or one.fitted.position == position)
    ]
    if not here:
        what_words = "every part of it is out of the stage already"
        fix = "name the part with --part to add to its history"
        raise UnusableInput([Problem("BOOK_NOTHING_FITTED", f"job {job}: {what_words}", fix, "--job")])
    _in_order(here, on)
    return [(one.ref, job, one.fitted.position) for one in here]


def _in_order(chosen: Sequence[Fitting], on: date) -> None:
    problems = [
        Problem(
            "BOOK_DATE_ORDER",
            f"{one.ref.words} was fitted on {one.fitted.on}, after {on}",
            f"give a later day, or correct the fitting (partscreen book correct {one.fact.seq} on=DATE --reason TEXT)",
            "--on",
            part=one.ref.part,
        )
        for one in chosen
        if one.fitted.on > on
    ]
    if problems:
        raise UnusableInput(problems)


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Every job that holds parts of a lot, what was returned, and what is left in the drawer."""

    lot: LotRef
    fitted: tuple[Fitting, ...]
    drawer: tuple[Standing, ...]
    gone: tuple[Standing, ...]

    @property
    def jobs(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(one.fitted.job for one in self.fitted))


def whereabouts(facts: Facts, lot: LotRef, standings: Sequence[Standing]) -> Whereabouts:
    """Where the parts of a lot are. `standings`: of every part of the lot (see `partscreen.book.standing`)."""
    fitted = fittings(facts, **lot.keys)
    outcomes = [fact.of(OutcomeKept) for fact in facts.find("outcome", **lot.keys)]
    sent_back = {one.part for one in outcomes if one.what in NOT_FITTED_NEEDED}
    inside = {one.ref.part for one in fitted if not one.out}
    failed = {
        one.ref.part for one in fitted if any(o.of(OutcomeKept).what in (*FAILED, "returned") for o in one.outcomes)
    }
    drawer: list[Standing] = []
    gone: list[Standing] = []
    for one in standings:
        if one.part in inside:
            continue
        away = one.part in sent_back or None in sent_back or one.part in failed
        (gone if away else drawer).append(one)
    return Whereabouts(lot, tuple(fitted), tuple(drawer), tuple(gone))
