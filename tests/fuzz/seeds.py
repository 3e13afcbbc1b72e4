"""What the search begins with: our own examples, the demo's files, and the words of each form."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path

from tests.fuzz.archive import SOUND
from tests.fuzz.doors import XLSX_PIECES
from tests.readings.one_lot import long_rows, ods, ods_cell, wide_rows

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "partscreen" / "simulate" / "demo_files"
SHORT = 4000  # bytes of a seed taken from a long file


def seeds(door: str) -> Iterator[bytes]:
    """Seeds of a door."""
    found = {"text": _text, "workbook": _workbook, "json": _json, "toml": _toml, "reading_string": _strings}
    yield from (found | {"archive": _copies})[door]()


def _text() -> Iterator[bytes]:
    for path in sorted([*DEMO.glob("*.csv"), *DEMO.glob("*.txt"), *(ROOT / "docs" / "examples").rglob("*.csv")]):
        yield path.read_bytes()[:SHORT]
    yield b'part;quantity;value;unit;conditions\nT1;C_BE;4,8;nF;"VEB=0 V, f=1 MHz"\n'
    yield "part ic hfe\nT1 1 90\n".encode("utf-16")
    yield b'lot,type,count,known_good,code_on_parts,files\nA1,2SC5200,12,no,"9914=T1-T12",T1-T12.csv\n'


def _json() -> Iterator[bytes]:
    yield json.dumps(long_rows()[:3]).encode()
    yield json.dumps(wide_rows()[:1]).encode()
    yield b'{"columns": ["part", "ic [A]", "hfe"], "units": ["", "A", ""], "rows": [["T1", 0.1, 92]]}'
    yield b'{"schema": "partscreen.screening/1", "version": "0.1.0", "settings": {}, "inputs": [], "lots": []}'
    yield b'{"schema": "partscreen.matching/1", "sets": [], "unmatched": []}'


def _toml() -> Iterator[bytes]:
    demo_kit, stage = DEMO / "kit.toml", ROOT / "docs" / "examples" / "stage.toml"
    yield b'\x00[columns]\npart = "part"\nic = { column = "Ic", unit = "mA", sign = -1 }\n'
    yield b"\x01" + demo_kit.read_bytes()
    yield b"\x02" + stage.read_bytes()
    yield b"\x03" + (ROOT / "docs" / "examples" / "own_type.toml").read_bytes()
    yield b'\x04format = "partscreen.spreads/1"\n[spreads]\nbf = { within = 0.2, between = 0.1 }\n'


def _workbook() -> Iterator[bytes]:
    book = (DEMO / "B1.xlsx").read_bytes()
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        for number, name in enumerate(XLSX_PIECES):
            if name in archive.namelist():
                yield bytes([number]) + archive.read(name)[:SHORT]
    rows = "".join(f"<table:table-row>{ods_cell('T1')}{ods_cell(0.5)}{ods_cell(80)}</table:table-row>" for _ in "ab")
    head = f"<table:table-row>{ods_cell('part')}{ods_cell('ic [A]')}{ods_cell('hfe')}</table:table-row>"
    with zipfile.ZipFile(io.BytesIO(ods([("S", [head, rows])]))) as archive:
        yield bytes([len(XLSX_PIECES)]) + archive.read("content.xml")
    yield b"\xff" + book[:SHORT]


def _strings() -> Iterator[bytes]:
    said = (
        "C_CB=118 pF @ VCB=10 V, f=1 MHz", "VCE=5 V; IC=0,1 A; base=open; heat sink=none", "T7: 92 4,8 - ; VBE=0.61 V",
        "1,234.5 mA", 'A1 type=2SC5200 supplier="Birch Parts" known_good=yes count=12', "9914=T1-T12; 0231=T13, T14",
        "mA", "%", "degC", "46 V", "0.7 degC/W", "45 deg", "T 5 A", "hFE @ IC=1 A, VCE=5 V",
    )  # fmt: skip
    for number, one in enumerate(said):
        yield bytes([number]) + one.encode()


def _copies() -> Iterator[bytes]:
    sound = SOUND.read_bytes()
    yield b"\x00" + sound
    yield b"\x00" + sound[: len(sound) // 2]
    yield b"\x00" + b"no book\n" * 100
    for place, said in ((20, b"\x00\x00"), (0, b"SQLite"), (len(sound) // 2, b"x"), (60, b"PSBB"), (18, b"\x02\x02")):
        yield b"\x01" + place.to_bytes(3, "big") + bytes([len(said)]) + said
    kinds: dict[str, bytes] = {}
    for one in json.loads(SOUND.with_suffix(".json").read_text(encoding="utf-8")):
        line = one["kind"].encode() + b" " + json.dumps(one["body"], ensure_ascii=False).encode()
        kinds.setdefault(one["kind"], line)
    short = [line for line in kinds.values() if len(line) < SHORT]
    yield b"\x02" + b"\n".join(kinds.values())
    yield b"\x02" + b"\n".join(short)
    yield from (b"\x02" + line for line in kinds.values())


WORDS: dict[str, tuple[str, ...]] = {
    "text": ("part", "lot", "ic [A]", "Ic (mA)", "vce", "vbe", "hfe", "quantity", "value", "unit", "conditions",
             "control", "time", "pulse", "case_temp", "C_BE", "nF", "@", "VCE(sat)", '"', ";", "\t", "#",
             "1,234", "nan", "1e999", "OL", "°C", "\x00", "\r\n", "date_code", "lot_size", "found", "type", "count"),
    "json": ('"part"', '"ic [A]"', '"hfe"', '"columns"', '"rows"', '"units"', '"readings"', "\\ud800", "NaN", "1e400",
             '"lots"', '"parts"', '"sets"', '"schema"', "partscreen.screening/1", "partscreen.matching/1", "null"),
    "toml": ("[columns]", "column", "unit", "sign", "constant", "shunt", "[[instruments]]", "reads", "accuracy",
             "[device]", "[[sources]]", "[[ratings]]", "[[characteristics]]", "[[curves]]", "[[soa]]", "[rails]",
             "[load]", "[spreads]", "nan", "inf", '"""', "'''", "1979-05-27", "0x", "true", "= {", "[["),
    "workbook": ("<row r=", "<c r=", 't="s"', 't="inlineStr"', "<v>", "<f>", "<is><t>", "</c>", "<mergeCell ref=",
                 "table:table-row", "table:number-rows-repeated", "office:value-type", "table:formula", "_x0000_",
                 "A1048576", "XFD1", "<!DOCTYPE", "<!ENTITY", "&#0;", "1e999"),
    "reading_string": ("C_BE", "C_CB", "hFE", "VBE", "VCE(sat)", "ICBO", "@", "VCB=", "IC=", "f=", "base=", "pF", "nF",
                       "MHz", "mA", "degC", "-", "1,234", "e400", "**", "^", "/", "count=", "type=", "=T1-T9", "²"),
    "archive": ('"part":"', '"lot":"', '"supplier":', '"job":', '"supersedes":1', '"content_key":', '"blobs":[',
                '"sha256":', '"schema":1', '"corrected":{', '"of_kind":', '"on":"2026-11-20"', "\nfitted {", "\nlot {",
                "\npart {", "\nscreening {", "\ncorrection {", "\nerased {", "NaN", "1e400", "\\ud800", "null", "[[[[",
                "CREATE TABLE", "SQLite format 3", "entry_no_change", "0001", "alembic_version"),
}  # fmt: skip
