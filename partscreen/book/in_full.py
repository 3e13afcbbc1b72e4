"""A part or a lot of the book in full: its newest judgement with the readings behind it, raw files, lot sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from partscreen.book.entries import CORRECTABLE, KINDS, KeptReadings, LotKept, PartKept, ScreeningKept
from partscreen.book.facts import Fact, Facts
from partscreen.book.notes import entry_fact
from partscreen.book.places import LotRef, PartRef
from partscreen.book.show import head_fields, line_of, show_lot, show_part
from partscreen.quantities import QUANTITIES, ZERO_CELSIUS
from partscreen.readings.tables import Sweep
from partscreen.results.bench import EntryShown, FieldShown, FileShown, ReadingShown, ShownInFull

_FIGURES = ("ic", "ib", "vce", "vbe", "hfe", "case_temp")
_NOT_TYPED = frozenset({"schema_", "content_key", "supersedes", "blobs", "sha256"})


def part_in_full(facts: Facts, ref: PartRef) -> tuple[ShownInFull, PartKept]:
    """A part with its newest result and the readings it was judged by; and the entry of that judgement."""
    fact = facts.find("part", **ref.keys)[-1]
    kept = fact.of(PartKept)
    shown = show_part(facts, ref)
    made = ShownInFull(
        **_fields(shown),
        **ref.placed,
        judged=fact.recorded_at,
        result=kept.result,
        readings=list(readings_shown(kept.readings)),
        files=[FileShown(name=ref.name, sha256=ref.sha256, role="readings") for ref in kept.readings.files],
    )
    return made, kept


def lot_in_full(facts: Facts, lot: LotRef) -> ShownInFull:
    """A lot with the reasons and possible actions of its newest judgement, its lot sheet and its raw files."""
    fact = facts.find("screening", **lot.keys)[-1]
    kept = fact.of(ScreeningKept)
    sheets = [one.of(LotKept) for one in facts.find("lot", **lot.keys)][-1:]
    sheet = {name: text for one in sheets for name, text in _sheet(one).items()}
    return ShownInFull(
        **_fields(show_lot(facts, lot)),
        **lot.placed,
        judged=fact.recorded_at,
        reasons=kept.reasons,
        actions=kept.actions,
        sheet=sheet,
        files=list(_files(kept)),
    )


def _sheet(kept: LotKept) -> dict[str, str]:
    """What the lot sheet told, as text."""
    told = {"maker": kept.maker, "gain_group": kept.gain_group, **kept.told}
    return {name: str(value) for name, value in told.items() if value}


def _fields(shown: Any) -> dict[str, Any]:
    return {name: getattr(shown, name) for name in type(shown).model_fields if name != "schema_"}


def _files(kept: ScreeningKept) -> Iterator[FileShown]:
    inputs = kept.inputs
    told = [("readings", one) for one in inputs.files]
    told += [
        (role, one)
        for role, one in (
            ("lot sheet", inputs.lot_sheet), ("kit", inputs.kit), ("column map", inputs.columns),
            ("learned spreads", inputs.spreads), *(("reference", one) for one in inputs.references),
        )
        if one is not None
    ]  # fmt: skip
    for role, ref in told:
        yield FileShown(name=ref.name, sha256=ref.sha256, role=role)


def readings_shown(kept: KeptReadings) -> Iterator[ReadingShown]:
    """Readings of a part as judged, sweeps first, in the order in which they were read."""
    points = kept.points
    for i in range(len(points.get("row", ()))):
        told = [_figure(name, points[name][i]) for name in _FIGURES if name in points]
        at = points["file"][i]
        yield ReadingShown(
            what=f"{Sweep(points['sweep'][i]).name.lower()} sweep",
            words=", ".join(one for one in told if one),
            session=points["session"][i] or None,
            file=kept.files[at].name,
            sha256=kept.files[at].sha256,
            row=points["row"][i] or None,
            used=points["use"][i],
        )
    for spot in kept.spots:
        quantity = QUANTITIES.get(spot["quantity"])
        figure = _figure(spot["quantity"], spot["value"]) or "not read"
        if quantity is not None and quantity.answers and spot["value"] is not None:
            figure = f"{quantity.symbol}: {quantity.answers[int(spot['value'])][0]}"
        conditions = ", ".join(f"{name}={_condition(value)}" for name, value in spot["conditions"].items())
        yield ReadingShown(
            what="single reading",
            words=f"{figure}{' at ' if conditions else ''}{conditions}",
            session=spot["session"] or None,
            file=kept.files[spot["file"]].name,
            sha256=kept.files[spot["file"]].sha256,
            row=spot["row"] or None,
            used=spot["use"],
        )


_PREFIX = ((1e-12, "p"), (1e-9, "n"), (1e-6, "µ"), (1e-3, "m"), (1.0, ""), (1e3, "k"), (1e6, "M"))


def _figure(name: str, value: float | None) -> str:
    quantity = QUANTITIES.get(name)
    if value is None:
        return ""
    if quantity is None:
        return f"{name} {value:.5g}"
    if quantity.unit == "K":
        return f"{quantity.symbol} {value - ZERO_CELSIUS:.4g} degC"
    if quantity.unit == "1":
        return f"{quantity.symbol} {value:.5g}"
    scale, prefix = max((p for p in _PREFIX if p[0] <= abs(value) * (1 + 1e-9)), default=_PREFIX[0 if value else 4])
    return f"{quantity.symbol} {value / scale:.5g} {prefix}{quantity.unit}"


def _condition(value: Any) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def entry_shown(facts: Facts, seq: int) -> EntryShown:
    """An entry as it stands today, and its fields as `book correct` takes them.

    Raises
    ------
    UnusableInput
        There is none of that number.
    """
    fact = entry_fact(facts, seq)
    return EntryShown(**head_fields(facts), line=line_of(fact), fields=list(_entry_fields(fact)))


def _entry_fields(fact: Fact) -> Iterator[FieldShown]:
    if fact.kind not in CORRECTABLE:
        return
    for name, field in KINDS[fact.kind].model_fields.items():
        if name not in _NOT_TYPED:
            value = getattr(fact.payload, name)
            yield FieldShown(name=name, text=_typed(name, value), choices=_choices(field.annotation))


def _typed(name: str, value: Any) -> str:
    """A value as it is typed: a temperature in degC, yes and no, words with hyphens or as they are."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value - ZERO_CELSIUS:.10g}" if name == "ambient" else f"{value:.10g}"
    return str(value)


def _choices(annotation: Any) -> list[str]:
    """Words of a closed list, yes and no; an empty one first where nothing may stand."""
    from types import NoneType
    from typing import Literal, get_args, get_origin

    inner: Sequence[Any] = get_args(annotation) if get_origin(annotation) is not Literal else (annotation,)
    kinds = inner or (annotation,)
    words: list[str] = [""] if NoneType in kinds else []
    for kind in kinds:
        if get_origin(kind) is Literal:
            words += map(str, get_args(kind))
        elif kind is bool:
            words += ["yes", "no"]
    return words if len(words) > 1 else []
