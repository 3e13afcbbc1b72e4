"""Bring a book to the version of this program: Alembic, run in this process, its steps found inside the package."""

from __future__ import annotations

from importlib import resources

from sqlalchemy import Connection, inspect, text

from partscreen.book.errors import fault
from partscreen.book.schema import FORMAT
from partscreen.book.urls import Place

KNOWN = ("0001",)  # the steps in migrations/versions, oldest first; a test holds the two together
NEWEST = KNOWN[-1]


def version_of(connection: Connection, place: Place) -> str | None:
    """The schema version of the book; None where the database holds no table at all.

    Raises
    ------
    BookError
        NOT_A_BOOK: the database is another program's. BOOK_NEWER: a later version of this program wrote it.
    """
    tables = set(inspect(connection).get_table_names())
    if not {"meta", "alembic_version"} <= tables:
        if tables & {"entry", "blob", "meta", "alembic_version"} or (tables and place.path is not None):
            raise _no_book(place)
        return None
    if connection.scalar(text("SELECT value FROM meta WHERE name = 'format'")) != FORMAT:
        raise _no_book(place)
    found = str(connection.scalar(text("SELECT version_num FROM alembic_version")))
    if found > NEWEST or not found.isdigit():
        raise fault(
            place,
            "BOOK_NEWER",
            f"a newer version of partscreen wrote this book (its form is {found}, this program knows up to {NEWEST})",
            "update partscreen (pip install --upgrade partscreen); the book was not touched",
        )
    if found not in KNOWN:
        raise _no_book(place)
    return found


def upgrade(connection: Connection, target: str = NEWEST) -> None:
    """Take every step up to `target` inside the transaction the connection is in."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    with resources.as_file(resources.files("partscreen.book") / "migrations") as folder:
        config = Config()
        config.set_main_option("script_location", str(folder).replace("%", "%%"))
        config.set_main_option("path_separator", "os")
        script = ScriptDirectory.from_config(config)

        def steps(current, context):  # type: ignore[no-untyped-def]  # Alembic's own types are private
            return script._upgrade_revs(target, current)

        with EnvironmentContext(config, script, fn=steps, destination_rev=target) as environment:
            environment.configure(connection=connection, transactional_ddl=True)
            environment.run_migrations()


def _no_book(place: Place) -> Exception:
    return fault(
        place,
        "NOT_A_BOOK",
        "this database holds something else than a bench book; it was not touched",
        "name a new file, or an empty database",
    )
