"""Which lot or part is meant: two suppliers may sell lots of one name, and part numbers repeat between lots."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from partscreen.book.entries import FittedKept, ScreeningKept
from partscreen.book.facts import ANY, Fact, Facts
from partscreen.errors import Problem, UnusableInput

_MOST_LOOKED_AT = 400
"""Entries of one part number looked at to find its lots; a number as common as that needs its lot named anyway."""


@dataclass(frozen=True, slots=True)
class LotRef:
    """A lot of the book."""

    supplier: str | None
    lot: str
    type: str | None = None

    @property
    def keys(self) -> dict[str, Any]:
        return {"supplier": self.supplier, "lot": self.lot}

    @property
    def placed(self) -> dict[str, Any]:
        """The fields every entry about a lot carries."""
        return {**self.keys, "type": self.type}

    @property
    def words(self) -> str:
        return f"lot {self.lot} from {self.supplier}" if self.supplier else f"lot {self.lot}, supplier not stated"


@dataclass(frozen=True, slots=True)
class PartRef:
    """A part of the book."""

    supplier: str | None
    lot: str
    part: str
    type: str | None = None

    @property
    def keys(self) -> dict[str, Any]:
        return {"supplier": self.supplier, "lot": self.lot, "part": self.part}

    @property
    def placed(self) -> dict[str, Any]:
        """The fields every entry about a part carries."""
        return {**self.keys, "type": self.type}

    @property
    def words(self) -> str:
        return f"part {self.part} of {LotRef(self.supplier, self.lot).words}"


NOT_STATED = "not stated"
"""Asked for as a supplier: lots whose supplier is not known, as every message calls them."""


def _sold_by(supplier: str | None, asked: str | None) -> bool:
    return asked is None or supplier == asked or (supplier is None and asked == NOT_STATED)


def find_lot(facts: Facts, lot: str, supplier: str | None = None) -> LotRef:
    """The lot of that name. `supplier`: None for any, "not stated" for one whose supplier is not known.

    Raises
    ------
    UnusableInput
        Not in the book (close names are told), or several suppliers sold a lot of that name.
    """
    found: dict[str | None, LotRef] = {}
    for entry in facts.book.entries(kind="screening", lot=lot):
        if _sold_by(entry.body.get("supplier"), supplier):
            found[entry.body.get("supplier")] = LotRef(entry.body.get("supplier"), lot, entry.body.get("type"))
    if not found:
        raise UnusableInput([_unknown_lot(facts, lot, supplier)])
    if len(found) > 1:
        who = ", ".join(sorted(name or NOT_STATED for name in found))
        what = f"{len(found)} lots are named {lot!r}, from {who}"
        raise UnusableInput([Problem("BOOK_LOT_TWICE", what, "say which: --supplier NAME", "--lot", lot=lot)])
    return next(iter(found.values()))


def _unknown_lot(facts: Facts, lot: str, supplier: str | None) -> Problem:
    here = [(e.body.get("lot"), e.body.get("supplier")) for e in facts.book.entries(kind="screening")]
    sellers = sorted({str(who) for name, who in here if name == lot})
    if supplier is not None and sellers:
        what = f"no lot {lot!r} from {supplier!r} is in the book"
        fix = f"lot {lot!r} is there from {', '.join(sellers)}"
        return Problem("BOOK_LOT_UNKNOWN", what, fix, "--supplier", lot=lot)
    close = get_close_matches(lot, sorted({str(name) for name, _ in here}), 5, 0.5)
    fix = f"close names: {', '.join(close)}; or record" if close else "record"
    return Problem(
        "BOOK_LOT_UNKNOWN",
        f"no lot {lot!r} is in the book",
        f"{fix} its readings first: partscreen screen FILES --record",
        "--lot",
        lot=lot,
    )


def find_part(facts: Facts, part: str, lot: str | None = None, supplier: str | None = None) -> PartRef:
    """The part of that number.

    Raises
    ------
    UnusableInput
        Not in the book, or in several lots.
    """
    if lot is not None:
        place = find_lot(facts, lot, supplier)
        fact = facts.latest("part", part=part, lot=lot, supplier=place.supplier)
        if fact is None:
            raise UnusableInput([_unknown_part(facts, part, place)])
        return PartRef(place.supplier, lot, part, _type_of(fact) or place.type)
    found: dict[tuple[str | None, str], PartRef] = {}
    named = None if supplier == NOT_STATED else supplier
    here = facts.book.entries(kind="part", part=part, supplier=named, limit=_MOST_LOOKED_AT, newest_first=True)
    for entry in here:
        body = entry.body
        if not _sold_by(body.get("supplier"), supplier):
            continue
        found.setdefault(
            (body.get("supplier"), body["lot"]), PartRef(body.get("supplier"), body["lot"], part, body.get("type"))
        )
    if not found:
        fix = "check the number, or record its readings first: partscreen screen FILES --record"
        what = f"no part {part!r}" + (f" from {supplier!r}" if supplier else "") + " is in the book"
        raise UnusableInput([Problem("BOOK_PART_UNKNOWN", what, fix, "--part", part=part)])
    if len(found) > 1:
        where = "; ".join(LotRef(ref.supplier, ref.lot).words for ref in list(found.values())[:6])
        more = f"; and {len(found) - 6} more" if len(found) > 6 else ""
        fix = "say which: --lot NAME" + (" --supplier NAME" if len({r.lot for r in found.values()}) == 1 else "")
        what = f"part {part!r} stands in several lots: {where}{more}"
        raise UnusableInput([Problem("BOOK_PART_TWICE", what, fix, "--part", part=part)])
    return next(iter(found.values()))


def _type_of(fact: Fact) -> str | None:
    kind: str | None = getattr(fact.payload, "type", None)
    return kind


def _unknown_part(facts: Facts, part: str, place: LotRef) -> Problem:
    names = lot_parts(facts, place)
    close = get_close_matches(part, names, 5, 0.4)
    fix = f"its parts are {', '.join(names[:20])}{' ...' if len(names) > 20 else ''}"
    if close:
        fix = f"close numbers: {', '.join(close)}"
    return Problem(
        "BOOK_PART_UNKNOWN", f"no part {part!r} in {place.words}", fix, "--part", part=part, lot=place.lot
    )  # fmt: skip


def lot_parts(facts: Facts, place: LotRef) -> list[str]:
    """Numbers of the parts of a lot, in the order in which they were first judged."""
    names: dict[str, None] = {}
    for fact in facts.find("screening", lot=place.lot, supplier=place.supplier):
        names.update(dict.fromkeys(one.part for one in fact.of(ScreeningKept).evidence))
    return list(names)


def fitted_facts(facts: Facts, **keys: str | None) -> list[Fact]:
    """Fittings by part, lot, supplier or job."""
    return facts.find("fitted", **keys)


def job_parts(facts: Facts, job: str, position: str | None = None) -> list[tuple[PartRef, Fact]]:
    """What was fitted in a job (at one position), the newest of each position last.

    Raises
    ------
    UnusableInput
        Nothing is fitted there.
    """
    out = []
    for fact in fitted_facts(facts, job=job):
        one = fact.of(FittedKept)
        if position is None or one.position == position:
            out.append((PartRef(one.supplier, one.lot, one.part, one.type), fact))
    if not out:
        raise UnusableInput([_unknown_job(facts, job, position)])
    return out


def _unknown_job(facts: Facts, job: str, position: str | None) -> Problem:
    here = facts.find("fitted", job=ANY)
    if position is not None:
        places = sorted({f.of(FittedKept).position for f in here if f.of(FittedKept).job == job})
        if places:
            what = f"nothing is fitted at position {position!r} of job {job!r}"
            return Problem("BOOK_NEVER_FITTED", what, f"its positions are {', '.join(places)}", "--position")
    close = get_close_matches(job, sorted({f.of(FittedKept).job for f in here}), 5, 0.4)
    fix = f"close names: {', '.join(close)}; or record" if close else "record"
    return Problem(
        "BOOK_NEVER_FITTED",
        f"nothing is fitted in a job {job!r}",
        f"{fix} what was fitted first: partscreen book fitted --job JOB --position POSITION --part PART",
        "--job",
    )
