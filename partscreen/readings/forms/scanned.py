"""What a scan of a workbook tells of each sheet, and how it refuses one."""

from __future__ import annotations

from dataclasses import dataclass, field

Span = tuple[tuple[int, int], tuple[int, int]]


@dataclass(slots=True)
class SheetScan:
    """`formulas`: (row, column) from 0 of cells whose formula has no stored value, and the formula. `merged`: spans of
    merged cells, where the reader does not tell them itself."""

    formulas: dict[tuple[int, int], str] = field(default_factory=dict)
    merged: list[Span] = field(default_factory=list)


class Refused(ValueError):
    """The workbook is not read: code, what and fix."""

    def __init__(self, code: str, what: str, fix: str) -> None:
        super().__init__(what)
        self.code, self.what, self.fix = code, what, fix


def too_large(what: str) -> Refused:
    """A refusal for size."""
    return Refused("TOO_LARGE", what, "split the file, or export the sheet with the readings as CSV")
