"""What `stage` and `replace` print."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from partscreen.cli.show import say
from partscreen.whole_files import write_whole

if TYPE_CHECKING:
    from partscreen.report.stage_page import Told
    from partscreen.results.stage import Replacement, ReplaceResult, StageResult

SHOWN = 3  # candidates told in full; the rest get a line each
ORDER = ("not_ok", "not_known", "marginal", "ok")


def write_json(text: str, place: str) -> None:
    """JSON to a file, or to standard output for "-".

    Raises
    ------
    OSError
        The place cannot be written to.
    """
    if place == "-":
        typer.echo(text)
    else:
        write_whole(place, text + "\n")
        say(f"written: {place}")


def _cautions(cautions: list[str]) -> None:
    typer.echo("Cautions first:")
    for caution in cautions:
        typer.echo(f"  - {caution}")


def _line(told: Told) -> str:
    from partscreen.report.stage_page import OUTCOMES

    check = told.check
    return f"  {OUTCOMES[check.result]:<14} {check.code}, {told.about}: {check.sentence}"


def show_stage(result: StageResult) -> None:
    """Cautions, then the checks, worst first; notes at the end."""
    from partscreen.report.stage_page import OUTCOMES, told_once

    _cautions(result.cautions)
    counts = {outcome: sum(check.result == outcome for check in result.checks) for outcome in ORDER}
    told = ", ".join(f"{n} {OUTCOMES[outcome][4:]}" for outcome, n in counts.items() if n)
    name = f"{result.name}: " if result.name else ""
    typer.echo(f"\n{name}{result.npn} and {result.pnp}: {told}")
    rows = told_once(result.checks)
    for outcome in ORDER:
        for row in rows:
            if row.check.result == outcome:
                typer.echo(_line(row))
    for note in result.notes:
        say(f"note: {note}")


def show_replacements(result: ReplaceResult) -> None:
    """Cautions, then the candidates: the first ones with every rating, the others a line each."""
    _cautions(result.cautions)
    partner = f", complement {result.complement}" if result.complement else ""
    usable = [c for c in result.candidates if c.verdict != "not_ok"]
    typer.echo(f"\nIn place of {result.type} ({result.polarity}{partner}):")
    if not usable:
        typer.echo("  no library type comes up to it; the nearest are shown")
    for candidate in result.candidates[:SHOWN]:
        _candidate(candidate)
    rest = result.candidates[SHOWN:]
    if rest:
        typer.echo("\nThe others:")
    for candidate in rest:
        _head(candidate)


def _head(candidate: Replacement) -> None:
    from partscreen.report.stage_page import OUTCOMES

    typer.echo(f"  {candidate.rank}. {candidate.type:<10} {OUTCOMES[candidate.verdict]}: {candidate.why}")


def _candidate(candidate: Replacement) -> None:
    from partscreen.report.stage_page import OUTCOMES, told_once

    typer.echo("")
    _head(candidate)
    for caution in candidate.cautions:
        typer.echo(f"     caution: {caution}")
    for row in candidate.ratings:
        at = f" at {row.conditions}" if row.conditions else ""
        typer.echo(f"     {OUTCOMES[row.result]:<14} {row.symbol}{at}: {row.sentence}")
    for told in told_once(candidate.stage):
        typer.echo(f"   {_line(told)}")
