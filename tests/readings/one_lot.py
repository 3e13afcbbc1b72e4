"""One invented lot in every form that is read. Figures are made by a plain formula; no part was measured."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

CURRENTS = (0.1, 0.5, 1.0, 3.0, 5.0, 7.0)
SATURATED = (1.0, 4.0, 8.0)
COLUMNS = (
    "part", "case temp [degC]", "sweep", "IC [A]", "IB [A]", "VCE [V]", "hFE", "VBE [V]", "VCE(sat) [V]",
    "quantity", "value", "unit", "conditions",
)  # fmt: skip
NAMES = tuple(f"T{number:04d}" for number in range(1, 9))
PARTS = range(len(NAMES))
_SEED = 5


def _figures() -> dict[str, np.ndarray]:
    """Readings of every part, written to the digits an instrument shows."""
    rng = np.random.default_rng(_SEED)
    n, ic, sat = len(NAMES), np.array(CURRENTS), np.array(SATURATED)
    level = 1.0 + 0.05 * rng.standard_normal((n, 1))
    gain = 95.0 * level / (1.0 + ic / 15.0) * (1.0 + 2e-3 * rng.standard_normal((n, len(ic))))
    vbe = 0.625 + 0.0265 * np.log(ic / 0.1) + 0.025 * ic + 2e-3 * rng.standard_normal((n, 1))
    vce_sat = 0.03 + 0.028 * sat * (1.0 + 0.03 * rng.standard_normal((n, 1)))
    return {
        "hfe": np.round(gain, 2),
        "vbe": np.round(vbe, 4),
        "vce_sat": np.round(vce_sat, 4),
        "c_be": np.round(6.8 * (1.0 + 0.01 * rng.standard_normal(n)), 3),
        "c_cb": np.round(200.0 * (1.0 + 0.01 * rng.standard_normal(n)), 1),
    }


FIGURES = _figures()
Row = dict[str, Any]


def rows_of(part: int) -> list[Row]:
    """The rows of one part in long form; figures are numbers."""
    head: Row = {"part": NAMES[part], "case temp [degC]": 23.5}
    out: list[Row] = []
    for k, ic in enumerate(CURRENTS):
        gain, vbe = float(FIGURES["hfe"][part, k]), float(FIGURES["vbe"][part, k])
        out.append({**head, "sweep": "gain", "IC [A]": ic, "VCE [V]": 5.0, "hFE": gain, "VBE [V]": vbe})
    for k, ic in enumerate(SATURATED):
        low = float(FIGURES["vce_sat"][part, k])
        out.append({**head, "sweep": "saturation", "IC [A]": ic, "IB [A]": ic / 10, "VCE(sat) [V]": low})
    for name, key, unit, said in (
        ("C_BE", "c_be", "nF", "VBE=0 V, f=1 MHz"),
        ("C_CB", "c_cb", "pF", "VCB=10 V, f=1 MHz"),
    ):
        value = float(FIGURES[key][part])
        out.append({**head, "quantity": name, "value": value, "unit": unit, "conditions": said})
    return out


def long_rows() -> list[Row]:
    """All rows, part after part."""
    return [row for part in PARTS for row in rows_of(part)]


def text(rows: Sequence[Row], columns: Sequence[str], delimiter: str = ",", decimal: str = ".") -> str:
    """Delimited text."""
    lines = [delimiter.join(_quoted(name, delimiter) for name in columns)]
    for row in rows:
        cells = []
        for name in columns:
            value = row.get(name)
            plain = "" if value is None else value if isinstance(value, str) else repr(value).replace(".", decimal)
            cells.append(_quoted(plain, delimiter))
        lines.append(delimiter.join(cells))
    return "\n".join(lines) + "\n"


def _quoted(cell: str, delimiter: str) -> str:
    return f'"{cell}"' if delimiter in cell else cell


def wide_rows() -> list[Row]:
    """One row a part, headers with conditions."""
    out = []
    for part in PARTS:
        row: Row = {"part": NAMES[part], "case temp [degC]": 23.5}
        for k, ic in enumerate(CURRENTS):
            row[f"hFE @ IC={ic:g} A, VCE=5 V"] = float(FIGURES["hfe"][part, k])
            row[f"VBE [V] @ IC={ic:g} A, VCE=5 V"] = float(FIGURES["vbe"][part, k])
        for k, ic in enumerate(SATURATED):
            row[f"VCE(sat) [V] @ IC={ic:g} A, IB={ic / 10:g} A"] = float(FIGURES["vce_sat"][part, k])
        row["C_BE [nF] @ VBE=0 V, f=1 MHz"] = float(FIGURES["c_be"][part])
        row["C_CB [pF] @ VCB=10 V, f=1 MHz"] = float(FIGURES["c_cb"][part])
        out.append(row)
    return out


def write_csv(folder: Path) -> list[Path]:
    return _written(folder / "bag.csv", text(long_rows(), COLUMNS))


def write_decimal_comma(folder: Path) -> list[Path]:
    return _written(folder / "bag.csv", text(long_rows(), COLUMNS, ";", ","))


def write_wide(folder: Path) -> list[Path]:
    rows = wide_rows()
    return _written(folder / "bag.csv", text(rows, list(rows[0])))


def write_wide_decimal_comma(folder: Path) -> list[Path]:
    rows = wide_rows()
    return _written(folder / "bag.csv", text(rows, list(rows[0]), ";", ","))


def write_records(folder: Path) -> list[Path]:
    return _written(folder / "bag.json", json.dumps(long_rows()))


def write_json_table(folder: Path) -> list[Path]:
    rows = [[row.get(name) for name in COLUMNS] for row in long_rows()]
    return _written(folder / "bag.json", json.dumps({"columns": list(COLUMNS), "rows": rows}))


def write_xlsx(folder: Path) -> list[Path]:
    return _workbook(folder / "bag.xlsx", long_rows(), COLUMNS)


def write_wide_xlsx(folder: Path) -> list[Path]:
    rows = wide_rows()
    return _workbook(folder / "bag.xlsx", rows, list(rows[0]))


def write_ods(folder: Path) -> list[Path]:
    """The sheet as an open-document file, written as the standard says (OpenDocument 1.3, part 3)."""
    lines = ["".join(ods_cell(name) for name in COLUMNS)]
    lines += ["".join(ods_cell(row.get(name)) for name in COLUMNS) for row in long_rows()]
    path = folder / "bag.ods"
    path.write_bytes(ods([("Bag", [f"<table:table-row>{line}</table:table-row>" for line in lines])]))
    return [path]


def write_parquet(folder: Path) -> list[Path]:
    import pyarrow
    from pyarrow import parquet

    path = folder / "bag.parquet"
    rows = [{name: row.get(name) for name in COLUMNS} for row in long_rows()]
    parquet.write_table(pyarrow.Table.from_pylist(rows), path)
    return [path]


def write_part_files(folder: Path) -> list[Path]:
    """One file a part, without a part column; the lot is told by a range of names."""
    columns = [name for name in COLUMNS if name != "part"]
    return [path for part in PARTS for path in _written(folder / f"{NAMES[part]}.csv", text(rows_of(part), columns))]


FORMS: dict[str, Callable[[Path], list[Path]]] = {
    "decimal comma": write_decimal_comma,
    "xlsx": write_xlsx,
    "ods": write_ods,
    "JSON records": write_records,
    "JSON columns and rows": write_json_table,
    "Parquet": write_parquet,
    "wide": write_wide,
    "wide with decimal commas": write_wide_decimal_comma,
    "wide xlsx": write_wide_xlsx,
    "one file a part": write_part_files,
}


def _written(path: Path, content: str) -> list[Path]:
    path.write_text(content, encoding="utf-8")
    return [path]


def _workbook(path: Path, rows: Sequence[Row], columns: Sequence[str]) -> list[Path]:
    from openpyxl import Workbook

    book = Workbook()
    book.active.append(list(columns))
    for row in rows:
        book.active.append([row.get(name) for name in columns])
    book.save(path)
    return [path]


def ods_cell(value: object, more: str = "") -> str:
    """One cell as XML."""
    from xml.sax.saxutils import escape

    if value is None:
        return f"<table:table-cell{more}/>"
    if isinstance(value, str):
        return f'<table:table-cell office:value-type="string"{more}><text:p>{escape(value)}</text:p></table:table-cell>'
    return f'<table:table-cell office:value-type="float" office:value="{value!r}"{more}><text:p>{value}</text:p></table:table-cell>'  # noqa: E501


def ods(sheets: Sequence[tuple[str, Sequence[str]]], declared: str = "") -> bytes:
    """An open-document workbook of sheets of XML rows."""
    import io
    import zipfile

    spaces = " ".join(
        f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for name in ("office", "table", "text")
    )
    tables = "".join(f'<table:table table:name="{name}">{"".join(rows)}</table:table>' for name, rows in sheets)
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?>{declared}<office:document-content {spaces} '
        'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0" office:version="1.3">'
        f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        archive.writestr("content.xml", content)
        archive.writestr(
            "META-INF/manifest.xml",
            '<?xml version="1.0"?>'
            '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
            '<manifest:file-entry manifest:full-path="/" '
            'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>',
        )
    return out.getvalue()
