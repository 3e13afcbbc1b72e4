"""A PostgreSQL server for the tests: PARTSCREEN_TEST_POSTGRES names one where the user may make databases.

`eval "$(.ci/postgres.sh start)"` starts a private one. Without the variable that half is skipped with one line; in
continuous integration (environment variable CI set) its absence is a failure.
"""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

SERVER = os.environ.get("PARTSCREEN_TEST_POSTGRES", "")

_WITHOUT = not SERVER and not os.environ.get("CI")

needs_postgres = pytest.mark.skipif(
    _WITHOUT, reason='no PostgreSQL server to test with (eval "$(.ci/postgres.sh start)")'
)
BOTH = ["sqlite"] if _WITHOUT else ["sqlite", "postgres"]  # test_core_store.py says in one line that a half is left out


@contextmanager
def fresh_schema() -> Iterator[str]:
    """The URL of a new, empty schema of the server's database, dropped afterwards; much quicker than a database."""
    import psycopg

    assert SERVER, "PARTSCREEN_TEST_POSTGRES is not set"
    name = f"book_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(SERVER, autocommit=True) as server:
        server.execute(f'CREATE SCHEMA "{name}"')
        try:
            yield f"{SERVER}?options=-csearch_path%3D{name}"
        finally:
            server.execute(f'DROP SCHEMA "{name}" CASCADE')


@contextmanager
def fresh_database() -> Iterator[str]:
    """The URL of a new, empty database, which is dropped afterwards."""
    import psycopg

    assert SERVER, "PARTSCREEN_TEST_POSTGRES is not set"
    name = f"book_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(SERVER, autocommit=True) as server:
        server.execute(f'CREATE DATABASE "{name}"')
        try:
            yield f"{SERVER.rsplit('/', 1)[0]}/{name}"
        finally:
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
