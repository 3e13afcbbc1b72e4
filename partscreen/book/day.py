"""What waits at the bench and what is overdue, from what the book holds already; nothing is kept for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from partscreen.book.entries import FAILED, ApprovalKept, LotKept, OutcomeKept, OverrideKept, ScreeningKept
from partscreen.book.facts import Fact, Facts
from partscreen.book.jobs import NOT_FITTED_NEEDED, Fitting, fittings
from partscreen.book.places import LotRef
from partscreen.book.standing import LotKey, Places, Standing, quarantine_of, standings
from partscreen.book.words import sentence
from partscreen.results import NextMeasurement
from partscreen.results.bench import (
    Aside,
    HeldLot,
    HeldPart,
    LotWaits,
    ToJudgeAgain,
    ToReadAgain,
    VoiceWanted,
)
from partscreen.results.book import LotOverdue

CONTROL_LOOKED_AT = 60
"""Newest lots whose control piece is looked for, by their first and last part (assumption: more are old news)."""

_FEW = 4  # a query takes about as long as reading four parts

_LOT_WHY = {
    "undecided": "two groups of parts, and which one is as marked is not known",
    "no_reference": "nothing to judge the type by",
    "test_all": "every part has to be tested",
    "return": "too large a share is judged unfit",
}


class Bench:
    """The whole book as the day needs it: newest judgements, standings, fittings, outcomes; read once."""

    def __init__(self, facts: Facts, today: date) -> None:
        self.facts, self.today = facts, today
        self.judged: dict[LotKey, Fact] = {}
        for fact in facts.find("screening"):
            one = fact.of(ScreeningKept)
            self.judged[one.supplier, one.lot] = fact
        self.standings = standings(facts)
        self.fitted = fittings(facts)
        self.outcomes = facts.find("outcome")
        self.inside = {(f.ref.supplier, f.ref.lot, f.ref.part) for f in self.fitted if not f.out}
        self.gone = {
            (one.supplier, one.lot, one.part)
            for one in (fact.of(OutcomeKept) for fact in self.outcomes)
            if one.what in (*NOT_FITTED_NEEDED, *FAILED)
        }

    def lot(self, key: LotKey) -> ScreeningKept:
        """The newest judgement of a lot."""
        return self.judged[key].of(ScreeningKept)

    def at_the_bench(self, key: LotKey, part: str) -> bool:
        """Whether a part lies in the drawer: in no amplifier, not sent back, not burnt."""
        keys = ((*key, part), (*key, None))
        return not any(one in self.inside or one in self.gone for one in keys)


def held_lots(bench: Bench) -> list[HeldLot]:
    """Held parts by lot, each with the measurement that its newest judgement asks for."""
    out = []
    for key, parts in bench.standings.items():
        held = [one for one in parts if one.disposition == "hold" and bench.at_the_bench(key, one.part)]
        if held:
            results = _newest_results(bench.facts, key, [one.part for one in held], len(parts))
            of = bench.lot(key)
            shown = [_held(one, results.get(one.part, {})) for one in held]
            out.append(HeldLot(lot=of.lot, supplier=of.supplier, type=of.type, parts=shown))
    return out


def _newest_results(facts: Facts, key: LotKey, names: Sequence[str], n_parts: int) -> dict[str, dict[str, Any]]:
    """Results of the newest judgements as they are kept; nobody corrects these entries.

    Their bodies are long: of a few parts each is asked for, of many the lot is read through.
    """
    supplier, lot = key
    few: Sequence[str | None] = names if _FEW * len(names) <= n_parts else (None,)
    found: dict[str, dict[str, Any]] = {}
    for name in few:
        for entry in facts.book.entries(kind="part", part=name, lot=lot, supplier=supplier):
            if entry.body["part"] in names and entry.body.get("supplier") == supplier:
                found[entry.body["part"]] = entry.body["result"]
    return found


def _held(one: Standing, result: dict[str, Any]) -> HeldPart:
    step = result.get("next_measurement")
    reasons = result.get("reasons") or [{}]
    return HeldPart(
        part=one.part,
        why=one.reason or reasons[0].get("sentence") or one.code or "",
        next_measurement=NextMeasurement.model_validate(step) if step else None,
        overridden_by=one.overridden_by,
        quarantine=one.quarantine,
    )


def lots_waiting(bench: Bench) -> list[LotWaits]:
    """Lots that are not decided, lots judged to go back that are still here, and returned ones without a refund."""
    sheet = {}
    for fact in bench.facts.find("lot"):
        kept = fact.of(LotKept)
        sheet[kept.supplier, kept.lot] = kept.told
    sent: dict[LotKey, set[str]] = {}
    for fact in bench.outcomes:
        one = fact.of(OutcomeKept)
        if one.what in NOT_FITTED_NEEDED:
            sent.setdefault((one.supplier, one.lot), set()).add(one.what)
    out = []
    for key, fact in bench.judged.items():
        one_lot = fact.of(ScreeningKept)
        why = _lot_why(bench, key, one_lot, sent.get(key, set()))
        if why is None:
            continue
        by = _day(sheet.get(key, {}).get("return_by"))
        out.append(
            LotWaits(
                lot=one_lot.lot, supplier=one_lot.supplier, type=one_lot.type, judgement=one_lot.judgement,
                judged_on=fact.recorded_at[:10], entry=fact.seq, why=why,
                return_by=by.isoformat() if by else None, days_left=(by - bench.today).days if by else None,
            )
        )  # fmt: skip
    return sorted(out, key=lambda one: one.days_left if one.days_left is not None else 10**6)


def _lot_why(bench: Bench, key: LotKey, kept: ScreeningKept, sent: set[str]) -> str | None:
    if "refunded" in sent:
        return None
    if "returned" in sent:
        return "sent back, no refund told yet"
    if kept.known_good or kept.judgement == "use":
        return None
    if not any(bench.at_the_bench(key, one.part) for one in bench.standings[key]):
        return None
    return _LOT_WHY.get(kept.judgement, kept.judgement)


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat((text or "").strip()[:10])
    except ValueError:
        return None


def to_read_again(bench: Bench) -> list[ToReadAgain]:
    """Parts that failed, are still here, and were not read again since."""
    later: dict[tuple[str | None, str, str], int] = {}
    for fact in bench.facts.find("retest"):
        one: Any = fact.payload
        later[one.supplier, one.lot, one.part] = fact.first
    out = []
    for fact in bench.outcomes:
        failed = fact.of(OutcomeKept)
        if failed.what not in FAILED or failed.part is None:
            continue
        key = (failed.supplier, failed.lot, failed.part)
        back = any(_sent_back(o.of(OutcomeKept), failed) for o in bench.outcomes)
        if not back and later.get(key, 0) < fact.first:
            out.append(
                ToReadAgain(
                    part=failed.part, lot=failed.lot, supplier=failed.supplier, job=failed.job,
                    sentence=sentence(failed), entry=fact.seq,
                )
            )  # fmt: skip
    return out


def _sent_back(one: OutcomeKept, failed: OutcomeKept) -> bool:
    same = (one.supplier, one.lot) == (failed.supplier, failed.lot) and one.part in (None, failed.part)
    return same and one.what in NOT_FITTED_NEEDED


def voices_wanted(bench: Bench) -> list[VoiceWanted]:
    """Overrides that hold today and that no second person looked at, or that are older than the newest judgement."""
    heard = {fact.of(ApprovalKept).of for fact in bench.facts.find("approval")}
    newest: dict[tuple[str | None, str, str], Fact] = {}
    for fact in bench.facts.find("override"):
        one = fact.of(OverrideKept)
        newest[one.supplier, one.lot, one.part] = fact
    stale = {(*key, one.part) for key, parts in bench.standings.items() for one in parts if one.stale}
    return [
        VoiceWanted(
            part=key[2], lot=key[1], supplier=key[0], entry=fact.seq, sentence=sentence(fact.payload),
            second=fact.first not in heard,
        )
        for key, fact in newest.items()
        if fact.first not in heard or key in stale
    ]  # fmt: skip


def to_judge_again(bench: Bench) -> list[ToJudgeAgain]:
    """Lots with corrected readings that their newest judgement did not know."""
    by_file: dict[str, list[int]] = {}
    for seq, correction in bench.facts.reading_corrections:
        if correction.reading is not None:
            by_file.setdefault(correction.reading.sha256, []).append(seq)
    out = []
    for fact in bench.judged.values():
        one = fact.of(ScreeningKept)
        known = max(one.inputs.corrections, default=0)
        here = [seq for ref in one.inputs.files for seq in by_file.get(ref.sha256, []) if seq > max(known, fact.seq)]
        if here:
            out.append(ToJudgeAgain(lot=one.lot, supplier=one.supplier, corrections=sorted(here)))
    return out


def set_aside(bench: Bench) -> list[Aside]:
    """Lots and parts in quarantine that are still at the bench."""
    keys = dict.fromkeys((f.payload.supplier, f.payload.lot) for f in bench.facts.find("quarantine"))  # type: ignore[attr-defined]
    out = []
    for key in keys:
        places: Places = quarantine_of(bench.facts, *key)
        if places.whole and any(bench.at_the_bench(key, one.part) for one in bench.standings.get(key, ())):
            out.append(Aside(lot=key[1], supplier=key[0], place=places.whole))
        out += [
            Aside(lot=key[1], supplier=key[0], part=part, place=place)
            for part, place in places.parts.items()
            if place is not None and bench.at_the_bench(key, part)
        ]
    return out


def control_moved(bench: Bench, checked: dict[str, date]) -> list[LotOverdue]:
    """Lots in whose sitting the control piece moved, judged since the last good check of their kit."""
    out = []
    newest = sorted(bench.judged.values(), key=lambda fact: -fact.seq)[:CONTROL_LOOKED_AT]
    for fact in newest:
        one = fact.of(ScreeningKept)
        day = date.fromisoformat(fact.recorded_at[:10])
        good = checked.get(one.kit or "")
        if (good is None or good < day) and _moved(bench.facts, LotRef(one.supplier, one.lot)):
            out.append(
                LotOverdue(lot=one.lot, supplier=one.supplier, type=one.type, judged_on=day.isoformat(), entry=fact.seq)
            )
    return out


def _moved(facts: Facts, lot: LotRef) -> bool:
    def ends() -> Iterator[Any]:
        for first in (True, False):
            yield from facts.book.entries(
                kind="part", lot=lot.lot, supplier=lot.supplier, newest_first=first, limit=1
            )  # fmt: skip

    notes: Iterable[dict[str, Any]] = (note for entry in ends() for note in entry.body["result"].get("quality", []))
    return any(note["code"] == "CONTROL_DRIFT" for note in notes)


def silent(fitted: Sequence[Fitting]) -> list[Fitting]:
    """Parts that sit in a stage and of which nothing was told since."""
    return [one for one in fitted if not one.out and not one.outcomes]
