"""`partscreen check TYPE READING ...`: a first answer from single readings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import AsJson, PriorShare, References


def check(
    type_name: Annotated[str, typer.Argument(metavar="TYPE", help="Type number, or what is printed on the part.")],
    readings: Annotated[
        list[str],
        typer.Argument(metavar="READING", help='As "C_CB=118 pF @ VCB=10 V, f=1 MHz"; any number of them.'),
    ],
    kit: Annotated[
        Path | None, typer.Option("--kit", help="Your instruments (TOML): accuracy, fixed conditions, what comes next.")
    ] = None,
    reference: References = None,
    temperature: Annotated[
        float | None, typer.Option("--temperature", help="Case temperature in degC where no reading states it.")
    ] = None,
    prior_share: PriorShare = 0.1,
    reach: Annotated[
        float,
        typer.Option(
            "--reach", min=0.0, max=1.0, help="Die area ratio the readings must be able to show before an accept."
        ),
    ] = 0.6,
    risk: Annotated[
        float, typer.Option("--risk", min=1e-6, max=0.5, help="Risk of passing a part that fails a limit.")
    ] = 0.02,
    json: AsJson = False,
) -> None:
    """Say what single readings tell of one part, and what to measure next.

    Each further reading sharpens the answer. Exit codes: 0 accepted; 3 a reading or the part could not be used; 4
    rejected; 5 held; 2 usage.
    """
    from partscreen.cli.show import exit_with, show_check
    from partscreen.errors import UnusableInput
    from partscreen.workflow import ScreenOptions, check_part

    options = ScreenOptions(
        kit=kit,
        references=tuple(reference or ()),
        temperature_c=temperature,
        prior_share=prior_share,
        reach=reach,
        risk=risk,
    )
    try:
        outcome, words = check_part(type_name, readings, options)
    except UnusableInput as error:
        exit_with(3, error)
    if json:
        typer.echo(outcome.json_text())
    else:
        show_check(type_name, outcome.screening, words)
    raise typer.Exit(outcome.exit_code)
