"""How files were understood, and what the library knows."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partscreen.errors import Problem


def explain_files(
    files: Sequence[Path],
    *,
    columns: Path | None = None,
    lots: Path | None = None,
    save_columns: Path | None = None,
    as_json: bool = False,
) -> tuple[str, tuple[Problem, ...]]:
    """How files were understood, as text or JSON, and every problem found."""
    from partscreen.readings.answer import answer

    return answer(files, columns=columns, lots=lots, save_columns=save_columns, as_json=as_json)


def saved_columns(columns: Path | None, files: Sequence[Path]) -> Path | None:
    """The column map asked for; "saved" stands for the one the user saved for the header of these files.

    Raises
    ------
    UnusableInput
        No saved map fits a file, or the files need several.
    """
    from partscreen.readings.saved_maps import SAVED, saved_map

    return saved_map(files) if columns is not None and str(columns) == SAVED else columns


def tell_types(
    name: str | None = None, *, validate: Path | None = None, references: Sequence[Path] = (), as_json: bool = False
) -> tuple[str, tuple[Problem, ...]]:
    """What the library knows: all types, one type in full, or whether a reference file holds."""
    from partscreen.reference.answer import answer

    return answer(name, validate, tuple(references), as_json=as_json)
