"""A table as an OpenDocument spreadsheet (ISO/IEC 26300, OpenDocument 1.2): texts only, so that none is a formula."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

MIME = "application/vnd.oasis.opendocument.spreadsheet"
_DAY_ONE = (1980, 1, 1, 0, 0, 0)  # the earliest date of a ZIP entry: the same table gives the same bytes
_OFFICE = "urn:oasis:names:tc:opendocument:xmlns:office:1.0"
_MANIFEST = f"""<?xml version="1.0" encoding="UTF-8"?>
<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.2">
<manifest:file-entry manifest:full-path="/" manifest:version="1.2" manifest:media-type="{MIME}"/>
<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>
</manifest:manifest>
"""
_HEAD = f"""<?xml version="1.0" encoding="UTF-8"?>
<office:document-content xmlns:office="{_OFFICE}"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.2">
<office:body><office:spreadsheet>
"""
_TAIL = "</table:table>\n</office:spreadsheet></office:body></office:document-content>\n"


def ods_table(name: str, rows: Sequence[Sequence[str]]) -> bytes:
    """A workbook of one sheet. `rows`: texts, an empty one is an empty cell."""
    body = "".join(f"<table:table-row>{''.join(map(_cell, row))}</table:table-row>\n" for row in rows)
    content = f"{_HEAD}<table:table table:name={quoteattr(name)}>\n{body}{_TAIL}"
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as book:
        # OpenDocument 1.2, part 3, 3.3: the entry mimetype comes first and is not compressed.
        for place, text, how in (
            ("mimetype", MIME, zipfile.ZIP_STORED),
            ("content.xml", content, zipfile.ZIP_DEFLATED),
            ("META-INF/manifest.xml", _MANIFEST, zipfile.ZIP_DEFLATED),
        ):
            entry = zipfile.ZipInfo(place, _DAY_ONE)
            entry.compress_type = how
            book.writestr(entry, text)
    return sink.getvalue()


def _cell(text: str) -> str:
    if not text:
        return "<table:table-cell/>"
    told = escape(text)
    return f'<table:table-cell office:value-type="string"><text:p>{told}</text:p></table:table-cell>'
