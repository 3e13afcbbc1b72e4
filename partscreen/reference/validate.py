"""Reference files checked, with messages that teach: where (file and key), what, how to put it right.

Problems make a file unusable; remarks leave it usable and say what it could be better at.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from partscreen.errors import NearNames, Problem
from partscreen.reference import models, symbols
from partscreen.reference.models import ReferenceType

ENOUGH = "VCEO, IC and one hFE row with IC and VCE are enough to screen"
_SHOWN = 20  # names listed in a message
_ROW_NAME = ("symbol", "quantity", "kind", "id", "fact", "text")
_WITH_SOURCE = ("ratings", "characteristics", "curves", "soa", "marking", "readings", "notes", "editions")
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
_HOW_TO_GIVE = {
    "source": 'add source = "ID" with the id of a [[sources]] entry',
    "unit": 'add unit = "V" (A, F, Hz, s, degC, degC/W; "1" for a ratio)',
    "sources": "add a [[sources]] entry: id, title, basis",
    "device": 'add [device] with type_number and polarity = "NPN" or "PNP"',
    "basis": 'add basis = "stored copy" (read in a sheet you hold) or "memory" (recalled)',
    "polarity": 'add polarity = "NPN" or "PNP"',
}


def build(data: dict[str, Any], file: str) -> tuple[ReferenceType | None, list[Problem]]:
    """The type a file describes and every problem found; None where it is not even of the right shape."""
    misshapen = list(_brackets(data, file))
    if misshapen:
        return None, misshapen
    try:
        found = ReferenceType.model_validate(data)
    except ValidationError as error:
        near = NearNames()
        return None, [_taught(dict(e), data, file, near) for e in error.errors(include_url=False)]
    return found, [*_references(found, data, file), *_repeated(found, data, file, same_source=True)]


def _brackets(data: dict[str, Any], file: str) -> Iterator[Problem]:
    """[ratings] written for [[ratings]], and the other way round."""
    for table in _MODELS:
        if table == "device" and table in data and not isinstance(data[table], dict):
            yield Problem("SHAPE", "there is one device", "write [device] with single brackets", file, column=table)
        if table != "device" and table in data and not isinstance(data[table], list):
            way = f"write [[{table}]] with double brackets before each row"
            yield Problem("SHAPE", f"{table} is not a list of rows", way, file, column=table)


def _where(location: Sequence[int | str], data: Any) -> str:
    """Key path as a person reads it: `characteristics row 3 (hFE), max`."""
    words: list[str] = []
    here = data
    for step in location:
        if isinstance(step, int):
            row = here[step] if isinstance(here, list | tuple) and step < len(here) else {}
            name = next((str(row[k]) for k in _ROW_NAME if isinstance(row, dict) and k in row), "")
            words[-1:] = [f"{words[-1] if words else 'row'} row {step + 1}" + (f" ({name[:40]})" if name else "")]
            here = row
        else:
            words.append(step)
            here = here.get(step) if isinstance(here, dict) else None
    return ", ".join(words)


def _taught(error: dict[str, Any], data: dict[str, Any], file: str, near: NearNames) -> Problem:
    """A message of the model in the words of the file."""
    location = [s for s in error["loc"] if s not in ("literal['dc']", "float")]
    where, key = _where(location, data), str(location[-1]) if location else ""
    kind, given = error["type"], error["input"]
    code, what, fix = "VALUE", str(error["msg"]), "see a file of reference_curves for the form"
    if kind == "missing":
        code, what, fix = "MISSING", f"{key} is missing", _HOW_TO_GIVE.get(key, f"add {key} = ...")
    elif kind == "extra_forbidden":
        code, what, fix = "UNKNOWN_KEY", f"key {key!r} is not known", _meant(key, location, near)
    elif kind == "value_error":
        said, _, way = str(error["ctx"]["error"]).partition("; ")
        what, fix = said, way or fix
    elif kind == "literal_error":
        what, fix = f"{given!r} is not one of the words allowed", f"write {error['ctx']['expected']}"
    elif kind == "string_type":
        what, fix = f"{given!r} is not text", "put it in quotes"
    elif kind in ("missing_argument", "too_short", "too_long", "tuple_type") and "points" in location:
        what, fix = f"{given!r} is no list of points", "write points = [[x, y], [x, y], ...]"
    elif kind == "greater_than":
        what, fix = f"{key} = {given} is not above zero", "figures are magnitudes, drop the sign"
    elif kind in ("float_type", "float_parsing", "finite_number"):
        what, fix = f"{given!r} is not a figure", "write the figure alone, in SI units: 0.005, not '5 mA'"
    return Problem(code, what, fix, file, column=where)


def _meant(key: str, location: Sequence[int | str], near: NearNames) -> str:
    table = str(location[0]) if len(location) > 1 else ""
    fields = _MODELS[table].model_fields if table in _MODELS else ReferenceType.model_fields
    known = ["from" if k == "from_" else k for k in fields]
    close = near.of(key, known)
    return f"did you mean {close[0]!r}?" if close else f"known keys here: {', '.join(known)}"


def _references(kind: ReferenceType, data: dict[str, Any], file: str) -> Iterator[Problem]:
    """Sources and editions that are named twice, not there, or that no edition takes in."""
    for table, ids in (("sources", [s.id for s in kind.sources]), ("editions", [e.id for e in kind.editions])):
        first: dict[str, int] = {}
        for i, name in enumerate(ids):
            if first.setdefault(name, i) != i:
                where = _where([table, i], data)
                yield Problem("REPEATED", f"id {name!r} stands twice", "give each its own id", file, column=where)
    known, near = tuple(dict.fromkeys(s.id for s in kind.sources)), NearNames()
    held, some = frozenset(known), ", ".join(known[:_SHOWN]) + (" ..." if len(known) > _SHOWN else "")
    covered = {s for e in kind.editions for s in e.sources}
    for table in _WITH_SOURCE:
        for i, row in enumerate(getattr(kind, table)):
            where = _where([table, i], data)
            named: tuple[str, ...] = row.sources if table == "editions" else row.source
            for name in named:
                if name not in held:
                    close = near.of(name, known)
                    way = f"did you mean {close[0]!r}?" if close else f"known: {some}; or add a [[sources]] entry"
                    yield Problem("NO_SOURCE", f"source {name!r} is not among [[sources]]", way, file, column=where)
            if kind.editions and table in ("ratings", "characteristics") and not covered & set(named):
                way = "add it to the sources of an [[editions]] entry"
                yield Problem("NO_EDITION", f"source {named[0]!r} belongs to no edition", way, file, column=where)


def _row_key(row: models.Rating | models.Characteristic) -> tuple[object, ...]:
    if isinstance(row, models.Rating):
        return (row.symbol, row.value)
    sides = (row.min, row.typ, row.max)
    return (row.symbol, sides, tuple(sorted(row.conditions.items())), row.temperature, row.rank, row.doubt)


def _repeated(kind: ReferenceType, data: dict[str, Any], file: str, *, same_source: bool) -> Iterator[Problem]:
    """Rows that stand twice: of one source (a slip), or of several sources (better kept as one row)."""
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
                way = "delete one" if len(both) == 1 else f"keep one, with source = {both}"
                where = _where([table, i], data)
                yield Problem("REPEATED", f"says the same as row {before + 1}", way, file, column=where)


def remarks(kind: ReferenceType, file: str) -> list[Problem]:
    """What a usable file could be better at: figures that are no limits, odd sizes, missing basics."""
    data = kind.model_dump()
    out = list(_repeated(kind, data, file, same_source=False))
    for i, row in enumerate(kind.characteristics):
        where = _where(["characteristics", i], data)
        out += [Problem(*said, file, column=where) for said in _row_remarks(kind, row)]
    for symbol in ("VCEO", "IC"):
        if kind.rating(symbol) is None:
            out.append(Problem("NO_RATING", f"rating {symbol} is missing", ENOUGH, file, column="ratings"))
    if not any(c.symbol == "hFE" and not c.limit_refused for c in kind.characteristics):
        said = "no hFE row with IC and VCE and a min or max"
        out.append(Problem("NO_GAIN", said, ENOUGH, file, column="characteristics"))
    return out


def _row_remarks(kind: ReferenceType, row: models.Characteristic) -> Iterator[tuple[str, str, str]]:
    if row.limit_refused and (row.min is not None or row.max is not None):
        needs = symbols.CHARACTERISTICS[row.symbol].needs
        way = "give the sheet's conditions: " + ", ".join(f"{c} = ... ({symbols.CONDITIONS[c]})" for c in needs)
        yield "NO_LIMIT", f"shown, but no limit: {row.limit_refused}", way
    top = max(kind.rating("IC") or 0.0, kind.rating("ICM") or 0.0)
    current = row.conditions.get("IC", 0.0)
    if 0.0 < 2.0 * top < current:
        said = f"IC = {current:g} A is over twice the rated {top:g} A"
        yield "SIZE", said, "conditions are in SI units: 0.5 for 500 mA"
    if row.temperature[0] is None:
        yield "TEMPERATURE", "no temperature; 25 degC is taken", "add case_temperature_c = 25"
