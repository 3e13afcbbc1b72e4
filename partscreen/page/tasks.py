"""What the worker process runs: each task calls one workflow function and gives back what pages show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from inspect import signature
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from partscreen.workflow import Outcome, Progress, ScreenOptions, Understood


@dataclass(frozen=True, slots=True)
class ScreenTask:
    """Files, settings and where to record the run; `record` False: nowhere."""

    files: tuple[Path, ...]
    options: ScreenOptions
    record: bool = False
    book: str | None = None


@dataclass(frozen=True, slots=True)
class ReportTask:
    """A result that is to be written as a report into a folder."""

    outcome: Outcome
    folder: Path
    title: str


@dataclass(frozen=True, slots=True)
class AskTask:
    """One workflow function by name, what it is asked, and words for the page that waits."""

    function: str
    args: tuple[Any, ...]
    options: dict[str, Any]
    words: str = ""


def understand(task: ScreenTask, progress: Progress) -> Understood:
    """How the files are understood."""
    from partscreen.workflow import understand_files

    return understand_files(task.files, task.options, progress=progress)


def screen(task: ScreenTask, progress: Progress) -> Outcome:
    """The judgement of the files; without the batch, which pages do not show."""
    from dataclasses import replace

    from partscreen.workflow import keep_screening, screen_files

    outcome = screen_files(task.files, task.options, progress=progress)
    if task.record:
        outcome = keep_screening(outcome, task.files, task.options, task.book)
    return replace(outcome, batch=None, kit=None)


def report(task: ReportTask, progress: Progress) -> Path:
    """Write the report."""
    from partscreen.workflow import write_outcome

    progress("drawing the report", 0, 1)
    write_outcome(task.outcome, out=task.folder, title=task.title)
    return task.folder / "report.html"


def ask(task: AskTask, progress: Progress) -> Any:
    """Whatever the workflow function gives back."""
    from partscreen import workflow
    from partscreen.errors import PartscreenError, Problem, UnusableInput

    assert task.function in workflow.__all__
    progress(task.words, 0, 1)
    function = getattr(workflow, task.function)
    telling = {"progress": progress} if "progress" in signature(function).parameters else {}
    try:
        return function(*task.args, **task.options, **telling)
    except UnusableInput:
        raise
    except PartscreenError as error:
        raise UnusableInput([Problem("", str(error), "put it right and send again")]) from error


TASKS: dict[str, Callable[[Any, Progress], Any]] = {
    "understand": understand,
    "screen": screen,
    "report": report,
    "ask": ask,
}


def _reading() -> None:
    import partscreen.readings.import_files  # noqa: F401


def _judging() -> None:
    import partscreen.report.collect
    import partscreen.screening.screen  # noqa: F401


def _library() -> None:
    from partscreen.workflow.settings import load_library

    load_library()


def _outliers() -> None:
    import sklearn.covariance  # noqa: F401


WARMING: tuple[Callable[[], None], ...] = (_reading, _judging, _library, _outliers)
"""What tasks need, loaded while nobody waits."""
