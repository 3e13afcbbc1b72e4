"""Errors the toolkit raises on purpose: where, what, how to put it right."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


class PartscreenError(Exception):
    """Catch this to catch everything the toolkit raises on purpose."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with something a person brought.

    `where` names file, row and column as far as they are known, `what` says what is wrong with it,
    `fix` how to put it right. `row` counts from 1 as a spreadsheet shows it; 0 means the whole file.
    `part` and `lot` name the part concerned, where it is one part's fault alone.
    """

    code: str
    what: str
    fix: str
    file: str = ""
    row: int = 0
    column: str = ""
    part: str | None = None
    lot: str | None = None

    @property
    def where(self) -> str:
        """File, row and column, as far as they are known."""
        bits = [self.file] if self.file else []
        if self.row:
            bits.append(f"row {self.row}")
        if self.column:
            bits.append(f"column {self.column}")
        return ", ".join(bits) or "input"

    def __str__(self) -> str:
        return f"{self.where}: {self.what}\n    -> {self.fix}"


class NearNames:
    """Names a person may have meant, for the `fix` of problems. Only the first slips of a file are looked up, and never
    among very many names: a file of nothing but slips then takes no longer than another."""

    MOST_SLIPS = 50  # assumption, as the next: nobody reads more hints than that
    MOST_NAMES = 5000
    LONGEST = 60  # characters; longer than any name there is

    def __init__(self) -> None:
        self._slips = 0

    @property
    def spent(self) -> bool:
        """Whether no slip is looked up any more."""
        return self._slips >= self.MOST_SLIPS

    def of(self, name: str, known: Sequence[str], most: int = 1, cutoff: float = 0.6) -> list[str]:
        """At most so many of the known names, the nearest first; `cutoff` as of `difflib.get_close_matches`."""
        from difflib import get_close_matches

        if self.spent or len(name) > self.LONGEST or len(known) > self.MOST_NAMES:
            return []
        self._slips += 1
        return get_close_matches(name, known, most, cutoff)


class UnusableInput(PartscreenError, ValueError):
    """A file, map, sheet or setting cannot be used; every problem found is listed at once."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        lines = [f"  {problem}" for problem in self.problems]
        super().__init__(f"{len(self.problems)} problem(s)\n" + "\n".join(lines))


class UnknownType(PartscreenError, LookupError):
    """A type number is not in the library; `close` holds names it may have been meant to be."""

    def __init__(self, name: str, close: Iterable[str] = ()) -> None:
        self.name = name
        self.close = tuple(close)
        hint = f"; close names: {', '.join(self.close)}" if self.close else ""
        super().__init__(f"type {name!r} is not in the library{hint}")


def not_writable(
    error: OSError,
    place: object,
    fix: str = "name a folder that exists and may be written to",
    *,
    what: str = "cannot write",
) -> UnusableInput:
    """The refusal of a place that cannot be written, with what the system says of it."""
    return UnusableInput([Problem("NOT_WRITABLE", f"{what}: {error.strerror or error}", fix, str(place))])
