"""`partscreen page`: the local web page."""

from __future__ import annotations

from typing import Annotated

import typer

from partscreen.cli.book_options import BookPlace


def page(
    port: Annotated[int, typer.Option("--port", help="Port to listen on; 0 takes any free one.")] = 8571,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open the browser.")] = False,
    address: Annotated[
        str,
        typer.Option(
            "--address", help="Listen on this address; any but this machine's own lets others in, by a token."
        ),
    ] = "127.0.0.1",
    name: Annotated[
        list[str] | None,
        typer.Option("--name", help="A further name or address under which others open it. May be repeated."),
    ] = None,
    book: BookPlace = None,
) -> None:
    """Bring files, see what to fit, and why, in the browser. This machine only, unless told otherwise.

    Exit codes: 0 ended by Ctrl-C; 3 the address or port cannot be used; 2 usage.
    """
    from partscreen.cli.show import exit_with, say
    from partscreen.errors import UnusableInput
    from partscreen.page.serve import serve
    from partscreen.page.settings import PageSettings

    try:
        serve(PageSettings(address, port, None, tuple(name or ()), book), browser=not no_browser, say=say)
    except UnusableInput as error:
        exit_with(3, error)
