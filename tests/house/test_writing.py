"""Who writes files: outputs go through `whole_files`; every other place is listed with its reason."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

REASONS = {
    "whole_files.py": "the one place; also the only one that writes to pipes and devices",
    "page/posting.py": "an upload, into the page's own folder of mode 0700",
    "readings/typed/journal.py": "the journal of typed lines grows by lines, under a lock",
    "report/papers/press.py": "sources of a paper, in a temporary folder of mode 0700",
    "simulate/write_files.py": "the demo's files, written by developers",
    "simulate/make_demo.py": "the demo's files, written by developers",
    "workflow/book/look.py": "a file of the book, only where none is (mode x)",
    "workflow/book/rescreen.py": "kept files, in a temporary folder of mode 0700",
    "workflow/own/kit.py": "a new kit, only where none is (mode x)",
    "workflow/own/files.py": "a checked copy in the user's own folder, put in place in one step",
    "workflow/volume/kept.py": "results of large runs, put in place in one step",
}


def writes(tree: ast.AST) -> Iterator[int]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if name in ("write_text", "write_bytes"):
            yield node.lineno
        if name == "open" and any(_writes(one) for one in (*node.args, *(k.value for k in node.keywords))):
            yield node.lineno


def _writes(value: ast.expr) -> bool:
    if not isinstance(value, ast.Constant) or not isinstance(value.value, str) or len(value.value) > 3:
        return False
    return bool(set(value.value) & set("wax+")) and set(value.value) <= set("rwaxbt+")


def test_files_are_written_in_the_listed_places_only():
    package = ROOT / "partscreen"
    found = {
        path.relative_to(package).as_posix()
        for path in package.rglob("*.py")
        if list(writes(ast.parse(path.read_text(encoding="utf-8"))))
    }
    assert found - set(REASONS) == set(), "write through partscreen.whole_files.write_whole, or give a reason here"
    assert set(REASONS) - found == set(), "gone: take them off the list"


def test_the_search_knows_each_way_of_writing():
    for source in ("p.write_text(t)", "p.write_bytes(b)", "open(p, 'w')", "p.open('ab+')", "p.open(mode='x')"):
        assert list(writes(ast.parse(source))) == [1], source
    for source in ("p.open()", "open(p, 'rb')", "p.open('r')"):
        assert list(writes(ast.parse(source))) == [], source
