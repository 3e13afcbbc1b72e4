"""Each line of the page of threats names a test that exists, or says that nothing stands against it."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "threats.md"


def lines() -> list[list[str]]:
    rows = re.findall(r"^\| (.+) \|$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    cells = [[cell.strip() for cell in re.split(r" \| ?", row)] for row in rows]
    return [row for row in cells if row[0] != "what"]


def test_each_line_names_its_test_or_says_that_nothing_stands_against_it():
    assert len(lines()) > 25
    for row in lines():
        named = re.findall(r"`(tests/[\w./]+)`", row[-1])
        assert named or "**not defended" in row[1], row
        for name in named:
            assert (ROOT / name).exists(), name
