"""The terminal of typing commands: prompts, lines above the prompt, a countdown. Works with a script on stdin too."""

from __future__ import annotations

import os
import sys
import threading
import time

import typer


class Prompted:
    """Asks on the terminal, or takes the lines of a script and shows them as if they were typed."""

    def __init__(self) -> None:
        self.live = sys.stdin.isatty() and sys.stdout.isatty()
        self._lock = threading.RLock()
        self._prompt = ""  # shown and waiting, "" while nothing is asked
        self._line = None
        # A terminal that cannot wipe a line gets a new one instead.
        self._wipe = "\n" if os.environ.get("TERM", "") in ("", "dumb") else "\r\x1b[K"
        reconfigure = getattr(sys.stdin, "reconfigure", None)
        if reconfigure is not None:  # a strange byte is shown as such and asked about, it stops nothing
            reconfigure(errors="replace")
        if self.live:
            try:
                import readline

                self._line = readline
            except ImportError:  # not on every system; lines can still be typed, only not edited
                pass

    def ask(self, prompt: str) -> str | None:
        """One line; None at the end of input or Ctrl-D; Ctrl-C forgets what was typed."""
        if not self.live:
            text = sys.stdin.readline()
            typer.echo(f"{prompt}{text.rstrip()}" if text else prompt.rstrip())
            return text.rstrip("\r\n") if text else None
        while True:
            with self._lock:
                self._prompt = prompt
            try:
                return input(prompt)
            except EOFError:
                typer.echo("")
                return None
            except KeyboardInterrupt:
                typer.echo("   (forgotten; Ctrl-D ends)")
            finally:
                with self._lock:
                    self._prompt = ""

    def say(self, text: str) -> None:
        """Show a line now."""
        with self._lock:
            typer.echo(text)

    def post(self, text: str) -> None:
        """Show a line above the prompt; what was typed so far stays."""
        with self._lock:
            if not self._prompt:
                typer.echo(text)
                return
            typed = self._line.get_line_buffer() if self._line is not None else ""
            sys.stdout.write(f"{self._wipe}{text}\n{self._prompt}{typed}")
            sys.stdout.flush()

    def count_down(self, seconds: float, why: str) -> None:
        """Wait, the seconds shown in one line; Enter ends it. A script is not made to wait."""
        if not self.live:
            return
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0.0:
            sys.stdout.write(f"{self._wipe}{why}, {left:.0f} s (Enter: go on) ")
            sys.stdout.flush()
            if _entered(min(left, 1.0)):
                break
        sys.stdout.write(self._wipe)
        sys.stdout.flush()


def _entered(seconds: float) -> bool:
    """Whether Enter was pressed within the time."""
    import select

    try:
        ready, _, _ = select.select([sys.stdin], [], [], seconds)
    except (OSError, ValueError):  # where a terminal cannot be waited for
        time.sleep(seconds)
        return False
    if ready:
        sys.stdin.readline()
    return bool(ready)
