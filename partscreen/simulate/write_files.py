"""Readings written out in the shapes people bring them: our own, made after no instrument's or program's file."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.simulate.bench import Readings

LABEL = "Invented data: made by partscreen's simulator for its demo. No real part, supplier or person is described."
WRITTEN_BY = b"<Application>Microsoft Excel Compatible / Openpyxl 3.1.5</Application>"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a reader's sheet; SI units, magnitudes, temperature in degrees Celsius; NaN is left blank."""

    part: str
    sweep: str
    time: float
    ic: float
    ib: float
    vce: float
    vbe: float
    hfe: float
    case: float
    control: bool = False


def rows_of(readings: Readings, control: Sequence[str] = (), *, last_first: bool = False) -> list[Row]:
    """The readings line by line, as read; `last_first` turns every sweep round (from the top down).

    What the bench could not reach was not written down and has no row.
    """
    r = readings
    n, n_gain = r.gain_ic.shape
    case = np.round(r.case_temp - ZERO_CELSIUS, 1)
    unread = np.full(r.sat_ic.shape, np.nan)
    gain = [r.time[:, :n_gain], r.gain_ic, r.gain_ib, r.gain_vce, r.gain_vbe, r.hfe, case[:, :n_gain]]
    sat = [r.time[:, n_gain:], r.sat_ic, r.sat_ib, r.vce_sat, r.sat_vbe, unread, case[:, n_gain:]]
    out: list[Row] = []
    for i in range(n):
        for sweep, columns in (("gain", gain), ("saturation", sat)):
            lines = np.stack([column[i] for column in columns], axis=1)
            lines = lines[np.isfinite(lines[:, 1]) & np.isfinite(lines[:, 3])]
            for line in lines[::-1] if last_first else lines:
                time, ic, ib, vce, vbe, hfe, tc = (float(x) for x in line)
                out.append(Row(r.names[i], sweep, time, ic, ib, vce, vbe, hfe, tc, r.names[i] in control))
    return out


def number(value: float, digits: int | None = None, *, mark: str = ".", sign: int = 1) -> str:
    """A figure as a person would see it: `digits` after the mark, else five significant; blank for NaN."""
    if not np.isfinite(value):
        return ""
    text = (
        f"{sign * value:.{digits}f}"
        if digits is not None
        else f"{float(f'{sign * value:.5g}'):.10f}".rstrip("0").rstrip(".")
    )
    return "0" if text in ("-0", "") else text.replace(".", mark)


def write_plain(
    path: Path, rows: Iterable[Row], *, session: str, pulse: float, delimiter: str = ",", bom: bool = False
) -> None:
    """Delimited text with decimal points, a preamble, units in the headers and a session column; `pulse` in seconds."""
    head = "part,sweep,session,time [s],IC [A],IB [A],VCE [V],VBE [V],case temp [degC],pulse [ms],control"
    lines = [f"# {LABEL}", head.replace(",", delimiter)]
    for r in rows:
        cells = [
            r.part, r.sweep, session, number(r.time, 1), number(r.ic), number(r.ib), number(r.vce, 4), number(r.vbe, 4),
            number(r.case, 1), number(1e3 * pulse), "yes" if r.control else "",
        ]  # fmt: skip
        lines.append(delimiter.join(cells))
    _write_text(path, lines, "utf-8-sig" if bom else "utf-8")


def write_decimal_comma(
    path: Path,
    rows: Iterable[Row],
    *,
    session: str,
    sign: int,
    pulse: float,
    remark: str,
    odd: Callable[[int, str], str] | None = None,
) -> None:
    """Semicolons, decimal commas, Latin-1, a preamble, a row of units below the headers, hFE beside the currents.

    `sign` -1 writes a PNP part's currents and voltages negative. `odd(line, hfe)` may change the hFE text of a line
    (counted from 0).
    """
    lines = [LABEL, remark, ""]
    lines.append(";".join(["Part no.", "Sweep", "Session", "IC", "IB", "VCE", "VBE", "hFE", "TC", "Pulse"]))
    lines.append(";".join(["", "", "", "A", "mA", "V", "V", "", "°C", "ms"]))
    for i, r in enumerate(rows):
        hfe = number(r.hfe, 1, mark=",")
        cells = [
            r.part, r.sweep, session, number(r.ic, mark=",", sign=sign), number(1e3 * r.ib, mark=",", sign=sign),
            number(r.vce, 4, mark=",", sign=sign), number(r.vbe, 4, mark=",", sign=sign),
            odd(i, hfe) if odd else hfe, number(r.case, 1, mark=","), number(1e3 * pulse, mark=","),
        ]  # fmt: skip
        lines.append(";".join(cells))
    _write_text(path, lines, "latin-1")


