"""What `screen` prints of a large run: a line a lot; its parts stand in the result."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from partscreen.cli.show import say

if TYPE_CHECKING:
    from partscreen.workflow.volume.run import Streamed

WORDS = {"reject": "rejected", "hold": "held", "accept": "accepted", "unusable": "not usable"}


def show_streamed(run: Streamed) -> int:
    """Print the lots of a run and where its result is; returns the exit code."""
    from partscreen.report.view import JUDGEMENTS

    for lot in run.lots:
        marked = f", marked {lot.type}" if lot.type else ""
        tally = ", ".join(f"{lot.tally[name]} {word}" for name, word in WORDS.items() if lot.tally.get(name))
        parts = f"{lot.n_parts} part{'s' if lot.n_parts != 1 else ''}"
        typer.echo(f"Lot {lot.lot}{marked}: {parts}: {tally}. {JUDGEMENTS[lot.judgement]}")
    for problem in run.problems:
        say(problem)
    for note in run.notices:
        say(f"note: {note}")
    say(f"written: {run.path}")
    return run.exit_code
