"""Entries as rows of an export: plain values, SI units; what is not known is None."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from partscreen.book.entries import (
    ApprovalKept,
    BiasKept,
    CorrectionKept,
    FittedKept,
    KitCheckKept,
    LotKept,
    MatchKept,
    ObservationKept,
    OutcomeKept,
    OverrideKept,
    PartKept,
    QuarantineKept,
    RetestKept,
    ScreeningKept,
    StressKept,
)
from partscreen.book.facts import Fact
from partscreen.book.names import Names

Row = dict[str, Any]


def _entry(fact: Fact) -> Row:
    return {"entry": fact.seq, "recorded_at": f"{fact.recorded_at[:19]}Z", "older": len(fact.older)}


def _place(fact: Fact, names: Names) -> Row:
    one: Any = fact.payload
    place = {
        **_entry(fact),
        "supplier": names.of("supplier", one.supplier),
        "lot": names.of("lot", one.lot, one.supplier),
        "type": names.type(one.type),
    }
    if hasattr(one, "part"):
        place["part"] = names.part(one.supplier, one.lot, one.part)
    return place


def _signed(one: Any, names: Names) -> Row:
    return {"by": names.text(one.by), "on": one.on.isoformat()}


def lots(fact: Fact, names: Names) -> Iterator[Row]:
    """A lot as its sheet tells it."""
    one = fact.of(LotKept)
    yield {
        **_place(fact, names), "maker": names.text(one.maker), "gain_group": names.gain_group(one.gain_group),
        "known_good": one.known_good, "count": one.count,
        "told": names.text("; ".join(f"{key}: {value}" for key, value in one.told.items()) or None),
    }  # fmt: skip


def screenings(fact: Fact, names: Names) -> Iterator[Row]:
    """A judgement of a lot."""
    one = fact.of(ScreeningKept)
    share = one.share_unfit
    yield {
        **_place(fact, names), "judgement": one.judgement, "parts": one.n_parts, "known_good": one.known_good,
        "share_unfit": share.value if share else None, "share_low": share.low if share else None,
        "share_high": share.high if share else None, "program": one.versions.program, "library": one.versions.library,
        "reference": one.versions.reference, "kit": names.of("kit", one.kit), "rescreened": one.rescreened,
    }  # fmt: skip


def parts(fact: Fact, names: Names) -> Iterator[Row]:
    """A judgement of a part."""
    one = fact.of(PartKept)
    result = one.result
    area = result.area_ratio
    first = result.reasons[0] if result.reasons else None
    yield {
        **_place(fact, names), "status": result.status, "disposition": result.disposition,
        "code": first.code if first else None, "sentence": names.text(first.sentence if first else None),
        "evidence": result.evidence, "probability_unfit": result.probability_unfit,
        "area_ratio": area.value if area else None, "area_low": area.low if area else None,
        "area_high": area.high if area else None, "reach": result.reach, "program": one.versions.program,
        "library": one.versions.library,
    }  # fmt: skip


def fits(fact: Fact, names: Names) -> Iterator[Row]:
    """The device parameters of a part, one row each."""
    fit = fact.of(PartKept).result.fit
    if fit is None:
        return
    place = _place(fact, names)
    for i, (name, theta, share) in enumerate(zip(fit.names, fit.theta, fit.prior_share, strict=True)):
        variance = fit.covariance[i][i] if fit.covariance else None
        std = variance**0.5 if variance is not None and variance >= 0.0 else None
        yield {**place, "parameter": name, "theta": theta, "std": std, "prior_share": share}


_SWEEPS = {0: "gain", 1: "saturation", 2: "output", 3: "gummel"}
_POINT = (
    "ic", "ib", "vce", "vbe", "hfe", "case_temp", "ambient", "time", "ic_std", "hfe_std", "vbe_std", "vce_std",
    "pulsed", "control", "use", "row",
)  # fmt: skip


def readings(fact: Fact, names: Names) -> Iterator[Row]:
    """The sweep readings of a part, one row a point."""
    kept = fact.of(PartKept).readings
    place = _place(fact, names)
    columns = kept.points
    for i in range(len(columns.get("row", ()))):
        yield {
            **place,
            "sweep": _SWEEPS.get(columns["sweep"][i]),
            "run": columns["run"][i],
            "session": names.of("session", columns["session"][i] or None),
            **{name: columns[name][i] if name in columns else None for name in _POINT},
            "file": names.of("file", kept.files[columns["file"][i]].name, kept.files[columns["file"][i]].sha256),
        }


def spots(fact: Fact, names: Names) -> Iterator[Row]:
    """The single readings of a part."""
    kept = fact.of(PartKept).readings
    place = _place(fact, names)
    for spot in kept.spots:
        ref = kept.files[spot["file"]]
        yield {
            **place, "quantity": spot["quantity"], "value": spot.get("value"), "std": spot.get("std"),
            "conditions": names.conditions(spot["conditions"]), "session": names.of("session", spot["session"] or None),
            "control": spot["control"], "use": spot["use"], "row": spot["row"],
            "file": names.of("file", ref.name, ref.sha256),
        }  # fmt: skip


def fitted(fact: Fact, names: Names) -> Iterator[Row]:
    """A part soldered in."""
    one = fact.of(FittedKept)
    yield {
        **_place(fact, names), "job": names.of("job", one.job), "channel": names.text(one.channel),
        "position": names.of("position", one.position, one.job), **_signed(one, names),
    }  # fmt: skip


def bias(fact: Fact, names: Names) -> Iterator[Row]:
    """A bias reading."""
    one = fact.of(BiasKept)
    yield {
        **_place(fact, names), "job": names.of("job", one.job), "position": names.of("position", one.position, one.job),
        "volts": one.volts, "resistor": one.resistor, "ambient": one.ambient, "minutes": one.minutes,
        **_signed(one, names),
    }  # fmt: skip


def outcomes(fact: Fact, names: Names) -> Iterator[Row]:
    """What became of a part or lot."""
    one = fact.of(OutcomeKept)
    yield {
        **_place(fact, names), "job": names.of("job", one.job), "what": one.what, "days": one.days, "cause": one.cause,
        "note": names.text(one.note), **_signed(one, names),
    }  # fmt: skip


def overrides(fact: Fact, names: Names) -> Iterator[Row]:
    """A person's decision."""
    one = fact.of(OverrideKept)
    yield {
        **_place(fact, names), "disposition": one.disposition, "original": one.original, "judged": one.judged,
        "reason": names.text(one.reason), **_signed(one, names),
    }  # fmt: skip


