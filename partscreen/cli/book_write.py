"""`partscreen book fitted|bias|outcome|observe|override|...`: what people add to the book."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partscreen.cli.book_options import (
    AsJson,
    BookPlace,
    By,
    Job,
    Lot,
    Note,
    On,
    Part,
    Photos,
    Position,
    ReasonText,
    Supplier,
    TheJob,
    ThePart,
)
from partscreen.cli.options import CaseTemperature

if TYPE_CHECKING:
    from partscreen.results.book import Recorded


def _write(ask: Callable[[], Recorded], json: bool) -> None:
    """Write into the book and say what was written."""
    from partscreen.cli.book_show import answered, show_recorded

    answered(ask, json=json, show=show_recorded)


def matched(
    result: Annotated[Path, typer.Argument(metavar="RESULT.json", help="Written by match --json.", show_default=False)],
    name: Annotated[
        str | None, typer.Option("--name", help="Name of the sets; the name of the file if not given.")
    ] = None,
    supplier: Supplier = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Keep which parts go together: the sets of a result of match."""
    from partscreen.workflow import record_matches

    _write(lambda: record_matches(result, name=name, supplier=supplier, where=book), json)


def fitted(
    part: ThePart,
    job: TheJob,
    position: Annotated[str, typer.Option("--position", help="Where in the circuit, say Q12.")],
    channel: Annotated[str | None, typer.Option("--channel", help="Channel, say left.")] = None,
    lot: Lot = None,
    supplier: Supplier = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """A part is soldered in: which job, channel, position."""
    from partscreen.workflow import Asked, Signed, record_fitted

    asked = Asked(part=part, lot=lot, supplier=supplier)
    _write(lambda: record_fitted(asked, job, position, channel=channel, signed=Signed(by, on), where=book), json)


def bias(
    readings: Annotated[
        list[str], typer.Argument(metavar="READINGS", help='Written "Q12=11.2 mV", one a position.', show_default=False)
    ],
    job: Annotated[str, typer.Option("--job", help="Your reference of the job.")],
    resistor: Annotated[
        str | None, typer.Option("--resistor", help='Emitter resistor it is read across, say "0.22 ohm".')
    ] = None,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Air around the amplifier in degC.")] = None,
    minutes: Annotated[float | None, typer.Option("--minutes", min=0.0, help="Minutes since power-up.")] = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Bias readings at sign-off, the voltage across each emitter resistor."""
    from partscreen.workflow import Signed, record_bias

    _write(
        lambda: record_bias(
            job, readings, resistor=resistor, ambient=ambient, minutes=minutes, signed=Signed(by, on), where=book
        ),
        json,
    )


def outcome(
    what: Annotated[
        str,
        typer.Argument(
            metavar="WHAT",
            help="passed-soak, failed-first-power-up, failed-after, returned, refunded or taken-out.",
            show_default=False,
        ),
    ],
    part: Part = None,
    lot: Lot = None,
    supplier: Supplier = None,
    job: Job = None,
    position: Position = None,
    days: Annotated[int | None, typer.Option("--days", min=0, help="Days in service, with failed-after.")] = None,
    cause: Annotated[str | None, typer.Option("--cause", help="Of a failure: part, stage or not-known.")] = None,
    note: Note = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """What became of a fitted part, of all parts of a job, or of a lot that was returned."""
    from partscreen.workflow import Asked, Signed, record_outcome

    asked = Asked(part=part, lot=lot, supplier=supplier, job=job, position=position)
    _write(
        lambda: record_outcome(what, asked, days=days, cause=cause, note=note, signed=Signed(by, on), where=book), json
    )


def observe(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What you saw.")] = "",
    part: Part = None,
    lot: Lot = None,
    supplier: Supplier = None,
    job: Job = None,
    photo: Photos = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """What somebody saw of a part, a lot or a job, with photos."""
    from partscreen.workflow import Asked, Signed, record_observation

    asked = Asked(part=part, lot=lot, supplier=supplier, job=job)
    _write(lambda: record_observation(asked, text, photo or [], signed=Signed(by, on), where=book), json)


def override(
    part: ThePart,
    to: Annotated[str, typer.Option("--to", help="accept, hold or reject.")],
    reason: ReasonText = None,
    by: By = None,
    lot: Lot = None,
    supplier: Supplier = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """A person decides otherwise than the readings. Reason and name are required; both decisions stay to be seen."""
    from partscreen.workflow import Asked, Signed, record_override

    asked = Asked(part=part, lot=lot, supplier=supplier)
    _write(lambda: record_override(asked, to, reason=reason, signed=Signed(by, on), where=book), json)


def approve(
    entry: Annotated[int, typer.Argument(metavar="ENTRY", help="Entry of the override.", show_default=False)],
    by: By = None,
    no: Annotated[bool, typer.Option("--no", help="The second person does not agree.")] = False,
    note: Note = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """A second person agrees with an override, or does not."""
    from partscreen.workflow import Signed, record_approval

    _write(lambda: record_approval(entry, agrees=not no, note=note, signed=Signed(by, on), where=book), json)


def quarantine(
    part: Part = None,
    lot: Lot = None,
    supplier: Supplier = None,
    place: Annotated[str | None, typer.Option("--place", help="Where it lies, say the red box.")] = None,
    release: Annotated[bool, typer.Option("--release", help="It is no longer set aside.")] = False,
    reason: Annotated[str | None, typer.Option("--reason", help="Why.")] = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Set a part or a whole lot aside in a named place, or release it."""
    from partscreen.workflow import Asked, Signed, record_quarantine

    asked = Asked(part=part, lot=lot, supplier=supplier)
    _write(
        lambda: record_quarantine(asked, place, release=release, reason=reason, signed=Signed(by, on), where=book), json
    )


def stress(
    what: Annotated[
        str, typer.Argument(metavar="WHAT", help="avalanche-base-emitter, breakdown or dwell.", show_default=False)
    ],
    part: ThePart,
    current: Annotated[str | None, typer.Option("--current", help='With its unit, say "5 mA".')] = None,
    voltage: Annotated[str | None, typer.Option("--voltage", help='With its unit, say "9 V".')] = None,
    time: Annotated[str | None, typer.Option("--time", help='With its unit, say "2 s".')] = None,
    survived: Annotated[
        bool | None, typer.Option("--survived/--not-survived", help="Whether the part still worked afterwards.")
    ] = None,
    lot: Lot = None,
    supplier: Supplier = None,
    note: Note = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Something that may have changed a part: its base-emitter junction in breakdown, a breakdown reading, a dwell."""
    from partscreen.workflow import Asked, Signed, record_stress

    asked = Asked(part=part, lot=lot, supplier=supplier)
    figures = {"current": current, "volts": voltage, "seconds": time}
    _write(
        lambda: record_stress(what, asked, figures, survived=survived, note=note, signed=Signed(by, on), where=book),
        json,
    )


def remeasure(
    files: Annotated[list[Path], typer.Argument(help="Readings of now: delimited text or XLSX.", show_default=False)],
    part: Part = None,
    lot: Lot = None,
    supplier: Supplier = None,
    kit: Annotated[Path | None, typer.Option("--kit", help="Your instruments (TOML) of now.")] = None,
    columns: Annotated[Path | None, typer.Option("--columns", help="Column map (TOML) of the files.")] = None,
    temperature: CaseTemperature = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Compare a part that was taken out with its own first readings: changed, unchanged, or cannot tell.

    Exit code 3: no part could be compared, or some could not.
    """
    from partscreen.cli.book_show import answered, show_remeasured
    from partscreen.workflow import Asked, ScreenOptions, Signed
    from partscreen.workflow import remeasure as ask

    asked = Asked(part=part, lot=lot, supplier=supplier)
    options = ScreenOptions(kit=kit, columns=columns, temperature_c=temperature)
    answer = answered(
        lambda: ask(files, asked, options, signed=Signed(by, on), where=book), json=json, show=show_remeasured
    )  # fmt: skip
    raise typer.Exit(3 if answer.not_compared else 0)


def kit_check(
    kit: Annotated[str, typer.Argument(metavar="KIT", help="Name of the kit, as in its file.", show_default=False)],
    good: Annotated[bool, typer.Option("--good/--not-good", help="Whether it read right.")],
    note: Note = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """The instruments were checked against something known."""
    from partscreen.workflow import Signed, record_kit_check

    _write(lambda: record_kit_check(kit, good=good, note=note, signed=Signed(by, on), where=book), json)


def correct(
    entry: Annotated[
        int | None, typer.Argument(metavar="ENTRY", help="Entry that somebody typed.", show_default=False)
    ] = None,
    changes: Annotated[
        list[str] | None, typer.Argument(metavar="FIELD=VALUE", help="What it should say.", show_default=False)
    ] = None,
    file: Annotated[
        str | None, typer.Option("--file", help="A reading instead: its file, by name or by the begin of its hash.")
    ] = None,
    row: Annotated[int | None, typer.Option("--row", min=1, help="Its row, as a spreadsheet counts.")] = None,
    column: Annotated[str | None, typer.Option("--column", help="Header of its column.")] = None,
    value: Annotated[str | None, typer.Option("--value", help="What should stand in the cell.")] = None,
    sheet: Annotated[str | None, typer.Option("--sheet", help="Its sheet, where a workbook has several.")] = None,
    reason: ReasonText = None,
    by: By = None,
    on: On = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Put an entry right that somebody typed, or a reading in a file. The old one stays in the book."""
    from partscreen.workflow import Signed, correct_entry, correct_reading

    signed = Signed(by, on)
    if file is None:
        if entry is None:
            raise typer.BadParameter("give ENTRY FIELD=VALUE, or --file --row --column --value")
        number = entry
        _write(lambda: correct_entry(number, changes or [], reason=reason, signed=signed, where=book), json)
        return
    if entry is not None or row is None or column is None or value is None:
        raise typer.BadParameter("--file goes with --row, --column and --value, and without ENTRY")
    name, at, header, text = file, row, column, value
    _write(lambda: correct_reading(name, at, header, text, sheet=sheet, reason=reason, signed=signed, where=book), json)


def erase_photo(
    photo: Annotated[
        str, typer.Argument(metavar="PHOTO", help="Hash of the photo, or its first digits.", show_default=False)
    ],
    why: Annotated[str | None, typer.Option("--why", help="Why. Required; it stays in the book.")] = None,
    book: BookPlace = None,
    json: AsJson = False,
) -> None:
    """Take a photo out of the book for good. That it was there, and why it went, stays."""
    from partscreen.workflow import erase_photo as erase

    _write(lambda: erase(photo, why, book), json)
