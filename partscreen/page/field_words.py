"""Words and fields of forms: sentences that name files and commands told with fields; texts that come back exactly."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from partscreen.page.book.words import on_the_page
from partscreen.report.papers.visible import UNSEEN, number_of

# What a sentence calls an option of a command, the page calls by the words on its field.
_FIELDS = {
    "--power": "Bad parts the readings find",
    "--false-alarm": "Good parts they reject",
    "--tolerable": "Bad share to rule out",
    "--confidence": "How sure to be of it",
    "--allow": "Bad parts still allowed",
    "--lot-size": "Parts in the lot",
    "--sample": "Parts tested",
    "--found": "of these bad",
    "--good": "Bad share that should pass",
    "--bad": "Bad share that should not",
    "--per-rail": "Devices in parallel on a rail",
    "--emitter-resistor": "Emitter resistor",
    "--idle": "Idle current a device",
    "--temperature": "Case temperature",
    "--part": "Part",
    "--lot": "Lot",
    "--type": "Type marked on the parts",
    "--reference": "Types of my own",
    "--supplier": "Supplier",
    "--job": "Job",
    "--position": "Position",
    "--on": "Day",
    "--by": "Who",
    "--reason": "Reason",
    "--why": "Why",
    "--place": "Place",
    "--days": "Days in service",
    "--cause": "Cause of a failure",
    "--to": "Decision",
    "--photo": "Photos",
    "--resistor": "Emitter resistor",
    "--current": "Current",
    "--voltage": "Voltage",
    "--time": "Time",
    "--head": "A head printed before",
    "--release": "release",
}
_OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]*[a-z]")
_ON = "on the page of how the files were understood"
# What a sentence asks to be written into a lot sheet, the page has a field for.
_SHEET = (
    (" marked known_good = yes in the lot sheet", f" of their own; set “Known to be good” to yes {_ON},"),
    ("in the lot sheet or with --type", f"under “Type marked on the parts”, {_ON}"),
    ("bring its figures with --reference", "copy its data sheet under “Types of my own”"),
)
_UNSENDABLE = re.compile("[\x00-\x08\x0b-\x1f\ud800-\udfff]")  # no HTML can carry these (HTML standard, 13.2.3.5)
_ENDS = re.compile(r"[\r\n]+")


def fields(words: str) -> str:
    """A sentence that names commands, options and files, with pages and fields; other options are said to be such."""
    told = on_the_page(words)
    for sheet, field in _SHEET:
        told = told.replace(sheet, field)
    return _OPTION.sub(lambda m: f"“{_FIELDS[m[0]]}”" if m[0] in _FIELDS else f"{m[0]} (command line)", told)


def _sendable(text: str) -> str:
    return _UNSENDABLE.sub(lambda m: number_of(m.group()), text)


def sent(value: object) -> Markup:
    """A text for a field that is sent again: exactly as it is, while everywhere else unseen signs stand as numbers.

    An unseen sign is written as a reference (&#8238;), so that it turns nothing in the source of the page either. What
    HTML cannot carry stands as its number here too.
    """
    return Markup(UNSEEN.sub(_reference, str(escape(_sendable(str(value))))))


def _reference(match: re.Match[str]) -> str:
    letter = match.group()
    plain = letter in "\t\n" or "\x7f" <= letter < "\xa0"  # a reference to one of the latter means another sign
    return letter if plain else f"&#{ord(letter)};"


def comes_back(told: str, known: str) -> bool:
    """Whether a line field that was filled with `known` was sent unchanged, with what a browser makes of it."""
    return told == known or told == _ENDS.sub("", _sendable(known)).strip()
