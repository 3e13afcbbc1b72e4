"""What people add: overrides and their approval, quarantine, observations, stress, checks of instruments."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from partscreen.book.checks_typed import photo_problem, picture_type, raise_all
from partscreen.book.entries import (
    ApprovalKept,
    BlobRef,
    FileKept,
    KitCheckKept,
    KitKept,
    ObservationKept,
    OverrideKept,
    QuarantineKept,
    ScreeningKept,
    StressKept,
    StressWhat,
)
from partscreen.book.facts import Fact, Facts
from partscreen.book.places import LotRef, PartRef
from partscreen.book.standing import quarantine_of, standing_of
from partscreen.book.store import Blob, Draft
from partscreen.book.words import DISPOSITION_WORDS
from partscreen.errors import Problem, UnusableInput

if TYPE_CHECKING:
    from partscreen.results import Disposition


def override_draft(facts: Facts, ref: PartRef, to: Disposition, *, reason: str, by: str, on: date) -> Draft:
    """A person decides otherwise than the readings; both stay to be seen.

    Raises
    ------
    UnusableInput
        The part stands like that already.
    """
    standing = standing_of(facts, ref)
    if standing.disposition == to:
        what = f"{ref.words} is {DISPOSITION_WORDS[to]} already"
        raise UnusableInput([Problem("BOOK_SAME_DISPOSITION", what, "nothing is to be overridden", "--to")])
    kept = OverrideKept(
        **ref.placed, disposition=to, original=standing.original, judged=standing.judged, reason=reason, by=by, on=on
    )  # fmt: skip
    return Draft("override", kept.body())


def approval_draft(facts: Facts, seq: int, *, by: str, agrees: bool, note: str | None, on: date) -> Draft:
    """A second person's word on an override.

    Raises
    ------
    UnusableInput
        The entry is no override, or the second person is the first.
    """
    fact = entry_fact(facts, seq)
    if fact.kind != "override":
        fix = "give the number of an override; book show --part names it"
        raise UnusableInput([Problem("BOOK_NO_OVERRIDE", f"entry {seq} is no override", fix, "ENTRY")])
    one = fact.of(OverrideKept)
    if _same_person(one.by, by):
        what = f"{by} made this override and cannot be the second person"
        raise UnusableInput([Problem("BOOK_SAME_PERSON", what, "somebody else has to look at it", "--by")])
    kept = ApprovalKept(
        supplier=one.supplier, lot=one.lot, part=one.part, type=one.type, of=fact.first, agrees=agrees, by=by,
        note=note, on=on,
    )  # fmt: skip
    return Draft("approval", kept.body())


def _same_person(a: str, b: str) -> bool:
    return " ".join(a.split()).casefold() == " ".join(b.split()).casefold()


def entry_fact(facts: Facts, seq: int) -> Fact:
    """The entry of that number as it stands today.

    Raises
    ------
    UnusableInput
        There is none.
    """
    last = facts.book.head().seq
    if not 1 <= seq <= last:
        fix = "entries are numbered as book show prints them" if last else "record something first"
        what = f"there is no entry {seq}; the book holds {last}"
        raise UnusableInput([Problem("BOOK_NO_ENTRY", what, fix, "ENTRY")])
    return facts.now(seq)


def quarantine_draft(
    facts: Facts, place: LotRef | PartRef, *, where: str | None, release: bool, reason: str | None, by: str | None,
    on: date,
) -> Draft:  # fmt: skip
    """A part or a whole lot set aside, or released.

    Raises
    ------
    UnusableInput
        Released though it was not set aside.
    """
    part = place.part if isinstance(place, PartRef) else None
    now = quarantine_of(facts, place.supplier, place.lot)
    aside = now.of(part) if part is not None else now.whole or any(now.parts.values())
    if release and not aside:
        fix = "book show names what is set aside"
        raise UnusableInput([Problem("BOOK_NOT_ASIDE", f"{place.words} is not in quarantine", fix, "--release")])
    kept = QuarantineKept(
        supplier=place.supplier, lot=place.lot, type=place.type, part=part, place=where, reason=reason,
        released=release, by=by, on=on,
    )  # fmt: skip
    return Draft("quarantine", kept.body())


def observation_draft(
    place: LotRef | PartRef | None, job: str | None, text: str, photos: Sequence[tuple[str, bytes]], *,
    by: str | None, on: date,
) -> tuple[Draft, dict[str, Blob]]:  # fmt: skip
    """What somebody saw, with photos as (name, content).

    Raises
    ------
    UnusableInput
        A photo is no picture, or there is neither text nor photo.
    """
    raise_all(photo_problem(name, content) for name, content in photos)
    if not text.strip() and not photos:
        fix = "add a text, or a photo with --photo FILE"
        raise UnusableInput([Problem("BOOK_EMPTY", "nothing was observed", fix, "TEXT")])
    blobs = [Blob(content, picture_type(content) or "") for _, content in photos]
    refs = [
        BlobRef(sha256=blob.sha256, size=len(blob.content), media_type=blob.media_type, name=name)
        for blob, (name, _) in zip(blobs, photos, strict=True)
    ]
    kept = ObservationKept(
        supplier=place.supplier if place else None,
        lot=place.lot if place else None,
        type=place.type if place else None,
        part=place.part if isinstance(place, PartRef) else None,
        job=job,
        text=text,
        blobs=refs,
        by=by,
        on=on,
    )
    return Draft("observation", kept.body()), {blob.sha256: blob for blob in blobs}


def stress_draft(
    ref: PartRef, what: StressWhat, figures: Mapping[str, float], *, survived: bool | None, note: str | None,
    by: str | None, on: date,
) -> Draft:  # fmt: skip
    """Something that may have changed a part. `figures`: current [A], volts [V], seconds [s], as far as known."""
    kept = StressKept(
        **ref.placed, what=what, survived=survived, note=note, by=by, on=on,
        current=figures.get("current"), volts=figures.get("volts"), seconds=figures.get("seconds"),
    )  # fmt: skip
    return Draft("stress", kept.body())


def kit_check_draft(
    facts: Facts, kit: str, *, good: bool, note: str | None, by: str | None, on: date
) -> tuple[Draft, tuple[str, ...]]:
    """A check of the instruments, and a hint where the book knows no kit of that name."""
    known = sorted({fact.of(KitKept).name for fact in facts.find("kit")})
    hints: tuple[str, ...] = ()
    if kit not in known:
        names = f"; kits of the book: {', '.join(known)}" if known else ""
        hints = (f"no lot of the book was judged with a kit named {kit!r}{names}",)
    return Draft("kit_check", KitCheckKept(kit=kit, good=good, note=note, by=by, on=on).body()), hints


@dataclass(frozen=True, slots=True)
class OverdueKit:
    """A kit whose readings nothing good stands behind since: `lots` judged since its last good check.

    last_good : day of the last good check, of the book or of the kit file (`calibrated_on`); None: never.
    bad_since : the first bad check after it. days : since the last good one.
    """

    kit: str
    last_good: date | None
    from_file: bool
    bad_since: date | None
    days: int | None
    lots: tuple[tuple[LotRef, str, int], ...]


def kits_overdue(facts: Facts, *, within: int, today: date) -> list[OverdueKit]:
    """Kits whose last good check is more than `within` days ago, or was followed by a bad one, or never was.

    Each with the lots judged with it since: (lot, day, entry).
    """
    calibrated: dict[str, date | None] = {}
    for fact in facts.find("kit"):
        kept = fact.of(KitKept)
        days = [day for day in (calibrated.get(kept.name), kept.calibrated_on) if day is not None]
        calibrated[kept.name] = max(days, default=None)
    checks = [fact.of(KitCheckKept) for fact in facts.find("kit_check")]
    judged: dict[str, list[tuple[LotRef, str, int]]] = {name: [] for name in calibrated}
    for fact in facts.find("screening"):
        one = fact.of(ScreeningKept)
        if one.kit is not None and not one.rescreened:
            ref = LotRef(one.supplier, one.lot, one.type)
            judged.setdefault(one.kit, []).append((ref, fact.recorded_at[:10], fact.seq))
    found = [_overdue(name, calibrated.get(name), checks, judged[name], today) for name in sorted(judged)]
    return [
        one
        for one in found
        if one.last_good is None or one.bad_since is not None or (one.days is not None and one.days > within)
    ]


def _overdue(
    kit: str, calibrated: date | None, checks: Sequence[KitCheckKept], judged: Sequence[tuple[LotRef, str, int]],
    today: date,
) -> OverdueKit:  # fmt: skip
    mine = sorted((one for one in checks if one.kit == kit), key=lambda one: one.on)
    good = [one.on for one in mine if one.good]
    last = max([*good, *([calibrated] if calibrated else [])], default=None)
    bad = next((one.on for one in mine if not one.good and (last is None or one.on >= last)), None)
    # A bad check on the day of the good one counts where it was written down after it.
    if bad is not None and bad == last and [one.good for one in mine if one.on == last][-1:] == [True]:
        bad = None
    since = tuple(one for one in judged if last is None or date.fromisoformat(one[1]) > last)
    days = (today - last).days if last is not None else None
    return OverdueKit(kit, last, last is not None and last not in good, bad, days, since)


def kit_names(facts: Facts) -> list[str]:
    """Names of the kits the book knows of: used for a lot, or checked."""
    used = {fact.of(KitKept).name for fact in facts.find("kit")}
    return sorted(used | {fact.of(KitCheckKept).kit for fact in facts.find("kit_check")})


def last_good_checks(facts: Facts) -> dict[str, date]:
    """Day of the last good check of each kit that had one."""
    found: dict[str, date] = {}
    for fact in facts.find("kit_check"):
        one = fact.of(KitCheckKept)
        if one.good:
            found[one.kit] = max(one.on, found.get(one.kit, one.on))
    return found


def kept_file(facts: Facts, text: str) -> BlobRef:
    """A photo or raw file of the book by its hash, or by the begin of it.

    Raises
    ------
    UnusableInput
        None begins so, or several do.
    """
    begin = text.strip().lower()
    kept = [blob for fact in facts.find("observation") for blob in fact.of(ObservationKept).blobs]
    kept += [blob for fact in facts.find("file") for blob in fact.of(FileKept).blobs]
    found = {blob.sha256: blob for blob in kept if len(begin) >= 8 and blob.sha256.startswith(begin)}
    if len(found) == 1:
        ref = next(iter(found.values()))
        raw = [fact.of(FileKept).name for fact in facts.find("file") if fact.of(FileKept).sha256 == ref.sha256]
        return ref if ref.name or not raw else ref.model_copy(update={"name": raw[-1]})
    what = f"{len(found)} files begin with {text!r}" if found else f"no photo or file of the book begins with {text!r}"
    fix = "give at least 8 digits of its hash; book show names it"
    raise UnusableInput([Problem("BOOK_NO_PHOTO", what, fix, "HASH")])


def photo_hash(facts: Facts, text: str) -> str:
    """The whole hash of a photo of the book from its beginning.

    Raises
    ------
    UnusableInput
        No photo begins so, or several do. Raw files are no photos: without them the judgements could not be repeated.
    """
    begin = text.strip().lower()
    kept = [blob for fact in facts.find("observation") for blob in fact.of(ObservationKept).blobs]
    found = {blob.sha256: blob.name for blob in kept if len(begin) >= 8 and blob.sha256.startswith(begin)}
    if len(found) == 1:
        return next(iter(found))
    what = f"{len(found)} photos begin with {text!r}" if found else f"no photo of the book begins with {text!r}"
    fix = "give at least 8 digits of its hash; book show of the part or job names it"
    raise UnusableInput([Problem("BOOK_NO_PHOTO", what, fix, "PHOTO")])
