"""What the library knows, as text and plain dicts: the table of types, one type in full, a file under check."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from partscreen.errors import Problem
from partscreen.reference.library import Library, read_text
from partscreen.reference.limits import Limit, limits
from partscreen.reference.models import Characteristic, FieldReading, Rating, ReferenceType, SafeArea
from partscreen.reference.prints import Resolution
from partscreen.reference.validate import ENOUGH, build, remarks
from partscreen.reference.wording import conditions_text, figure_text


def type_summary(kind: ReferenceType) -> dict[str, Any]:
    """One row of the table of types. VCEO, IC: the largest printed (editions may differ); None where none prints it."""
    rows = limits(kind)
    memory = sum(r.basis == "memory" for r in rows if not _other_reason(r))
    usable = [r for r in rows if not _other_reason(r)]
    return {
        "type": kind.name,
        "polarity": kind.polarity,
        "construction": kind.device.construction,
        "package": kind.device.package,
        "complement": kind.device.complement,
        "vceo": kind.rating("VCEO"),
        "ic": kind.rating("IC"),
        "limits": len(usable),
        "limits_from_memory": memory,
        "curves": len(kind.curves),
        "editions": len(kind.sheet_editions),
    }


def _other_reason(limit: Limit) -> bool:
    """No limit for another reason than its gain group."""
    return not limit.is_limit and limit.gain_group is None


def _basis_word(row: dict[str, Any]) -> str:
    if not row["limits"]:
        return "no limits"
    if row["limits_from_memory"] == row["limits"]:
        return "memory"
    return f"{row['limits_from_memory']} memory" if row["limits_from_memory"] else "copies"


def table_text(library: Library) -> str:
    """The table `partscreen types` prints."""
    head = ("type", "", "VCEO", "IC", "package", "complement", "limits", "basis", "curves", "editions", "")
    rows = [head]
    for kind in library:
        row = type_summary(kind)
        rows.append(
            (
                row["type"] + ("*" if kind.name.upper() in library.extra else ""),
                row["polarity"],
                "-" if row["vceo"] is None else f"{row['vceo']:g} V",
                "-" if row["ic"] is None else f"{row['ic']:g} A",
                row["package"][:22],
                row["complement"] or "-",
                str(row["limits"]),
                _basis_word(row),
                str(row["curves"]),
                str(row["editions"]),
                "Darlington" if row["construction"] == "darlington" else "",
            )
        )
    widths = [max(len(r[i]) for r in rows) for i in range(len(head))]
    lines = ["  ".join(cell.ljust(w) for cell, w in zip(r, widths, strict=True)).rstrip() for r in rows]
    lines.append("")
    lines.append(
        f"{len(library)} types. Basis: from stored copies of the sheets, or recalled from memory (never rejects alone)."
    )
    if library.extra:
        lines.append("* from a --reference file")
    return "\n".join(lines)


def _limit_lines(rows: tuple[Limit, ...]) -> list[str]:
    """A line a row of the sheet: both sides of one row together."""
    lines: list[str] = []
    left = list(rows)
    while left:
        low = left.pop(0)
        both = bool(left) and low.side == "min" and replace(left[0], side="min", value=low.value) == low
        lines.append(_limit_line(low, left.pop(0) if both else None))
    return lines


def _limit_line(limit: Limit, high: Limit | None) -> str:
    sign = ">=" if limit.side == "min" else "<="
    figure = f"{sign} {figure_text(limit.value, limit.unit)}"
    if high is not None:
        figure = f"{figure_text(limit.value, limit.unit)} to {figure_text(high.value, high.unit)}"
    bits = [f"  {limit.symbol:<9} {figure:<12}"]
    if limit.gain_group:
        bits.append(f"group {limit.gain_group}")
    if limit.conditions:
        bits.append(conditions_text(limit.conditions))
    bits.append(
        f"{limit.temperature - 273.15:g} degC {limit.temperature_of}"
        if limit.temperature_of != "not stated"
        else "temperature not stated"
    )
    line = "  ".join(bits) + f"  [{', '.join(limit.source_ids)}]"
    if limit.basis == "memory":
        line += "  MEMORY"
    if limit.why_not:
        line += f"\n      shown only: {limit.why_not}"
    if limit.doubt:
        line += f"\n      doubt: {limit.doubt}"
    if limit.note:
        line += f"\n      note: {limit.note}"
    return line


def _words(row: Characteristic | Rating | SafeArea, *names: str) -> str:
    """Doubts and notes of a row, each on its own line below it."""
    return "".join(f"\n      {name}: {getattr(row, name)}" for name in names if getattr(row, name))


def _reading_line(kind: ReferenceType, reading: FieldReading) -> str:
    bound = {"min": "more than ", "max": "up to ", "value": ""}[reading.bound]
    about = "about " if reading.approximate else ""
    who = ", ".join(b for b in (reading.maker or "maker not stated", reading.process) if b)
    at = f" at {conditions_text(reading.conditions)}" if reading.conditions else ", bias not stated"
    return (
        f"  {reading.quantity} {bound}{about}{figure_text(reading.value, reading.unit)}{at}  ({who}; "
        f"author's judgement: {reading.author_judgement})  [{', '.join(reading.source)}]\n      {reading.circumstances}"
    )


def _rating_lines(kind: ReferenceType) -> list[str]:
    lines = ["Ratings (limiting values; not test limits)"]
    for rating in kind.ratings:
        line = f"  {rating.symbol:<9} {figure_text(rating.value, rating.unit):<12} [{', '.join(rating.source)}]"
        if kind.basis(rating.source) == "memory":
            line += "  MEMORY"
        lines.append(line + _words(rating, "doubt", "note"))
    return lines


def _curve_lines(kind: ReferenceType) -> list[str]:
    lines = ["Curves and safe area (typical values, never limits)"] if kind.curves or kind.soa else []
    for curve in kind.curves:
        at = conditions_text(curve.conditions)
        temperature = "temperature not stated" if curve.temperature_c is None else f"{curve.temperature_c:g} degC"
        error = "" if curve.reading_error is None else f", read to {curve.reading_error * 100:g} %"
        note = f"\n      note: {curve.note}" if curve.note else ""
        line = f"  {curve.quantity} against {curve.x}" + (f", {at}" if at else "")
        line += f", {temperature}: {len(curve.points)} points{error}  [{', '.join(curve.source)}] {curve.where}"
        lines.append(line.rstrip() + note)
    for area in kind.soa:
        pulse = "DC" if area.pulse is None else figure_text(area.pulse, "s")
        corners = " ".join(f"{v:g} V {i:g} A;" for v, i in area.points).rstrip(";")
        lines.append(f"  safe area {pulse}: {corners}  [{', '.join(area.source)}]" + _words(area, "doubt", "note"))
    return lines


def type_text(found: Resolution) -> str:
    """One type in full: limits by edition with conditions, source and doubt, then curves, marking, readings, notes."""
    kind, device = found.type, found.type.device
    maker = f", {device.maker}" if device.maker else ""
    lines = [f"{kind.name}: {kind.polarity} {device.construction}, {device.package or 'package not known'}{maker}"]
    if found.how:
        lines.append(f"  read as: {found.how}")
    complement = f"complement {device.complement}; " if device.complement else ""
    lines.append(f"  {complement}gain groups: {', '.join(kind.gain_groups) or 'none in the sheets'}")
    if kind.is_darlington:
        lines.append("  Darlington: judged by limits and lot statistics only")
    for edition in kind.sheet_editions:
        dates = f", from {edition.from_}" if edition.from_ else ""
        dates += f" to {edition.to}" if edition.to else ""
        said = ", ".join(bit for bit in (edition.maker, edition.revision or "no revision given") if bit)
        lines += ["", f"Edition {edition.id}: {said}{dates}"]
        if edition.note:
            lines.append(f"  {edition.note}")
        rows = limits(kind, edition.id, found.gain_group)
        lines += _limit_lines(rows) or ["  no characteristics in this edition"]
        typical = [c for c in kind.characteristics if c.typ is not None and edition.id in kind.editions_of(c.source)]
        for c in typical:
            at = conditions_text(c.conditions)
            line = f"  {c.symbol:<9} {'typ ' + figure_text(c.typ or 0.0, c.unit):<12}  {at}  (no limit)"
            told_already = c.min is not None or c.max is not None
            lines.append(line + ("" if told_already else _words(c, "doubt", "note")))
    for block in (
        _rating_lines(kind),
        _curve_lines(kind),
        ["Marking", *(f"  {m.fact}  [{', '.join(m.source)}]" for m in kind.marking)] if kind.marking else [],
        ["Readings others published (no limits)", *(_reading_line(kind, r) for r in kind.readings)]
        if kind.readings
        else [],
        ["Notes", *(f"  {n.text}" + (f"  [{', '.join(n.source)}]" if n.source else "") for n in kind.notes)]
        if kind.notes
        else [],
        ["Sources", *(f"  [{s.id}] {s.text}" + (f"  {s.address}" if s.address else "") for s in kind.sources)],
    ):
        if block:
            lines += ["", *block]
    return "\n".join(lines)


def limit_dict(limit: Limit) -> dict[str, Any]:
    """A limit as JSON shows it. Unknown is None."""
    return {
        "symbol": limit.symbol,
        "side": limit.side,
        "limit": limit.value,
        "unit": limit.unit,
        "conditions": dict(limit.conditions),
        "temperature": limit.temperature,
        "temperature_of": limit.temperature_of,
        "editions": list(limit.editions),
        "basis": limit.basis,
        "doubt": limit.doubt or None,
        "note": limit.note or None,
        "gain_group": limit.gain_group,
        "is_limit": limit.is_limit,
        "why_not": limit.why_not or None,
        "source": limit.source,
    }


def type_dict(found: Resolution) -> dict[str, Any]:
    """One type as JSON shows it: the file's content in SI units with the limits worked out."""
    kind = found.type
    out: dict[str, Any] = kind.model_dump(mode="json", by_alias=True, exclude_none=True)
    out["resolved"] = {"type": kind.name, "gain_group": found.gain_group, "how": found.how or None}
    out["limits"] = [limit_dict(row) for row in limits(kind, None, found.gain_group)]
    return out


