"""One function per user question; the only place where rooms meet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen import __version__
from partscreen.errors import Problem, UnusableInput

if TYPE_CHECKING:
    from partscreen.report.data import ReportData
    from partscreen.results import Screening

Progress = Callable[[str, int, int], None]


def _silent(what: str, done: int, total: int) -> None:
    return None


@dataclass(frozen=True, slots=True)
class ScreenOptions:
    """What the user set for one run of `screen`.

    `risk`: consumer's risk at a limit (0.02: ANSI/NCSL Z540.3). `prior_share` (assumption 0.1) and `reach` (assumption 0.6) are
    recorded in the result and used once evidence is weighed. `temperature_c`: case temperature where files state none. [degC]
    """

    lots: Path | None = None
    lot_texts: tuple[str, ...] = ()
    type_name: str | None = None
    columns: Path | None = None
    kit: Path | None = None
    references: tuple[Path, ...] = ()
    risk: float = 0.02
    prior_share: float = 0.1
    reach: float = 0.6
    temperature_c: float | None = None
    brief: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """A screening, what its report needs besides, and the exit code of the command."""

    screening: Screening
    exit_code: int
    report: ReportData | None = None
    notices: tuple[str, ...] = field(default=())

    def json_text(self, *, brief: bool = False) -> str:
        """The result as JSON (`partscreen.screening/1`); `brief` leaves out covariances and curves."""
        leave_out: Any = None
        if brief:
            leave_out = {"lots": {"__all__": {"parts": {"__all__": {"fit": {"covariance"}, "curves": True}}}}}
        return self.screening.model_dump_json(by_alias=True, exclude=leave_out)
