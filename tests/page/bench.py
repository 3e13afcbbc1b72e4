"""A page over a book that holds the worked bag, and a visitor who writes into it."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from types import SimpleNamespace

from PIL import Image
from starlette.testclient import TestClient

from partscreen.page.app import build_app
from partscreen.page.settings import PageSettings
from partscreen.workflow import record_screening
from tests.book.domain_runs import FILES, judged
from tests.page.visitor import BASE, Visitor


def record_bag(where: str) -> None:
    """The worked bag, screened and recorded."""
    outcome, options = judged()
    record_screening(outcome, FILES, options, where)


class Bench(Visitor):
    """A visitor of the bench book."""

    def write(self, form: str, files=None, **fields: str):
        """Fill in a form as it is shown and send it; the page it leads to."""
        named = {name: fields[name] for name in ("job", "entry") if name in fields}
        shown = self.get(f"/book/do/{form}", params=named)
        assert shown.status_code == 200, words(shown)
        hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', shown.text))
        kept = {html.unescape(k): html.unescape(v) for k, v in hidden.items()}
        return self.post(f"/book/do/{form}", {**kept, **fields}, files=files)


def words(answer) -> str:
    """The text of a page as a person reads it."""
    inline = re.sub(r"</?(a|bdi|span|strong|small|code)\b[^>]*>", "", answer.text)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", inline))).strip()


def words_outside_figures(answer) -> str:
    """The same without what figures say of themselves to those who do not see them."""
    return words(SimpleNamespace(text=re.sub(r"<figure>.*?</figure>", " ", answer.text, flags=re.DOTALL)))


@contextmanager
def bench_page(where: str) -> Iterator[Bench]:
    """A page over the book at `where`."""
    with TestClient(build_app(PageSettings(book=where)), base_url=BASE, raise_server_exceptions=False) as opened:
        yield Bench(opened)


def picture(kind: str = "JPEG", size=(40, 30), colour=(90, 120, 60)) -> bytes:
    """A small picture."""
    sink = BytesIO()
    Image.new("RGB", size, colour).save(sink, kind)
    return sink.getvalue()
