"""Around a screening at goods-in: what the bench book holds of its parts, and the table for stock systems."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput
from partscreen.workflow.options import Outcome

if TYPE_CHECKING:
    from partscreen.book.facts import Facts
    from partscreen.book.standing import Places, Standing
    from partscreen.results import LotResult, PartResult, Reason


def write_stock_table(outcome: Outcome, path: Path, *, on: date | None = None, append: bool = False) -> Path:
    """Write one row a lot for stock systems; `on`: its date, today if not given.

    Raises
    ------
    UnusableInput
        The place cannot be written to, or rows are to be added to a table with other columns.
    """
    from partscreen.report.stock_table import write_stock

    try:
        write_stock(outcome.screening, path, on or date.today(), append=append)
    except (OSError, ValueError) as error:
        what = f"the stock table cannot be written: {getattr(error, 'strerror', None) or error}"
        fix = "name a folder that exists and may be written to, and a new file or one written by this version"
        raise UnusableInput([Problem("NOT_WRITABLE", what, fix, str(path))]) from error
    return path


def with_book_facts(outcome: Outcome, where: str | None = None) -> Outcome:
    """The outcome with what the bench book holds of its lots and parts, as remarks: quarantine, stress, overrides, and
    what people saw.

    No disposition changes: a person's override stands beside what the readings say.

    Raises
    ------
    UnusableInput
        There is no book, or it cannot be read.
    """
    from partscreen.workflow.book.common import opened

    with opened(where) as (_, facts):
        lots = [_told(lot, facts) for lot in outcome.screening.lots]
    return replace(outcome, screening=outcome.screening.model_copy(update={"lots": lots}))


def _told(lot: LotResult, facts: Facts) -> LotResult:
    from partscreen.book.places import LotRef
    from partscreen.book.standing import quarantine_of, standings_of_lot

    places = quarantine_of(facts, lot.supplier, lot.lot)
    standings = {one.part: one for one in standings_of_lot(facts, LotRef(lot.supplier, lot.lot, lot.type))}
    stress = _stress(lot, facts)
    noted = _noted(lot, facts)
    parts = []
    for part in lot.parts:
        more = [*_aside(part, places), *stress.get(part.part, ()), *noted.get(part.part, ())]
        more += _overridden(standings.get(part.part))
        parts.append(part.model_copy(update={"reasons": [*part.reasons, *more]}) if more else part)
    aside = [_in_quarantine(places.whole, "The lot")] if places.whole else []
    reasons = [*aside, *lot.reasons, *noted.get(None, ())]
    return lot.model_copy(update={"parts": parts, "reasons": reasons})


def _in_quarantine(place: str, what: str) -> Reason:
    from partscreen.results import Reason

    sentence = f"{what} is set aside in {place}, says the bench book: fit nothing of it before it is released."
    return Reason(code="IN_QUARANTINE", sentence=sentence, figures={"place": place})


def _aside(part: PartResult, places: Places) -> Iterator[Reason]:
    place = places.of(part.part)
    if place:
        yield _in_quarantine(place, "The part")


def _stress(lot: LotResult, facts: Facts) -> dict[str, list[Reason]]:
    """What the book tells of parts that were stressed, by part."""
    from partscreen.book.entries import StressKept
    from partscreen.book.words import sentence
    from partscreen.results import Reason
    from partscreen.screening.stress import SOURCE

    found: dict[str, list[Reason]] = {}
    leaks = {part.part: _leaks(part) for part in lot.parts}
    for fact in facts.find("stress", lot=lot.lot, supplier=lot.supplier):
        kept = fact.of(StressKept)
        told = (
            f"Stressed, says the bench book: {sentence(kept)}. Gain at low current and leakage read later may tell of "
            "it and not of the part."
        )
        if leaks.get(kept.part):
            told += " The readings speak for a leaking base-emitter junction: the test may be the cause."
        reason = Reason(code="STRESSED", sentence=told, figures={"stress": kept.what, "entry": fact.seq}, source=SOURCE)
        found.setdefault(kept.part, []).append(reason)
    return found


def _noted(lot: LotResult, facts: Facts) -> dict[str | None, list[Reason]]:
    """What people saw, by part; None: of the lot."""
    from partscreen.book.entries import ObservationKept
    from partscreen.book.words import sentence
    from partscreen.results import Reason

    found: dict[str | None, list[Reason]] = {}
    for fact in facts.find("observation", lot=lot.lot, supplier=lot.supplier):
        kept = fact.of(ObservationKept)
        figures: dict[str, float | int | str | None] = {"entry": fact.seq, "photos": len(kept.blobs)}
        told = f"In the bench book (entry {fact.seq}): {sentence(kept)}."
        found.setdefault(kept.part, []).append(Reason(code="NOTED_IN_BOOK", sentence=told, figures=figures))
    return found


def _leaks(part: PartResult) -> bool:
    return any(str(reason.figures.get("leading", "")).startswith("base-emitter leak") for reason in part.reasons)


def _overridden(standing: Standing | None) -> Iterator[Reason]:
    from partscreen.book.words import DISPOSITION_WORDS
    from partscreen.results import Reason

    if standing is None or standing.override is None:
        return
    by, agreed = standing.overridden_by, ", ".join(standing.approved_by)
    second = f"{agreed} agrees" if agreed else "no second person has agreed yet (partscreen book approve)"
    if standing.refused_by:
        second = f"{', '.join(standing.refused_by)} does not agree" + (f", {agreed} does" if agreed else "")
    sentence = (
        f"In the bench book the part is {DISPOSITION_WORDS[standing.disposition]} by {by} (entry {standing.override}): "
        f"{standing.reason}; {second}. The readings are as told here."
    )
    figures: dict[str, float | int | str | None] = {
        "entry": standing.override, "by": by, "agreed": agreed or None,
        "disposition": standing.disposition,
    }  # fmt: skip
    yield Reason(code="OVERRIDDEN", sentence=sentence, figures=figures)
