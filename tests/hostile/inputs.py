"""Files meant to do harm, or broken so badly that they might: what must be told of each, and what it may take.

Bounds are measured on one core of the machine this was written on and doubled at least; memory counts beyond that of
the loaded program. The limits of the readers are in `readings/sizes.py`.
"""

from __future__ import annotations

import gzip
import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass

from partscreen.readings import sizes
from tests.readings.one_lot import ods, ods_cell

HEAD = "part,ic [A],hfe\n"
GOOD = HEAD + "".join(f"T{p},{i},{90 + p}\n" for p in range(3) for i in (0.1, 0.5, 1))


@dataclass(frozen=True, slots=True)
class Hostile:
    """A file: its name, its content, the code that must be told of it (None: it is read), CPU seconds, megabytes."""

    name: str
    make: Callable[[], bytes]
    code: str | None
    seconds: float = 5.0
    megabytes: float = 300.0
    door: str = "readings"
    long: bool = False


def _zip(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as new:
        for name, content in members.items():
            new.writestr(name, content)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
WORKBOOK = (
    b'<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
    b'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
    b'<sheets><sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>'
)
RELATIONS = (
    b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" '
    b'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" '
    b'Target="worksheets/sheet1.xml"/></Relationships>'
)


def xlsx(sheet: bytes, more: dict[str, bytes] | None = None) -> bytes:
    """A workbook of one sheet of this XML."""
    members = {"xl/workbook.xml": WORKBOOK, "xl/_rels/workbook.xml.rels": RELATIONS, SHEET: sheet}
    return _zip({**members, **(more or {})})


def _cells(body: bytes, head: bytes = b"") -> bytes:
    space = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    return b"<?xml version='1.0'?>%b<worksheet %b><sheetData>%b</sheetData></worksheet>" % (head, space, body)


def _inline(place: str, text: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


HEADER_ROW = f'<row r="1">{_inline("A1", "part")}{_inline("B1", "ic [A]")}{_inline("C1", "hfe")}</row>'.encode()
LAUGHS = b"<!DOCTYPE x [<!ENTITY a 'ha'>" + b"".join(
    b"<!ENTITY %c '%s'>" % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(12)
)


def _far_corners() -> bytes:
    far = f'<row r="1048576">{_inline("XFD1048576", "1")}</row>'.encode()
    return xlsx(_cells(HEADER_ROW + far))


def _shared_flood() -> bytes:
    text = b"<sst><si><t>" + b"x" * 1_000_000 + b"</t></si></sst>"
    rows = b"".join(b'<row r="%d"><c r="A%d" t="s"><v>0</v></c></row>' % (i, i) for i in range(2, 3000))
    return xlsx(_cells(HEADER_ROW + rows), {"xl/sharedStrings.xml": text})


def _ods_repeats() -> bytes:
    head = "".join(map(ods_cell, ("part", "ic [A]", "hfe")))
    row = '<table:table-cell table:number-columns-repeated="999999999" office:value-type="float" office:value="1"/>'
    return ods([("S", [f"<table:table-row>{head}</table:table-row>", f"<table:table-row>{row}</table:table-row>"])])


def _parquet_wide() -> bytes:
    import pyarrow
    from pyarrow import parquet

    out = io.BytesIO()
    names = ["part", "hfe", "ic [A]", *(f"x{i}" for i in range(sizes.MAX_COLUMNS))]
    parquet.write_table(pyarrow.table({name: [1.0] for name in names}), out)
    return out.getvalue()


def _parquet_flood() -> bytes:
    import pyarrow
    from pyarrow import parquet

    out = io.BytesIO()
    texts = pyarrow.array(["x" * 1_000_000]).dictionary_encode()
    many = pyarrow.DictionaryArray.from_arrays(pyarrow.array([0] * 1_000_000, pyarrow.int32()), texts.dictionary)
    parquet.write_table(pyarrow.table({"part": many, "hfe": [1.0] * 1_000_000, "ic [A]": [1.0] * 1_000_000}), out)
    return out.getvalue()


def _rows(line: Callable[[int], str], count: int, head: str = "part;ic [A];hfe\n") -> bytes:
    return (head + "".join(map(line, range(count)))).encode()


SPOTS = "part;quantity;value;unit;conditions\n"

TEXTS = (
    Hostile("empty.csv", lambda: b"", "EMPTY_FILE"),
    Hostile("nul.csv", lambda: GOOD.replace("91", "9\0").encode(), "BINARY_FILE"),
    Hostile("late_nul.csv", lambda: (HEAD + "T1,1,90\n" * 9000 + "T7,1,\0090\n").encode(), "NOT_A_NUMBER"),
    Hostile("two_encodings.csv", lambda: GOOD.encode() + "T9,1,9\n".encode("utf-16"), "BINARY_FILE"),
    Hostile("gzip.csv", lambda: gzip.compress(GOOD.encode()), "BINARY_FILE"),
    Hostile("gzip.xlsx", lambda: gzip.compress(GOOD.encode()), "BINARY_FILE"),
    Hostile("utf32.csv", lambda: GOOD.encode("utf-32"), None),
    Hostile("one_line.csv", lambda: GOOD.encode() + b"T5," + b"9" * 80_000_000, "LINE_TOO_LONG", 5, 500),
    Hostile("blank_lines.csv", lambda: HEAD.encode() + b"\n" * 90_000_000, "TOO_LARGE", 5, 350),
    Hostile("blank_lines_cr.csv", lambda: HEAD.encode() + b"\r" * 90_000_000, "TOO_LARGE", 5, 350),
    Hostile("huge.csv", lambda: HEAD.encode() + b"T1,1,9\n" * 15_000_000, "TOO_LARGE", 5, 350),
    Hostile("broken_utf8.csv", lambda: HEAD.encode() + b"\xff\xfe\xfd\x80" * 1_000_000, "LINE_TOO_LONG", 10),
    Hostile("quote.csv", lambda: GOOD.encode() + b'"' + b"a\n" * 300_000, "WRONG_DELIMITER", 20, 400),
    Hostile("spaces.csv", lambda: ("part  ic [A]  hfe\n" + (" " * 99_000 + "x\n") * 99).encode(), "WRONG_DELIMITER"),
    Hostile("separators.csv", lambda: (GOOD + ("," * 99_000 + "\n") * 20).encode(), None, 20, 400),
    Hostile("columns.csv", lambda: (HEAD.strip() + ",x" * 49_000 + "\n1,1,9\n").encode(), "TOO_MANY_COLUMNS", 5),
    Hostile(
        "headers.csv",
        lambda: "\n".join(",".join(f"ic[{i}q{j}z]" for j in range(7000)) for i in range(60)).encode(),
        "TOO_MANY_COLUMNS",
        20,
    ),
    Hostile("long_figures.csv", lambda: (HEAD + f"T1,1e{'9' * 90_000},9\nT2,{'9' * 90_000},9\n").encode(), "INFINITE"),
    Hostile("odd_figures.csv", lambda: (HEAD + "T1,nan,9\nT2,-inf,9\nT3,1e400,9\n").encode(), "NOT_A_NUMBER"),
    Hostile("many_units.csv", lambda: _rows(lambda i: f"T{i};1 q{i:x}z;9\n", 50_000), "UNKNOWN_UNIT", 20),
    Hostile("bad_cells.csv", lambda: _rows(lambda i: f"T{i};bad{i};9\n", 50_000), "NOT_A_NUMBER", 20, 400),
    Hostile("lots.csv", lambda: _rows(lambda i: f"L{i};T{i};1;9\n", 50_000, "lot;part;ic [A];hfe\n"), None, 20, 400),
    Hostile("spots.csv", lambda: _rows(lambda i: f"T{i};q{i};4.8;nF;z=1\n", 20_000, SPOTS), "UNKNOWN_QUANTITY", 30),
    Hostile("conditions.csv", lambda: (SPOTS + f"T1;C_BE;4.8;nF;{'VEB=1 V,' * 9000}\n").encode(), "TEXT_TOO_LONG"),
    Hostile("formula_unit.csv", lambda: b"part;ic [A];hfe [9**9**9**9]\nT1;1 A**9**9**9**9;9\n", "UNKNOWN_UNIT"),
)
JSONS = (
    Hostile("deep.json", lambda: b"[" * 10_000_000, "JSON_UNREADABLE"),
    Hostile("deep_records.json", lambda: b'{"a":' * 1_000_000, "JSON_UNREADABLE"),
    Hostile("digits.json", lambda: b'[{"part":"T1","ic [A]":1' + b"0" * 9_000_000 + b',"hfe":9}]', "INFINITE", 10),
    Hostile("keys.json", lambda: json.dumps([{"part": 1, "hfe": 9} | {f"k{i}": 1 for i in range(400_000)}]).encode(),
            "TOO_MANY_COLUMNS", 10, 400),
    Hostile("other_keys.json", lambda: json.dumps([{f"k{i}": 1, "part": 1} for i in range(20_000)]).encode(),
            "TOO_LARGE", 5),
    Hostile("key_twice.json", lambda: b"[{" + b",".join(b'"a%d":1' % (i // 2) for i in range(200_000)) + b"}]",
            "JSON_KEY_TWICE", 5),
    Hostile("half.json", lambda: b'[{"part":"\\ud800","ic [A]":1,"hfe":90,"\\udfff":3}]', "BROKEN_CHARACTER"),
    Hostile("not_finite.json", lambda: b'[{"part":"T1","ic [A]":NaN,"hfe":-1e400}]', "NOT_A_NUMBER"),
    Hostile("gzip.json", lambda: gzip.compress(b"[]"), "JSON_UNREADABLE"),
)  # fmt: skip
BINARIES = (
    Hostile("zip_bomb.xlsx", lambda: xlsx(_cells(HEADER_ROW + b" " * (sizes.MAX_UNPACKED + 9))), "TOO_LARGE", 10, 700),
    Hostile("entities.xlsx", lambda: xlsx(_cells(HEADER_ROW, LAUGHS + b"]>")), "WORKBOOK_ENTITIES"),
    Hostile("far_corners.xlsx", _far_corners, "TOO_LARGE"),
    Hostile("shared_text.xlsx", _shared_flood, "TOO_LARGE"),
    Hostile("deep.xlsx", lambda: xlsx(_cells(b"<row>" * 500_000)), "WORKBOOK_UNREADABLE", 10, 700),
    Hostile("entities.ods", lambda: _zip({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet",
                                          "content.xml": LAUGHS + b"]><x>&m;</x>"}, zipfile.ZIP_STORED),
            "WORKBOOK_ENTITIES"),
    Hostile("repeats.ods", _ods_repeats, "TOO_LARGE"),
    Hostile("wide.parquet", _parquet_wide, "TOO_MANY_COLUMNS", 5, 400),
    Hostile("flood.parquet", _parquet_flood, "TOO_LARGE", 20, 900),
)  # fmt: skip
_TOML_BAD = {
    "digits": b"a = " + b"9" * 5000,
    "deep": b"a = " + b"[" * 5000 + b"]" * 5000,
    "inline": b"a = " + b"{a=" * 3000 + b"1" + b"}" * 3000,
    "keys": b".".join([b"a"] * 3000) + b" = 1",
    "latin": b'a = "\xb5"',
    "nul": b'a = "\0"',
    "large": b"#" * (5 << 20),
    "binary": gzip.compress(b"a = 1"),
    "hex": b"a = 0x" + b"f" * 100_000,
}
SETTINGS = tuple(
    Hostile(f"{name}.toml", lambda content=content: content, "", 5, 200, f"toml{number}")
    for number in range(5)
    for name, content in _TOML_BAD.items()
)
SAVED = (
    Hostile("deep.json", lambda: b"[" * 10_000_000, "NO_RESULT", 5, 300, "screening"),
    Hostile("digits.json", lambda: b'{"schema":' + b"9" * 5000 + b"}", "NO_RESULT", 5, 300, "screening"),
    Hostile("utf16.json", lambda: "{}".encode("utf-16"), "NO_RESULT", 5, 300, "screening"),
    Hostile("latin.json", lambda: b'{"schema": "\xb5"}', "NO_RESULT", 5, 300, "screening"),
    Hostile("deep2.json", lambda: b"[" * 10_000_000, "MATCHING", 5, 300, "matching"),
    Hostile("count.csv", lambda: b"lot_size,found\n" + b"9" * 5000 + b",0\n", "NOT_A_COUNT", 5, 300, "history"),
    Hostile("count2.csv", lambda: "lot_size,found\n²,0\n".encode(), "NOT_A_COUNT", 5, 300, "history"),
    Hostile("lots.csv", lambda: ("lot,type,count\nA,2SC5200," + "9" * 5000 + "\nB,2SC5200,²\n").encode(), "LOT_COUNT",
            5, 300, "lots"),
    Hostile("journal", lambda: b"not one of ours", "JOURNAL", 5, 300, "journal"),
    Hostile("journal2", lambda: b'{"form": "partscreen.typed/1", "event": "begin"}\n', "JOURNAL", 5, 300, "journal"),
    Hostile("journal3", lambda: b"[" * 100_000 + b"\n", "JOURNAL", 5, 300, "journal"),
    Hostile("answers", lambda: b"[" * 100_000 + b"\n", "ANSWERS", 5, 300, "answers"),
    Hostile("answers2", lambda: b"[1, 2]\n", "ANSWERS", 5, 300, "answers"),
)  # fmt: skip
WHOLE = (  # files as large as a reader takes; rows of one part alone are a recording, and no mistake
    Hostile(
        "rows.csv", lambda: HEAD.encode() + b"T1,1,9\nT2,1,9\n" * 1_995_000, "DUPLICATE_PART", 100, 2500, long=True
    ),
    Hostile("parts.csv", lambda: _rows(lambda i: f"T{i};1;9\n", 3_990_000), None, 110, 3000, long=True),
    Hostile(
        "quoted.csv",
        lambda: HEAD.encode() + b'"T""1",1,9\nT2,1,9\n' * 1_995_000,
        "DUPLICATE_PART",
        110,
        3000,
        long=True,
    ),
)
EVERY = (*TEXTS, *JSONS, *BINARIES, *SETTINGS, *SAVED, *WHOLE)
