"""The tree of the site is what the start page lists: every heading there with its links is a branch.

So the start page reads well on a code host, and there is no second list to forget. A page that is not listed is in no
branch; Sphinx warns of it, and warnings are errors.
"""

from __future__ import annotations

import re
from typing import Any

_BRANCH = re.compile(r"^## (?P<title>.+?)\n(?P<body>.*?)(?=^## |\Z)", re.MULTILINE | re.DOTALL)
_LISTED = re.compile(r"^- \[(?P<words>[^\]]*)\]\((?P<page>[\w./-]+)\.md\)", re.MULTILINE)
_CHANGES = "What changed"  # this branch takes every note in docs/changes, so that nobody has to list them


def branches(start: str) -> list[tuple[str, list[str]]]:
    """Heading and entries of each branch of the start page, in its order and words."""
    found = []
    for branch in _BRANCH.finditer(start):
        listed = [(m["words"], m["page"]) for m in _LISTED.finditer(branch["body"])]
        if listed or branch["title"] == _CHANGES:
            places = [(words, f"/{page[3:]}" if page.startswith("../") else page) for words, page in listed]
            found.append((branch["title"], [f"{words} <{place}>" for words, place in places]))
    return found


def add_tree(app: Any, docname: str, source: list[str]) -> None:
    """Sphinx's `source-read`: the branches as hidden trees below the start page."""
    if docname != app.config.root_doc:
        return
    for title, pages in branches(source[0]):
        changes = title == _CHANGES
        lines = [":hidden:", f":caption: {title}", *((":glob:", ":reversed:") if changes else ()), "", *pages]
        lines += ["changes/*"] if changes else []
        source[0] += "\n\n```{toctree}\n" + "\n".join(lines) + "\n```\n"
