"""The frame around every page."""

from __future__ import annotations

import ast
from pathlib import Path

from partscreen.page.render import _environment

PAGE = Path(__file__).resolve().parents[2] / "partscreen" / "page"


def test_names_of_the_frame_hide_nothing_that_a_page_is_given():
    """What the frame sets stands before a handler's value of the same name, without a word."""
    frame = _environment().get_template("frame.html.jinja")
    own = set(frame.make_module({"here": "/", "form_token": "", "refresh": None}).__dict__)
    given = {
        (path.name, word.arg)
        for path in PAGE.rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "show"
        for word in call.keywords
        if word.arg
    }
    assert {"stands_at", "to"} <= own
    assert len(given) > 50
    assert not {(file, name) for file, name in given if name in own}
