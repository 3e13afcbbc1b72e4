"""The command `partscreen`: one file per command, no logic here."""

from __future__ import annotations

import gc
import sys

import typer

from partscreen.cli.book import app as book
from partscreen.cli.check import check
from partscreen.cli.codes import codes
from partscreen.cli.demo import demo
from partscreen.cli.kit import kit
from partscreen.cli.match import match
from partscreen.cli.page import page
from partscreen.cli.paper import app as paper
from partscreen.cli.plan import plan
from partscreen.cli.read import read
from partscreen.cli.replace import replace
from partscreen.cli.screen import screen
from partscreen.cli.sheet import sheet
from partscreen.cli.stage import stage
from partscreen.cli.trust import trust
from partscreen.cli.type_in import type_in
from partscreen.cli.types import types

app = typer.Typer(
    name="partscreen",
    help="Decide, before fitting, whether a power transistor is what its marking says.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _version(value: bool) -> None:
    if value:
        from partscreen import __version__

        typer.echo(f"partscreen {__version__}")
        raise typer.Exit


@app.callback()
def _main(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version and stop."
    ),
) -> None:
    """Decide, before fitting, whether a power transistor is what its marking says."""


app.command("demo")(demo)
app.command("read")(read)
app.command("types")(types)
app.command("check")(check)
app.command("kit")(kit)
app.command("sheet")(sheet)
app.command("type-in")(type_in)
app.command("screen")(screen)
app.command("match")(match)
app.command("stage")(stage)
app.command("replace")(replace)
app.command("plan")(plan)
app.command("trust")(trust)
app.command("page")(page)
app.command("codes")(codes)
app.add_typer(book, name="book")
app.add_typer(paper, name="paper")


def main() -> None:
    """Entry point. A character the console cannot show is replaced, so that no result is lost to an encoding."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    # Ten thousand parts are millions of small objects that live to the end: looking for rubbish among them time and
    # again takes longer than it saves.
    gc.set_threshold(200_000, 50, 50)
    app()
