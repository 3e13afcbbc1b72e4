"""The figures of a result as files: SVG, PNG and PDF."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput
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
    """Every figure of a result, each with a name.

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
        from partscreen.workflow.matching import matched_figures

        if not runs:
            what = "the figures of a match need the results that were matched: curves are in those"
            raise UnusableInput([Problem("FIGURES_RUNS", what, "give them as runs", "figures")])
        return figure_set.match_set(matched_figures(runs, result, references=references))
    return figure_set.trust_set(result)


def write_figures(
    figures: Sequence[NamedPanel],
    folder: Path,
    *,
    forms: Sequence[Form] | None = None,
    progress: Progress | None = None,
) -> list[Path]:
    """Write figures into a folder as NAME.svg, NAME.png and NAME.pdf; the paths written.

    Raises
    ------
    UnusableInput
        There is no figure, or the place cannot be written to.
    """
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in _drawn(figures, forms, progress):
            (folder / name).write_bytes(content)
            written.append(folder / name)
    except OSError as error:
        raise _not_writable(error, folder) from error
    return written


def pack_figures(
    figures: Sequence[NamedPanel], path: Path, *, forms: Sequence[Form] | None = None, progress: Progress | None = None
) -> Path:
    """Write figures into one archive (ZIP); the same figures give the same bytes.

    Raises
    ------
    UnusableInput
        There is no figure, or the place cannot be written to.
    """
    try:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in _drawn(figures, forms, progress):
                archive.writestr(zipfile.ZipInfo(name, _FIRST_DAY), content, zipfile.ZIP_DEFLATED)
    except OSError as error:
        raise _not_writable(error, path) from error
    return path


def _drawn(
    figures: Sequence[NamedPanel], forms: Sequence[Form] | None, progress: Progress | None
) -> Iterator[tuple[str, bytes]]:
    from partscreen.report.figure_files import FORMS, figure_forms

    tell = progress or silent
    if not figures:
        what = "there is nothing to draw: no curve, no lot with a date or no readings"
        raise UnusableInput([Problem("NO_FIGURE", what, "leave the figures out", "figures")])
    for number, one in enumerate(figures):
        tell("drawing figures", number, len(figures))
        for form, content in figure_forms(one.panel, tuple(forms or FORMS)).items():
            yield f"{one.name}.{form}", content
    tell("drawing figures", len(figures), len(figures))


def _not_writable(error: OSError, path: Path) -> UnusableInput:
    fix = "name a folder that exists and may be written to"
    what = f"cannot write: {error.strerror or error}"
    return UnusableInput([Problem("NOT_WRITABLE", what, fix, str(error.filename or path))])
