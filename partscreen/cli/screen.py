"""`partscreen screen FILES`: judge every part of the files brought."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from partscreen.cli.book_options import BookPlace
from partscreen.cli.options import CaseTemperature, PriorShare, References


def screen(
    files: Annotated[
        list[Path] | None, typer.Argument(help="Readings: text, .xlsx, .ods, .json or .parquet.", show_default=False)
    ] = None,
    lots: Annotated[
        Path | None, typer.Option("--lots", help="Lot sheet: lot, supplier, type, ... (CSV or XLSX).")
    ] = None,
    lot: Annotated[
        list[str] | None,
        typer.Option("--lot", help='One lot in words: "A1 type=2SC5200 supplier=Birch". May be repeated.'),
    ] = None,
    type_name: Annotated[
        str | None, typer.Option("--type", help="Marked type of every lot the sheet does not name.")
    ] = None,
    columns: Annotated[
        Path | None,
        typer.Option("--columns", help="Column map (TOML): which column is which quantity; saved: the one you saved."),
    ] = None,
    kit: Annotated[
        Path | None, typer.Option("--kit", help="Your instruments (TOML): accuracy, leads, fixed conditions.")
    ] = None,
    reference: References = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for report.html, result.json and parts.csv.")
    ] = None,
    json_out: Annotated[
        str | None, typer.Option("--json", help="Write the result as JSON to this file; - for standard output.")
    ] = None,
    table: Annotated[Path | None, typer.Option("--table", help="Write one row a part to this CSV file.")] = None,
    stock: Annotated[
        Path | None, typer.Option("--stock", help="Write one row a lot to this CSV file, for stock systems.")
    ] = None,
    figures: Annotated[
        Path | None, typer.Option("--figures", help="Draw every figure into this folder, as SVG, PNG and PDF.")
    ] = None,
    watch: Annotated[
        Path | None,
        typer.Option("--watch", help="Judge the files of this folder, and those that come, until Ctrl-C."),
    ] = None,
    risk: Annotated[
        float,
        typer.Option(
            "--risk", min=1e-6, max=0.5, help="Risk of passing a part that fails a limit (ANSI/NCSL Z540.3: 0.02)."
        ),
    ] = 0.02,
    prior_share: PriorShare = 0.1,
    reach: Annotated[
        float,
        typer.Option(
            "--reach",
            min=0.0,
            max=1.0,
            help="Die area ratio that the readings must be able to show before a part is accepted (assumption 0.6).",
        ),
    ] = 0.6,
    cost: Annotated[
        float,
        typer.Option(
            "--cost", min=0.1, max=1e6, help="What a bad part costs you, against a part thrown away (assumption 10)."
        ),
    ] = 10.0,
    temperature: CaseTemperature = None,
    brief: Annotated[bool, typer.Option("--brief", help="Leave covariances and curves out of the JSON.")] = False,
    spreads: Annotated[
        Path | None,
        typer.Option("--spreads", help="Learned spreads (TOML, by `book learn`) instead of the packaged ones."),
    ] = None,
    record: Annotated[
        bool, typer.Option("--record", help="Keep files, readings and result in the bench book.")
    ] = False,
    book: BookPlace = None,
) -> None:
    """Judge every part: accept, hold or reject, with reasons.

    Exit codes: 0 all accepted; 3 a file, lot or part could not be used (results are still written); 4 something
    rejected; 5 something held, nothing rejected; 2 usage. With --watch 0 when ended by Ctrl-C.
    """
    from partscreen.cli.book_show import say_recorded
    from partscreen.cli.show import exit_with, progress_line, say, say_drawn, show_screening
    from partscreen.cli.show_streamed import show_streamed
    from partscreen.errors import UnusableInput
    from partscreen.workflow import (
        ScreenOptions,
        draw_figures,
        judge_prepared,
        keep_screening,
        prepare_files,
        saved_columns,
        stream_screening,
        write_outcome,
        write_stock_table,
    )

    if book is not None and not record:
        raise typer.BadParameter("--book says where --record keeps the run; add --record")
    given = _given(files, watch, out, json_out, table, figures)
    try:
        columns = saved_columns(columns, given)
    except UnusableInput as error:
        exit_with(3, error)
    options = ScreenOptions(
        lots=lots,
        lot_texts=tuple(lot or ()),
        type_name=type_name,
        columns=columns,
        kit=kit,
        references=tuple(reference or ()),
        risk=risk,
        prior_share=prior_share,
        reach=reach,
        cost=cost,
        temperature_c=temperature,
        brief=brief,
        spreads=spreads,
        learn_from=(book or "") if record else None,
    )
    drawn: list[Path] = []
    try:
        if watch is not None:
            from partscreen.cli.watch import watch as watch_until_ended

            watch_until_ended(watch, options, brief=brief, stock=stock, kept=(book or "") if record else None)
            raise typer.Exit(0)
        ready = prepare_files(given, options, progress=progress_line())
        if json_out not in (None, "-") and not any((out, figures, table, stock, record)):
            streamed = stream_screening(ready, Path(str(json_out)), brief=brief, progress=progress_line())
            if streamed is not None:
                raise typer.Exit(show_streamed(streamed))
        outcome = judge_prepared(ready, progress=progress_line(), figures=out is not None or figures is not None)
        if record:
            outcome = keep_screening(outcome, given, options, book)
        written = write_outcome(
            outcome, out=out, json_out=None if json_out == "-" else json_out, table=table, brief=brief
        )
        if stock is not None:
            written.append(write_stock_table(outcome, stock))
        if figures is not None:
            drawn = draw_figures(outcome, figures, progress=progress_line())
    except UnusableInput as error:
        exit_with(3, error)
    if json_out == "-":
        typer.echo(outcome.json_text(brief=brief))
    else:
        show_screening(outcome.screening)
    for note in outcome.notices:
        say(f"note: {note}")
    for path in written:
        say(f"written: {path}")
    say_drawn(drawn)
    say_recorded(outcome)
    raise typer.Exit(outcome.exit_code)


def _given(
    files: list[Path] | None,
    watch: Path | None,
    out: Path | None,
    json_out: str | None,
    table: Path | None,
    figures: Path | None,
) -> list[Path]:
    """The files to judge; none with --watch, which finds them itself and writes next to them."""
    if watch is None:
        if not files:
            raise typer.BadParameter("give files of readings, or a folder with --watch DIR")
        return files
    if files:
        raise typer.BadParameter("--watch takes the files of its folder; leave FILES out")
    if any(given is not None for given in (out, json_out, table, figures)):
        raise typer.BadParameter("--watch writes next to each file; leave --out, --json, --table and --figures out")
    return []
