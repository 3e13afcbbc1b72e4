"""Which parts go together?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen import __version__
from partscreen.errors import Problem, UnknownType, UnusableInput, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.saved import load_matching, load_screening
from partscreen.workflow.settings import load_library, polarity_of

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from partscreen.matching.options import MatchOptions
    from partscreen.matching.usage import Usage
    from partscreen.reference import Library
    from partscreen.report.panels import Panel
    from partscreen.results import Screening
    from partscreen.results.matching import MatchedSet, Matching

    Floats = npt.NDArray[np.float64]


def match_results(
    files: Sequence[Path | str], options: MatchOptions | None = None, *, references: Sequence[Path] = ()
) -> Matching:
    """Match the accepted parts of one or more results of `screen` (JSON files).

    Raises
    ------
    UnusableInput
        A file is no result, holds no curves, a part stands in two of them, or what is asked for cannot be made of
        these parts; every problem of the files at once.
    """
    return match_screenings(read_runs(files), options, references=references)


def read_runs(files: Sequence[Path | str]) -> list[tuple[str, Screening]]:
    """Results of `screen`, each with the name of its file.

    Raises
    ------
    UnusableInput
        A file is no result; every problem of the files at once.
    """
    runs: list[tuple[str, Screening]] = []
    problems: list[Problem] = []
    for file in files:
        try:
            runs.append((Path(file).name, load_screening(Path(file))))
        except UnusableInput as error:
            problems += error.problems
    if problems:
        raise UnusableInput(problems)
    return runs


def match_screenings(
    runs: Sequence[tuple[str, Screening]], options: MatchOptions | None = None, *, references: Sequence[Path] = ()
) -> Matching:
    """Match the accepted parts of screenings at hand; each with a name for messages.

    Raises
    ------
    UnusableInput
        As `match_results`.
    """
    from partscreen.matching.match import match_stock
    from partscreen.matching.options import MatchOptions
    from partscreen.matching.stock import collect

    chosen = (options or MatchOptions()).checked()
    library = load_library(references)
    stock = collect(runs, lambda name: polarity_of(library, name), held=chosen.held, lots=chosen.lots)
    found = match_stock(stock, chosen, lambda name: _complement_of(library, name), version=__version__)
    if chosen.buy_for is None:
        return found
    from partscreen.matching.buying import parts_to_buy

    to_buy = parts_to_buy(
        stock,
        chosen,
        lambda name: _complement_of(library, name),
        lambda name, usage, count: _population_points(library, name, usage, count),
    )
    return found.model_copy(update={"to_buy": to_buy})


def _population_points(library: Library, name: str, usage: Usage, count: int) -> Floats | None:
    """Parts of one lot of a type, drawn from its population: rows of ln hFE and VBE [V] at the working currents."""
    from partscreen.matching.population import drawn_parts
    from partscreen.reference.population import population_for

    try:
        population = population_for(library.find(name).type)
    except UnknownType:
        return None
    return None if population is None else drawn_parts(population, usage, count)


def _complement_of(library: Library, name: str) -> str | None:
    try:
        return library.find(name).type.device.complement or None
    except UnknownType:
        return None


def write_matching(matching: Matching, path: Path | str) -> Path:
    """Write a match as JSON (`partscreen.matching/1`).

    Raises
    ------
    UnusableInput
        The place cannot be written to.
    """
    target = Path(path)
    try:
        write_whole(target, matching.model_dump_json(by_alias=True))
    except OSError as error:
        raise not_writable(error, path) from error
    return target


def write_match_table(matching: Matching, path: Path | str) -> Path:
    """Write a match as a table (CSV), one row a part, parts left over last.

    Raises
    ------
    UnusableInput
        The place cannot be written to.
    """
    from partscreen.report.match_table import write_match_table as write

    target = Path(path)
    try:
        write(matching, target)
    except OSError as error:
        raise not_writable(error, path) from error
    return target


def match_and_draw(
    files: Sequence[Path | str],
    options: MatchOptions | None = None,
    *,
    references: Sequence[Path] = (),
    sets: int | None = None,
) -> tuple[Matching, list[tuple[Panel, Panel]]]:
    """As `match_results`, with the figures of the sets (`matched_figures`).

    Raises
    ------
    UnusableInput
        As `match_results`.
    """
    runs = read_runs(files)
    found = match_screenings(runs, options, references=references)
    drawn = [] if sets == 0 else matched_figures(runs, found, references=references, sets=sets)
    return found, drawn


def reopen_match(
    match_file: Path, files: Sequence[Path | str] = (), *, references: Sequence[Path] = (), sets: int | None = None
) -> tuple[Matching, list[tuple[Panel, Panel]]]:
    """A saved match; with the results that were matched, the figures of its sets too.

    Raises
    ------
    UnusableInput
        A file is not what it should be, or a part of the match is in none of the results.
    """
    found = load_matching(match_file)
    if not files:
        return found, []
    runs = read_runs(files)
    known = {(lot.lot, part.part) for _, run in runs for lot in run.lots for part in lot.parts}
    absent = [f"{one.lot}/{one.part}" for made in found.sets for one in made.places if (one.lot, one.part) not in known]
    if absent:
        what = f"{', '.join(absent[:8])} of the match stand(s) in none of the results"
        fix = "bring the results that were matched, or leave them out"
        raise UnusableInput([Problem("MATCHING", what, fix, str(match_file))])
    return found, matched_figures(runs, found, references=references, sets=sets)


def write_match_figures(panels: Sequence[tuple[Panel, Panel]], place: Path) -> list[Path]:
    """Write the figures of sets, two a set, numbered as the sets are, as SVG, PNG and PDF; the paths written.

    Raises
    ------
    UnusableInput
        There is no set, or the place cannot be written to.
    """
    from partscreen.report import figure_set
    from partscreen.workflow.figures import draw_figures

    return draw_figures(figure_set.match_set(list(panels)), place)


def matched_figures(
    runs: Sequence[tuple[str, Screening]],
    matching: Matching,
    *,
    references: Sequence[Path] = (),
    sets: int | None = None,
) -> list[tuple[Panel, Panel]]:
    """Figures of the sets of a match, in its order: gain and VBE of their parts on top of each other.

    `runs`: those that were matched. `sets`: only so many; None: all. Draw them with `partscreen.report.svg.panel_svg`
    or `partscreen.report.drawing.figure_svg`.
    """
    from partscreen.matching.overlay import by_name, overlay
    from partscreen.matching.stock import collect
    from partscreen.report.figures_matching import matched_gain_panel, matched_vbe_panel

    library = load_library(references)
    told = matching.settings
    stock = collect(runs, lambda name: polarity_of(library, name), held=told["held"], lots=told["lots"])
    parts = by_name(stock.parts)
    out = []
    for number, found in enumerate(matching.sets[:sets], 1):
        types = {place.type for place in found.places}
        compared = next(c for c in matching.currents if types <= set(c.types.split(" with ")))
        laid = overlay(found, parts, compared)
        told_at = _conditions(runs, found)
        out.append(
            (
                matched_gain_panel(laid, number, told["tolerance_hfe"], told_at),
                matched_vbe_panel(laid, number, told["tolerance_vbe"] / 1e3, told_at),
            )
        )
    return out


def _conditions(runs: Sequence[tuple[str, Screening]], found: MatchedSet) -> str:
    """At what the curves of a set's parts are told: VCE, and the junction at 25 degC."""
    placed = {(place.lot, place.part) for place in found.places}
    volts = {
        part.curves.vce
        for _, screening in runs
        for lot in screening.lots
        for part in lot.parts
        if (lot.lot, part.part) in placed and part.curves is not None and part.curves.vce is not None
    }
    vce = " and ".join(f"{v:.3g} V" for v in sorted(volts))
    return f"VCE = {vce}, junction 25 °C" if vce else "junction 25 °C"
