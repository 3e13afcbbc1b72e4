"""What a user sets for one run, and what a run gives back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from partscreen.errors import Problem
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.tables import Batch
    from partscreen.report.data import ReportData
    from partscreen.results import Screening
    from partscreen.results.book import Recorded

Progress = Callable[[str, int, int], None]


def silent(what: str, done: int, total: int) -> None:
    return None


@dataclass(frozen=True, slots=True)
class ScreenOptions:
    """What the user set for one run of `screen`.

    `risk`: consumer's risk at a limit (0.02: ANSI/NCSL Z540.3). `prior_share` of unfit parts (assumption 0.1).
    `reach`: die area ratio an accept must be able to show (assumption 0.6). `cost` of a bad part in parts thrown away
    (assumption 10). `temperature_c`: case temperature where files state none. [degC] `spreads`: file of learned ones.
    `learn_from`: bench book to learn them from, where it has enough lots ("" for the default book); None: none.
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
    cost: float = 10.0
    temperature_c: float | None = None
    brief: bool = False
    spreads: Path | None = None
    learn_from: str | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """A screening, what its report and the bench book need besides, and the exit code of the command.

    `recorded`: what the bench book answered; `not_recorded`: why it could not keep the run.
    """

    screening: Screening
    exit_code: int
    report: ReportData | None = None
    notices: tuple[str, ...] = field(default=())
    batch: Batch | None = None
    kit: Kit | None = None
    recorded: Recorded | None = None
    not_recorded: tuple[Problem, ...] = ()

    def json_text(self, *, brief: bool = False) -> str:
        """The result as JSON (`partscreen.screening/1`); `brief` leaves out covariances and curves."""
        leave_out: Any = None
        if brief:
            leave_out = {"lots": {"__all__": {"parts": {"__all__": {"fit": {"covariance"}, "curves": True}}}}}
        return self.screening.model_dump_json(by_alias=True, exclude=leave_out)
