"""What commands print: results to standard output, messages and progress to standard error."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

if TYPE_CHECKING:
    from partscreen.results import LotResult, PartResult, Screening

MARK = {"accept": "[=] accept", "hold": "[?] hold", "reject": "[x] reject", None: "[-] not usable"}
SHOWN = 12  # parts named in full for one reason; the report and the result name them all


def say(text: str) -> None:
    """A message, to standard error."""
    typer.echo(text, err=True)


def say_drawn(paths: Sequence[Path]) -> None:
    """Where figures were drawn, in one line: there may be hundreds."""
    folders = {path.parent for path in paths}
    for folder in sorted(folders):
        say(f"written: {sum(path.parent == folder for path in paths)} files of figures in {folder}")


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


def _lines(lot: LotResult, disposition: str | None) -> list[str]:
    """The parts of one disposition: alike ones together, the others a line each, long lists cut short and said so."""
    by_code: dict[str, list[PartResult]] = {}
    for part in lot.parts:
        if part.disposition == disposition:
            by_code.setdefault(part.reasons[0].code if part.reasons else "", []).append(part)
    out: list[str] = []
    for members in by_code.values():
        sentences = [part.reasons[0].sentence if part.reasons else "" for part in members]
        if len(members) > 1 and len(set(sentences)) == 1:
            out += [f"  {MARK[disposition]}  {sentences[0]}", f"      {_names(members)}"]
            continue
        shown = zip(members[:SHOWN], sentences, strict=False)
        out += [f"  {MARK[disposition]}  {part.part}: {sentence}" for part, sentence in shown]
        if len(members) > SHOWN:
            out.append(f"      and {len(members) - SHOWN} more for the same reason: {_names(members[SHOWN:])}")
    return out


def _names(parts: list[PartResult]) -> str:
    more = f" and {len(parts) - SHOWN} more" if len(parts) > SHOWN else ""
    return ", ".join(part.part for part in parts[:SHOWN]) + more


def _next_lines(lot: LotResult) -> list[str]:
    """What to measure next, and on which parts."""
    wanted: dict[str, list[PartResult]] = {}
    for part in lot.parts:
        if part.next_measurement is not None:
            wanted.setdefault(part.next_measurement.reading, []).append(part)
    return [f"  measure next: {reading}: {_names(members)}" for reading, members in wanted.items()]


def show_screening(screening: Screening, *, invented: bool = False) -> None:
    """The answer in plain lines: a head per lot, then its parts by disposition, those that say the same together."""
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
        for disposition in ("reject", "hold", None, "accept"):
            for line in _lines(lot, disposition):
                typer.echo(line)
        for line in _next_lines(lot):
            typer.echo(line)
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
