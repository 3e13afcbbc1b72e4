"""What the book holds of a part, a lot, a supplier, a type or a job: from entries to answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from partscreen.book.entries import ErasedKept, OutcomeKept, ScreeningKept
from partscreen.book.facts import Fact, Facts
from partscreen.book.jobs import Fitting, fittings, whereabouts
from partscreen.book.places import LotRef, PartRef, job_parts
from partscreen.book.standing import Standing, standing_of, standings, standings_of_lot
from partscreen.book.words import OUTCOME_WORDS, sentence
from partscreen.errors import Problem, UnusableInput
from partscreen.results.book import EntryLine, LotLine, PartStanding, Shown, Sibling, Where

OF_A_PART = (
    "part", "override", "approval", "quarantine", "match", "fitted", "bias", "outcome", "observation", "stress",
    "retest",
)  # fmt: skip
OF_A_LOT = (
    "screening", "override", "approval", "quarantine", "fitted", "outcome", "observation", "stress", "retest",
)  # fmt: skip
OF_A_JOB = ("fitted", "bias", "outcome", "observation")
_LONG = ("readings", "result", "evidence", "inputs", "settings", "kit")  # fields too long for a line of a history


def head_fields(facts: Facts) -> dict[str, Any]:
    """Place and head of the book, as every answer carries them."""
    head = facts.book.head()
    return {"book": str(facts.book.place), "entries": head.seq, "head": head.hash}


def line_of(fact: Fact) -> EntryLine:
    """A fact as one line of a history."""
    body = fact.payload.body()
    return EntryLine(
        entry=fact.seq,
        kind=fact.kind,
        recorded_at=fact.recorded_at,
        lot=body.get("lot"),
        supplier=body.get("supplier"),
        part=body.get("part"),
        job=body.get("job"),
        sentence=sentence(fact.payload),
        older=list(fact.older),
        values={name: value for name, value in body.items() if name not in _LONG},
    )


def standing_line(one: Standing, fitted: str | None = None) -> PartStanding:
    """A standing as an answer."""
    return PartStanding(
        part=one.part,
        disposition=one.disposition,
        original=one.original if one.override is not None else None,
        code=one.code,
        evidence=one.evidence,
        older_judgements=one.older,
        overridden_by=one.overridden_by,
        reason=one.reason,
        approved_by=list(one.approved_by),
        refused_by=list(one.refused_by),
        stale=one.stale,
        quarantine=one.quarantine,
        fitted=fitted,
    )


def show_part(facts: Facts, ref: PartRef) -> Shown:
    """Everything the book holds of one part."""
    found = facts.find(OF_A_PART, **ref.keys)
    whole_lot = facts.find(("quarantine", "outcome"), lot=ref.lot, supplier=ref.supplier, part=None)
    fitted = _fitted_words(fittings(facts, **ref.keys))
    return Shown(
        **head_fields(facts),
        asked=dict(ref.keys),
        parts=[standing_line(standing_of(facts, ref), fitted.get(ref.part))],
        history=lines([*found, *whole_lot, *_reading_corrections(facts, ref.lot, ref.supplier, ref.part)]),
        erased=erased_photos(facts),
    )


def show_lot(facts: Facts, lot: LotRef) -> Shown:
    """A lot: its judgements, how its parts stand, what happened to it."""
    keys = {"lot": lot.lot, "supplier": lot.supplier}
    standings = standings_of_lot(facts, lot)
    fitted = _fitted_words(fittings(facts, **keys))
    return Shown(
        **head_fields(facts),
        asked=dict(keys),
        lots=_lot_lines(facts, **keys),
        parts=[standing_line(one, fitted.get(one.part)) for one in standings],
        history=lines([*facts.find(OF_A_LOT, **keys), *_reading_corrections(facts, lot.lot, lot.supplier)]),
        erased=erased_photos(facts),
    )


def show_supplier(facts: Facts, supplier: str) -> Shown:
    """Every lot of a supplier, and what became of its parts.

    Raises
    ------
    UnusableInput
        Nothing of that supplier is in the book.
    """
    return _show_lots(facts, {"supplier": supplier}, "--supplier", "supplier")


def show_type(facts: Facts, type_name: str) -> Shown:
    """Every lot of a type, and what became of its parts.

    Raises
    ------
    UnusableInput
        Nothing of that type is in the book.
    """
    return _show_lots(facts, {"type": type_name}, "--type", "type")


def _show_lots(facts: Facts, keys: dict[str, str], option: str, what: str) -> Shown:
    found = _lot_lines(facts, **keys)
    if not found:
        asked = next(iter(keys.values()))
        here = sorted({str(e.body.get(what)) for e in facts.book.entries(kind="screening") if e.body.get(what)})
        fix = f"the book holds {', '.join(here[:20])}" if here else "record readings first: screen FILES --record"
        raise UnusableInput([Problem("BOOK_NOTHING", f"no lot of the {what} {asked!r} is in the book", fix, option)])
    later = facts.find(("quarantine", "outcome", "override"), **keys)
    return Shown(**head_fields(facts), asked=dict(keys), lots=found, history=lines(later))


def show_job(facts: Facts, job: str) -> Shown:
    """A job: what sits where, bias at sign-off, outcomes.

    Raises
    ------
    UnusableInput
        Nothing is fitted in a job of that name.
    """
    refs = {ref: None for ref, _ in job_parts(facts, job)}
    words = {one.ref: text for one, text in _words_of(fittings(facts, job=job))}
    parts = [standing_line(standing_of(facts, ref), words.get(ref)) for ref in refs]
    return Shown(
        **head_fields(facts), asked={"job": job}, parts=parts, history=lines(facts.find(OF_A_JOB, job=job))
    )  # fmt: skip


def show_all(facts: Facts) -> Shown:
    """Every lot of the book on a line."""
    return Shown(**head_fields(facts), lots=_lot_lines(facts))


def where_lot(facts: Facts, lot: LotRef) -> Where:
    """Every job that holds a part of the lot, and what is left in the drawer."""
    found = whereabouts(facts, lot, standings_of_lot(facts, lot))
    return Where(
        **head_fields(facts),
        lot=lot.lot,
        supplier=lot.supplier,
        type=lot.type,
        jobs=list(found.jobs),
        siblings=[sibling(one) for one in found.fitted],
        drawer=[standing_line(one) for one in found.drawer],
        gone=[standing_line(one) for one in found.gone],
    )


def sibling(one: Fitting) -> Sibling:
    """A part in a job as an answer."""
    last = one.outcomes[-1].of(OutcomeKept) if one.outcomes else None
    fitted = one.fitted
    return Sibling(
        job=fitted.job,
        channel=fitted.channel,
        position=fitted.position,
        part=fitted.part,
        on=fitted.on.isoformat(),
        outcome=sentence(last) if last else None,
        out=one.out,
    )


def erased_photos(facts: Facts) -> list[str]:
    """Hashes of photos and files whose content was taken out."""
    return [fact.of(ErasedKept).sha256 for fact in facts.find("erased")]


def lines(found: Sequence[Fact]) -> list[EntryLine]:
    """Facts as a history, in the order in which they were first written."""
    once = {fact.first: fact for fact in found}
    return [line_of(once[first]) for first in sorted(once)]


def _reading_corrections(facts: Facts, lot: str, supplier: str | None, part: str | None = None) -> list[Fact]:
    return [
        Fact(seq, "correction", facts.book.entry(seq).recorded_at, one, seq)
        for seq, one in facts.reading_corrections
        if (one.lot, one.supplier) == (lot, supplier) and part in (None, one.part)
    ]


def _words_of(found: Sequence[Fitting]) -> list[tuple[Fitting, str]]:
    out = []
    for one in found:
        end = f" ({OUTCOME_WORDS[one.outcomes[-1].of(OutcomeKept).what]})" if one.outcomes else ""
        out.append((one, f"job {one.fitted.job}, position {one.fitted.position}{end}"))
    return out


def _fitted_words(found: Sequence[Fitting]) -> dict[str, str]:
    return {one.ref.part: words for one, words in _words_of(found)}


def _lot_lines(facts: Facts, **keys: str | None) -> list[LotLine]:
    judged: dict[tuple[str | None, str], list[Fact]] = {}
    for fact in facts.find("screening", **keys):
        one = fact.of(ScreeningKept)
        judged.setdefault((one.supplier, one.lot), []).append(fact)
    stand = standings(facts, **keys)
    return [_lot_line(several, stand[key]) for key, several in judged.items()]


def _lot_line(judged: Sequence[Fact], parts: Sequence[Standing]) -> LotLine:
    newest = judged[-1]
    one = newest.of(ScreeningKept)
    counts = Counter(standing.disposition for standing in parts)
    return LotLine(
        lot=one.lot,
        supplier=one.supplier,
        type=one.type,
        judgement=one.judgement,
        share_unfit=one.share_unfit,
        parts=counts.total(),
        accepted=counts["accept"],
        held=counts["hold"],
        rejected=counts["reject"],
        not_usable=counts[None],
        judged_on=newest.recorded_at[:10],
        entry=newest.seq,
        older_judgements=len(judged) - 1,
    )
