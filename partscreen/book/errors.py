"""What can go wrong with a book, as messages that say where, what and how to put it right.

No message, representation or traceback may hold a password: driver texts are redacted, and a BookError is raised
outside the `except` block that caught the driver's exception, so that no traceback carries the original along.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from partscreen.book.urls import Place
from partscreen.errors import Problem, UnusableInput

APPEND_ONLY = "the bench book is append-only"  # what the guards in the database say when they refuse

_TRY_AGAIN = "close it, or try again in a minute"
_SQLITE = {  # by primary result code, sqlite.org/rescode.html
    5: ("BOOK_BUSY", "another program kept the book locked", _TRY_AGAIN),
    6: ("BOOK_BUSY", "another program kept the book locked", _TRY_AGAIN),
    8: (
        "BOOK_READ_ONLY",
        "the file or its folder may not be written",
        "give yourself the right to write both, or choose another place",
    ),
    10: (
        "BOOK_DISK",
        "the disk refused to read or write (full, over its quota, or failing); nothing was recorded",
        "make room or check the disk, then run the command again",
    ),
    11: (
        "BOOK_CORRUPT",
        "the file is damaged",
        "keep it as it is, and restore the last backup (`partscreen book restore`)",
    ),
    13: ("BOOK_FULL", "the disk is full; nothing was recorded", "make room, then run the command again"),
    14: ("BOOK_CANNOT_OPEN", "the file cannot be opened", "check that its folder exists and that you may use both"),
    26: (
        "NOT_A_BOOK",
        "the file is no bench book, or its beginning is damaged",
        "choose another file; if it was a book, restore the last backup (`partscreen book restore`)",
    ),
}

_POSTGRES = {  # by SQLSTATE, PostgreSQL manual, appendix A
    "28P01": (
        "BOOK_PASSWORD",
        "the server refused the user name or the password",
        "check both; write %40 for an @ in them",
    ),
    "28000": ("BOOK_PASSWORD", "the server refused this user", "ask who runs the server to let you in"),
    "3D000": (
        "BOOK_NO_DATABASE",
        "the server has no database of this name",
        "create it (createdb NAME) or mend it",
    ),
    "42501": ("BOOK_READ_ONLY", "this user may not write here", "ask who runs the server for the right to write"),
    "25006": ("BOOK_READ_ONLY", "the server takes no writes now", "use the main server, or wait until it takes writes"),
    "55P03": ("BOOK_BUSY", "another program kept the book locked", _TRY_AGAIN),
    "40P01": ("BOOK_BUSY", "another program locked the same rows", "try again"),
    "53100": (
        "BOOK_FULL",
        "the disk of the server is full; nothing was recorded",
        "make room on the server, then run the command again",
    ),
    "53300": ("BOOK_BUSY", "the server has no connection left", "try again in a minute"),
}

_UNREACHABLE = (
    "BOOK_UNREACHABLE",
    "the server cannot be reached",
    "check that it runs, its name and port, and the network; then run the command again: what is already in the book "
    "is not written twice",
)


class BookError(UnusableInput):
    """The book, or what was to be written into it, cannot be used; `problems` lists everything found."""


def fault(place: Place | str, code: str, what: str, fix: str) -> BookError:
    """One problem with the book at `place`, ready to raise."""
    return BookError([Problem(code, what, fix, file=str(place))])


def refuse(problems: Iterable[Problem]) -> None:
    """Raise all problems at once, if there are any."""
    found = list(problems)
    if found:
        raise BookError(found)


@contextmanager
def explained(place: Place) -> Iterator[None]:
    """Turn a database's own exception into a BookError that holds no password, in its own traceback neither."""
    told: BookError | None = None
    try:
        yield
    except Exception as error:
        known = isinstance(error, SQLAlchemyError | sqlite3.Error | UnicodeDecodeError) or _is_psycopg(error)
        if not known:
            raise
        told = BookError([explain(error, place)])
    if told is not None:
        raise told


def explain(error: Exception, place: Place) -> Problem:
    """What a database's exception means for a person."""
    if isinstance(error, UnicodeDecodeError):  # SQLite's own message quotes a name in the file that is no text
        code, what, fix = _SQLITE[11]
        return Problem(code, f"{what} (a name in it is no text)", fix, file=str(place))
    raw = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    text = place.redact(" ".join(str(raw).split()))
    if APPEND_ONLY in text:
        known: tuple[str, str, str] | None = (
            "BOOK_APPEND_ONLY",
            text,
            "write a correction: it stands beside the old entry, which stays",
        )
    elif isinstance(raw, sqlite3.Error):
        known = _SQLITE.get((getattr(raw, "sqlite_errorcode", None) or 0) & 0xFF)
    else:
        known = _from_postgres(raw, text)
    code, what, fix = known or ("BOOK_FAILED", "the database refused", "the text in brackets is the database's own")
    return Problem(code, what if text in what else f"{what} ({text})", fix, file=str(place))


def _is_psycopg(error: BaseException) -> bool:
    """Told by its module's name: who keeps the book in a file never loads the driver."""
    return type(error).__module__.split(".")[0] == "psycopg"


def _from_postgres(raw: BaseException, text: str) -> tuple[str, str, str] | None:
    state = getattr(raw, "sqlstate", None)
    if state:
        return _POSTGRES.get(state) or (_UNREACHABLE if state[:2] in {"08", "57"} else None)
    if not (_is_psycopg(raw) and type(raw).__name__ in {"OperationalError", "ConnectionTimeout"}):
        return None
    # A refusal while connecting reaches us as text alone; a server may speak another language, hence the last question.
    if "password" in text:
        return _POSTGRES["28P01"]
    if "does not exist" in text and "database" in text:
        return _POSTGRES["3D000"]
    if getattr(getattr(raw, "pgconn", None), "used_password", False):
        return ("BOOK_REFUSED", "the server refused the connection", "check user name, password and database name")
    return _UNREACHABLE
