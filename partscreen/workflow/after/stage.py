"""Will the stage bear its parts, and what can take an obsolete type's place?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.saved import load_matching, load_screening
from partscreen.workflow.settings import load_library

if TYPE_CHECKING:
    from partscreen.results import Screening
    from partscreen.results.matching import Matching
    from partscreen.results.stage import ReplaceResult, StageResult

EXIT_OF = {"ok": 0, "marginal": 5, "not_known": 5, "not_ok": 4}
"""Exit code of `stage` by its worst check."""


def check_stage(
    stage_file: Path,
    results: Sequence[Path] = (),
    *,
    references: Sequence[Path] = (),
    match: Path | None = None,
    set_number: int | None = None,
) -> StageResult:
    """Every check of an output stage, with the curves of screened parts where results of `screen` are given.

    `match`: a result of `match`; the parts of its set `set_number` (None: the first that has a part for every place)
    go into the places, in their order.

    Raises
    ------
    UnusableInput
        The stage file, a result, a match or a reference file cannot be used, or no set of the match fits the stage;
        problems of all files are listed at once.
    """
    from partscreen.stage.devices import known_parts
    from partscreen.stage.judge import judge_stage
    from partscreen.stage.power_up import fitted_stage
    from partscreen.stage.read import load_stage
    from partscreen.workflow.papers.power_up import fittings_of

    problems: list[Problem] = []
    screenings: list[Screening] = []
    stage = None
    try:
        stage = load_stage(stage_file)
    except UnusableInput as error:
        problems += error.problems
    for path in results:
        try:
            screenings.append(load_screening(path))
        except UnusableInput as error:
            problems += error.problems
    matching = _match_of(match, set_number, bool(results), problems)
    if problems or stage is None:
        raise UnusableInput(problems)
    library = load_library(references)
    parts, notes = known_parts(screenings, library)
    if matching is not None:
        fitting = fittings_of(matching, stage, set_number, str(match))[0]
        stage = fitted_stage(stage, fitting)
        notes = (f"Parts in their places: {fitting.channel} of the match.", *notes)
    return judge_stage(stage, library, parts, notes)


def _match_of(
    match: Path | None, set_number: int | None, has_results: bool, problems: list[Problem]
) -> Matching | None:
    """The match whose parts go into the stage; what stands against it is added to `problems`."""
    if match is None:
        if set_number is not None:
            problems.append(Problem("STAGE_SET", "a set needs a match", "give it with --match", "--set"))
        return None
    if not has_results:
        fix = "give the results of `screen` that were matched too"
        problems.append(Problem("STAGE_RESULT", "a match holds no curves of its parts", fix, str(match)))
    try:
        return load_matching(match)
    except UnusableInput as error:
        problems += error.problems
        return None


def replace_type(name: str, stage_file: Path | None = None, *, references: Sequence[Path] = ()) -> ReplaceResult:
    """Library types ranked as replacements of a type, in a stage where one is given.

    Raises
    ------
    UnknownType
        The type is not in the library.
    UnusableInput
        The stage file or a reference file cannot be used, or the stage holds another type.
    """
    from partscreen.stage.read import load_stage
    from partscreen.stage.replacement import replacements

    stage = None if stage_file is None else load_stage(stage_file)
    return replacements(name, load_library(references), stage)


def write_stage(result: StageResult, out: Path) -> Path:
    """Write the page of a stage into a folder; the path written.

    Raises
    ------
    UnusableInput
        The place cannot be written to.
    """
    from partscreen.report.stage_page import render_stage

    try:
        out.mkdir(parents=True, exist_ok=True)
        page = out / "stage.html"
        write_whole(page, render_stage(result))
    except OSError as error:
        raise not_writable(error, error.filename or out) from error
    return page
