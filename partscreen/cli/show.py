"""What commands print: results to standard output, messages and progress to standard error."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, NoReturn

import typer

if TYPE_CHECKING:
    from partscreen.results import LotResult, PartResult, Screening

MARK = {"accept": "[=] accept", "hold": "[?] hold  ", "reject": "[x] reject", None: "[-] not usable"}


def say(text: str) -> None:
    """A message, to standard error."""
    typer.echo(text, err=True)


def exit_with(code: int, error: Exception) -> NoReturn:
    """Tell what went wrong and stop with `code`."""
    say(str(error))
    raise typer.Exit(code)


def progress_line() -> Callable[[str, int, int], None]:
    """A progress reporter `(what, done, total)`: one line rewritten in place on a terminal, silent elsewhere."""
    if not sys.stderr.isatty():
        return lambda what, done, total: None

    def show(what: str, done: int, total: int) -> None:
        end = "\n" if done >= total else ""
        sys.stderr.write(f"\r{what}: {done} of {total}\x1b[K{end}")
        sys.stderr.flush()

    return show


def _lot_head(lot: LotResult) -> str:
    from partscreen.report.view import JUDGEMENTS

    bits = [f"Lot {lot.lot}"]
    if lot.type:
        bits.append(f"marked {lot.type}")
    if lot.supplier:
        bits.append(f"supplier {lot.supplier}")
    counts = {name: sum(p.disposition == name for p in lot.parts) for name in ("reject", "hold", "accept", None)}
    words = {"reject": "rejected", "hold": "held", "accept": "accepted", None: "not usable"}
    tally = ", ".join(f"{n} {words[name]}" for name, n in counts.items() if n)
    parts = f"{lot.n_parts} part{'s' if lot.n_parts != 1 else ''}"
    return f"{', '.join(bits)}: {parts}: {tally}\n  The lot: {JUDGEMENTS[lot.judgement]}"


def _part_line(part: PartResult) -> str:
    sentence = part.reasons[0].sentence if part.reasons else ""
    return f"  {part.part:<12} {MARK[part.disposition]}  {sentence}"


def show_screening(screening: Screening, *, invented: bool = False) -> None:
    """The answer in plain lines: a head per lot, then a line for every part that is not merely like its neighbours."""
    if invented:
        typer.echo("Invented data: a demonstration, no statement about any supplier or maker.")
    for item in screening.inputs:
        for problem in item.problems:
            where = ", ".join(
                bit
                for bit in (
                    item.file,
                    f"row {problem.row}" if problem.row else "",
                    f"column {problem.column}" if problem.column else "",
                )
                if bit
            )
            say(f"{where}: {problem.what}\n    -> {problem.fix}")
    for lot in screening.lots:
        typer.echo(f"\n{_lot_head(lot)}")
        for reason in lot.reasons:
            typer.echo(f"  {reason.sentence}")
        groups: dict[tuple[str | None, str], list[str]] = {}
        for part in lot.parts:
            if part.disposition == "hold":
                first = part.reasons[0].sentence if part.reasons else ""
                groups.setdefault((part.disposition, first), []).append(part.part)
            else:
                typer.echo(_part_line(part))
        for (disposition, sentence), names in groups.items():
            shown = ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
            typer.echo(f"  {shown}\n      {MARK[disposition]}  {sentence}")
    for row in screening.not_judged:
        say(f"not judged: {row.part or ''} {row.lot or ''}: {row.why}")


def show_check(type_name: str, screening: Screening, words: tuple[str, ...]) -> None:
    """The answer about one part: disposition, one line an item, the last lines saying what to measure next."""
    (lot,) = screening.lots
    (part,) = lot.parts
    marked = type_name if lot.type in (None, type_name) else f"{type_name}, taken as {lot.type}"
    typer.echo(f"{MARK[part.disposition].strip()}  one part marked {marked}")
    for line in words:
        typer.echo(f"  {line}")
