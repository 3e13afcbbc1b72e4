"""The password of a book's URL is said nowhere: by no command, on no page, in no record, export or log."""

from __future__ import annotations

import html
import logging
import os
import sqlite3
import traceback
from urllib.parse import quote, quote_plus

import pytest
from starlette.testclient import TestClient
from typer.main import get_command
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.page.app import build_app
from partscreen.page.settings import PageSettings
from partscreen.workflow import record_screening
from tests.book.domain_runs import FILES, judged
from tests.book.servers import fresh_schema, needs_postgres
from tests.page.visitor import BASE, Visitor

SECRET = "hush#Sesame:42 é/%"
FORMS = {SECRET, quote(SECRET), quote(SECRET, safe=""), quote_plus(SECRET), "hush", "Sesame", html.escape(SECRET)}
NOBODY = f"postgresql://bob:{quote(SECRET, safe='')}@127.0.0.1:1/book"  # no server listens at port 1
BY_QUERY = f"postgresql://bob@127.0.0.1:1/book?password={quote_plus(SECRET)}&connect_timeout=2"
BROKEN = f"postgresql://bob:{quote(SECRET, safe='')}@127.0.0.1:none/book"
UNKNOWN = f"nosuch://bob:{quote(SECRET, safe='')}@127.0.0.1/book"

# What must be told besides for a command to get as far as its book.
NEEDED = {
    "backup": ["copy.sqlite"],
    "restore": ["copy.sqlite"],
    "correct": ["1", "--reason", "x"],
    "export": ["--out", "tables"],
    "fetch": ["0" * 64, "--out", "kept"],
    "learn": ["--out", "spreads.toml"],
    "matched": ["match.json"],
    "observe": ["seen", "--part", "1"],
    "outcome": ["works", "--part", "1"],
    "override": ["--part", "1", "--to", "hold", "--reason", "x", "--by", "y"],
    "remeasure": ["bag.csv", "--part", "1"],
    "stress": ["inrush", "--part", "1"],
    "erase-photo": ["0" * 64, "--why", "x"],
    "approve": ["1", "--by", "y"],
    "bias": ["bias.csv", "--job", "x"],
    "entry": ["1"],
    "find": ["x"],
    "job": ["x"],
    "fitted": ["--part", "1", "--job", "x", "--position", "Q1"],
    "kit-check": ["kit.toml", "--good"],
    "quarantine": ["--part", "1", "--place", "x", "--reason", "x"],
    "rescreen": ["--all"],
    "where": ["--lot", "x"],
}


def commands() -> list[tuple[str, ...]]:
    """Every command that takes a book, but the page, which has a test of its own."""
    found = []
    for name, command in get_command(app).commands.items():
        inner = getattr(command, "commands", None)
        for path, one in [((name, n), c) for n, c in inner.items()] if inner else [((name,), command)]:
            if any("--book" in p.opts for p in one.params) and path != ("page",):
                found.append(path)
    return sorted(found)


def untold(text: str) -> bool:
    return not [form for form in FORMS if form in text]


def said_by(words: list[str]) -> str:
    """Everything a run says: both streams, and the whole traceback if it ends in one."""
    ran = CliRunner().invoke(app, words)
    trace = "".join(traceback.format_exception(*ran.exc_info)) if ran.exc_info else ""
    return f"{ran.output}\n{trace}"


def arguments(path: tuple[str, ...]) -> list[str]:
    extra = {
        ("screen",): ["bag.csv", "--type", "2SC5200", "--record"],
        ("trust",): [],
        ("plan",): ["--lot-size", "100", "--tolerable", "0.1", "--confidence", "0.9", "--history-of", "x"],
        ("paper", "lot"): ["result.json", "--out", "lot.pdf"],
    }
    return [*path, *extra.get(path, NEEDED.get(path[-1], []))]


@pytest.fixture
def bench(tmp_path, monkeypatch):
    (tmp_path / "bag.csv").write_bytes(next(iter(FILES)).read_bytes())
    (tmp_path / "result.json").write_text(judged()[0].json_text(), encoding="utf-8")
    (tmp_path / "kit.toml").write_text("[kit]\nname = 'mine'\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PARTSCREEN_BOOK", raising=False)
    return tmp_path


def test_many_commands_take_a_book():
    assert len(commands()) > 25


@pytest.mark.parametrize("path", commands(), ids=" ".join)
def test_no_command_tells_the_password(path, bench, caplog, monkeypatch):
    caplog.set_level(logging.DEBUG)
    for url in (NOBODY, BY_QUERY, BROKEN, UNKNOWN):
        said = said_by([*arguments(path), "--book", url])
        assert untold(said), said
        assert "Usage:" not in said, "the command was not reached: tell it more in NEEDED"
    monkeypatch.setenv("PARTSCREEN_BOOK", NOBODY)
    assert untold(said_by(arguments(path)))
    assert untold(caplog.text)
    for file in bench.rglob("*"):
        assert not file.is_file() or untold(file.read_bytes().decode("utf-8", "replace")), file


def test_help_does_not_show_the_variable_that_holds_it(monkeypatch):
    monkeypatch.setenv("PARTSCREEN_BOOK", NOBODY)
    for path in (("screen",), ("page",), ("book", "show")):  # one option for all, in cli/book_options.py
        assert untold(said_by([*path, "--help"]))


@pytest.mark.parametrize("url", [NOBODY, BY_QUERY])
def test_no_page_tells_the_password(url, caplog):
    caplog.set_level(logging.DEBUG)
    built = build_app(PageSettings(book=url))
    with TestClient(built, base_url=BASE, raise_server_exceptions=False) as client:
        visitor = Visitor(client)
        for route in built.app.routes:
            path = getattr(route, "path", "").replace("{", "").replace("}", "")
            if "GET" in (getattr(route, "methods", None) or ()):
                assert untold(client.get(path).text), path
            if "POST" in (getattr(route, "methods", None) or ()):
                assert untold(visitor.post(path, {"text": "x", "part": "1"}).text), path
    assert untold(caplog.text)


def test_the_program_that_starts_the_page_does_not_tell_it(monkeypatch):
    said = said_by(["page", "--no-browser", "--port", "99999", "--book", NOBODY])
    assert untold(said)


@needs_postgres
def test_neither_the_book_nor_its_exports_hold_the_password_they_were_opened_with(tmp_path):
    import psycopg

    with fresh_schema() as url:
        outcome, options = judged()
        record_screening(outcome, FILES, options, url)
        password = "bench only"
        for form in ("csv", "json"):
            said = said_by(["book", "export", "--out", str(tmp_path / form), "--format", form, "--book", url])
            assert password not in said
        said = said_by(["book", "backup", str(tmp_path / "copy.sqlite"), "--book", url])
        said += said_by(["book", "show", "--full", "--json", "--book", url])
        assert password not in said
        assert quote(password) not in said
        with psycopg.connect(url) as server:
            kept = str(server.execute("SELECT * FROM entry").fetchall())
        assert len(kept) > 1000
    with sqlite3.connect(tmp_path / "copy.sqlite") as copy:
        kept += "\n".join(copy.iterdump())
    kept += "\n".join(p.read_text(encoding="utf-8") for p in tmp_path.rglob("*.csv"))
    kept += "\n".join(p.read_text(encoding="utf-8") for p in tmp_path.rglob("*.json"))
    for form in (password, quote(password), quote_plus(password), os.environ["PARTSCREEN_TEST_POSTGRES"]):
        assert form not in kept
