"""The tables of the bench book as they are now. Migrations write out their own steps and never import this file."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Index, Integer, LargeBinary, MetaData, String, Table, Text

FORMAT = "partscreen bench book"  # row "format" of the table meta: how a book is told from another program's database
APPLICATION_ID = 0x50534242  # "PSBB": SQLite's own mark of a file's kind, read by `file` and others

metadata = MetaData()
_NUMBER = BigInteger().with_variant(Integer(), "sqlite")  # SQLite numbers rows by itself only for INTEGER

entry = Table(
    "entry",
    metadata,
    Column("seq", _NUMBER, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("recorded_at", Text, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("prev_hash", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
    Column("part", Text),
    Column("lot", Text),
    Column("supplier", Text),
    Column("type", Text),
    Column("job", Text),
    Column("session", Text),
    Column("supersedes", _NUMBER),
    Column("content_key", Text),
)

# Each question the book answers walks one of these in the order of seq; rows.py says which.
Index("entry_kind", entry.c.kind, entry.c.seq)
Index("entry_part", entry.c.part, entry.c.lot, entry.c.seq)
Index("entry_lot", entry.c.lot, entry.c.seq)
Index("entry_lot_kind", entry.c.lot, entry.c.kind, entry.c.seq)
Index("entry_supplier", entry.c.supplier, entry.c.seq)
Index("entry_supplier_kind", entry.c.supplier, entry.c.kind, entry.c.seq)
Index("entry_type", entry.c.type, entry.c.seq)
Index("entry_type_kind", entry.c.type, entry.c.kind, entry.c.seq)
Index("entry_job", entry.c.job, entry.c.seq)
Index("entry_session", entry.c.session, entry.c.seq)
Index("entry_supersedes", entry.c.supersedes)
Index("entry_content_key", entry.c.content_key, unique=True)

blob = Table(
    "blob",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("size", _NUMBER, nullable=False),
    Column("content", LargeBinary),
    Column("media_type", Text, nullable=False),
)

meta = Table(
    "meta",
    metadata,
    Column("name", String(64), primary_key=True),
    Column("value", Text, nullable=False),
)

# The triggers that refuse every change; the first 16 digits of the SHA-256 of what makes each in SQLite.
GUARDS = {
    "entry_no_change": "9c3439047d3c251c",
    "entry_no_delete": "3b6072633078e4fd",
    "entry_in_order": "44ad93885626ae54",
    "blob_only_erase": "944d27a2631c5f0b",
    "blob_no_delete": "8ea126fee64916bd",
    "blob_once": "ba418876cddff264",
}
