"""Column maps: a small TOML file in which a user says what the columns of a file are."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from partscreen.bounded_files import load_toml
from partscreen.errors import NearNames, Problem, UnusableInput
from partscreen.quantities import QUANTITIES, bare
from partscreen.readings.columns.recognise import COLUMN_KEYS, ROLES, close_names
from partscreen.readings.columns.units import DoubtfulUnit, UnitReading, read_unit
from partscreen.readings.columns.wide_header import map_role, wide_column

_ENTRY_KEYS = ("column", "unit", "sign", "constant", "value", "shunt")
_TOP_KEYS = ("format", "columns", "decimal", "delimiter", "header_row", "files")
_LAST_HEADER_ROW = 400  # rows searched for a header (assumption, as where no map tells it)
_DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "spaces": " "}


@dataclass(frozen=True, slots=True)
class MapEntry:
    """One role: the column it is read from, or the constant that holds for every row. `sign` is 1 or -1.

    `shunt` [ohm]: the column holds the voltage over this resistance, `unit` its unit; the role is the current.
    """

    column: str | None = None
    unit: UnitReading | None = None
    sign: int = 1
    constant: float | str | None = None
    shunt: float | None = None


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What a map says: role to entry, and (where stated) decimal mark, separator and header row (from 1) of the files.

    Without entries columns are recognised as without a map. `by_file`: maps of single files, by name or by a pattern
    with `*`; the last that fits holds for a file, the map itself for files that none of them names.
    """

    name: str
    entries: dict[str, MapEntry] = field(default_factory=dict)
    decimal: str = ""
    delimiter: str = ""
    header_row: int = 0
    by_file: tuple[tuple[str, ColumnMap], ...] = ()

    def for_file(self, name: str) -> ColumnMap | None:
        """What holds for a file; None: nothing is said of it."""
        for pattern, one in reversed(self.by_file):
            if pattern == name or ("*" in pattern and fnmatchcase(name, pattern)):
                return one
        said = self.entries or self.decimal or self.delimiter or self.header_row
        return replace(self, by_file=()) if said else None

    @property
    def headers(self) -> frozenset[str]:
        """The headers the map names."""
        return frozenset(entry.column.strip() for entry in self.entries.values() if entry.column is not None)

    def count(self, cells: list[str]) -> int:
        """How many of the headers it names stand in a row."""
        return len(self.headers.intersection(cell.strip().strip('"') for cell in cells))


def load_column_map(path: str | Path) -> ColumnMap:
    """Read a column map.

    Raises
    ------
    UnusableInput
        Every problem of the map at once: no file, no TOML, unknown role or key, unit that does not fit.
    """
    name = Path(path).name
    try:
        data = load_toml(Path(path))
    except OSError as error:
        raise UnusableInput(
            [Problem("MAP_MISSING", f"the column map cannot be opened ({error.strerror})", "check its path", name)]
        ) from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        fix = 'write it as TOML, for example: [columns]  then  ic = { column = "Ic", unit = "mA" }'
        raise UnusableInput(
            [Problem("MAP_NOT_TOML", f"the column map is no valid TOML: {error}", fix, name)]
        ) from error
    return column_map_from(data, name)


