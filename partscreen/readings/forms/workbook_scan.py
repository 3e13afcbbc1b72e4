"""What a workbook holds before it is read: size once unpacked, extent of its sheets, formulas without a stored value.

A workbook is a zip archive of XML. A small one can unpack to more than any memory holds, and two cells at the far
corners of a sheet ask for all cells between them. So it is unpacked here first, within limits, and its cells counted.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator

from partscreen.readings.forms.ods_scan import scan_content
from partscreen.readings.forms.scanned import Refused, SheetScan, too_large
from partscreen.readings.sizes import MAX_CELLS, MAX_TEXT_IN_CELLS, MAX_UNPACKED, MIB

_MOST_MEMBERS = 10_000
_LOCAL_HEADER = 30  # bytes before name and extra field of a member (APPNOTE.TXT of the zip format, 4.3.7)
_CHUNK = 1 << 20
_LONG_TEXT = 2000  # characters; shorter texts in every cell stay far below the limit


def scan_workbook(data: bytes) -> dict[str, SheetScan]:
    """What is to be known of each sheet, by its name.

    Raises
    ------
    Refused
        No zip archive, a password, too large once unpacked, or XML that declares entities.
    """
    members = _unpack(data)
    if "content.xml" in members:
        return scan_content(members["content.xml"])
    return _scan_sheets(members)


def _unpack(data: bytes) -> dict[str, bytes]:
    """The XML members; the others are only counted."""
    members: dict[str, bytes] = {}
    left = MAX_UNPACKED
    for info in _members(data):
        pieces: list[bytes] = []
        is_xml = info.filename.lower().endswith((".xml", ".rels"))
        for piece in _pieces(data, info):
            left -= len(piece)
            if left < 0:
                raise too_large(f"the workbook unpacks to more than {MAX_UNPACKED // MIB} MiB")
            if is_xml:
                pieces.append(piece)
        if is_xml:
            content = b"".join(pieces)
            _refuse_entities(info.filename, content)
            members[info.filename.lstrip("/")] = content
    return members


def _members(data: bytes) -> list[zipfile.ZipInfo]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, UnicodeDecodeError, OSError) as error:
        raise _unreadable(f"{error}") from error
    if len(infos) > _MOST_MEMBERS:
        raise too_large(f"the workbook holds {len(infos):,} pieces")
    if any(info.flag_bits & 0x1 for info in infos):
        raise _unreadable("it has a password")
    return infos


def _pieces(data: bytes, info: zipfile.ZipInfo) -> Iterator[bytes]:
    """The content of a member piece by piece, from the packed bytes themselves: sizes in the archive may be untrue."""
    at = info.header_offset
    start = at + _LOCAL_HEADER + int.from_bytes(data[at + 26 : at + 28], "little")
    start += int.from_bytes(data[at + 28 : at + 30], "little")
    packed = memoryview(data)[start : start + info.compress_size]
    if info.compress_type == zipfile.ZIP_STORED:
        yield bytes(packed)
        return
    if info.compress_type != zipfile.ZIP_DEFLATED:
        raise _unreadable("it is packed in an unusual way")
    unpacker = zlib.decompressobj(-zlib.MAX_WBITS)
    rest = bytes(packed)
    try:
        while not unpacker.eof:
            piece = unpacker.decompress(rest, _CHUNK)
            rest = unpacker.unconsumed_tail
            if not piece and not rest:
                break
            yield piece
    except zlib.error as error:
        raise _unreadable("it is damaged") from error


def _unreadable(why: str) -> Refused:
    fix = "open it in a spreadsheet program and save it again as .xlsx or .ods (without a password), or export CSV"
    return Refused("WORKBOOK_UNREADABLE", f"the workbook cannot be opened ({why})", fix)


def _refuse_entities(name: str, content: bytes) -> None:
    """Declared entities are never expanded: no spreadsheet program writes them."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in content[:100]:
        raise _unreadable(f"{name} is not UTF-8")
    if b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        what = f"{name} in the workbook declares entities of its own, which are not expanded"
        raise Refused("WORKBOOK_ENTITIES", what, "open it in a spreadsheet program and save it again, or export CSV")


