"""Sentences of the bench book that name a command, with the page that does the same in its place."""

from __future__ import annotations

import re

_PAGES = {
    "show": "the part's, lot's or job's page",
    "where": "the page of where a lot's parts are",
    "fitted": "the form “A part is fitted”",
    "bias": "the form “Bias at sign-off”",
    "outcome": "the form “What became of it”",
    "observe": "the form “Something was seen”",
    "override": "the form “A person decides otherwise”",
    "approve": "the form “A second person's word”",
    "quarantine": "the form “Set aside, or released”",
    "stress": "the form “Something that may have changed a part”",
    "correct": "the page of that entry",
    "rescreen": "the page “Judge old readings again”",
    "remeasure": "the page “A part read again”",
    "kit-check": "the form “The instruments were checked”",
    "overdue": "the day list",
    "verify": "the page “Copies, tables, is the book unchanged?”",
    "backup": "the page “Copies, tables, is the book unchanged?”",
    "export": "the page “Copies, tables, is the book unchanged?”",
}
_WORD = r"(?:--[a-z-]+|[A-Z]{2,}(?:=[A-Z]+)?|\d+|\.\.\.|taken-out|on=DATE)"
_COMMAND = re.compile(
    rf"`?(?:partscreen )?book ({'|'.join(_PAGES)})(?: {_WORD}(?: (?!or\b|and\b|lists\b|names\b|it\b)[^\s;,()`]+)?)*`?"
)
_CORRECT_CELL = re.compile(r"book correct --file[^)]*")
_RECORD = re.compile(r"`?(?:partscreen )?screen FILES --record`?")


def on_the_page(text: str) -> str:
    """The sentence with pages in place of commands."""
    text = _CORRECT_CELL.sub("the form “A reading was typed wrongly”", text)
    text = _RECORD.sub("bring the files on the start page, with the bench book ticked under Settings", text)
    return _COMMAND.sub(lambda m: _PAGES[m[1]], text)