def column_map_from(data: dict[str, Any], name: str) -> ColumnMap:
    """Check the content of a map; raises UnusableInput with every problem."""
    problems: list[Problem] = []

    def refuse(code: str, what: str, fix: str, column: str = "") -> None:
        problems.append(Problem(code, what, fix, name, 0, column))

    for key in data:
        if key not in _TOP_KEYS:
            refuse("MAP_UNKNOWN_KEY", f"key {key!r} is not known", f"known keys: {', '.join(_TOP_KEYS)}", str(key))
    if data.get("format", "long") not in ("long", "wide"):
        fix = 'write format = "long" (one row a reading) or "wide" (one row a part)'
        refuse("MAP_FORMAT", f"format {data['format']!r} is not read", fix, "format")
    decimal = data.get("decimal", "")
    if decimal not in ("", ".", ","):
        refuse(
            "MAP_DECIMAL", f"decimal {decimal!r} is no decimal mark", 'write decimal = "." or decimal = ","', "decimal"
        )
    delimiter = data.get("delimiter", "")
    delimiter = _DELIMITERS.get(delimiter, delimiter)
    if not isinstance(delimiter, str) or len(delimiter) > 1:
        refuse(
            "MAP_DELIMITER",
            f"delimiter {delimiter!r} is not one character",
            f"one character, or: {', '.join(_DELIMITERS)}",
            "delimiter",
        )
    header_row = data.get("header_row", 0)
    if isinstance(header_row, bool) or not isinstance(header_row, int) or not 0 <= header_row <= _LAST_HEADER_ROW:
        fix = f"write the row of the file that holds the headers, from 1 to {_LAST_HEADER_ROW}"
        refuse("MAP_HEADER_ROW", f"header_row {header_row!r} is no row", fix, "header_row")
    by_file = _by_file(data.get("files", []), name, problems)
    columns = data.get("columns")
    entries: dict[str, MapEntry] = {}
    told = decimal or delimiter or header_row or data.get("files")
    if "columns" not in data and told:
        columns = {}
    elif not isinstance(columns, dict) or not columns:
        refuse("MAP_EMPTY", "the map has no [columns]", 'add [columns] with lines such as part = "part"', "columns")
        columns = {}
    near = NearNames()
    for role, said in columns.items():
        if role not in ROLES and map_role(role) is None:
            hint = ", ".join(close_names(role, ROLES, near)) or ", ".join(ROLES)
            refuse("MAP_UNKNOWN_ROLE", f"{role!r} is nothing a column can be", f"names near it: {hint}", role)
            continue
        try:
            entries[role] = _entry(role, said) if role in ROLES else _wide_entry(role, said)
        except ValueError as error:
            refuse(
                "MAP_ENTRY",
                f"{role}: {error}",
                'write it as "header" or { column = "header", unit = "mA", sign = -1 }',
                role,
            )
    if problems:
        raise UnusableInput(problems)
    return ColumnMap(name, entries, str(decimal), delimiter, header_row, by_file)


def _by_file(sections: Any, name: str, problems: list[Problem]) -> tuple[tuple[str, ColumnMap], ...]:
    """Maps of single files: `[[files]]` with the name of a file and what a map says."""
    fix = 'write [[files]], below it name = "a.csv", and below [files.columns] what its columns are'
    if not isinstance(sections, list) or not all(isinstance(one, dict) for one in sections):
        problems.append(Problem("MAP_FILES", "files is no list of tables", fix, name, 0, "files"))
        return ()
    found = []
    for place, section in enumerate(sections, start=1):
        rest = {key: value for key, value in section.items() if key != "name"}
        told = section.get("name")
        if not isinstance(told, str) or not told or "files" in rest:
            what = (
                f"entry {place} of files names no file" if not isinstance(told, str) or not told else "files in files"
            )
            problems.append(Problem("MAP_FILES", what, fix, name, 0, "files"))
            continue
        try:
            found.append((told, column_map_from(rest, name)))
        except UnusableInput as error:
            problems += [replace(one, what=f"file {told}: {one.what}") for one in error.problems]
    return tuple(found)


def _entry(role: str, said: Any) -> MapEntry:
    if isinstance(said, str):
        return MapEntry(said)
    if not isinstance(said, dict):
        raise ValueError(f"{said!r} is neither a header nor a table")
    unknown = [key for key in said if key not in _ENTRY_KEYS]
    if unknown:
        raise ValueError(f"key {unknown[0]!r} is not known (known: {', '.join(_ENTRY_KEYS)})")
    column = said.get("column")
    constant = said.get("constant", said.get("value"))
    if (column is None) == (constant is None):
        raise ValueError("give either a column or a constant")
    sign = said.get("sign", 1)
    if sign not in (1, -1):
        raise ValueError(f"sign {sign!r} is neither 1 nor -1")
    shunt = _shunt(role, said) if "shunt" in said else None
    unit = _map_unit("vce" if shunt else role, said["unit"]) if "unit" in said else None
    if constant is not None and role in COLUMN_KEYS:
        if isinstance(constant, bool) or not isinstance(constant, (int, float)):
            raise ValueError(f"constant {constant!r} is not a number")
        if unit is None and QUANTITIES[role].unit != "1":
            raise ValueError("a constant needs its unit")
        constant = float(constant)
    elif constant is not None:
        constant = ("yes" if constant else "no") if isinstance(constant, bool) else str(constant)
    return MapEntry(None if column is None else str(column), unit, sign, constant, shunt)