def write_base_stepped(path: Path, rows: Iterable[Row], *, session: str, sign: int, pulse: float) -> None:
    """Base current stepped, collector current read in milliamperes; no sweep column, no hFE."""
    lines = [f"# {LABEL}", "part,session,IB [mA],IC [mA],VCE [V],VBE [mV],case temp [degC],pulse [us]"]
    for r in rows:
        cells = [
            r.part, session, number(1e3 * r.ib, sign=sign), number(1e3 * r.ic, sign=sign), number(r.vce, 3, sign=sign),
            number(1e3 * r.vbe, 1, sign=sign), number(r.case, 1), number(1e6 * pulse),
        ]  # fmt: skip
        lines.append(",".join(cells))
    _write_text(path, lines, "utf-8")


def write_workbook(path: Path, rows: Iterable[Row], *, session: str, pulse: float) -> None:
    """A workbook with a title, units in the headers and a second sheet of remarks; the same bytes for the same rows.

    Needs openpyxl, which the package itself does not: demo files are made by developers and shipped.
    """
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    sheet.title = "Readings"
    sheet.append([LABEL])
    sheet.append([])
    sheet.append(["Part", "Sweep", "Session", "Ic [A]", "Ib [A]", "Vce [V]", "Vbe [V]", "Tcase [°C]", "Pulse [ms]"])
    for r in rows:
        figures = (float(f"{r.ic:.5g}"), float(f"{r.ib:.5g}"), round(r.vce, 4), round(r.vbe, 4), r.case, 1e3 * pulse)
        sheet.append([r.part, r.sweep, session, *(x if np.isfinite(x) else None for x in figures)])
    book.create_sheet("Remarks").append([LABEL])
    raw = io.BytesIO()
    book.save(raw)
    _write_undated(path, raw.getvalue())


def write_capacitances(path: Path, lots: Iterable[tuple[str, Readings]], control: Sequence[str] = ()) -> None:
    """Spot readings in long form: one line a reading, its conditions as text."""
    lines = [f"# {LABEL}", "lot,part,quantity,value,unit,conditions,control"]
    for lot, readings in lots:
        for i, name in enumerate(readings.names):
            for (junction, bias), value in zip(readings.plan.capacitance, readings.cap[i], strict=True):
                if not np.isfinite(value):
                    continue
                where = (
                    f"VCB={bias:g} V, f=1 MHz, emitter=open" if junction else f"VEB={bias:g} V, f=1 MHz, collector=open"
                )
                figure = number(1e12 * float(value), 0)
                quantity, is_control = "C_CB" if junction else "C_BE", "yes" if name in control else ""
                lines.append(f'{lot},{name},{quantity},{figure},pF,"{where}",{is_control}')
    _write_text(path, lines, "utf-8")


def _write_text(path: Path, lines: Sequence[str], encoding: str) -> None:
    path.write_bytes(("\n".join(lines) + "\n").encode(encoding))


def _write_undated(path: Path, raw: bytes) -> None:
    """Rewrite a workbook with one fixed date inside and out, and the release of the library that the shipped file was
    made with, so that the same content gives the same bytes.
    """
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist()):
            content = old.read(name)
            if name == "docProps/core.xml":
                content = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2026-01-01T00:00:00Z", content)
            if name == "docProps/app.xml":  # older releases of openpyxl name another application and no release
                content = re.sub(rb"<Application>.*?</Application>", WRITTEN_BY, content)
            info = zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, content)
