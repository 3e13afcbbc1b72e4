"""`partscreen match RESULT.json ...`: which parts go together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partscreen.cli.options import References

if TYPE_CHECKING:
    from partscreen.results.matching import MatchKind


def match(
    results: Annotated[
        list[Path], typer.Argument(help="Results of `screen --json`, written without --brief.", show_default=False)
    ],
    pairs: Annotated[bool, typer.Option("--pairs", help="Pairs of one NPN and one PNP.")] = False,
    groups: Annotated[
        int | None, typer.Option("--groups", help="Groups of this many parts of one polarity.", show_default=False)
    ] = None,
    sets: Annotated[
        int | None,
        typer.Option("--sets", help="This many channel sets of --per-rail NPN and as many PNP.", show_default=False),
    ] = None,
    per_rail: Annotated[
        int | None, typer.Option("--per-rail", help="Devices in parallel on each rail.", show_default=False)
    ] = None,
    aim: Annotated[
        str,
        typer.Option(
            "--aim", help="sum: smallest sum of distances; worst: smallest worst pair; count; worst-then-sum."
        ),
    ] = "sum",
    best: Annotated[
        int | None, typer.Option("--best", help="Make only this many, the best.", show_default=False)
    ] = None,
    tolerance_hfe: Annotated[
        float, typer.Option("--tolerance-hfe", help="Tolerance of hFE in percent (10, 5 and 2 are usual).")
    ] = 10.0,
    tolerance_vbe: Annotated[
        float, typer.Option("--tolerance-vbe", help="Tolerance of VBE in millivolts (20 and 5 are usual).")
    ] = 20.0,
    held: Annotated[bool, typer.Option("--held", help="Take held parts too.")] = False,
    lot: Annotated[list[str] | None, typer.Option("--lot", help="Only this lot. May be repeated.")] = None,
    by_vbe: Annotated[bool, typer.Option("--by-vbe", help="Groups by VBE alone, exact for any number.")] = False,
    ways: Annotated[int, typer.Option("--ways", help="Tell this many ways to pair, the best first.")] = 1,
    prove: Annotated[
        float, typer.Option("--prove", help="Seconds to spend on proving how good groups or sets are.")
    ] = 0.0,
    buy: Annotated[
        int | None,
        typer.Option("--yield", help="How many parts to buy so that this many come out matched.", show_default=False),
    ] = None,
    power: Annotated[float | None, typer.Option("--power", help="Sine power of the stage [W].")] = None,
    load: Annotated[float | None, typer.Option("--load", help="Load resistance [ohm].")] = None,
    signal: Annotated[str, typer.Option("--signal", help="sine or programme.")] = "sine",
    crest: Annotated[float | None, typer.Option("--crest", help="Crest factor of the programme [dB].")] = None,
    idle: Annotated[float | None, typer.Option("--idle", help="Idle current per device [mA].")] = None,
    emitter_resistor: Annotated[
        float | None, typer.Option("--emitter-resistor", help="Emitter resistor of each device [ohm].")
    ] = None,
    reference: References = None,
    json_out: Annotated[
        str | None, typer.Option("--json", help="Write the match as JSON to this file; - for standard output.")
    ] = None,
    table: Annotated[
        Path | None, typer.Option("--table", help="Write one row a part to this file (CSV).", show_default=False)
    ] = None,
    figures: Annotated[
        Path | None,
        typer.Option(
            "--figures", help="Draw gain and VBE of each set into this folder (SVG, PNG, PDF).", show_default=False
        ),
    ] = None,
) -> None:
    """Match accepted parts: NPN with PNP, groups of one polarity, or channel sets.

    Exit codes: 0 done; 3 a result cannot be used, or what is asked for cannot be made of these parts; 2 usage.
    """
    from partscreen.cli.show import exit_with, say, say_drawn
    from partscreen.errors import UnusableInput
    from partscreen.matching.options import MatchOptions
    from partscreen.matching.words import matching_lines
    from partscreen.workflow import match_and_draw, write_match_figures, write_match_table, write_matching

    if pairs + (groups is not None) + (sets is not None) != 1:
        raise typer.BadParameter("say what to make: one of --pairs, --groups K, --sets N --per-rail K")
    if sets is not None and per_rail is None:
        raise typer.BadParameter("--sets needs --per-rail: how many devices stand in parallel on each rail")
    kind: MatchKind = "pairs" if pairs else "groups" if groups is not None else "sets"
    options = MatchOptions(
        kind=kind,
        k=groups or (per_rail if sets is not None and per_rail is not None else 1),
        aim=aim,
        best=best if sets is None else sets,
        tolerance_hfe=tolerance_hfe,
        tolerance_vbe=tolerance_vbe,
        held=held,
        lots=tuple(lot or ()),
        by_vbe=by_vbe,
        ways=ways,
        prove=prove,
        power=power,
        load=load,
        signal=signal,
        crest=crest,
        idle=None if idle is None else idle / 1e3,
        per_rail=per_rail,
        emitter_resistor=emitter_resistor,
        buy_for=buy,
    )
    try:
        drawn = 0 if figures is None else None
        found, panels = match_and_draw(results, options, references=reference or (), sets=drawn)
        written = [write_matching(found, json_out)] if json_out not in (None, "-") else []
        written += [write_match_table(found, table)] if table is not None else []
        pictures = write_match_figures(panels, figures) if figures is not None else []
    except UnusableInput as error:
        exit_with(3, error)
    if json_out == "-":
        typer.echo(found.model_dump_json(by_alias=True))
    else:
        for line in matching_lines(found):
            typer.echo(line)
    for path in written:
        say(f"written: {path}")
    say_drawn(pictures)
