"""What `partscreen book day|job|find|entry` and `show --full` print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from partscreen.cli.book_show import head_line, overdue_kit, show_shown, tell
from partscreen.cli.show import MARK

if TYPE_CHECKING:
    from partscreen.results.bench import DayList, EntryShown, Found, JobLine, Jobs, JobShown, ShownInFull


def _of(supplier: str | None) -> str:
    return f", supplier {supplier}" if supplier else ""


def show_day(answer: DayList) -> None:
    """What is overdue first, then what waits."""
    if not answer.waiting and not answer.aside:
        tell("Nothing waits.")
    for job in (one for one in answer.jobs if one.overdue):
        tell(f"Overdue: job {job.job}: outcome of {job.silent} parts not told, fitted {job.days} days ago")
    for kit in answer.kits:
        overdue_kit(kit)
    for lot in answer.control_moved:
        tell(f"The control piece moved in lot {lot.lot}{_of(lot.supplier)}, judged {lot.judged_on}: check the kit")
    for again in answer.judge_again:
        entries = ", ".join(map(str, again.corrections))
        tell(f"Judge again: lot {again.lot}{_of(again.supplier)}: corrected readings, entries {entries}")
    for waits in answer.lots:
        by = f"; to be sent back by {waits.return_by} ({waits.days_left} days)" if waits.return_by else ""
        tell(f"Lot {waits.lot}{_of(waits.supplier)}: {waits.judgement.replace('_', ' ')}: {waits.why}{by}")
    for held in answer.held:
        tell(f"Held in lot {held.lot}{_of(held.supplier)}:")
        for part in held.parts:
            step = part.next_measurement
            following = f"next: {step.reading}; " if step else ""
            tell(f"  {MARK['hold']}  {part.part}: {following}{part.why}")
    for job in (one for one in answer.jobs if not one.overdue):
        tell(f"Open: {_job(job)}")
    for failed in answer.read_again:
        tell(f"Read again: part {failed.part} of lot {failed.lot}{_of(failed.supplier)}: {failed.sentence}")
    for voice in answer.overrides:
        why = "no second person yet" if voice.second else "judged again since"
        tell(f"Decision of entry {voice.entry}: part {voice.part} of lot {voice.lot}: {voice.sentence}; {why}")
    for aside in answer.aside:
        what = f"part {aside.part} of lot {aside.lot}" if aside.part else f"lot {aside.lot}"
        tell(f"Set aside in {aside.place}: {what}{_of(aside.supplier)}")
    head_line(answer)


def _job(one: JobLine) -> str:
    bias = "" if one.bias else "; no bias written down"
    silent = f"; outcome not told of {one.silent}" if one.silent else ""
    out = f", {one.out} came out" if one.out else ""
    return f"job {one.job}: {one.inside} parts in it{out}, last fitted {one.last_on}{silent}{bias}"


def show_jobs(answer: Jobs) -> None:
    """Every job on a line."""
    for one in answer.jobs:
        tell(_job(one))
    if not answer.jobs:
        tell("No part was fitted yet.")
    head_line(answer)


def show_job(answer: JobShown) -> None:
    """What sits where, and the siblings."""
    tell(f"Job {answer.job}")
    for one in answer.places:
        channel = f"channel {one.channel}, " if one.channel else ""
        out = " (out)" if one.out else ""
        part = f"part {one.part} of lot {one.lot}{_of(one.supplier)}"
        tell(f"  {channel}position {one.position}{out}: {part}, {one.days} days")
        for text in (*one.bias, one.outcome or "outcome not told"):
            tell(f"    {text}")
    for lot in answer.lots:
        tell(f"Siblings, lot {lot.lot}{_of(lot.supplier)}:")
        for other in lot.elsewhere:
            end = f": {other.outcome}" if other.outcome else ""
            tell(f"  {other.part} in job {other.job}, position {other.position}, since {other.on}{end}")
        tell(f"  left in the drawer: {', '.join(part.part for part in lot.drawer) or 'none'}")
    head_line(answer)


def show_found(answer: Found) -> None:
    """Every hit with the words that tell it from others."""
    if answer.hits and not answer.exact:
        tell(f"nothing is named {answer.text!r}; these hold it or are close to it:")
    for hit in answer.hits:
        lot = f" of lot {hit.lot}" if hit.kind == "part" else ""
        tell(f"{hit.kind} {hit.name}{lot}{_of(hit.supplier) if hit.kind in ('part', 'lot') else ''}")
    if answer.more:
        tell(f"and {answer.more} more")
    if not answer.hits:
        tell(f"nothing is named {answer.text!r}")
    head_line(answer)


def show_entry(answer: EntryShown) -> None:
    """The sentence and the fields that can be corrected."""
    line = answer.line
    older = f" (it put right entry {', '.join(map(str, line.older))})" if line.older else ""
    tell(f"entry {line.entry}, {line.recorded_at[:10]}, {line.kind.replace('_', ' ')}: {line.sentence}{older}")
    for field in answer.fields:
        choices = f"  (one of {', '.join(word for word in field.choices if word)})" if field.choices else ""
        tell(f"  {field.name}={field.text}{choices}")
    if not answer.fields:
        tell("  nobody typed it; a wrong reading is put right with book correct --file, a decision is made anew")
    head_line(answer)


def show_full(answer: ShownInFull) -> None:
    """As `show`, with the readings of a part, or the reasons, sheet and files of a lot, before the rest."""
    for reading in answer.readings:
        used = "" if reading.used else " (not used)"
        place = f"; {reading.file}, row {reading.row}" if reading.file and reading.row else ""
        tell(f"  {reading.what}{used}: {reading.words}{place}")
    for reason in answer.result.reasons if answer.result else answer.reasons:
        tell(f"  {reason.code}: {reason.sentence}")
    for action in answer.actions:
        if action.sentence:
            tell(f"  {action.sentence}")
    for name, text in answer.sheet.items():
        tell(f"  {name}: {text}")
    for file in answer.files:
        tell(f"  {file.role} {file.name}: {file.sha256}")
    show_shown(answer)
