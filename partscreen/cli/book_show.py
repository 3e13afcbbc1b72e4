"""What the commands of `partscreen book` print.

Names are other people's text: characters that steer a terminal are shown by their number, never obeyed.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import typer

from partscreen.cli.show import MARK, exit_with, say

if TYPE_CHECKING:
    from partscreen.results.book import (
        BookAnswer,
        EntryLine,
        Exported,
        KitOverdue,
        LotLine,
        Overdue,
        PartStanding,
        Recorded,
        Remeasured,
        Rescreened,
        Shown,
        Verified,
        Where,
    )
    from partscreen.workflow import Outcome

A = TypeVar("A", bound="BookAnswer")
_STEERING = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufeff]")


def plain(text: str) -> str:
    """One line of text in which no character steers the terminal."""
    return _STEERING.sub(lambda m: " " if m.group() in "\t\n\r" else f"<U+{ord(m.group()):04X}>", text)


def plain_lines(text: str) -> str:
    """As `plain`, lines kept apart."""
    return "\n".join(map(plain, text.split("\n")))


def tell(text: str) -> None:
    """A line of the answer."""
    typer.echo(plain(text))


def answered(ask: Callable[[], A], *, json: bool, show: Callable[[A], None]) -> A:
    """Ask, then print the answer in words or as JSON; what cannot be used ends with 3."""
    from partscreen.errors import PartscreenError

    try:
        answer = ask()
    except PartscreenError as error:
        exit_with(3, error)
    if json:
        typer.echo(answer.model_dump_json(by_alias=True, indent=2))
    else:
        show(answer)
    return answer


def head_line(answer: BookAnswer) -> None:
    """The head of the book, to be written down or printed: with it, `book verify` finds a rewritten book."""
    tell(_head(answer))


def _head(answer: BookAnswer) -> str:
    return f"book {answer.book}: {answer.entries} entries, head {answer.head}"


def show_recorded(answer: Recorded) -> None:
    """What was written, what was known, the notes and the head."""
    for line in answer.written:
        tell(f"entry {line.entry}: {_place(line)}{line.sentence}")
    for line in answer.known:
        tell(f"already there, entry {line.entry}: {_place(line)}{line.sentence}")
    for note in answer.notes:
        say(plain(f"note: {note}"))
    head_line(answer)


def say_recorded(outcome: Outcome) -> None:
    """Of a screening: what the book kept, or why it could not; to standard error, beside the result."""
    for problem in outcome.not_recorded:
        say(plain_lines(f"not recorded: {problem}"))
    answer = outcome.recorded
    if answer is not None:
        for line in answer.written:
            say(plain(f"recorded: entry {line.entry}: {_place(line)}{line.sentence}"))
        for note in answer.notes:
            say(plain(f"note: {note}"))
        say(plain(_head(answer)))


def _place(line: EntryLine) -> str:
    bits = []
    if line.part and line.lot:
        bits.append(f"part {line.part} of lot {line.lot}")
    elif line.lot:
        bits.append(f"lot {line.lot}")
    elif line.job:
        bits.append(f"job {line.job}")
    if line.supplier:
        bits.append(f"supplier {line.supplier}")
    return f"{', '.join(bits)}: " if bits else ""


def show_shown(answer: Shown) -> None:
    """Lots, parts as they stand, and what happened."""
    for lot in answer.lots:
        tell(_lot(lot))
    for part in answer.parts:
        tell(f"  {_standing(part)}")
    if answer.history:
        tell("What happened, oldest first:" if answer.lots or answer.parts else "")
    one = len({(line.lot, line.supplier, line.part) for line in answer.history}) <= 1
    for line in answer.history:
        older = f" (corrected; older: entry {', '.join(map(str, line.older))})" if line.older else ""
        where = "" if one else _place(line)
        kind = line.kind.replace("_", " ")
        tell(f"  entry {line.entry}, {line.recorded_at[:10]}, {kind}: {where}{line.sentence}{older}")
        for photo in line.values.get("blobs", []) if line.kind == "observation" else []:
            tell(f"      photo {photo.get('name')}: {photo['sha256']}")
    if not answer.lots and not answer.parts:
        tell("The book is empty.")
    head_line(answer)


def _lot(lot: LotLine) -> str:
    bits = [f"Lot {lot.lot}"]
    if lot.type:
        bits.append(f"marked {lot.type}")
    bits.append(f"supplier {lot.supplier}" if lot.supplier else "supplier not stated")
    counts = (
        (lot.rejected, "rejected"), (lot.held, "held"), (lot.accepted, "accepted"), (lot.not_usable, "not usable"),
    )  # fmt: skip
    tally = ", ".join(f"{n} {word}" for n, word in counts if n)
    older = f"; {lot.older_judgements} older judgement{'s' if lot.older_judgements > 1 else ''}"
    end = f"entry {lot.entry}{older if lot.older_judgements else ''}"
    return f"{', '.join(bits)}: {lot.parts} parts: {tally}; {lot.judgement.replace('_', ' ')} ({end})"


def _standing(part: PartStanding) -> str:
    bits = [f"{MARK[part.disposition]}  {part.part}"]
    if part.overridden_by is not None:
        bits.append(f"by {part.overridden_by}, by the readings {part.original or 'not usable'}: {part.reason}")
        if part.approved_by:
            bits.append(f"second person: {', '.join(part.approved_by)}")
        if part.refused_by:
            bits.append(f"not agreed: {', '.join(part.refused_by)}")
        if part.stale:
            bits.append("decided before the newest judgement")
    elif part.code:
        bits.append(part.code)
    if part.older_judgements:
        bits.append(f"{part.older_judgements} older judgement{'s' if part.older_judgements > 1 else ''}")
    if part.quarantine:
        bits.append(f"in quarantine in {part.quarantine}")
    if part.fitted:
        bits.append(part.fitted)
    return "; ".join(bits)


def show_where(answer: Where) -> None:
    """Every job with a part of the lot, and what is left."""
    who = f", supplier {answer.supplier}" if answer.supplier else ""
    tell(f"Lot {answer.lot}{who}: in {len(answer.jobs)} job{'s' if len(answer.jobs) != 1 else ''}")
    for job in answer.jobs:
        tell(f"  job {job}")
        for one in answer.siblings:
            if one.job == job:
                channel = f"channel {one.channel}, " if one.channel else ""
                end = f": {one.outcome}" if one.outcome else ""
                tell(f"    {one.part}, {channel}position {one.position}, since {one.on}{end}")
    tell(f"Left in the drawer: {len(answer.drawer)}")
    for part in answer.drawer:
        tell(f"  {_standing(part)}")
    if answer.gone:
        tell(f"Sent back or failed: {', '.join(part.part for part in answer.gone)}")
    head_line(answer)


def show_overdue(answer: Overdue) -> None:
    """Kits due for a check, and the lots judged since."""
    if not answer.kits:
        tell(f"No kit is overdue: each had a good check within {answer.within_days} days.")
    for kit in answer.kits:
        overdue_kit(kit)
    head_line(answer)


def overdue_kit(kit: KitOverdue) -> None:
    """A kit that is due for a check."""
    if kit.last_good is None:
        tell(f"Kit {kit.kit}: no good check on record")
    else:
        source = " (calibration day of the kit file)" if kit.from_file else ""
        tell(f"Kit {kit.kit}: last good check {kit.last_good}{source}, {kit.days} days ago")
    if kit.bad_since:
        tell(f"  found not good on {kit.bad_since}")
    tell(f"  lots judged since: {len(kit.lots)}")
    for lot in kit.lots:
        supplier = f", supplier {lot.supplier}" if lot.supplier else ""
        tell(f"    {lot.lot}{supplier}, judged {lot.judged_on} (entry {lot.entry})")


def show_verified(answer: Verified) -> None:
    """Unchanged or not, with every finding."""
    tell("unchanged" if answer.unchanged else "CHANGED: the book does not say what was written")
    for one in answer.findings:
        tell(f"  {f'entry {one.entry}' if one.entry else 'the book'}: {one.what}")
    if answer.more_findings:
        tell(f"  and {answer.more_findings} more")
    if answer.head_asked and answer.head_found is not None:
        tell(f"the head asked for is that of entry {answer.head_found}")
    head_line(answer)


def show_rescreened(answer: Rescreened) -> None:
    """What changed per part."""
    for lot in answer.lots:
        moved = [part for part in lot.parts if part.changed]
        how = (
            [f"program {lot.program_before} to {lot.program_after}"] if lot.program_before != lot.program_after else []
        )
        how += ["another library"] if lot.library_changed else []
        how += [f"corrected readings: entries {', '.join(map(str, lot.corrections))}"] if lot.corrections else []
        supplier = f", supplier {lot.supplier}" if lot.supplier else ""
        same = lot.before if lot.before == lot.after else f"{lot.before}, now {lot.after}"
        tell(f"Lot {lot.lot}{supplier}: {same.replace('_', ' ')}; {len(moved)} of {len(lot.parts)} parts changed")
        tell(f"  {'; '.join(how) or 'same program, library and readings as before'}")
        for part in moved:
            was, now = (f"{a or 'not usable'} ({c or 'no reason'})" for a, c in (
                (part.before, part.code_before), (part.after, part.code_after)))  # fmt: skip
            tell(f"  {part.part}: {was}, now {now}{_shift(part.evidence_before, part.evidence_after)}")
    for text in answer.not_done:
        say(plain(f"not judged again: {text}"))
    for note in answer.notes:
        say(plain(f"note: {note}"))
    head_line(answer)


def _shift(before: float | None, after: float | None) -> str:
    if before is None or after is None:
        return ""
    return f"; evidence {before:.2f}, now {after:.2f}"


def show_exported(answer: Exported) -> None:
    """The files that were written."""
    for one in answer.files:
        tell(f"written: {one.file}" + (f" ({one.rows} rows)" if one.rows else ""))
    if answer.without_names:
        say("note: names are numbers and free text is left out; look at the tables before you share them")
    head_line(answer)


def show_remeasured(answer: Remeasured) -> None:
    """Changed, unchanged or cannot tell, with the figures behind it and what to look at."""
    for one in answer.results:
        supplier = f", supplier {one.supplier}" if one.supplier else ""
        tell(f"Part {one.part} of lot {one.lot}{supplier}: {one.verdict.replace('_', ' ')}")
        tell(f"  {one.sentence}")
        for change in one.changes:
            unit = "" if change.unit == "1" else f" {change.unit}"
            moved = (
                f"{100.0 * change.change:+.3g} %" if change.relative else f"{1e3 * change.change:+.3g} m{change.unit}"
            )
            word = change.word.replace("_", " ") if change.allowed is not None else "no published limit"
            allowed = f"; allowed {change.allowed_words}" if change.allowed is not None else ""
            tell(
                f"  {change.quantity} at {change.conditions}: {change.first:.4g}{unit}, now {change.now:.4g}{unit} "
                f"({moved}, {word}{allowed})"
            )
        for remark in one.remarks:
            tell(f"  {remark.sentence}")
        for advice in one.advice:
            tell(f"  {advice}")
        if one.not_compared:
            tell(f"  not compared: {'; '.join(one.not_compared)}")
        tell(f"  {one.assumption}")
    for text in answer.not_compared:
        say(plain_lines(f"not compared: {text}"))
    head_line(answer)
