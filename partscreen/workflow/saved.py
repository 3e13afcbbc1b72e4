"""Results that `screen` wrote, read again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from partscreen.bounded_files import MAX_RESULT, parse_json, read_capped
from partscreen.errors import Problem, UnusableInput

if TYPE_CHECKING:
    from partscreen.results import Screening
    from partscreen.results.matching import Matching


def load_screening(path: Path) -> Screening:
    """A result of `screen` from its JSON file.

    Raises
    ------
    UnusableInput
        The file cannot be read, or is no such result.
    """
    from partscreen.results import SCREENING_SCHEMA, Screening

    fix = "give the file that `partscreen screen ... --json OUT.json` wrote"
    try:
        data = parse_json(read_capped(path, MAX_RESULT))
    except OSError as error:
        what = f"cannot be read: {error.strerror or error}"
        raise UnusableInput([Problem("NOT_READABLE", what, "check the path and the name", str(path))]) from error
    except ValueError as error:
        raise UnusableInput([Problem("NO_RESULT", f"this is no JSON: {error}", fix, str(path))]) from error
    told = data.get("schema") if isinstance(data, dict) else None
    if told != SCREENING_SCHEMA:
        what = f"this is no result of `partscreen screen`: its schema is {told!r}, {SCREENING_SCHEMA} is expected"
        raise UnusableInput([Problem("NO_RESULT", what, fix, str(path))])
    try:
        return Screening.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(bit) for bit in first["loc"])
        what = f"{error.error_count()} field(s) are not as they should be; the first: {place}: {first['msg']}"
        raise UnusableInput([Problem("NO_RESULT", what, fix, str(path))]) from error


def load_matching(path: Path) -> Matching:
    """A result that `match --json` wrote; errors as of `read_matching`."""
    return read_matching(path)[0]


def read_matching(path: Path) -> tuple[Matching, bytes]:
    """A result that `match --json` wrote, and the bytes of its file.

    Raises
    ------
    UnusableInput
        Not readable, or no result of `match`.
    """
    from partscreen.results.matching import MATCHING_SCHEMA, Matching

    fix = "give the file that `match --json` wrote"
    try:
        content = read_capped(path, MAX_RESULT)
        matching = Matching.model_validate_json(content)
    except OSError as error:
        what = f"cannot be read ({error.strerror})"
        raise UnusableInput([Problem("MATCHING", what, "check the path", str(path))]) from None
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(bit) for bit in first["loc"])
        what = f"is no result of `partscreen match`: {f'{place}: ' if place else ''}{first['msg']}"
        raise UnusableInput([Problem("MATCHING", what, fix, str(path))]) from None
    if matching.schema_ != MATCHING_SCHEMA:
        what = f"is no result of `partscreen match`: its schema is {matching.schema_!r}, {MATCHING_SCHEMA} is expected"
        raise UnusableInput([Problem("MATCHING", what, fix, str(path))])
    return matching, content
