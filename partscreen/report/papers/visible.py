"""Text of people's files on paper: what cannot be seen, or turns the direction of writing, is shown by its number."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

# Control characters (line ends included: a name has none), joiners and blanks of no width, those that turn the
# direction of writing, lone surrogates, tags and other characters for private use or none.
UNSEEN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u2028-\u202e\u2060-\u206f"
    "\u3164\ud800-\udfff\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufffb\ufffe\uffff\U000e0000-\U000e0fff]"
)
_LONG_WORD = re.compile(r"\S{28,}")
_BREAK = "\N{ZERO WIDTH SPACE}"
_PIECE = 14


def visible(text: str) -> str:
    """The text with every unseen character as ⟨U+202E⟩; very long words may break. Nothing is left out."""
    shown = UNSEEN.sub(lambda m: number_of(m.group()), text)
    return _LONG_WORD.sub(_breakable, shown)


def _breakable(match: re.Match[str]) -> str:
    word = match.group()
    return _BREAK.join(word[i : i + _PIECE] for i in range(0, len(word), _PIECE))


def number_of(letter: str) -> str:
    """A letter by its number: ⟨U+202E⟩."""
    return f"⟨U+{ord(letter):04X}⟩"


def all_visible(value: Any) -> Any:
    """`visible` for every text of nested lists and dicts, keys excepted (they are ours)."""
    return each_text(value, visible)


def each_text(value: Any, change: Callable[[str], str]) -> Any:
    """Nested lists and dicts with every text changed; tuples come back as lists."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, dict):
        return {key: each_text(item, change) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [each_text(item, change) for item in value]
    return value
