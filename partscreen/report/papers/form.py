"""The sheet to fill in: on paper, as a workbook, as delimited text. The three have the same rows and columns."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from partscreen.report.papers.form_columns import Form
from partscreen.report.papers.press import press

EVERY = 10  # parts between two readings of the control piece
AMBIENT = "ambient [degC]"
CAUTIONS = (
    "Mains and charged capacitors kill: the part is out of any circuit, capacitors are discharged and measured empty.",
    "Static heating: a steady current warms the junction within seconds and VBE falls about 2 mV per kelvin. Keep "
    "every reading to the same short time, let the part rest, hold it with tweezers.",
    "Never drive the base-emitter junction backwards into avalanche (from about 5 V): its gain falls for good, first "
    "at low currents. Capacitance of base and emitter is read without bias or well below.",
    "Breakdown and leakage readings use voltages that kill, and can destroy the part. They come last, with a current "
    "limit, covered, never alone. Write to the seller before any test that can destroy a part.",
    "Hot parts burn. Do not open, grind or break packages that may hold beryllia.",
    "Local electrical codes and licensed practice come first.",
)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A lot to be read: names of its parts in the order of reading, and the control piece."""

    lot: str
    type_name: str
    parts: tuple[str, ...]
    form: Form
    control: str = "REF"
    supplier: str | None = None
    polarity: str | None = None
    kit: str | None = None
    drawn: str = ""
    facts: tuple[tuple[str, str], ...] = field(default=())


def reading_order(sheet: Sheet) -> list[tuple[str, bool]]:
    """Name and whether it is the control piece: that one first, after every tenth part, and last."""
    rows: list[tuple[str, bool]] = [(sheet.control, True)]
    for i in range(0, len(sheet.parts), EVERY):
        rows += [(part, False) for part in sheet.parts[i : i + EVERY]]
        rows.append((sheet.control, True))
    return rows


def headers(sheet: Sheet) -> list[str]:
    """The header line of the wide table."""
    return ["lot", "part", "control", *(column.header for column in sheet.form.columns), AMBIENT]


def table(sheet: Sheet) -> list[list[str]]:
    """The rows below it, readings empty."""
    empty = [""] * (len(sheet.form.columns) + 1)
    return [[sheet.lot, part, "yes" if control else "no", *empty] for part, control in reading_order(sheet)]


def csv_text(sheet: Sheet) -> str:
    """The table as comma separated text."""
    sink = io.StringIO()
    csv.writer(sink, lineterminator="\n").writerows([headers(sheet), *table(sheet)])
    return sink.getvalue()


def workbook(sheet: Sheet) -> bytes:
    """The table as a workbook. Every text is stored as text: none becomes a formula."""
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
    from openpyxl.utils import get_column_letter

    book = Workbook()
    page = book.active
    page.title = "readings"
    thin = Side(style="thin", color="808080")
    names = headers(sheet)
    for j, name in enumerate(names, 1):
        cell = page.cell(1, j)
        cell.value, cell.data_type = name, "s"
        cell.font, cell.border = Font(bold=True), Border(bottom=Side(style="medium"))
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        page.column_dimensions[get_column_letter(j)].width = 14 if j <= 2 else 9 if j == 3 else 13
    shade = PatternFill("solid", fgColor="E8E8E8")
    for i, row in enumerate(table(sheet), 2):
        for j, value in enumerate(row, 1):
            cell = page.cell(i, j)
            if value:
                cell.value, cell.data_type = value, "s"
            cell.border = Border(bottom=thin, right=thin)
            if row[2] == "yes":
                cell.fill = shade
    page.row_dimensions[1].height = 62
    page.freeze_panes = "D2"
    page.page_setup.orientation, page.page_setup.paperSize = "landscape", page.PAPERSIZE_A4
    page.page_setup.fitToWidth, page.page_setup.fitToHeight = 1, 0
    page.sheet_properties.pageSetUpPr.fitToPage = True
    page.print_title_rows = "1:1"
    sink = io.BytesIO()
    book.save(sink)
    return sink.getvalue()


def lot_row(sheet: Sheet, fields: Sequence[tuple[str, str]]) -> str:
    """A lot sheet of this one lot, with the columns a later refund needs, to be filled in."""
    names = ("type", "supplier", "maker", "count", "code_on_parts", "bought_on", "order", "return_by", "source_kind",
             "price", "currency", "notes")  # fmt: skip
    told = {"type": sheet.type_name, "supplier": sheet.supplier or "", **dict(fields)}
    sink = io.StringIO()
    lines = [["lot", *names], [sheet.lot, *(told.get(name, "") for name in names)]]
    csv.writer(sink, lineterminator="\n").writerows(lines)
    return sink.getvalue()


def sheet_pdf(sheet: Sheet) -> bytes:
    """The paper to fill in with a pen: cautions, table, and how to take each reading."""
    form = sheet.form
    rows = [{"part": part, "control": control} for part, control in reading_order(sheet)]
    columns = [
        {"symbol": c.symbol, "unit": c.unit, "conditions": c.conditions.split(", ") if c.conditions else [],
         "stressing": c.stressing}
        for c in form.columns
    ]  # fmt: skip
    n_control = sum(control for _, control in reading_order(sheet))
    total = form.minutes * len(rows)
    facts = [
        ("lot", sheet.lot), ("marked type", sheet.type_name), ("polarity", sheet.polarity or "find it first"),
        ("supplier", sheet.supplier or ""), ("kit", sheet.kit or "no kit file"), ("read by", ""), ("date", ""),
        ("room temperature", ""),
    ]  # fmt: skip
    minutes = (
        f"About {form.minutes:.2g} minutes a part, {total:.0f} for {len(sheet.parts)} parts and {n_control} readings "
        f"of the control piece{' (some of these minutes are assumed)' if form.minutes_assumed else ''}."
    )
    data = {
        "title": f"Lot {sheet.lot}, marked {sheet.type_name}: readings",
        "facts": facts,
        "columns": columns,
        "rows": rows,
        "cautions": list(CAUTIONS),
        "recipes": [{"title": title, "steps": list(steps)} for title, steps in form.recipes],
        "notes": [*form.notes, *([sheet.drawn] if sheet.drawn else []), minutes],
        "control": sheet.control,
    }
    return press("sheet", data)
