"""The first book: entries in a chain, blobs, and guards that refuse every change.

Revision ID: 0001
"""

from __future__ import annotations

import re

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

REFUSAL = "the bench book is append-only"

SQLITE_GUARDS = f"""
CREATE TRIGGER entry_no_change BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, '{REFUSAL}: an entry cannot be changed'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, '{REFUSAL}: an entry cannot be deleted'); END;
CREATE TRIGGER entry_in_order BEFORE INSERT ON entry
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry)
  OR NEW.prev_hash IS NOT coalesce((SELECT hash FROM entry ORDER BY seq DESC LIMIT 1), '{"0" * 64}')
  OR EXISTS (SELECT 1 FROM entry WHERE content_key = NEW.content_key)
BEGIN SELECT RAISE(ABORT, '{REFUSAL}: a new entry follows the last one'); END;
CREATE TRIGGER blob_only_erase BEFORE UPDATE ON blob
WHEN NEW.content IS NOT NULL OR NEW.sha256 IS NOT OLD.sha256 OR NEW.size IS NOT OLD.size
  OR NEW.media_type IS NOT OLD.media_type
BEGIN SELECT RAISE(ABORT, '{REFUSAL}: the content of a blob can only be erased'); END;
CREATE TRIGGER blob_no_delete BEFORE DELETE ON blob
BEGIN SELECT RAISE(ABORT, '{REFUSAL}: a blob cannot be deleted'); END;
CREATE TRIGGER blob_once BEFORE INSERT ON blob
WHEN EXISTS (SELECT 1 FROM blob WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, '{REFUSAL}: a blob is written once'); END;
"""

POSTGRES_GUARDS = f"""
CREATE FUNCTION book_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{REFUSAL}: % on % is refused', TG_OP, TG_TABLE_NAME; END $$;
CREATE FUNCTION book_in_order() RETURNS trigger LANGUAGE plpgsql SET enable_seqscan = off AS $$
DECLARE last_hash text;
BEGIN
  -- The plan is kept for the whole session; without the setting, one made while the table is empty reads all of it.
  SELECT hash INTO last_hash FROM entry WHERE seq = NEW.seq - 1;
  IF NEW.seq = 1 THEN last_hash := '{"0" * 64}'; END IF;
  IF NEW.prev_hash IS DISTINCT FROM last_hash THEN
    RAISE EXCEPTION '{REFUSAL}: a new entry follows the last one';
  END IF;
  RETURN NEW;
END $$;
CREATE FUNCTION book_only_erase() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.content IS NOT NULL OR (NEW.sha256, NEW.size, NEW.media_type) IS DISTINCT FROM
     (OLD.sha256, OLD.size, OLD.media_type) THEN
    RAISE EXCEPTION '{REFUSAL}: the content of a blob can only be erased';
  END IF;
  RETURN NEW;
END $$;
CREATE FUNCTION book_blob_once() RETURNS trigger LANGUAGE plpgsql SET enable_seqscan = off AS $$
BEGIN
  IF EXISTS (SELECT 1 FROM blob WHERE sha256 = NEW.sha256) THEN
    RAISE EXCEPTION '{REFUSAL}: a blob is written once';
  END IF;
  RETURN NEW;
END $$;
CREATE TRIGGER entry_no_change BEFORE UPDATE ON entry FOR EACH ROW EXECUTE FUNCTION book_refuse();
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry FOR EACH ROW EXECUTE FUNCTION book_refuse();
CREATE TRIGGER entry_no_truncate BEFORE TRUNCATE ON entry FOR EACH STATEMENT EXECUTE FUNCTION book_refuse();
CREATE TRIGGER entry_in_order BEFORE INSERT ON entry FOR EACH ROW EXECUTE FUNCTION book_in_order();
CREATE TRIGGER blob_only_erase BEFORE UPDATE ON blob FOR EACH ROW EXECUTE FUNCTION book_only_erase();
CREATE TRIGGER blob_no_delete BEFORE DELETE ON blob FOR EACH ROW EXECUTE FUNCTION book_refuse();
CREATE TRIGGER blob_no_truncate BEFORE TRUNCATE ON blob FOR EACH STATEMENT EXECUTE FUNCTION book_refuse();
CREATE TRIGGER blob_once BEFORE INSERT ON blob FOR EACH ROW EXECUTE FUNCTION book_blob_once();
"""

INDEXES: dict[str, list[str]] = {
    "entry_kind": ["kind", "seq"],
    "entry_part": ["part", "lot", "seq"],
    "entry_lot": ["lot", "seq"],
    "entry_lot_kind": ["lot", "kind", "seq"],
    "entry_supplier": ["supplier", "seq"],
    "entry_supplier_kind": ["supplier", "kind", "seq"],
    "entry_type": ["type", "seq"],
    "entry_type_kind": ["type", "kind", "seq"],
    "entry_job": ["job", "seq"],
    "entry_session": ["session", "seq"],
    "entry_supersedes": ["supersedes"],
}


def upgrade() -> None:
    """Make tables, indexes and guards."""
    number = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "entry",
        sa.Column("seq", number, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("recorded_at", sa.Text, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.Column("prev_hash", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        *[sa.Column(name, sa.Text) for name in ("part", "lot", "supplier", "type", "job", "session")],
        sa.Column("supersedes", number),
        sa.Column("content_key", sa.Text),
    )
    for name, columns in INDEXES.items():
        op.create_index(name, "entry", columns)
    op.create_index("entry_content_key", "entry", ["content_key"], unique=True)
    op.create_table(
        "blob",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("size", number, nullable=False),
        sa.Column("content", sa.LargeBinary),
        sa.Column("media_type", sa.Text, nullable=False),
    )
    meta = op.create_table(
        "meta",
        sa.Column("name", sa.String(64), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
    op.bulk_insert(meta, [{"name": "format", "value": "partscreen bench book"}])
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    if on_sqlite:
        op.execute(f"PRAGMA application_id = {0x50534242}")
    for statement in re.split(r"\n(?=CREATE )", (SQLITE_GUARDS if on_sqlite else POSTGRES_GUARDS).strip()):
        op.execute(statement)