def approvals(fact: Fact, names: Names) -> Iterator[Row]:
    """A second person's word."""
    one = fact.of(ApprovalKept)
    yield {
        **_place(fact, names), "override": one.of, "agrees": one.agrees, "note": names.text(one.note),
        **_signed(one, names),
    }  # fmt: skip


def quarantine(fact: Fact, names: Names) -> Iterator[Row]:
    """Set aside or released."""
    one = fact.of(QuarantineKept)
    yield {
        **_place(fact, names), "place": names.text(one.place), "released": one.released,
        "reason": names.text(one.reason), **_signed(one, names),
    }  # fmt: skip


def matches(fact: Fact, names: Names) -> Iterator[Row]:
    """A part of a set."""
    one = fact.of(MatchKept)
    beside = ", ".join(
        f"{names.of('lot', lot, supplier)}/{names.part(supplier, lot, part)}" for supplier, lot, part in one.beside
    )
    yield {
        **_place(fact, names),
        "set": names.of("set", one.set),
        "position": names.of("place", one.position),
        "beside": beside,
    }


def stress(fact: Fact, names: Names) -> Iterator[Row]:
    """What may have changed a part."""
    one = fact.of(StressKept)
    yield {
        **_place(fact, names), "what": one.what, "current": one.current, "volts": one.volts, "seconds": one.seconds,
        "survived": one.survived, "note": names.text(one.note), **_signed(one, names),
    }  # fmt: skip


def retests(fact: Fact, names: Names) -> Iterator[Row]:
    """A part read again."""
    one = fact.of(RetestKept)
    yield {
        **_place(fact, names), "first": one.first, "verdict": one.verdict, "sentence": names.text(one.sentence),
        **_signed(one, names),
    }  # fmt: skip


def observations(fact: Fact, names: Names) -> Iterator[Row]:
    """What was seen."""
    one = fact.of(ObservationKept)
    place = _place(fact, names) if one.lot is not None else {**_entry(fact)}
    yield {
        **place, "job": names.of("job", one.job), "text": names.text(one.text), "photos": len(one.blobs),
        **_signed(one, names),
    }  # fmt: skip


def kit_checks(fact: Fact, names: Names) -> Iterator[Row]:
    """A check of the instruments."""
    one = fact.of(KitCheckKept)
    yield {
        **_entry(fact), "kit": names.of("kit", one.kit), "good": one.good, "note": names.text(one.note),
        **_signed(one, names),
    }  # fmt: skip


def corrections(fact: Fact, names: Names) -> Iterator[Row]:
    """What was put right."""
    one = fact.of(CorrectionKept)
    cell = one.reading
    yield {
        **_entry(fact), "supersedes": one.supersedes, "of_kind": one.of_kind,
        "file": names.of("file", cell.file, cell.sha256) if cell else None, "row": cell.row if cell else None,
        "was": names.text(cell.was) if cell else None, "now": names.text(cell.now) if cell else None,
        "reason": names.text(one.reason), **_signed(one, names),
    }  # fmt: skip
