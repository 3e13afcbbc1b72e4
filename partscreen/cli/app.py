"""The command `partscreen`: one file per command, no logic here."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import typer

app = typer.Typer(
    name="partscreen",
    help="Decide, before fitting, whether a power transistor is what its marking says.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
