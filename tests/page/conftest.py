"""A page of its own for the tests, with an empty bench book, asked through its own address."""

from __future__ import annotations

import shutil

import pytest
from starlette.testclient import TestClient

from partscreen.page.app import build_app
from partscreen.page.settings import PageSettings
from tests.page.bench import bench_page, record_bag
from tests.page.visitor import BASE, Visitor


@pytest.fixture(scope="session")
def client(tmp_path_factory):
    book = tmp_path_factory.mktemp("book") / "book.db"
    app = build_app(PageSettings(book=str(book), folder=tmp_path_factory.mktemp("own")), largest=3 << 20)
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as opened:
        yield opened


@pytest.fixture
def visitor(client):
    return Visitor(client)


@pytest.fixture(scope="session")
def kept(tmp_path_factory):
    """A book with the worked bag in it, made once."""
    path = tmp_path_factory.mktemp("kept") / "book.sqlite"
    record_bag(str(path))
    return path


@pytest.fixture
def place(kept, tmp_path):
    """A copy of that book."""
    return str(shutil.copyfile(kept, tmp_path / "book.sqlite"))


@pytest.fixture
def bench(place):
    """A page with that copy as its bench book."""
    with bench_page(place) as visitor:
        yield visitor