_SHEET = re.compile(rb"<(?:\w+:)?sheet\b([^>]*)>")
_RELATION = re.compile(rb"<(?:\w+:)?Relationship\b([^>]*)>")
_ATTRIBUTE = re.compile(rb"""([\w:]+)\s*=\s*(?:"([^"]*)"|'([^']*)')""")
_FILLED = re.compile(rb"""<(?:\w+:)?c\b[^>]*?\br=["']([A-Z]{1,3})([0-9]{1,7})["'][^>]*(?<!/)>""")
_FORMULA = re.compile(
    rb"<(?:\w+:)?c\b([^>]*)>\s*<(?:\w+:)?f\b[^>]*?(?:/>|>([^<]*)</(?:\w+:)?f>)(.*?)</(?:\w+:)?c>", re.DOTALL
)
_STORED = re.compile(rb"<(?:\w+:)?v\b[^>/]*>[^<]")
_TEXTS = re.compile(rb"<(?:\w+:)?si\b.*?</(?:\w+:)?si>", re.DOTALL)


def _attributes(text: bytes) -> dict[str, str]:
    from html import unescape

    return {
        name.decode(): unescape((one or two).decode("utf-8", "replace")) for name, one, two in _ATTRIBUTE.findall(text)
    }


def _scan_sheets(members: dict[str, bytes]) -> dict[str, SheetScan]:
    relations = {}
    for text in _RELATION.findall(members.get("xl/_rels/workbook.xml.rels", b"")):
        one = _attributes(text)
        target = one.get("Target", "")
        relations[one.get("Id", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    longest = max(map(len, _TEXTS.findall(members.get("xl/sharedStrings.xml", b""))), default=0)
    found: dict[str, SheetScan] = {}
    cells = shared = 0
    for text in _SHEET.findall(members.get("xl/workbook.xml", b"")):
        one = _attributes(text)
        relation = next((value for name, value in one.items() if name.split(":")[-1] == "id" and ":" in name), "")
        content = members.get(relations.get(relation, ""), b"")
        name = one.get("name", "")
        cells += _extent(content)
        if cells > MAX_CELLS:
            raise too_large(f"with sheet {name!r} the workbook has more than {MAX_CELLS:,} cells, blank ones included")
        if longest > _LONG_TEXT:
            shared += content.count(b't="s"') * longest
            if shared > MAX_TEXT_IN_CELLS:
                raise too_large(f"the texts in the cells of sheet {name!r} are too long to be readings")
        found[name] = SheetScan(_formulas(content))
    return found


def _extent(content: bytes) -> int:
    """Cells of the rectangle that holds every filled cell."""
    places = _FILLED.findall(content)
    if not places:
        return 0
    rows = [int(row) for row in {row for _, row in places}]
    columns = [column_number(letters) for letters in {letters for letters, _ in places}]
    return (max(rows) - min(rows) + 1) * (max(columns) - min(columns) + 1)


def column_number(letters: bytes) -> int:
    """Column of spreadsheet letters, from 0."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number - 1


def _formulas(content: bytes) -> dict[tuple[int, int], str]:
    from html import unescape

    found: dict[tuple[int, int], str] = {}
    if b"<f" not in content and b":f" not in content:
        return found
    for head, formula, rest in _FORMULA.findall(content):
        said = _attributes(head)
        place = re.fullmatch(r"([A-Z]{1,3})([0-9]{1,7})", said.get("r", ""))
        if place is None or said.get("t") == "str" or _STORED.search(rest):
            continue
        found[int(place[2]) - 1, column_number(place[1].encode())] = "=" + unescape(formula.decode("utf-8", "replace"))
    return found
