"""The answer to `partscreen types`: the table, one type, or a file held against the format."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from partscreen.errors import Problem
from partscreen.reference.library import Library
from partscreen.reference.listing import file_text, table_text, type_dict, type_summary, type_text

SCHEMA = "partscreen.types/1"


def answer(
    name: str | None, validate: Path | None, extra_files: Iterable[Path] = (), *, as_json: bool = False
) -> tuple[str, tuple[Problem, ...]]:
    """Text for stdout and the problems for stderr (any: exit code 3).

    Raises
    ------
    UnknownType
        The print fits no type, or several.
    UnusableInput
        A reference file cannot be used.
    """
    if validate is not None:
        text, problems = file_text(validate)
        if as_json:
            listed = [{"where": p.where, "what": p.what, "fix": p.fix, "code": p.code} for p in problems]
            text = json.dumps({"schema": SCHEMA, "file": str(validate), "usable": not problems, "problems": listed})
        return text, problems
    library = Library.load(extra_files=extra_files)
    if name is None:
        if as_json:
            return json.dumps({"schema": SCHEMA, "types": [type_summary(k) for k in library]}, indent=1), ()
        return table_text(library), ()
    found = library.find(name)
    if as_json:
        return json.dumps({"schema": SCHEMA, **type_dict(found)}, indent=1, allow_nan=False), ()
    return type_text(found), ()
