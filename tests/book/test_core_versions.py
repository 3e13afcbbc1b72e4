"""Books of earlier versions open, mean the same, and keep every byte; the migrations and the tables agree."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from importlib import resources
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from partscreen.book import migrate
from partscreen.book.engine import reading
from partscreen.book.entries import FileKept, FittedKept, PartKept, payload_of
from partscreen.book.facts import Facts
from partscreen.book.migrations.versions import rev_0001_first
from partscreen.book.schema import APPLICATION_ID, GUARDS, metadata
from partscreen.book.store import Book, BookError
from tests.book.core_books import behind_its_back, part_draft
from tests.book.servers import BOTH, fresh_schema

FROZEN = Path(__file__).parent / "frozen"
VERSIONS = sorted(FROZEN.glob("schema_*.sqlite"))


def scripts() -> ScriptDirectory:
    config = Config()
    config.set_main_option("script_location", str(resources.files("partscreen.book") / "migrations"))
    config.set_main_option("path_separator", "os")
    return ScriptDirectory.from_config(config)


def test_the_newest_version_is_the_head_of_the_migrations():
    assert scripts().get_current_head() == migrate.NEWEST


def test_every_schema_version_there_ever_was_has_its_frozen_book():
    assert sorted(script.revision for script in scripts().walk_revisions()) == [p.stem[-4:] for p in VERSIONS]


@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: path.stem)
def test_a_frozen_book_is_small_and_still_of_its_version(path):
    assert path.stat().st_size <= 80_000
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as raw:
        assert raw.execute("SELECT version_num FROM alembic_version").fetchone()[0] == path.stem[-4:]


@pytest.mark.parametrize("kind", BOTH)
@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: path.stem)
def test_a_book_of_an_earlier_version_opens_with_the_same_entries_bytes_and_hashes(path, kind, tmp_path):
    promised = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as raw:
        bodies = [body for (body,) in raw.execute("SELECT body FROM entry ORDER BY seq")]

    def holds(book: Book) -> None:
        told = book.verify(promised[-1]["hash"])
        assert told.ok, told.findings
        assert [entry.hash for entry in book.entries()] == [entry["hash"] for entry in promised]
        assert [entry.body for entry in book.entries()] == [entry["body"] for entry in promised]
        with behind_its_back(book) as run:
            assert [bytes(body) for (body,) in run("SELECT body FROM entry ORDER BY seq")] == bodies
            assert str(run("SELECT version_num FROM alembic_version")[0][0]) == migrate.NEWEST
        assert book.append([part_draft(1)])[0].prev_hash == promised[-1]["hash"]
        assert book.verify().ok

    if kind == "sqlite":
        shutil.copy(path, tmp_path / "book.sqlite")
        with Book.open(tmp_path / "book.sqlite") as book:
            holds(book)
    else:
        with fresh_schema() as url, Book.restore(path, url) as book:
            holds(book)


def nothing_lost(old, new) -> bool:
    """Whether everything of an old body stands in the new one, which may say more."""
    if isinstance(old, dict):
        return isinstance(new, dict) and all(key in new and nothing_lost(old[key], new[key]) for key in old)
    if isinstance(old, list):
        return isinstance(new, list) and len(old) == len(new) and all(map(nothing_lost, old, new))
    return old == new


@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: path.stem)
def test_every_entry_of_an_earlier_version_is_understood_and_means_the_same(path, tmp_path):
    shutil.copy(path, tmp_path / "book.sqlite")
    with Book.open(tmp_path / "book.sqlite") as book:
        kinds = set()
        for entry in book.entries():
            payload = payload_of(entry.kind, entry.body)
            assert nothing_lost(entry.body, payload.body()), entry.seq
            kinds.add(entry.kind)
        assert len(kinds) >= 18
        facts = Facts(book)
        (sits,) = facts.find("fitted", lot="bag", supplier="Birch", part="T1")
        assert sits.of(FittedKept).position == "Q14"
        assert len(sits.older) == 1
        judged = {
            fact.of(PartKept).part: fact.of(PartKept).result.disposition for fact in facts.find("part", lot="bag")
        }
        assert judged == {"T1": "hold", "T5": "reject"}
        (file,) = [fact.of(FileKept) for fact in facts.find("file") if fact.of(FileKept).role == "readings"]
        assert b"T5,gain" in book.blob(file.sha256).content


def test_the_migrations_make_exactly_the_tables_the_program_uses(book):
    with reading(book._engine) as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        found = compare_metadata(context, metadata)
    assert found == []


def test_the_guards_named_are_the_guards_made(tmp_path):
    with Book.open(tmp_path / "book.sqlite") as book, behind_its_back(book) as run:
        assert run("PRAGMA application_id") == [(APPLICATION_ID,)]
        assert run("SELECT count(*) FROM sqlite_master WHERE type = 'trigger'") == [(0,)]
    for text in (rev_0001_first.SQLITE_GUARDS, rev_0001_first.POSTGRES_GUARDS):
        assert all(f"CREATE TRIGGER {guard} " in text for guard in GUARDS)


def test_an_older_book_is_brought_up_inside_one_transaction(where, monkeypatch):
    """A step that fails leaves the book as it was; here the very first one, after all its work."""

    def fail(*_args):
        raise BookError([])

    with monkeypatch.context() as patch:
        patch.setattr("partscreen.book.store.upgrade", lambda connection: (migrate.upgrade(connection), fail()))
        with pytest.raises(BookError):
            Book.open(where)
    with pytest.raises(BookError) as caught:
        Book.open(where, create=False)
    assert caught.value.problems[0].code == "BOOK_MISSING"
    with Book.open(where) as book:
        assert book.verify().ok


def test_a_later_step_keeps_bodies_and_hashes_and_is_taken_from_every_earlier_version(where, tmp_path, monkeypatch):
    """A step that does not exist yet, to show that the way is open: it adds a column and fills it from nothing."""
    folder = tmp_path / "package" / "migrations"
    shutil.copytree(str(resources.files("partscreen.book") / "migrations"), folder)
    (folder / "versions" / "rev_9000_later.py").write_text(
        'revision = "9000"\n'
        f'down_revision = "{migrate.NEWEST}"\n'
        "import sqlalchemy as sa\n"
        "from alembic import op\n\n\n"
        "def upgrade():\n"
        '    op.add_column("entry", sa.Column("place", sa.Text))\n'
        '    op.create_index("entry_place", "entry", ["place", "seq"])\n'
    )
    with Book.open(where) as book:
        written = book.append([part_draft(i) for i in range(5)])
    monkeypatch.setattr(migrate, "NEWEST", "9000")
    monkeypatch.setattr("partscreen.book.store.NEWEST", "9000")
    monkeypatch.setattr("partscreen.book.store.upgrade", lambda connection: migrate.upgrade(connection, "9000"))
    monkeypatch.setattr(migrate.resources, "files", lambda _package: folder.parent)
    with Book.open(where) as book:
        assert list(book.entries()) == written
        assert book.verify(written[-1].hash).ok
        with behind_its_back(book) as run:
            assert run("SELECT version_num FROM alembic_version") == [("9000",)]
            assert run("SELECT count(place) FROM entry") == [(0,)]
    monkeypatch.undo()
    with pytest.raises(BookError) as caught:
        Book.open(where)
    assert caught.value.problems[0].code == "BOOK_NEWER"


@pytest.mark.long
def test_the_migrations_are_in_the_wheel(tmp_path):
    root = Path(__file__).resolve().parents[2]
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)], cwd=root, check=True
    )
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    assert "partscreen/book/migrations/versions/rev_0001_first.py" in names
