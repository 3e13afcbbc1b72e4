"""Which part is asked for next: in order of their numbers, the control piece first, after every tenth, and last."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from partscreen.readings.typed.journal import Entry

EVERY = 10  # parts between two readings of the control piece, as on the sheet
_NUMBER = re.compile(r"[Tt]?0*(\d{1,4})$")


@dataclass(frozen=True, slots=True)
class Order:
    """Names of the parts of a lot. `count` None: as many as come. `control`: name of the control piece, "": none."""

    lot: str
    count: int | None = None
    start: int = 1
    control: str = ""

    def name(self, number: int) -> str:
        """Name of a part by its number, as on stickers."""
        return f"{self.lot}-T{number:04d}"

    def resolved(self, typed: str) -> tuple[str, bool]:
        """The part a typed name means, and whether it is the control piece: `7`, `T7`, `T0007` and the whole name."""
        if self.control and typed.casefold() == self.control.casefold():
            return self.control, True
        number = _NUMBER.match(typed)
        return (self.name(int(number[1])) if number else typed), False

    def alone(self, text: str) -> str | None:
        """The part that a line names without any figure, as a sticker's code does: `T7`, `T0007`, the whole name."""
        word = text.strip().rstrip(":").rstrip()
        known = re.compile(rf"(?:{re.escape(self.lot)}-)?T\d{{1,4}}$", re.IGNORECASE)
        if self.control and word.casefold() == self.control.casefold():
            return self.control
        return word.rpartition("-")[2] if known.match(word) else None

    def _all(self) -> Iterator[tuple[str, bool]]:
        last = None if self.count is None else self.start + self.count - 1
        number = self.start
        if self.control:
            yield self.control, True
        while last is None or number <= last:
            yield self.name(number), False
            done = number - self.start + 1
            if self.control and (done % EVERY == 0 or number == last):
                yield self.control, True
            number += 1

    def following(self, entries: Sequence[Entry]) -> tuple[str, bool] | None:
        """The part to ask for, given the lines that stand; None: all are in."""
        done = {entry.part for entry in entries if not entry.control}
        controls = sum(entry.control for entry in entries)
        for name, control in self._all():
            if control and controls:
                controls -= 1
            elif control or name not in done:
                return name, control
        return None
