"""What the lots of the bench book teach about spreads, and which spreads a run is judged by."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnknownType, UnusableInput
from partscreen.whole_files import write_whole
from partscreen.workflow.options import Progress, ScreenOptions
from partscreen.workflow.settings import kelvin, load_library

if TYPE_CHECKING:
    from partscreen.book.entries import PartKept, ScreeningKept
    from partscreen.book.store import Book
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.tables import Lot
    from partscreen.reference import Library
    from partscreen.reference.learned import LearnedSpreads
    from partscreen.screening.learn.of_lots import MeasuredLot
    from partscreen.screening.lot.setup import PopulationFor

LotKey = tuple[str | None, str]

ENOUGH_LOTS = 10
"""Lots of a book from which on it is learned from without being asked (assumption: as many as lift the floor)."""

MOST_LOTS, MOST_UNASKED = 200, 20
"""Newest lots learned from: when asked, and before a run that is recorded (about half a second a lot of ten parts)."""

TEACH = ("use", "test_all", "return")
"""Judgements of lots that teach. Of the others it is not known which parts are as marked."""


def learn_from_book(
    where: str | None = None,
    *,
    out: Path | None = None,
    without: Collection[LotKey] = (),
    least: int = 1,
    most: int = MOST_LOTS,
    references: Sequence[Path] = (),
    progress: Progress | None = None,
) -> LearnedSpreads | None:
    """Spreads learned from the known-good and the judged lots of a book; None with fewer than `least` lots.

    Parameters
    ----------
    where : path or URL of the book; None: the platform's data folder
    out : file to write them to, for `screen --spreads`
    without : lots left out, by (supplier, lot): a lot is never judged by what it taught itself
    most : newest lots looked at

    Raises
    ------
    UnusableInput
        There is no book, it cannot be read, or `out` cannot be written.
    """
    from partscreen.book.store import Book
    from partscreen.reference.learned_file import learned_text
    from partscreen.screening.learn.of_lots import learn_from_lots

    with Book.open(where, create=False) as book:
        lots = _lots_of(book, load_library(references), set(without), most)
    if len(lots) < max(least, 1):
        return None
    learned = learn_from_lots(lots, progress=progress)
    if learned is None or learned.lots < least:
        return None
    if out is not None:
        try:
            write_whole(out, learned_text(learned))
        except OSError as error:
            what = f"cannot be written ({error.strerror})"
            raise UnusableInput(
                [Problem("SPREADS_WRITE", what, "name a file in a folder of yours", out.name)]
            ) from error
    return learned


def populations_of(
    options: ScreenOptions, lots: Sequence[Lot], progress: Progress | None = None
) -> tuple[PopulationFor, str | None]:
    """Where the populations of a run come from, and in words what its spreads were learned from (None: packaged).

    A file of learned spreads is taken as it is. Of a book, the lots of the run itself are left out.

    Raises
    ------
    UnusableInput
        The file of spreads cannot be used.
    """
    from partscreen.reference.learned_file import load_learned, spreads_of
    from partscreen.reference.learned_population import LearnedPopulations
    from partscreen.reference.population import population_for

    if options.spreads is not None:
        found = load_learned(options.spreads)
        digest = hashlib.sha256(options.spreads.read_bytes()).hexdigest()[:12]
        return LearnedPopulations(found), f"{options.spreads.name} ({digest})"
    if options.learn_from is None:
        return population_for, None
    try:
        learned = learn_from_book(
            options.learn_from or None, without=[(lot.supplier, lot.name) for lot in lots], least=ENOUGH_LOTS,
            most=MOST_UNASKED, references=options.references, progress=progress,
        )  # fmt: skip
    except UnusableInput:  # no book yet: it is made when the run is recorded, and what is wrong with it is told then
        learned = None
    if learned is None:
        return population_for, None
    told = f"learned from {learned.parts} parts of {learned.lots} lots of the book"
    return LearnedPopulations(spreads_of(learned)), told


def _lots_of(book: Book, library: Library, without: Collection[LotKey], most: int) -> list[MeasuredLot]:
    """The newest lots that teach, each by its newest judgement."""
    from partscreen.book.entries import ScreeningKept

    seen: set[LotKey] = set()
    out: list[MeasuredLot] = []
    kits = _kits(book)
    for entry in book.entries(kind="screening", newest_first=True):
        kept = ScreeningKept.model_validate(entry.body)
        key = (kept.supplier, kept.lot)
        if key in seen:
            continue
        seen.add(key)
        if key in without or not (kept.known_good or kept.judgement in TEACH):
            continue
        lot = _measured(book, kept, library, kits)
        out += [lot] if lot is not None else []
        if len(out) == most:
            break
    return out


def _kits(book: Book) -> dict[str, Kit]:
    from partscreen.readings.instruments.kit import Kit

    return {entry.body["content_key"]: Kit.model_validate(entry.body["kit"]) for entry in book.entries(kind="kit")}


def _measured(book: Book, kept: ScreeningKept, library: Library, kits: dict[str, Kit]) -> MeasuredLot | None:
    import numpy as np

    from partscreen.book.readings_kept import batch_of
    from partscreen.readings.instruments.uncertainty import session_uncertainty
    from partscreen.screening.learn.of_lots import MeasuredLot
    from partscreen.screening.observe import build_observations

    try:
        kind = library.find(kept.type or "").type
    except UnknownType:
        return None
    parts = _parts(book, kept)
    weights = np.array([_weight(part, kept.known_good) for part in parts])
    if not (weights > 0.0).any():
        return None
    batch = batch_of(parts)
    shared = session_uncertainty(batch, kits.get(kept.kit_key or ""), temperature=kelvin(_told_temperature(kept)))
    rows = np.flatnonzero(weights > 0.0)
    readings = build_observations(batch, rows, session_uncertainty=shared)
    name = f"{kept.supplier or '-'} {kept.lot}"
    return MeasuredLot(kind, name, kept.known_good, readings.observations, weights[rows])


def _told_temperature(kept: ScreeningKept) -> float | None:
    """Case temperature the user gave the run. [degC]"""
    told = kept.settings.get("temperature_c")
    return float(told) if isinstance(told, int | float) else None


def _parts(book: Book, kept: ScreeningKept) -> list[PartKept]:
    from partscreen.book.entries import PartKept

    found: dict[str, PartKept] = {}
    for entry in book.entries(kind="part", lot=kept.lot, supplier=kept.supplier):
        part = PartKept.model_validate(entry.body)
        if part.supplier == kept.supplier:  # a lot without supplier is asked for as any
            found[part.part] = part
    return list(found.values())


def _weight(part: PartKept, known_good: bool) -> float:
    """1 for known-good parts, else the probability of being as marked; 0 for what cannot be either."""
    result = part.result
    certain = result.disposition == "reject" and (not result.reasons or result.reasons[0].code != "SUSPECT")
    if result.status != "judged" or certain or not (part.readings.points or part.readings.spots):
        return 0.0
    if known_good:
        return 0.0 if result.disposition == "reject" else 1.0
    return 0.0 if result.probability_unfit is None else 1.0 - result.probability_unfit
