"""Read STAGE.toml; every problem of the file is listed at once."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import ValidationError

from partscreen.bounded_files import load_toml
from partscreen.errors import Problem, UnusableInput
from partscreen.stage.model import Stage

EXAMPLE = "docs/examples/stage.toml shows every line"


def load_stage(path: Path | str) -> Stage:
    """A stage file.

    Raises
    ------
    UnusableInput
        Not readable, not TOML, or figures that cannot be; every problem found is listed.
    """
    file = Path(path)
    try:
        data = load_toml(file)
    except OSError as error:
        raise UnusableInput(
            [Problem("NO_FILE", f"cannot be read ({error.strerror})", "check the path", str(file))]
        ) from None
    except UnicodeDecodeError:
        raise UnusableInput([Problem("NOT_TEXT", "is not UTF-8 text", "save it as UTF-8", str(file))]) from None
    except tomllib.TOMLDecodeError as error:
        fix = f'put texts in quotes, as resistance = "8 ohm"; {EXAMPLE}'
        raise UnusableInput([Problem("NOT_TOML", f"is not TOML: {error}", fix, str(file))]) from None
    try:
        return Stage.model_validate(data)
    except ValidationError as error:
        raise UnusableInput(_problems(str(file), error)) from None


def _problems(file: str, error: ValidationError) -> list[Problem]:
    found = []
    for item in error.errors():
        place = ".".join(str(bit + 1) if isinstance(bit, int) else str(bit) for bit in item["loc"])
        what, _, fix = item["msg"].removeprefix("Value error, ").partition("; ")
        if item["type"] == "extra_forbidden":
            what, fix = "this line is not known", f"put its spelling right or take it out; {EXAMPLE}"
        elif item["type"] == "missing":
            what, fix = "is missing", f"add it; {EXAMPLE}"
        found.append(Problem("STAGE", what, fix or EXAMPLE, file, column=place))
    return found
