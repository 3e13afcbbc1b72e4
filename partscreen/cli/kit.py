"""`partscreen kit --new` and `partscreen kit FILE`: a person's instruments, described once and told in words."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer


def kit(
    file: Annotated[
        Path | None, typer.Argument(metavar="KIT.toml", help="A kit file, to be told in words.", show_default=False)
    ] = None,
    new: Annotated[bool, typer.Option("--new", help="Describe your instruments: questions in plain words.")] = False,
    out: Annotated[Path, typer.Option("--out", help="With --new: the kit file to write.")] = Path("kit.toml"),
    on: Annotated[
        datetime | None,
        typer.Option("--on", formats=["%Y-%m-%d"], help="Day to judge the calibration by; today if not given."),
    ] = None,
) -> None:
    """Describe your instruments once, or show what a kit file means.

    Exit codes: 0 done; 3 something cannot be used, or the questions were not answered to the end; 2 usage.
    """
    from partscreen.cli.show import exit_with, say
    from partscreen.cli.terminal import Prompted
    from partscreen.errors import UnusableInput
    from partscreen.workflow import new_kit, tell_kit

    if new == (file is not None):
        raise typer.BadParameter("give a kit file to be told in words, or --new to make one")
    day = on.date() if on is not None else None
    try:
        if file is not None:
            lines = tell_kit(file, today=day)
        elif not new_kit(Prompted(), out, today=day):
            say(f"stopped; the answers are kept, and `partscreen kit --new --out {out}` goes on")
            raise typer.Exit(3)
        else:
            lines = tell_kit(out, today=day)
            say(f"written: {out}")
    except UnusableInput as error:
        exit_with(3, error)
    for line in lines:
        typer.echo(line)
