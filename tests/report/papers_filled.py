"""Sheets filled in by a script: a simulated lot is read at what the headings ask for, and written as a person would.

Invented parts: 2SC5200 dies of the simulator, some of 0.45 of the type's area. No figure of a type stands here.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np

from partscreen.readings.columns.wide_header import wide_column
from partscreen.simulate.bench import read_lot
from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import BenchKit, Plan
from partscreen.simulate.parts import Alternatives, Kind, draw_lot
from tests.readings.one_lot import ods, ods_cell

SMALL = (3, 8, 12)  # places of parts with a smaller die, counted from 0
_KIT = BenchKit("bench supply", 12.0, gain_noise=0.003, sat_noise_relative=0.003)


def _kinds(n: int) -> tuple[Kind, ...]:
    return (Kind.SOUND, *(Kind.SMALLER_DIE if i in SMALL else Kind.SOUND for i in range(n)))


def fill(headers: list[str], rows: list[list[str]], *, seed: int = 11) -> list[list[str]]:
    """The rows with a figure in every column: the control piece is one part throughout, the others are drawn."""
    names = list(dict.fromkeys(row[1] for row in rows if row[2] == "no"))
    drawn = draw_lot(
        type_card("2SC5200"), _kinds(len(names)), seed, lot="A1", alternatives=Alternatives(area=(0.44, 0.46))
    )
    columns = [wide_column(i, header)[0] if "@" in header else None for i, header in enumerate(headers)]
    asked = [c for c in columns if c is not None]
    currents = sorted({float(c.conditions["IC"]) for c in asked if c.quantity in ("hfe", "vbe")})
    vce = next(float(c.conditions["VCE"]) for c in asked if c.quantity == "hfe")
    sat = next(c.conditions for c in asked if c.quantity == "vce_sat")
    plan = Plan(
        gain_ic=np.array(currents), gain_vce=vce, sat_ic=np.array([float(sat["IC"])]),
        forced_gain=float(sat["IC"]) / float(sat["IB"]), capacitance=((0, 0.0), (1, 0.0)),
    )  # fmt: skip
    read = read_lot(drawn, _KIT, plan, seed)
    noise = np.random.default_rng(seed)
    out = []
    for row in rows:
        part = 0 if row[2] == "yes" else 1 + names.index(row[1])
        filled = list(row[:3])
        for header, column in zip(headers[3:], columns[3:], strict=True):
            if column is None:
                filled.append("23.5" if header.startswith("ambient") else "")
                continue
            value = _value(column.quantity, column.conditions, read, part, currents)
            wobble = 1.0 + (2e-4 * noise.standard_normal() if row[2] == "yes" else 0.0)
            factor = column.unit.factor if column.unit is not None else 1.0
            filled.append(f"{value * wobble / factor:.5g}")
        out.append(filled)
    return out


def _value(quantity, conditions, read, part, currents):
    if quantity == "c_be":
        return read.cap[part, 0]
    if quantity == "c_cb":
        return read.cap[part, 1]
    if quantity == "vce_sat":
        return read.vce_sat[part, 0]
    at = currents.index(float(conditions["IC"]))
    return read.hfe[part, at] if quantity == "hfe" else read.gain_vbe[part, at]


def table_of(path: Path) -> tuple[list[str], list[list[str]]]:
    """Header and rows of the CSV that `sheet` wrote."""
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    return rows[0], rows[1:]


def write_csv(path: Path, header: list[str], rows: list[list[str]], *, comma: bool = False) -> None:
    """As delimited text; `comma`: decimal comma and semicolons."""
    with path.open("w", newline="", encoding="utf-8") as sink:
        writer = csv.writer(sink, delimiter=";" if comma else ",")
        writer.writerow(header)
        writer.writerows([[_comma(c) if i >= 3 and comma else c for i, c in enumerate(row)] for row in rows])


def _comma(cell: str) -> str:
    return cell.replace(".", ",")


def fill_workbook(path: Path, out: Path, rows: list[list[str]]) -> None:
    """Figures typed into the workbook that `sheet` wrote, as numbers."""
    from openpyxl import load_workbook

    book = load_workbook(path)
    page = book.active
    for i, row in enumerate(rows, 2):
        for j, cell in enumerate(row, 1):
            if j > 3 and cell:
                page.cell(i, j).value = float(cell)
    book.save(out)


def write_ods(path: Path, header: list[str], rows: list[list[str]]) -> None:
    """As an OpenDocument spreadsheet."""
    lines = []
    for number, row in enumerate([header, *rows]):
        typed = [float(cell) if number and j >= 3 and cell else cell for j, cell in enumerate(row)]
        lines.append(f"<table:table-row>{''.join(ods_cell(cell) for cell in typed)}</table:table-row>")
    path.write_bytes(ods([("readings", lines)]))
