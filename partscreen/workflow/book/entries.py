"""What people add to the bench book: fitted parts, bias, outcomes, overrides, quarantine, stress, checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from partscreen.errors import Problem, UnusableInput
from partscreen.results.book import Recorded
from partscreen.workflow.book.common import (
    Asked,
    Signed,
    bias_readings,
    contents,
    figure_of,
    opened,
    part_of,
    place_of,
    word_of,
    write,
)


def record_fitted(
    asked: Asked, job: str, position: str, *, channel: str | None, signed: Signed, where: str | None = None
) -> Recorded:
    """A part is soldered in.

    Raises
    ------
    UnusableInput
        The part is unknown or fitted already, or the position is taken.
    """
    from partscreen.book.jobs import fitted_draft

    with opened(where) as (book, facts):
        draft, notes = fitted_draft(
            facts, part_of(facts, asked), job, position, channel=channel, by=signed.by, on=signed.day
        )  # fmt: skip
        return write(book, [draft], notes=notes)


def record_bias(
    job: str, readings: Sequence[str], *, resistor: str | None, ambient: float | None, minutes: float | None,
    signed: Signed, where: str | None = None,
) -> Recorded:  # fmt: skip
    """Bias readings at sign-off, written as `Q12=11.2 mV`; `ambient` in degC.

    Raises
    ------
    UnusableInput
        A reading has no position, no unit or no part; every problem at once.
    """
    from partscreen.book.jobs import bias_drafts
    from partscreen.workflow.settings import kelvin

    volts = bias_readings(readings)
    ohms = figure_of(resistor, "ohm", "--resistor") if resistor else None
    with opened(where) as (book, facts):
        drafts = bias_drafts(
            facts, job, volts, resistor=ohms, ambient=kelvin(ambient), minutes=minutes, by=signed.by, on=signed.day
        )  # fmt: skip
        return write(book, drafts)


def record_outcome(
    what: str, asked: Asked, *, days: int | None, cause: str | None, note: str | None, signed: Signed,
    where: str | None = None,
) -> Recorded:  # fmt: skip
    """What became of a part, of the parts of a job, or of a returned lot.

    Raises
    ------
    UnusableInput
        A part that was never fitted cannot fail; days or cause do not go with the outcome.
    """
    from partscreen.book.entries import CAUSES, OUTCOMES
    from partscreen.book.jobs import outcome_drafts
    from partscreen.book.places import find_lot

    kind: Any = word_of(what, OUTCOMES, "WHAT")
    why: Any = word_of(cause, CAUSES, "--cause") if cause else None
    with opened(where) as (book, facts):
        ref = part_of(facts, asked) if asked.part else None
        lot = find_lot(facts, asked.lot, asked.supplier) if asked.lot and not asked.part else None
        drafts = outcome_drafts(
            facts, kind, ref=ref, lot=lot, job=asked.job, position=asked.position, days=days, cause=why, note=note,
            by=signed.by, on=signed.day,
        )  # fmt: skip
        return write(book, drafts)


def record_observation(
    asked: Asked, text: str, photos: Sequence[Path], *, signed: Signed, where: str | None = None
) -> Recorded:
    """What somebody saw, with photos.

    Raises
    ------
    UnusableInput
        A photo cannot be read or is no picture; nothing was observed; nothing of that name is in the book.
    """
    from partscreen.book.notes import observation_draft
    from partscreen.book.places import job_parts

    pictures = contents(photos, "--photo")
    with opened(where) as (book, facts):
        place = place_of(facts, asked)
        if asked.job is not None:
            job_parts(facts, asked.job)
        elif place is None:
            raise UnusableInput(
                [Problem("BOOK_WHICH_PART", "seen on what?", "name it with --part, --lot or --job", "--part")]
            )
        draft, blobs = observation_draft(place, asked.job, text, pictures, by=signed.by, on=signed.day)
        return write(book, [draft], blobs)


def record_override(
    asked: Asked, to: str, *, reason: str | None, signed: Signed, where: str | None = None
) -> Recorded:  # fmt: skip
    """A person decides otherwise than the readings; reason and name are required.

    Raises
    ------
    UnusableInput
        Reason or name is missing, or the part stands like that already.
    """
    from partscreen.book.checks_typed import required
    from partscreen.book.notes import override_draft

    required({"--reason": reason, "--by": signed.by})
    choice: Any = word_of(to, ("accept", "hold", "reject"), "--to")
    with opened(where) as (book, facts):
        draft = override_draft(
            facts, part_of(facts, asked), choice, reason=reason or "", by=signed.by or "", on=signed.day
        )  # fmt: skip
        note = "a second person can look at it: partscreen book approve ENTRY --by NAME"
        return write(book, [draft], notes=(note,))


def record_approval(
    entry: int, *, agrees: bool, note: str | None, signed: Signed, where: str | None = None
) -> Recorded:  # fmt: skip
    """A second person's word on an override.

    Raises
    ------
    UnusableInput
        The entry is no override, or the second person is the first.
    """
    from partscreen.book.checks_typed import required
    from partscreen.book.notes import approval_draft

    required({"--by": signed.by})
    with opened(where) as (book, facts):
        draft = approval_draft(facts, entry, by=signed.by or "", agrees=agrees, note=note, on=signed.day)
        return write(book, [draft])


def record_quarantine(
    asked: Asked, place: str | None, *, release: bool, reason: str | None, signed: Signed, where: str | None = None
) -> Recorded:
    """A part or a lot is set aside in a named place, or released.

    Raises
    ------
    UnusableInput
        No place is named, or what is to be released was not set aside.
    """
    from partscreen.book.checks_typed import required
    from partscreen.book.notes import quarantine_draft

    if not release:
        required({"--place": place})
    with opened(where) as (book, facts):
        ref = place_of(facts, asked)
        if ref is None:
            fix = "name it with --part or --lot"
            raise UnusableInput([Problem("BOOK_WHICH_PART", "what is to be set aside?", fix, "--part")])
        draft = quarantine_draft(
            facts, ref, where=place, release=release, reason=reason, by=signed.by, on=signed.day
        )  # fmt: skip
        return write(book, [draft])


def record_stress(
    what: str, asked: Asked, figures: Mapping[str, str | None], *, survived: bool | None, note: str | None,
    signed: Signed, where: str | None = None,
) -> Recorded:  # fmt: skip
    """Something that may have changed a part. `figures`: current, volts, seconds, with their units.

    Raises
    ------
    UnusableInput
        A figure has no unit or the wrong one; the part is unknown.
    """
    from partscreen.book.entries import STRESSES
    from partscreen.book.notes import stress_draft

    kind: Any = word_of(what, STRESSES, "WHAT")
    units = {"current": "A", "volts": "V", "seconds": "s"}
    options = {"current": "--current", "volts": "--voltage", "seconds": "--time"}
    read = {name: figure_of(text, units[name], options[name]) for name, text in figures.items() if text}
    with opened(where) as (book, facts):
        ref = part_of(facts, asked)
        draft = stress_draft(ref, kind, read, survived=survived, note=note, by=signed.by, on=signed.day)
        return write(book, [draft])


def record_kit_check(
    kit: str, *, good: bool, note: str | None, signed: Signed, where: str | None = None
) -> Recorded:  # fmt: skip
    """The instruments were checked against something known."""
    from partscreen.book.notes import kit_check_draft

    with opened(where, create=True) as (book, facts):
        draft, notes = kit_check_draft(facts, kit, good=good, note=note, by=signed.by, on=signed.day)
        return write(book, [draft], notes=notes)
