"""`partscreen plan`: how many parts of a lot to test."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.options import AsJson


def plan(
    lot_size: Annotated[int | None, typer.Option("--lot-size", help="Parts in the lot; left out: very many.")] = None,
    tolerable: Annotated[
        str | None, typer.Option("--tolerable", metavar="SHARE", help="Bad share to be ruled out (10%, assumption).")
    ] = None,
    confidence: Annotated[
        str | None, typer.Option("--confidence", metavar="SHARE", help="How sure to be of it (95%).")
    ] = None,
    allow: Annotated[
        int | None, typer.Option("--allow", help="Bad parts of the sample with which the lot is still accepted (0).")
    ] = None,
    sample: Annotated[int | None, typer.Option("--sample", help="What a sample of this size is worth.")] = None,
    found: Annotated[
        int | None, typer.Option("--found", help="Bad parts found in the sample: what the share is now.")
    ] = None,
    good: Annotated[
        str | None, typer.Option("--good", metavar="SHARE", help="Bad share of a lot that should be accepted.")
    ] = None,
    bad: Annotated[
        str | None, typer.Option("--bad", metavar="SHARE", help="Bad share of a lot that should be refused (LTPD).")
    ] = None,
    producer_risk: Annotated[
        str | None,
        typer.Option("--producer-risk", "--alpha", metavar="SHARE", help="Chance of refusing the good lot (5%)."),
    ] = None,
    consumer_risk: Annotated[
        str | None,
        typer.Option("--consumer-risk", "--beta", metavar="SHARE", help="Chance of accepting the bad lot (10%)."),
    ] = None,
    sequential: Annotated[
        bool, typer.Option("--sequential", help="Part by part between --good and --bad (Wald).")
    ] = False,
    so_far: Annotated[
        str | None, typer.Option("--so-far", metavar="LETTERS", help="Parts tested, in order: p pass, f fail, h held.")
    ] = None,
    aql: Annotated[
        str | None, typer.Option("--aql", metavar="PERCENT", help="Plan of ISO 2859-1 / MIL-STD-105E for this AQL.")
    ] = None,
    level: Annotated[str | None, typer.Option("--level", help="Inspection level: I, II, III, S-1 to S-4 (II).")] = None,
    severity: Annotated[str | None, typer.Option("--severity", help="normal, tightened or reduced (normal).")] = None,
    history: Annotated[
        Path | None,
        typer.Option(
            "--history", metavar="LOTS.csv", help="Past lots of the supplier (lot_size, found), oldest first."
        ),
    ] = None,
    history_of: Annotated[
        str | None,
        typer.Option("--history-of", metavar="SUPPLIER", help="Past lots: those of this supplier in the bench book."),
    ] = None,
    book: Annotated[str | None, typer.Option("--book", help="With --history-of: bench book, path or URL.")] = None,
    allow_reduced: Annotated[
        bool, typer.Option("--allow-reduced", help="Past lots may lead to reduced inspection (steady maker only).")
    ] = False,
    price: Annotated[float | None, typer.Option("--price", help="Price of one part.")] = None,
    minutes: Annotated[float | None, typer.Option("--minutes", help="Bench minutes to read one part.")] = None,
    minute_value: Annotated[float | None, typer.Option("--minute-value", help="What one bench minute costs.")] = None,
    held_minutes: Annotated[
        float | None,
        typer.Option("--held-minutes", help="Further minutes that settle a held part; left out: it is not fitted."),
    ] = None,
    harm: Annotated[float | None, typer.Option("--harm", help="What one bad part costs once it is fitted.")] = None,
    refund: Annotated[
        str | None, typer.Option("--refund", metavar="SHARE", help="Share of the price back with a lot sent back (0).")
    ] = None,
    return_cost: Annotated[float | None, typer.Option("--return-cost", help="Cost of sending a lot back (0).")] = None,
    destroy_minutes: Annotated[
        float | None, typer.Option("--destroy-minutes", help="Minutes of a test that costs the part, to compare.")
    ] = None,
    destroy_power: Annotated[
        str | None, typer.Option("--destroy-power", metavar="SHARE", help="Bad parts that such a test finds (100%).")
    ] = None,
    prior_share: Annotated[
        str | None,
        typer.Option("--prior-share", metavar="SHARE", help="Bad share expected before testing (10%, assumption)."),
    ] = None,
    stop_at_first: Annotated[
        bool, typer.Option("--stop-at-first", help="Stop at the first suspect and refuse the lot.")
    ] = False,
    power: Annotated[
        str | None, typer.Option("--power", metavar="SHARE", help="Bad parts that the readings reject (100%).")
    ] = None,
    false_alarm: Annotated[
        str | None, typer.Option("--false-alarm", metavar="SHARE", help="Good parts that the readings reject (0).")
    ] = None,
    held: Annotated[
        str | None, typer.Option("--held", metavar="SHARE", help="Parts that the readings leave undecided (0).")
    ] = None,
    held_if_bad: Annotated[
        str | None, typer.Option("--held-if-bad", metavar="SHARE", help="The same of bad parts (as --held).")
    ] = None,
    held_counts: Annotated[
        str | None,
        typer.Option("--held-counts", help="What a held part counts: nothing, or against the lot (nothing)."),
    ] = None,
    draw: Annotated[bool, typer.Option("--draw", help="Draw the numbers of the pieces to test.")] = False,
    seed: Annotated[int | None, typer.Option("--seed", help="With --draw: repeats a drawing.")] = None,
    figure: Annotated[
        Path | None, typer.Option("--figure", metavar="OUT.svg", help="Draw the operating curve into this file.")
    ] = None,
    figures: Annotated[
        Path | None, typer.Option("--figures", help="Draw it into this folder, as SVG, PNG and PDF.")
    ] = None,
    json: AsJson = False,
) -> None:
    """Say how many parts of a lot to test, and what the test is worth.

    A SHARE is written 10% or 0.1. Without options beside --lot-size: the sample that rules out 10 % bad with 95 %
    confidence. Exit codes: 0 done; 2 options that cannot be; 3 out of reach, or a file that cannot be used.
    """
    from partscreen.cli.show import exit_with, say, say_drawn
    from partscreen.errors import UnusableInput
    from partscreen.workflow import draw_figures
    from partscreen.workflow.after.plan import make_plan, plan_exit_code, plan_lines, write_plan_figure
    from partscreen.workflow.after.plan_options import PlanOptions

    options = PlanOptions(
        lot_size=lot_size, tolerable=tolerable, confidence=confidence, allow=allow, sample=sample, found=found,
        good=good, bad=bad, producer_risk=producer_risk, consumer_risk=consumer_risk, sequential=sequential,
        so_far=so_far, aql=aql, level=level, severity=severity, history=history, history_of=history_of, book=book,
        allow_reduced=allow_reduced,
        price=price, minutes=minutes, minute_value=minute_value, held_minutes=held_minutes, harm=harm,
        refund=refund, return_cost=return_cost,
        destroy_minutes=destroy_minutes, destroy_power=destroy_power, prior_share=prior_share,
        stop_at_first=stop_at_first, power=power, false_alarm=false_alarm, held=held, held_if_bad=held_if_bad,
        held_counts=held_counts, draw=draw, seed=seed,
    )  # fmt: skip
    try:
        result = make_plan(options)
        if figure is not None:
            write_plan_figure(result, figure)
        drawn = draw_figures(result, figures) if figures is not None else []
    except UnusableInput as error:
        exit_with(plan_exit_code(error), error)
    typer.echo(result.model_dump_json(by_alias=True) if json else "\n".join(plan_lines(result)))
    if figure is not None:
        say(f"written: {figure}")
    say_drawn(drawn)
