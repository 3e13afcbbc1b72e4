"""`partscreen paper card STAGE.toml` and `partscreen paper pairs MATCH.json`: papers for fitting and power-up."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Out = Annotated[Path, typer.Option("--out", help="PDF to write.", show_default=False)]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there.")]
References = Annotated[
    list[Path] | None,
    typer.Option("--reference", metavar="FILE.toml", help="Reference file of a type. May be repeated."),
]


def card(
    stage_file: Annotated[Path, typer.Argument(metavar="STAGE.toml", help="The stage.", show_default=False)],
    out: Out,
    results: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[RESULT.json ...]", help="Results of screen: the parts to be fitted."),
    ] = None,
    match: Annotated[
        Path | None, typer.Option("--match", help="Result of `match --json`: a card for each of its sets.")
    ] = None,
    set_number: Annotated[int | None, typer.Option("--set", min=1, help="Only this set of the match.")] = None,
    warm_up: Annotated[
        str | None, typer.Option("--warm-up", help='Time of warm-up; "15 to 20 min" (common practice).')
    ] = None,
    soak: Annotated[
        str | None, typer.Option("--soak", help='Time of the soak, as "2 h"; not known if not given.')
    ] = None,
    reference: References = None,
    overwrite: Overwrite = False,
) -> None:
    """Power-up card: cautions, checks before power, steps on a current limiter, what each emitter resistor should read.

    Exit codes: 0 done, whatever the card says; 3 something cannot be used.
    """
    from partscreen.cli.show import exit_with, say
    from partscreen.errors import UnusableInput
    from partscreen.workflow import CardOptions, paper_card

    options = CardOptions(
        results=tuple(results or ()), match=match, set_number=set_number, warm_up=warm_up, soak=soak,
        references=tuple(reference or ()), overwrite=overwrite,
    )  # fmt: skip
    try:
        made = paper_card(stage_file, out, options)
    except UnusableInput as error:
        exit_with(3, error)
    for sentence in made.forbidden:
        say(f"do not power up: {sentence}")
    say(f"written: {made.file}")


def pairs(
    match_file: Annotated[Path, typer.Argument(metavar="MATCH.json", help="Result of `match`.", show_default=False)],
    out: Out,
    stage_file: Annotated[
        Path | None, typer.Argument(metavar="[STAGE.toml]", help="The stage: what each part should read there.")
    ] = None,
    result: Annotated[
        list[Path] | None, typer.Option("--result", help="Result of screen: the parts' own curves. May be repeated.")
    ] = None,
    reference: References = None,
    overwrite: Overwrite = False,
) -> None:
    """Pair list: which part goes where, what the parts differ by, lines for their positions on the board."""
    from partscreen.cli.show import exit_with, say
    from partscreen.errors import UnusableInput
    from partscreen.workflow import CardOptions, paper_pairs

    options = CardOptions(results=tuple(result or ()), references=tuple(reference or ()), overwrite=overwrite)
    try:
        written = paper_pairs(match_file, out, stage_file, options)
    except UnusableInput as error:
        exit_with(3, error)
    say(f"written: {written}")
