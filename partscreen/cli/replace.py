"""partscreen replace: what can take an obsolete type's place?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import JsonFile, References


def replace(
    name: Annotated[str, typer.Argument(metavar="TYPE", help="Type number, or what is printed on the old part.")],
    stage_file: Annotated[
        Path | None, typer.Argument(metavar="STAGE.toml", help="The output stage it stands in.")
    ] = None,
    reference: References = None,
    json: JsonFile = None,
) -> None:
    """Rank library types as replacements of a type, every rating compared.

    Exit codes: 0 done; 3 the type is not known or a file could not be used.
    """
    from partscreen.cli.show import exit_with
    from partscreen.cli.show_stage import show_replacements, write_json
    from partscreen.errors import PartscreenError
    from partscreen.workflow import replace_type

    try:
        result = replace_type(name, stage_file, references=tuple(reference or ()))
        if json is not None:
            write_json(result.model_dump_json(by_alias=True, indent=1), json)
    except (PartscreenError, OSError) as error:
        exit_with(3, error)
    if json != "-":
        show_replacements(result)
