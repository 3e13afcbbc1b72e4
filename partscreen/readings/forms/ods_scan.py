"""Sheets of an open-document workbook, counted cell by cell before they are read.

Repeated rows and cells are written once with a number, so that a few bytes can stand for any number of cells.
"""

from __future__ import annotations

from typing import Any
from xml.parsers import expat

from partscreen.readings.forms.scanned import Refused, SheetScan, too_large
from partscreen.readings.sizes import MAX_CELLS, MAX_TEXT_IN_CELLS

_CELLS = ("table-cell", "covered-table-cell")


def scan_content(content: bytes) -> dict[str, SheetScan]:
    """What is to be known of each sheet of a `content.xml`, by its name.

    Raises
    ------
    Refused
        It is no XML, declares entities, or asks for more cells than are read.
    """
    parser = expat.ParserCreate()
    counter = _Counter()
    parser.StartElementHandler = counter.start
    parser.EndElementHandler = counter.end
    parser.CharacterDataHandler = counter.text
    parser.StartDoctypeDeclHandler = _refuse
    try:
        parser.Parse(content, True)
    except Refused:
        raise
    except (expat.ExpatError, LookupError, ValueError) as error:  # LookupError: an encoding that nobody knows
        fix = "open it in a spreadsheet program and save it again, or export CSV"
        raise Refused("WORKBOOK_UNREADABLE", f"the workbook cannot be opened ({error})", fix) from error
    return counter.sheets


def _refuse(*_: Any) -> None:
    what = "content.xml in the workbook declares entities of its own, which are not expanded"
    raise Refused("WORKBOOK_ENTITIES", what, "open it in a spreadsheet program and save it again, or export CSV")


def _times(said: dict[str, str], name: str) -> int:
    text = said.get(name, "1")
    return int(text) if text.isdecimal() and 0 < len(text) < 10 else 1


class _Counter:
    """Follows the elements; `extent` counts the cells of the rectangle up to the last filled one."""

    def __init__(self) -> None:
        self.sheets: dict[str, SheetScan] = {}
        self.sheet = SheetScan()
        self.row = self.column = self.width = self.height = self.cells = self.characters = 0
        self.row_times = self.cell_times = 1
        self.filled = False  # the row has a filled cell
        self.full = False  # the cell has content
        self.in_cell = 0

    def start(self, tag: str, said: dict[str, str]) -> None:
        name = tag.rpartition(":")[2]
        if tag == "table:table":
            self.sheet = self.sheets.setdefault(said.get("table:name", ""), SheetScan())
            self.row = self.width = self.height = 0
        elif tag == "table:table-row":
            self.column, self.filled = 0, False
            self.row_times = _times(said, "table:number-rows-repeated")
        elif name in _CELLS and tag.startswith("table:"):
            self.in_cell += 1
            self.cell_times = _times(said, "table:number-columns-repeated")
            self.full = "office:value-type" in said
            self._note_formula(said)
            self._note_merged(said)

    def _note_formula(self, said: dict[str, str]) -> None:
        formula = said.get("table:formula")
        if formula is None:
            return
        kind = said.get("office:value-type")
        stored = kind == "string" or any(key.startswith("office:") and key.endswith("value") for key in said)
        if kind is None or not stored or said.get("calcext:value-type") == "error":
            self.full = True
            self.sheet.formulas[self.row, self.column] = "=" + formula.partition("=")[2]

    def _note_merged(self, said: dict[str, str]) -> None:
        across = _times(said, "table:number-columns-spanned")
        down = _times(said, "table:number-rows-spanned")
        if across * down > 1:
            here = (self.row, self.column)
            self.sheet.merged.append((here, (self.row + down - 1, self.column + across - 1)))

    def text(self, text: str) -> None:
        if self.in_cell:
            self.full = True
            self.characters += len(text) * self.row_times * self.cell_times
            if self.characters > MAX_TEXT_IN_CELLS:
                raise too_large("the texts in the workbook's cells are too long to be readings")

    def end(self, tag: str) -> None:
        name = tag.rpartition(":")[2]
        if name in _CELLS and tag.startswith("table:"):
            self.in_cell -= 1
            self.column += self.cell_times
            if self.full:
                self.filled = True
                self.width = max(self.width, self.column)
        elif tag == "table:table-row":
            self.row += self.row_times
            if self.filled:
                self.height = self.row
            if self.height * self.width + self.cells > MAX_CELLS:
                what = f"the workbook has more than {MAX_CELLS:,} cells, blank ones included"
                raise too_large(what)
        elif tag == "table:table":
            self.cells += self.height * self.width
