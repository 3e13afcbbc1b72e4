"""The figures of a result as files: SVG, PNG and PDF."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.options import Outcome, Progress, silent

if TYPE_CHECKING:
    from partscreen.report.figure_files import Form
    from partscreen.report.figure_set import NamedPanel
    from partscreen.results import Screening
    from partscreen.results.matching import Matching
    from partscreen.results.plan import PlanResult
    from partscreen.results.stage import StageResult
    from partscreen.results.trust import Trust

_FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # of every file in an archive: the same figures give the same archive


def figures_of(
    result: Outcome | Screening | Matching | PlanResult | StageResult | Trust,
    *,
    runs: Sequence[tuple[str, Screening]] = (),
    references: Sequence[Path] = (),
) -> list[NamedPanel]:
    """Every figure of a result, each with a name. None of them: an empty list.

    Parameters
    ----------
    result : of any command
        An `Outcome` of `screen_files` has its readings with it; a saved screening only what was concluded of them.
    runs : for a match: the screenings that were matched, each with a name
    references : for a match: reference files of types

    Raises
    ------
    UnusableInput
        A match without the screenings that were matched.
    """
    from partscreen.report import figure_set
    from partscreen.results import Screening
    from partscreen.results.matching import Matching
    from partscreen.results.plan import PlanResult
    from partscreen.results.stage import StageResult

    if isinstance(result, Outcome):
        return figure_set.screening_set(result.screening, result.report)
    if isinstance(result, Screening):
        return figure_set.screening_set(result, None)
    if isinstance(result, PlanResult):
        return figure_set.plan_set(result)
    if isinstance(result, StageResult):
        return figure_set.stage_set(result)
    if isinstance(result, Matching):
        from partscreen.workflow.after.matching import matched_figures

        if not runs:
            what = "the figures of a match need the results that were matched: curves are in those"
            raise UnusableInput([Problem("FIGURES_RUNS", what, "give them as runs", "figures")])
        return figure_set.match_set(matched_figures(runs, result, references=references))
    return figure_set.trust_set(result)


def draw_figures(
    figures: Sequence[NamedPanel] | Outcome | Screening | PlanResult | StageResult | Trust,
    place: Path,
    *,
    forms: Sequence[Form] | None = None,
    progress: Progress | None = None,
) -> list[Path]:
    """Draw the figures of a result as NAME.svg, NAME.png and NAME.pdf; the paths written.

    The same figures give the same bytes.

    Parameters
    ----------
    figures : a result, or what `figures_of` gave
    place : a folder; or an archive, where its name ends in .zip
    forms : all three, if not given

    Raises
    ------
    UnusableInput
        There is no figure, or the place cannot be written to.
    """
    chosen = figures if isinstance(figures, Sequence) else figures_of(figures)
    drawn = _drawn(chosen, forms, progress)
    try:
        return _pack(drawn, place) if place.suffix.lower() == ".zip" else _write(drawn, place)
    except OSError as error:
        raise not_writable(error, error.filename or place) from error


def _write(drawn: Iterator[tuple[str, bytes]], folder: Path) -> list[Path]:
    written = []
    for name, content in drawn:
        folder.mkdir(parents=True, exist_ok=True)
        written.append(write_whole(folder / name, content))
    return written


def _pack(drawn: Iterator[tuple[str, bytes]], path: Path) -> list[Path]:
    first = next(drawn)  # nothing to draw is told before a file is begun
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (first, *drawn):
            archive.writestr(zipfile.ZipInfo(name, _FIRST_DAY), content, zipfile.ZIP_DEFLATED)
    return [write_whole(path, packed.getvalue())]


def _drawn(
    figures: Sequence[NamedPanel], forms: Sequence[Form] | None, progress: Progress | None
) -> Iterator[tuple[str, bytes]]:
    from partscreen.report.figure_files import FORMS, figure_forms

    tell = progress or silent
    if not figures:
        what = "there is nothing to draw: no curve, no lot with a date, or no readings"
        raise UnusableInput([Problem("NO_FIGURE", what, "leave the figures out", "figures")])
    for number, one in enumerate(figures):
        tell("drawing figures", number, len(figures))
        for form, content in figure_forms(one.panel, tuple(forms or FORMS)).items():
            yield f"{one.name}.{form}", content
    tell("drawing figures", len(figures), len(figures))
