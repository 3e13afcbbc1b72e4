"""Which supplier to trust: from the bench book, or from saved results of `screen`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from partscreen import __version__
from partscreen.bounded_files import MAX_RESULT, parse_json, read_capped
from partscreen.errors import Problem, UnusableInput
from partscreen.whole_files import write_whole

if TYPE_CHECKING:
    from partscreen.book.facts import Facts
    from partscreen.book.store import Book
    from partscreen.lots.likelihood import Bulk
    from partscreen.lots.trust_records import FieldOutcome, LotRecord
    from partscreen.results.trust import NotCounted, Trust

PRIOR_SHARE = 0.1  # expected before any reading, where a record does not say (the default of screen)
KNOWN_GOOD = "known-good by your own word: not a delivery to be judged"


@dataclass(frozen=True, slots=True)
class TrustOptions:
    """What the user asks. `book`: path or URL, None: the platform's; `results`: saved results, taken in its place.

    `half_life`: days after which a lot counts half. `tolerable`: share of unfit parts. `as_of`: year-month-day.
    `history`: also what was known at earlier dates; None: where suppliers are few. `supplier`: answer of this one
    alone; the others still count as what suppliers are like.
    """

    book: str | None = None
    results: tuple[Path, ...] = ()
    half_life: float | None = None
    tolerable: float | None = None
    as_of: str | None = None
    history: bool | None = None
    supplier: str | None = None


def weigh_suppliers(options: TrustOptions) -> Trust:
    """What is known of every supplier.

    Raises
    ------
    UnusableInput
        A setting, a result or the book cannot be used; every problem at once.
    """
    from partscreen.lots.trust import HALF_LIFE_DAYS, supplier_trust
    from partscreen.screening.lot.view import TOLERABLE_SHARE

    day = _checked(options)
    if options.results:
        records, left_out = records_of_results(options.results)
        outcomes: list[FieldOutcome] = []
    else:
        records, outcomes, left_out = records_of_book(options.book)
    found = supplier_trust(
        records,
        outcomes,
        version=__version__,
        as_of=day if day is not None or options.results else date.today(),
        half_life_days=options.half_life or HALF_LIFE_DAYS,
        tolerable=options.tolerable or TOLERABLE_SHARE,
        history=options.history,
    )
    found = found.model_copy(update={"not_counted": [*left_out, *found.not_counted]})
    return found if options.supplier is None else _only(found, options.supplier)


def _only(found: Trust, supplier: str) -> Trust:
    """The answer about one supplier."""
    mine = [one for one in found.suppliers if one.supplier == supplier]
    left_out = [one for one in found.not_counted if one.supplier == supplier]
    if not mine and not left_out:
        named = ", ".join(one.supplier for one in found.suppliers[:20] if one.supplier)
        fix = f"known are {named}" if named else "record a lot of theirs first"
        raise UnusableInput([Problem("TRUST_SUPPLIER", f"nothing is known of {supplier!r}", fix, "--supplier")])
    order = [one for one in found.order if supplier in (one.first, one.second)]
    return found.model_copy(update={"suppliers": mine, "order": order, "not_counted": left_out})


def _checked(options: TrustOptions) -> date | None:
    problems = []
    if options.half_life is not None and not 0 < options.half_life < 1e6:
        what = f"{options.half_life:g} is no half-life in days"
        problems.append(Problem("TRUST_HALF_LIFE", what, "give days above 0, say --half-life 730", "--half-life"))
    if options.tolerable is not None and not 0 < options.tolerable < 1:
        what = f"{options.tolerable:g} is no share of unfit parts"
        problems.append(Problem("TRUST_TOLERABLE", what, "give a share between 0 and 1: 0.1", "--tolerable"))
    if options.results and options.book is not None:
        fix = "take --book or --from, not both"
        problems.append(Problem("TRUST_SOURCES", "a book and saved results are both given", fix, "--from"))
    day = None
    if options.as_of is not None:
        try:
            day = date.fromisoformat(options.as_of)
        except ValueError:
            what = f"{options.as_of!r} is no date"
            problems.append(Problem("TRUST_DATE", what, "write it as 2026-01-31", "--as-of"))
    if problems:
        raise UnusableInput(problems)
    return day


def records_of_results(paths: Sequence[Path]) -> tuple[list[LotRecord], list[NotCounted]]:
    """Lots of saved results of `screen`, in the order given, and what does not count.

    Raises
    ------
    UnusableInput
        A file is not there or is no result of `screen`.
    """
    from partscreen.lots.action import bulk_of_lot, evidence_of_lot
    from partscreen.lots.trust_records import LotRecord
    from partscreen.results.trust import NotCounted

    problems: list[Problem] = []
    records, left_out = [], []
    for path in paths:
        screening = _screening(path, problems)
        for lot in screening.lots if screening is not None else ():
            if lot.known_good:
                left_out.append(NotCounted(supplier=lot.supplier, lot=lot.lot, why=KNOWN_GOOD))
                continue
            evidence, certain = evidence_of_lot(lot.parts)
            prior = float(screening.settings.get("prior_share") or PRIOR_SHARE)
            bulk = bulk_of_lot(lot.judgement, lot.bulk_unfit, prior)
            records.append(
                LotRecord(lot.supplier or "", lot.lot, lot.type or "", evidence=evidence, certain=certain, bulk=bulk)
            )
    if problems:
        raise UnusableInput(problems)
    return records, left_out


def _screening(path: Path, problems: list[Problem]) -> Any:
    from partscreen.results import Screening

    try:
        return Screening.model_validate(parse_json(read_capped(path, MAX_RESULT)))
    except OSError as error:
        what = f"cannot be read: {error.strerror or error}"
        problems.append(Problem("TRUST_FILE", what, "check the path and the name", str(path)))
    except (ValueError, ValidationError):
        fix = "give files that screen --json OUT.json wrote"
        problems.append(Problem("TRUST_FILE", "this is no result of partscreen screen", fix, str(path)))
    return None


def records_of_book(where: str | None) -> tuple[list[LotRecord], list[FieldOutcome], list[NotCounted]]:
    """Lots and outcomes of a bench book, and what does not count.

    Raises
    ------
    UnusableInput
        There is no book, or it cannot be read.
    """
    from partscreen.workflow.book.common import opened

    with opened(where) as (book, facts):
        records, left_out = _lots_of(book)
        return records, _outcomes_of(facts), left_out


def _lots_of(book: Book) -> tuple[list[LotRecord], list[NotCounted]]:
    from partscreen.lots.trust_records import LotRecord
    from partscreen.results.trust import NotCounted

    bought = {}
    for entry in book.entries(kind="lot"):
        day = _day((entry.body.get("told") or {}).get("bought_on"))
        if day is not None:
            bought[entry.body.get("supplier"), entry.body["lot"]] = day
    records, left_out = [], []
    for entry in book.entries(kind="screening"):
        body = entry.body
        supplier, lot = body.get("supplier"), body["lot"]
        if body.get("known_good"):
            left_out.append(NotCounted(supplier=supplier, lot=lot, why=KNOWN_GOOD))
            continue
        parts = body.get("evidence", [])
        certain = frozenset(p["part"] for p in parts if p.get("because") in ("limit", "dead", "wrong_polarity"))
        weighed = {p["part"]: float(p["evidence"]) for p in parts if p.get("evidence") is not None}
        records.append(
            LotRecord(
                supplier or "",
                lot,
                body.get("type") or "",
                bought.get((supplier, lot)) or _day(entry.recorded_at[:10]),
                {part: e for part, e in weighed.items() if part not in certain},
                certain,
                _bulk(body),
            )
        )
    return records, left_out


def _bulk(body: dict[str, Any]) -> Bulk | None:
    from partscreen.lots.action import bulk_of_lot

    prior = float((body.get("settings") or {}).get("prior_share") or PRIOR_SHARE)
    return bulk_of_lot(str(body.get("judgement")), body.get("bulk_unfit"), prior)


def _outcomes_of(facts: Facts) -> list[FieldOutcome]:
    from partscreen.book.entries import FittedKept, OutcomeKept
    from partscreen.lots.trust_records import FieldOutcome

    channel = {}
    for fact in facts.find("fitted"):
        fitted = fact.of(FittedKept)
        channel[fitted.supplier, fitted.lot, fitted.part, fitted.job] = fitted.channel or ""
    out = []
    for fact in facts.find("outcome"):
        kept = fact.of(OutcomeKept)
        if kept.part is None or kept.supplier is None:
            continue
        event = ""
        if kept.job:
            side = channel.get((kept.supplier, kept.lot, kept.part, kept.job), "")
            event = f"{kept.job}|{side}|{kept.on.isoformat()}"
        out.append(
            FieldOutcome(
                kept.supplier, kept.lot, kept.part, kept.what, kept.days, kept.cause, event, kept.type or "", kept.on
            )
        )
    return out


def _day(text: Any) -> date | None:
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        return None


def write_trust_figure(result: Trust, path: Path) -> None:
    """Draw the shares over time as an SVG file.

    Raises
    ------
    UnusableInput
        No lot has a date, or the file cannot be written.
    """
    from partscreen.report.figures_trust import trust_svg

    text = trust_svg(result)
    if text is None:
        fix = "leave --figure out, or record lots in a bench book, which knows their dates"
        raise UnusableInput([Problem("TRUST_NO_DATES", "no lot has a date to draw", fix, str(path))])
    try:
        write_whole(path, text)
    except OSError as error:
        what = f"cannot be written: {error.strerror or error}"
        raise UnusableInput([Problem("TRUST_FIGURE", what, "check the folder", str(path))]) from error
