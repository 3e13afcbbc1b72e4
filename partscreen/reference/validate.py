"""Reference files checked, with messages that teach: where (file and key), what, how to put it right.

Problems make a file unusable; remarks leave it usable and say what it could be better at.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from partscreen.errors import Problem
from partscreen.reference import models, symbols
from partscreen.reference.models import ReferenceType

_ROW_NAME = ("symbol", "quantity", "kind", "id", "fact", "text")
_MODELS: dict[str, type[BaseModel]] = {
    "device": models.Device,
    "sources": models.Source,
    "editions": models.Edition,
    "ratings": models.Rating,
    "characteristics": models.Characteristic,
    "curves": models.Curve,
    "soa": models.SafeArea,
    "marking": models.MarkingFact,
    "readings": models.FieldReading,
    "notes": models.Note,
}


def build(data: dict[str, Any], file: str) -> tuple[ReferenceType | None, list[Problem]]:
    """The type a file describes and every problem found; None where the file is not even a table of the right shape."""
    try:
        found = ReferenceType.model_validate(data)
    except ValidationError as error:
        return None, [_taught(e, data, file) for e in error.errors(include_url=False)]  # type: ignore[arg-type]
    return found, _resolve(found, data, file)


def _where(location: Sequence[int | str], data: Any) -> str:
    """Key path as a person reads it: `characteristics row 3 (hFE), max`."""
    words: list[str] = []
    here = data
    for step in location:
        if isinstance(step, int):
            row = here[step] if isinstance(here, list) and step < len(here) else {}
            name = next((str(row[k]) for k in _ROW_NAME if isinstance(row, dict) and k in row), "")
            words[-1:] = [f"{words[-1] if words else 'row'} row {step + 1}" + (f" ({name[:40]})" if name else "")]
            here = row
        else:
            words.append(step)
            here = here.get(step) if isinstance(here, dict) else None
    return ", ".join(words)


def _taught(error: dict[str, Any], data: dict[str, Any], file: str) -> Problem:
    location = [s for s in error["loc"] if s not in ("literal['dc']", "float")]
    where = _where(location, data)
    key, kind = str(location[-1]) if location else "", error["type"]
    if kind == "missing":
        return Problem("MISSING", f"{key} is missing", _how_to_give(key), file, column=where)
    if kind == "extra_forbidden":
        table = str(location[0]) if len(location) > 1 else ""
        known = list((_MODELS.get(table, ReferenceType)).model_fields)
        known = ["from" if k == "from_" else k for k in known]
        close = difflib.get_close_matches(key, known, 1)
        fix = f"did you mean {close[0]!r}?" if close else f"known keys here: {', '.join(known)}"
        return Problem("UNKNOWN_KEY", f"key {key!r} is not known", fix, file, column=where)
    if kind == "value_error":
        what, _, fix = str(error["ctx"]["error"]).partition("; ")
        return Problem("VALUE", what, fix or "see partscreen types --help for the format", file, column=where)
    if kind == "literal_error":
        return Problem("VALUE", f"{error['input']!r} is not one of the words allowed", f"write {error['ctx']['expected']}", file, column=where)  # fmt: skip
    if kind in ("float_type", "float_parsing", "finite_number"):
        return Problem("VALUE", f"{error['input']!r} is not a figure", "write the figure alone, in SI units: 0.005, not '5 mA'", file, column=where)  # fmt: skip
    return Problem("VALUE", str(error["msg"]), "see the files of the library for the form", file, column=where)


def _how_to_give(key: str) -> str:
    return {
        "source": 'add source = "ID" with the id of a [[sources]] entry',
        "unit": 'add unit = "V" (A, F, Hz, s, degC, degC/W; "1" for a ratio)',
        "sources": "add a [[sources]] entry: id, title, basis",
        "device": 'add [device] with type_number and polarity = "NPN" or "PNP"',
        "basis": 'add basis = "stored copy" (read in a sheet you hold) or "memory" (recalled)',
        "polarity": 'add polarity = "NPN" or "PNP"',
    }.get(key, f"add {key} = ...")


def _resolve(kind: ReferenceType, data: dict[str, Any], file: str) -> list[Problem]:
    """References inside the file: sources, editions, repeated rows, conditions of unbelievable size."""
    problems: list[Problem] = []
    ids = [s.id for s in kind.sources]
    for i, source in enumerate(kind.sources):
        if ids.index(source.id) != i:
            problems.append(Problem("REPEATED", f"source id {source.id!r} stands twice", "give each its own id", file, column=_where(["sources", i], data)))  # fmt: skip
    for table in ("ratings", "characteristics", "curves", "soa", "marking", "readings", "notes", "editions"):
        for i, row in enumerate(getattr(kind, table)):
            for source_id in row.sources if table == "editions" else row.source:
                if source_id not in ids:
                    close = difflib.get_close_matches(source_id, ids, 1)
                    fix = (
                        f"did you mean {close[0]!r}?"
                        if close
                        else f"add a [[sources]] entry with this id, or use one of {', '.join(ids)}"
                    )
                    problems.append(Problem("NO_SOURCE", f"source {source_id!r} is not among [[sources]]", fix, file, column=_where([table, i], data)))  # fmt: skip
    problems.extend(_repeated(kind, data, file))
    problems.extend(_editions(kind, data, file))
    return problems


def _row_key(row: models.Rating | models.Characteristic) -> tuple[object, ...]:
    if isinstance(row, models.Rating):
        return (row.symbol, row.value)
    sides = (row.min, row.typ, row.max)
    return (row.symbol, sides, tuple(sorted(row.conditions.items())), row.temperature, row.rank, row.doubt)


def _repeated(kind: ReferenceType, data: dict[str, Any], file: str, same_source: bool = True) -> list[Problem]:
    """Rows that stand twice: of one source (a slip), or of several sources (better kept as one row)."""
    problems = []
    tables: tuple[tuple[str, Sequence[models.Rating | models.Characteristic]], ...] = (
        ("ratings", kind.ratings),
        ("characteristics", kind.characteristics),
    )
    for table, rows in tables:
        first: dict[tuple[object, ...], int] = {}
        for i, row in enumerate(rows):
            before = first.setdefault(_row_key(row), i)
            if before != i and same_source == bool(set(rows[before].source) & set(row.source)):
                both = list(dict.fromkeys((*rows[before].source, *row.source)))
                fix = "delete one" if len(both) == 1 else f"keep one, with source = {both}"
                problems.append(Problem("REPEATED", f"says the same as row {before + 1}", fix, file, column=_where([table, i], data)))  # fmt: skip
    return problems


def _editions(kind: ReferenceType, data: dict[str, Any], file: str) -> list[Problem]:
    problems = []
    seen: set[str] = set()
    for i, edition in enumerate(kind.editions):
        if edition.id in seen:
            problems.append(Problem("REPEATED", f"edition id {edition.id!r} stands twice", "give each its own id", file, column=_where(["editions", i], data)))  # fmt: skip
        seen.add(edition.id)
    if kind.editions:
        covered = {s for e in kind.editions for s in e.sources}
        for table in ("ratings", "characteristics"):
            for i, row in enumerate(getattr(kind, table)):
                if not covered & set(row.source):
                    problems.append(Problem("NO_EDITION", f"source {row.source[0]!r} belongs to no edition", "add it to the sources of an [[editions]] entry", file, column=_where([table, i], data)))  # fmt: skip
    return problems


def remarks(kind: ReferenceType, file: str) -> list[Problem]:
    """What a usable file could be better at: figures that are no limits, conditions of unbelievable size, no edition, no gain row."""
    data = kind.model_dump()
    out = _repeated(kind, data, file, same_source=False)
    top = max((kind.rating(s) or 0.0 for s in ("IC", "ICM")), default=0.0)
    for i, row in enumerate(kind.characteristics):
        where = _where(["characteristics", i], data)
        if row.limit_refused and (row.min is not None or row.max is not None):
            needs = ", ".join(f"{c} = ... ({symbols.CONDITIONS[c]})" for c in symbols.CHARACTERISTICS[row.symbol].needs)
            out.append(Problem("NO_LIMIT", f"shown, but no limit: {row.limit_refused}", f"give the sheet's conditions: {needs}", file, column=where))  # fmt: skip
        current = row.conditions.get("IC", 0.0)
        if top and current > 2.0 * top:
            out.append(Problem("SIZE", f"IC = {current:g} A is over twice the rated {top:g} A", "conditions are in SI units: 0.5 for 500 mA", file, column=where))  # fmt: skip
        if row.temperature[0] is None:
            out.append(Problem("TEMPERATURE", "no temperature; 25 degC is taken", "add case_temperature_c = 25", file, column=where))  # fmt: skip
    for symbol in ("VCEO", "IC"):
        if kind.rating(symbol) is None:
            out.append(Problem("NO_RATING", f"rating {symbol} is missing", "VCEO, IC and one hFE row are enough to screen", file, column="ratings"))  # fmt: skip
    if not any(c.symbol == "hFE" and not c.limit_refused for c in kind.characteristics):
        out.append(Problem("NO_GAIN", "no hFE row with IC and VCE and a min or max", "VCEO, IC and one hFE row are enough to screen", file, column="characteristics"))  # fmt: skip
    return out
