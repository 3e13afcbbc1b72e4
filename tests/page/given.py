"""What the tests of matching, papers and stage send, and how they read what comes back."""

from __future__ import annotations

import html
import re

from tests.report.papers_read import FROZEN

HOSTILE = "<script>alert(1)</script>"
TURNED = "=T\u202e4"


def text_of(answer) -> str:
    """What a person reads, in one line."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def saved(*names: str, field: str = "results"):
    """Frozen results of demo lots (invented readings), as uploads."""
    return [(field, (f"{name}.json", (FROZEN / f"{name}.json").read_bytes())) for name in names]


def typed_on(answer, form: str = "") -> dict[str, str]:
    """The fields of a page as they stand there. `form`: only those of the form of this id."""
    page = answer.text
    if form:
        page = page[page.index(f'id="{form}">') :].partition("</form>")[0]
    told = dict(re.findall(r'<input type="text"[^>]* name="([^"]+)" value="([^"]*)"', page))
    told |= dict(re.findall(r'<textarea[^>]* name="([^"]+)"[^>]*>([^<]*)<', page))
    chosen = r'<select[^>]* name="([^"]+)"[^>]*>(?:(?!</select>).)*?<option value="([^"]*)" selected'
    told |= dict(re.findall(chosen, page, re.DOTALL))
    return {name: html.unescape(value) for name, value in told.items()}


def files_of(visitor, answer) -> dict[str, bytes]:
    """Every file that a page of something made links to, by name."""
    links = re.findall(r'href="(/errand/[^"]+/file/([^"]+))"', answer.text)
    assert links, text_of(answer)
    got = {name: visitor.get(link) for link, name in links}
    assert all(one.status_code == 200 for one in got.values())
    assert all("attachment" in one.headers["content-disposition"] for one in got.values())
    return {name: one.content for name, one in got.items()}


def matched(visitor, *, names=("A1", "A2"), **told):
    """The page of a match of saved results."""
    asked = {"kind": "pairs", "hfe": "10", "vbe": "20", **told}
    return visitor.settle(visitor.post("/match", asked, files=saved(*names)))


SETS = {"kind": "sets", "per_rail": "3", "best": "2", "power": "150", "load": "4", "idle": "50",
        "emitter_resistor": "0,22"}  # fmt: skip
