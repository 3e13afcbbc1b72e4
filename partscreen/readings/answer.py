"""The answer of `partscreen read`: how files were understood, in words or as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from partscreen.errors import Problem, UnusableInput
from partscreen.readings.columns.understanding import save_column_map, understanding_json, understanding_text
from partscreen.readings.import_files import read_files
from partscreen.readings.saved_maps import remember_map


def answer(
    files: Sequence[Path],
    *,
    columns: Path | None = None,
    lots: Path | None = None,
    save_columns: Path | None = None,
    as_json: bool = False,
) -> tuple[str, tuple[Problem, ...]]:
    """What the files were understood as, and every problem found.

    `save_columns`: where to write a column map that reads such files as the first one was read.

    Raises
    ------
    UnusableInput
        A map is to be saved and no column was understood, or it cannot be written.
    """
    found = read_files(files, column_map=columns, lot_sheet=lots)
    problems = found.batch.problems
    remembered: list[str] = []
    if save_columns is not None:
        if not found.understanding:
            raise UnusableInput(problems)
        first = found.understanding[0]
        kept = remember_map(save_column_map(save_columns, first), first.header)
        remembered = [] if kept is None else [f"{save_columns.name} is remembered for files of this header"]
    if as_json:
        return json.dumps(
            understanding_json(found.understanding, problems, [*found.batch.notices, *remembered]),
            indent=2,
            ensure_ascii=False,
        ), problems
    text = understanding_text(found.understanding)
    return text + _more(found.batch.notices, text) + "".join(f"note: {one}\n" for one in remembered), problems


def _more(notices: Sequence[str], text: str) -> str:
    """Notices that belong to no file's block."""
    rest = [one for one in notices if one.partition(": ")[2].removeprefix("left out ") not in text]
    return "".join(f"note: {notice}\n" for notice in rest)