def file_text(path: Path) -> tuple[str, tuple[Problem, ...]]:
    """What `--validate` says of a file, and its problems (none: the file can be used)."""
    from partscreen.errors import UnusableInput
    from partscreen.reference.crosscheck import contradictions

    try:
        kind, problems = build(read_text(path), str(path))
    except UnusableInput as error:
        kind, problems = None, list(error.problems)
    if kind is None or problems:
        return f"{path}: {len(problems)} problem(s); the file is not used. {ENOUGH}.", tuple(problems)
    row = type_summary(kind)
    lines = [f"{path}: {kind.name} can be used: limits: {row['limits']} ({_basis_word(row)}), curves: {row['curves']}."]
    lines.append(f"  judged with it: {', '.join(_judged(kind)) or 'nothing yet'}")
    said = remarks(kind, str(path))
    lines += [f"  remark: {r.column}: {r.what}\n    -> {r.fix}" for r in said]
    lines += [f"  contradiction: {note.text}" for note in contradictions(kind)]
    lines.append(f"  {ENOUGH}.")
    return "\n".join(lines), ()


def _judged(kind: ReferenceType) -> list[str]:
    """What readings the file's limits judge."""
    seen: dict[str, None] = {}
    for row in limits(kind):
        if row.quantity and not _other_reason(row):
            seen.setdefault(row.symbol)
    return list(seen)
