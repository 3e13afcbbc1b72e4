"""`partscreen type-in --lot A1 --type TYPE --out FILE.csv`: readings by hand, a line a part."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import BagName, FirstNumber, KitThatAsks, References


def type_in(
    lot: BagName,
    type_name: Annotated[str, typer.Option("--type", help="Type number, as marked.", show_default=False)],
    out: Annotated[
        Path, typer.Option("--out", help="File for the readings (CSV); goes on where it ended.", show_default=False)
    ],
    kit: KitThatAsks = None,
    ask: Annotated[
        list[str] | None,
        typer.Option("--ask", help='A reading to ask for instead: "hFE @ IC=1 A, VCE=5 V". May be repeated.'),
    ] = None,
    count: Annotated[int | None, typer.Option("--count", help="How many parts; as many as come if not given.")] = None,
    start: FirstNumber = 1,
    control: Annotated[
        str, typer.Option("--control", help="Name of the control piece: asked for first, every tenth and last.")
    ] = "",
    settle: Annotated[float, typer.Option("--settle", help="Seconds to let each part settle; Enter goes on.")] = 0.0,
    temperature: Annotated[float | None, typer.Option("--temperature", help="Case temperature in degC.")] = None,
    reference: References = None,
) -> None:
    """Type readings in, a line a part, and have each part answered at once.

    Every line is on disk before the next is asked for; the same command goes on after a break or a crash. Exit codes:
    0 done; 3 something cannot be used; 2 usage.
    """
    from partscreen.cli.show import exit_with, say, show_screening
    from partscreen.cli.terminal import Prompted
    from partscreen.errors import UnusableInput
    from partscreen.workflow import TypeInOptions, type_readings

    options = TypeInOptions(
        lot=lot, type_name=type_name, out=out, kit=kit, ask=tuple(ask or ()), count=count, start=start,
        control=control, settle=settle, temperature_c=temperature, references=tuple(reference or ()),
    )  # fmt: skip
    try:
        outcome = type_readings(options, Prompted())
    except UnusableInput as error:
        exit_with(3, error)
    if outcome is None:
        say("nothing was typed")
        return
    show_screening(outcome.screening)
    for note in outcome.notices:
        say(f"note: {note}")
    say(f"written: {out}")
