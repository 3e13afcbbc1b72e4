"""Papers for fitting and power-up: the pair list and the power-up card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput
from partscreen.workflow.saved import load_matching, load_screening
from partscreen.workflow.settings import load_library
from partscreen.workflow.typed.sheet import write_all

if TYPE_CHECKING:
    from partscreen.reference import Library
    from partscreen.report.papers.pairs import InStage
    from partscreen.results import Screening
    from partscreen.results.matching import Matching
    from partscreen.results.power_up import PowerUp
    from partscreen.stage.devices import KnownPart
    from partscreen.stage.model import Stage
    from partscreen.stage.power_up import Fitting


@dataclass(frozen=True, slots=True)
class CardOptions:
    """What the user set for a card or a pair list.

    `results`: of `screen`, with the parts' curves. `match`: a result of `match`; `set_number`: only this set of it,
    counted from 1. `warm_up`: None for 15 to 20 minutes (common practice, no source); `soak`: None where not known.
    """

    results: tuple[Path, ...] = ()
    match: Path | None = None
    set_number: int | None = None
    warm_up: str | None = None
    soak: str | None = None
    references: tuple[Path, ...] = ()
    overwrite: bool = False


@dataclass(frozen=True, slots=True)
class Card:
    """A file written, and what each of its cards says."""

    file: Path
    cards: tuple[PowerUp, ...]

    @property
    def forbidden(self) -> tuple[str, ...]:
        """Why power must not be put on; empty where nothing was found."""
        return tuple(dict.fromkeys(sentence for card in self.cards for sentence in card.stop))


def paper_card(stage_file: Path, out: Path, options: CardOptions | None = None) -> Card:
    """The power-up card of a stage; with a match, one card for each of its sets that has a part for every place.

    Raises
    ------
    UnusableInput
        A file or a time cannot be used, a part named for a place is not among the accepted ones, no set of the match
        fits the stage, or the place cannot be written to; problems of all files at once.
    """
    from partscreen.report.papers.card import card_pdf
    from partscreen.stage.power_up import power_up
    from partscreen.stage.power_up_words import WARM_UP, Times

    chosen = options or CardOptions()
    stage, screenings, matching = _load(stage_file, chosen)
    times = Times(chosen.warm_up or WARM_UP, chosen.soak).checked()
    library = load_library(chosen.references)
    parts = _parts(screenings, library)
    fittings: list[Fitting | None] = [None]
    if matching is not None:
        fittings = list(fittings_of(matching, stage, chosen.set_number, str(chosen.match)))
    cards = tuple(power_up(stage, library, parts, fitting=fitting, times=times) for fitting in fittings)
    (written,) = write_all({out: card_pdf(cards)}, overwrite=chosen.overwrite)
    return Card(written, cards)


def paper_pairs(
    match_file: Path, out: Path, stage_file: Path | None = None, options: CardOptions | None = None
) -> Path:
    """The pair list of a match; with a stage, what each part should read there.

    Raises
    ------
    UnusableInput
        A file cannot be used, a part of the match is in no result given, or the place cannot be written to.
    """
    from partscreen.report.papers.pairs import pairs_pdf

    chosen = options or CardOptions()
    problems: list[Problem] = []
    matching = stage = None
    screenings: Sequence[Screening] = ()
    try:
        matching = load_matching(match_file)
    except UnusableInput as error:
        problems += error.problems
    if stage_file is None and chosen.results:
        fix = "name the stage file too, or leave the results out"
        problems.append(Problem("PAPER_STAGE", "results serve only with a stage file", fix, "--result"))
    try:
        if stage_file is not None:
            stage, screenings, _ = _load(stage_file, chosen)
    except UnusableInput as error:
        problems += error.problems
    if problems or matching is None:
        raise UnusableInput(problems)
    inside = None
    if stage is not None:
        library = load_library(chosen.references)
        inside = in_stage(matching, stage, library, _parts(screenings, library))
    return write_all({out: pairs_pdf(matching, inside)}, overwrite=chosen.overwrite)[0]


def in_stage(matching: Matching, stage: Stage, library: Library, parts: Sequence[KnownPart] = ()) -> InStage:
    """Expected readings of every set of a match in a stage.

    Raises
    ------
    UnusableInput
        As `partscreen.stage.power_up_split.expected_drops`.
    """
    from partscreen.report.papers.pairs import InStage
    from partscreen.stage.power_up_split import expected_drops

    drops: dict[tuple[str, str], float] = {}
    without: dict[int, str] = {}
    basis = ""
    for number, found in enumerate(matching.sets, 1):
        expected = expected_drops(found, stage, library, parts)
        drops |= expected.drops
        basis = expected.basis or basis
        if expected.why:
            without[number] = expected.why
    return InStage(stage.stage.name, drops, basis, without)


def fittings_of(matching: Matching, stage: Stage, wanted: int | None = None, file: str = "") -> tuple[Fitting, ...]:
    """The sets of a match as parts for the places of a stage.

    Raises
    ------
    UnusableInput
        There is no such set, or none with a part for every place.
    """
    from partscreen.report.papers.pairs import sets_in
    from partscreen.stage.power_up import Fitting

    n, found = stage.stage.devices_per_rail, []
    sets = sets_in(matching, wanted)
    for number, one in sets:
        sides = {
            letter: tuple(f"{p.lot}/{p.part}" for p in one.places if p.position.startswith(letter)) for letter in "NP"
        }
        if len(sides["N"]) == n and len(sides["P"]) == n:
            amplifier = f", amplifier {one.amplifier}" if one.amplifier else ""
            found.append(Fitting(sides["N"], sides["P"], f"set {number}{amplifier}"))
    if found:
        return tuple(found)
    if not sets:
        what = f"the match holds no set {wanted}" if wanted is not None else "the match holds no set"
        fix = f"sets are numbered 1 to {len(matching.sets)}" if matching.sets else "match the parts again"
        raise UnusableInput([Problem("PAPER_SET", what, fix, file)])
    what = f"no set of the match has {n} NPN and {n} PNP for the {n} place(s) on each rail"
    fix = f"make sets with `match --sets N --per-rail {n}`" if n > 1 else "make pairs with `match --pairs`"
    raise UnusableInput([Problem("PAPER_SET", what, fix, file)])


def _load(stage_file: Path, chosen: CardOptions) -> tuple[Stage, tuple[Screening, ...], Matching | None]:
    """Every file of a run; problems of all of them at once."""
    from partscreen.stage.read import load_stage

    problems: list[Problem] = []
    screenings: list[Screening] = []
    stage = matching = None
    try:
        stage = load_stage(stage_file)
    except UnusableInput as error:
        problems += error.problems
    for path in chosen.results:
        try:
            screenings.append(load_screening(path))
        except UnusableInput as error:
            problems += error.problems
    if chosen.match is not None:
        try:
            matching = load_matching(chosen.match)
        except UnusableInput as error:
            problems += error.problems
        if not chosen.results:
            fix = "give the results of `screen` that were matched too"
            problems.append(Problem("PAPER_RESULT", "a match holds no curves of its parts", fix, str(chosen.match)))
    elif chosen.set_number is not None:
        problems.append(Problem("PAPER_SET", "a set needs a match", "give it with --match", "--set"))
    if problems or stage is None:
        raise UnusableInput(problems)
    return stage, tuple(screenings), matching


def _parts(screenings: Sequence[Screening], library: Library) -> tuple[KnownPart, ...]:
    from partscreen.stage.devices import known_parts

    return known_parts(screenings, library)[0]
