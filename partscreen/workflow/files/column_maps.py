"""Column maps told by hand: checked, written for all files or for one, remembered by name and offered again."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import write_whole

if TYPE_CHECKING:
    from partscreen.readings.columns.column_map import MapLine
    from partscreen.readings.saved_maps import SavedMap


def map_text(lines: Sequence[MapLine], decimal: str = "", delimiter: str = "", header_row: int = 0) -> str:
    """The TOML of a map that a person told.

    Parameters
    ----------
    lines : columns by name; none where only the header row or a mark was told and columns are recognised
    decimal : "." or ","; "" as the files show
    delimiter : a character, or its name as in `column_map`; "" as the files show
    header_row : row of the headers, from 1; 0 as it is found

    Raises
    ------
    UnusableInput
        Nothing is told, one thing is named twice, or the map cannot be used: every problem.
    """
    from partscreen.readings.columns.column_map import column_map_from, column_map_text

    if not (lines or decimal or delimiter or header_row):
        fix = "say of at least one column what it is"
        raise UnusableInput([Problem("MAP_EMPTY", "no column is named", fix)])
    roles = [line.role for line in lines]
    twice = [role for role in dict.fromkeys(roles) if roles.count(role) > 1]
    if twice:
        fix = "one column each: set the others to 'not used'"
        raise UnusableInput([Problem("MAP_TWICE", f"{role} is read from two columns", fix) for role in twice])
    text = column_map_text(list(lines), decimal, delimiter, header_row)
    column_map_from(tomllib.loads(text), "columns.toml")
    return text


def section_of(text: str, file: str) -> str:
    """A map as the section of a map that holds for one file alone."""
    from partscreen.workflow.own.kit import toml_value

    data = tomllib.loads(text)
    out = ["[[files]]", f"name = {toml_value(file)}"]
    out += [f"{key} = {toml_value(value)}" for key, value in data.items() if key not in ("columns", "files")]
    columns: dict[str, Any] = data.get("columns", {})
    if columns:
        out += ["", "[files.columns]", *(f"{toml_value(role)} = {toml_value(told)}" for role, told in columns.items())]
    return "\n".join(out) + "\n"


def write_maps(base: str, sections: Iterable[str], path: Path) -> Path:
    """Write one map file: what holds for all files, then what holds for single ones.

    Raises
    ------
    UnusableInput
        Together they cannot be used, or the place cannot be written to. Nothing is written then.
    """
    from partscreen.readings.columns.column_map import column_map_from

    text = "\n".join([base, *sections]).lstrip("\n")
    column_map_from(tomllib.loads(text), path.name)
    try:
        write_whole(path, text)
    except OSError as error:
        raise not_writable(error, path.name, "make room on the disk", what="cannot be written") from error
    return path


def saved_column_maps() -> tuple[SavedMap, ...]:
    """The maps that were remembered, by what they are called."""
    from partscreen.readings.saved_maps import saved_maps

    return saved_maps()


def remember_columns(text: str, headers: Sequence[str], title: str) -> None:
    """Remember a map for files of this header; it is offered for them, and used only when asked for.

    Raises
    ------
    UnusableInput
        The folder of saved maps cannot be written to.
    """
    from partscreen.readings.saved_maps import maps_folder, remember_map

    if remember_map(text, headers, title) is None:
        fix = "make the folder, or make room on the disk"
        raise UnusableInput([Problem("NOT_WRITABLE", "the map cannot be remembered", fix, str(maps_folder()))])


def forget_columns(key: str) -> None:
    """Take a remembered map away."""
    from partscreen.readings.saved_maps import forget_map

    forget_map(key)
