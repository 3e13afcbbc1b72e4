"""`partscreen screen --watch DIR`: what it says while files come in, and how it ends."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from partscreen.workflow import ScreenOptions
    from partscreen.workflow.judge.watching import Watched


def watch(folder: Path, options: ScreenOptions, *, brief: bool, stock: Path | None, kept: str | None) -> int:
    """Judge files as they come until Ctrl-C; returns how many were judged. `kept`: book to record in, None: nowhere.

    Raises
    ------
    UnusableInput
        The folder or a setting cannot be used.
    """
    from partscreen.cli.show import say
    from partscreen.workflow import watch_folder

    with _until_interrupted() as rest:
        say(f"watching {folder}; end with Ctrl-C")
        judged = watch_folder(folder, options, _tell, rest, brief=brief, stock=stock, record_in=kept)
    say(f"ended; {judged} file{'s' if judged != 1 else ''} judged")
    return judged


@contextmanager
def _until_interrupted() -> Iterator[Callable[[float], bool]]:
    """A wait that ends at once on Ctrl-C or a request to end; the file at hand is finished. A second one stops hard."""
    asked = threading.Event()

    def on_signal(number: int, frame: FrameType | None) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()

    before = {one: signal.signal(one, on_signal) for one in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield asked.wait
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


def _tell(found: Watched) -> None:
    from partscreen.cli.book_show import say_recorded
    from partscreen.cli.show import say, show_screening

    typer.echo(f"\n{found.file.name}")
    for problem in found.problems:
        say(str(problem))
    if found.outcome is None:
        return
    show_screening(found.outcome.screening)
    for note in found.outcome.notices:
        say(f"note: {note}")
    for path in found.written:
        say(f"written: {path}")
    say_recorded(found.outcome)
