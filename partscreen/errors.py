"""Errors the toolkit raises on purpose: where, what, how to put it right."""

from __future__ import annotations

from collections.abc import Iterable
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
