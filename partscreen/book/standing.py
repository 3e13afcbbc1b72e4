"""How a part stands today: the newest judgement, a person's override, quarantine."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from partscreen.book.entries import ApprovalKept, OverrideKept, PartEvidence, PartKept, QuarantineKept, ScreeningKept
from partscreen.book.facts import Fact, Facts
from partscreen.results import made

if TYPE_CHECKING:
    from partscreen.book.places import LotRef, PartRef
    from partscreen.results import Disposition


@dataclass(frozen=True, slots=True)
class Standing:
    """How a part stands.

    disposition : what holds now; original : by the readings. code, evidence : of the newest judgement. judged : its
    entry (of the part, else of the lot; 0: never judged). older : judgements it replaced. override, approved_by,
    refused_by : of the newest override. stale : the override was made on an earlier judgement. quarantine : place;
    None: none.
    """

    part: str
    disposition: Disposition | None
    original: Disposition | None
    judged: int
    code: str | None = None
    evidence: float | None = None
    older: int = 0
    override: int | None = None
    overridden_by: str | None = None
    reason: str | None = None
    approved_by: tuple[str, ...] = ()
    refused_by: tuple[str, ...] = ()
    stale: bool = False
    quarantine: str | None = None


def standing_of(facts: Facts, ref: PartRef) -> Standing:
    """How one part of the book stands; an entry may name a part that was never judged: nothing is known of it then."""
    judged = facts.find("part", **ref.keys)
    if not judged:
        return Standing(ref.part, None, None, 0, quarantine=quarantine_of(facts, ref.supplier, ref.lot).of(ref.part))
    newest = judged[-1]
    result = newest.of(PartKept).result
    base = Standing(
        ref.part,
        result.disposition,
        result.disposition,
        newest.seq,
        result.reasons[0].code if result.reasons else None,
        result.evidence,
        len(judged) - 1,
    )
    overrides = facts.find("override", **ref.keys)
    base = _overridden(base, overrides, facts.find("approval", **ref.keys))
    place = quarantine_of(facts, ref.supplier, ref.lot).of(ref.part)
    return replace(base, quarantine=place)


LotKey = tuple[str | None, str]


def standings_of_lot(facts: Facts, lot: LotRef) -> list[Standing]:
    """How every part of a lot stands, in the order of the first judgement; from the lot's entries alone."""
    return standings(facts, lot=lot.lot, supplier=lot.supplier).get((lot.supplier, lot.lot), [])


def standings(facts: Facts, **keys: str | None) -> dict[LotKey, list[Standing]]:
    """As `standings_of_lot` for every lot of a supplier or a type, or of the whole book; a few queries for all."""
    found: dict[LotKey, dict[str, Standing]] = {}
    for fact in facts.find("screening", **keys):
        kept = fact.of(ScreeningKept)
        lot = found.setdefault((kept.supplier, kept.lot), {})
        for one in kept.evidence:
            older = lot[one.part].older + 1 if one.part in lot else 0
            lot[one.part] = Standing(
                one.part, one.disposition, one.disposition, fact.seq, one.code, one.evidence, older
            )  # fmt: skip
    overrides, approvals = (_by_part(facts.find(kind, **keys)) for kind in ("override", "approval"))
    aside = _by_lot(facts.find("quarantine", **keys))
    out: dict[LotKey, list[Standing]] = {}
    for key, parts in found.items():
        places = _places(aside.get(key, []))
        out[key] = [
            replace(
                _overridden(one, overrides.get((*key, name), []), approvals.get((*key, name), [])),
                quarantine=places.of(name),
            )
            for name, one in parts.items()
        ]
    return out


def _by_lot(facts: Iterable[Fact]) -> dict[LotKey, list[Fact]]:
    found: dict[LotKey, list[Fact]] = {}
    for fact in facts:
        one = fact.payload
        found.setdefault((getattr(one, "supplier", None), getattr(one, "lot", "")), []).append(fact)
    return found


def _by_part(facts: Iterable[Fact]) -> dict[tuple[str | None, str, str], list[Fact]]:
    found: dict[tuple[str | None, str, str], list[Fact]] = {}
    for (supplier, lot), several in _by_lot(facts).items():
        for fact in several:
            found.setdefault((supplier, lot, getattr(fact.payload, "part", "")), []).append(fact)
    return found


def _overridden(base: Standing, overrides: list[Fact], approvals: list[Fact]) -> Standing:
    if not overrides:
        return base
    newest = overrides[-1]
    one = newest.of(OverrideKept)
    voices = [fact.of(ApprovalKept) for fact in approvals if fact.of(ApprovalKept).of == newest.first]
    return replace(
        base,
        disposition=one.disposition,
        override=newest.seq,
        overridden_by=one.by,
        reason=one.reason,
        approved_by=tuple(voice.by for voice in voices if voice.agrees),
        refused_by=tuple(voice.by for voice in voices if not voice.agrees),
        stale=base.judged > newest.first,
    )


@dataclass(frozen=True, slots=True)
class Places:
    """Where parts of a lot are set aside: `whole` the lot, `parts` those told one by one (None: released)."""

    whole: str | None
    parts: dict[str, str | None]

    def of(self, part: str) -> str | None:
        """The place of a part; None: not set aside."""
        return self.parts.get(part, self.whole)


def quarantine_of(facts: Facts, supplier: str | None, lot: str) -> Places:
    """Places of the parts of a lot that are set aside now."""
    return _places(facts.find("quarantine", supplier=supplier, lot=lot))


def _places(facts: Iterable[Fact]) -> Places:
    whole: str | None = None
    parts: dict[str, str | None] = {}
    for fact in facts:
        one = fact.of(QuarantineKept)
        place = None if one.released else one.place or "a place not named"
        if one.part is None:
            whole = place
            parts.clear()
        else:
            parts[one.part] = place
    return Places(whole, parts)


def lot_evidence(facts: Facts, **keys: Any) -> dict[tuple[str | None, str], dict[str, PartEvidence]]:
    """What every part of every lot says, by (supplier, lot) and part: the newest judgement of each part.

    Likelihoods, never posteriors: whoever learns of lots and suppliers starts from these.
    """
    found: dict[tuple[str | None, str], dict[str, PartEvidence]] = {}
    blank = PartEvidence(part="").model_dump()
    for entry in facts.book.entries(kind="screening", **keys):
        lot = found.setdefault((entry.body.get("supplier"), entry.body["lot"]), {})
        lot.update({one["part"]: made(PartEvidence, **{**blank, **one}) for one in entry.body["evidence"]})
    return found
