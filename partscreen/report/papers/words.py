"""Fixed sentences in several languages, from one file."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from partscreen.errors import Problem, UnusableInput
from partscreen.report.papers.chosen import local

LANGUAGES = ("en", "de", "es", "pt")
FILE = Path(__file__).parent / "refund_words.toml"
_TERMINAL = re.compile(r"\b(base|emitter|collector)=(open|shorted)\b")
DECIMAL = {"en": ".", "de": ",", "es": ",", "pt": ","}


@lru_cache(maxsize=1)
def table() -> dict[str, dict[str, str]]:
    """Every sentence by key and language."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Words:
    """The sentences of one language."""

    language: str

    def __call__(self, key: str, **filled: str | int) -> str:
        """A sentence with its places filled in. Figures among them come with the language's decimal mark already."""
        return table()[key][self.language].format(**filled)

    def figure(self, text: str) -> str:
        """A figure, or conditions, with the language's decimal mark."""
        return local(text, DECIMAL[self.language])

    def conditions(self, text: str) -> str:
        """Conditions: decimal mark, and an open or shorted terminal in the language's words."""
        shown = _TERMINAL.sub(lambda m: f"{self(m[1])} {self(m[2])}", text)
        return self.figure(shown)


def words_of(language: str) -> Words:
    """Raises UnusableInput for a language that is not there."""
    if language not in LANGUAGES:
        fix = f"give one of {', '.join(LANGUAGES)}"
        raise UnusableInput([Problem("PAPER_LANGUAGE", f"{language!r} is no language of the sheet", fix, "--language")])
    return Words(language)