def _shunt(role: str, said: dict[str, Any]) -> float:
    """The resistance [ohm] over which a current was read as a voltage."""
    shunt = said["shunt"]
    if role not in ("ic", "ib") or "column" not in said or "unit" not in said:
        raise ValueError("a shunt goes with a column that holds ic or ib as a voltage, and its unit (V or mV)")
    if isinstance(shunt, bool) or not isinstance(shunt, (int, float)) or not 1e-6 <= shunt <= 1e9:
        raise ValueError(f"shunt {shunt!r} is no resistance in ohm")
    return float(shunt)


def _wide_entry(role: str, said: Any) -> MapEntry:
    """A column of one reading a part, its role written as a header: `"C_BE @ VEB=0 V, f=1 MHz" = "Cap"`."""
    column, wrong, _ = wide_column(-1, role)
    if column is None:
        raise ValueError("; ".join(what for _, what, _ in wrong))
    if isinstance(said, str):
        return MapEntry(said, column.unit)
    entry = _entry(column.quantity, said)
    if entry.column is None or entry.sign != 1:
        raise ValueError("one reading a part is read from a column, as a magnitude: no constant and no sign")
    return replace(entry, unit=entry.unit or column.unit)


def _map_unit(role: str, text: Any) -> UnitReading:
    if role not in QUANTITIES and role != "pulse":
        raise ValueError(f"{role} takes no unit")
    try:
        return read_unit(str(text), "s" if role == "pulse" else QUANTITIES[role].unit)
    except DoubtfulUnit:
        raise
    except ValueError as error:
        raise ValueError(
            f"unit {text!r} does not fit {QUANTITIES[role].words if role in QUANTITIES else role}"
        ) from error


def absent_columns(columns: ColumnMap, header: list[str], file: str, header_row: int) -> list[Problem]:
    """One problem for each column the map names and the file does not have."""
    present = {name.strip().strip('"') for name in header}
    problems = []
    for role, entry in columns.entries.items():
        if entry.column is None or entry.column.strip() in present:
            continue
        near = close_names(entry.column, [name for name in header if bare(name)])
        fix = f"did you mean {' or '.join(map(repr, near))}? " if near else ""
        fix += f"The file's columns: {', '.join(name for name in header if name)}"
        what = (
            f"the column map {columns.name} reads {role} from a column {entry.column!r}, which the file does not have"
        )
        problems.append(Problem("ABSENT_COLUMN", what, fix, file, header_row, entry.column))
    return problems


@dataclass(frozen=True, slots=True)
class MapLine:
    """One line of a map to be written."""

    role: str
    header: str
    unit: str = ""
    constant: float | str | None = None
    sign: int = 1
    shunt: float | None = None


def column_map_text(
    lines: list[MapLine], decimal: str = "", delimiter: str = "", header_row: int = 0, file: str = ""
) -> str:
    """The TOML of a map; with `file`, of the section that holds for one file alone."""
    wide = any(line.role not in ROLES for line in lines)
    out = ["[[files]]", f"name = {_quoted(file)}"] if file else []
    out.append(f'format = "{"wide" if wide else "long"}"')
    if decimal:
        out.append(f'decimal = "{decimal}"')
    if delimiter:
        out.append(f"delimiter = {_quoted(delimiter)}")
    if header_row:
        out.append(f"header_row = {header_row}")
    if lines:
        out += ["", "[files.columns]" if file else "[columns]"]
    for line in lines:
        bits = [f"column = {_quoted(line.header)}"]
        if line.constant is not None:
            bits = [f"constant = {line.constant if isinstance(line.constant, float) else _quoted(line.constant)}"]
        if line.unit:
            bits.append(f"unit = {_quoted(line.unit)}")
        if line.shunt is not None:
            bits.append(f"shunt = {line.shunt!r}")
        if line.sign < 0:
            bits.append("sign = -1")
        plain = len(bits) == 1 and line.constant is None
        role = line.role if line.role in ROLES else _quoted(line.role)
        out.append(f"{role} = " + (_quoted(line.header) if plain else "{ " + ", ".join(bits) + " }"))
    return "\n".join(out) + "\n"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(f"\\u{ord(c):04x}" if ord(c) < 32 else c for c in escaped) + '"'
