"""Every code the program gives out, with a sentence, a meaning and an action; kept as data in `code_texts/`.

A code is stable: programs and people may look for it. The sentence says what is said with it in general; the answer
itself names the figures. One file of texts a theme, in the order of the pages.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class ExplainedCode:
    """A code: what is said, what it means, what to do; `theme` is where codes of its kind are met."""

    code: str
    says: str
    means: str
    do: str
    theme: str


@dataclass(frozen=True, slots=True)
class CodeTheme:
    """Codes that are met together: `where` they stand, the pages that say `more`."""

    title: str
    where: str
    more: tuple[str, ...]
    codes: tuple[ExplainedCode, ...]


@lru_cache(maxsize=1)
def code_themes() -> tuple[CodeTheme, ...]:
    """All codes by theme, in the order of the pages."""
    texts = [one for one in files("partscreen.results").joinpath("code_texts").iterdir() if one.name.endswith(".toml")]
    return tuple(_theme(one.read_text(encoding="utf-8")) for one in sorted(texts, key=lambda one: one.name))


def explained(code: str) -> ExplainedCode | None:
    """One code, however its letters are written; None where there is no such code."""
    wanted = code.strip().upper().replace("-", "_")
    return next((one for theme in code_themes() for one in theme.codes if one.code == wanted), None)


def _theme(text: str) -> CodeTheme:
    data = tomllib.loads(text)
    title = data["title"]
    codes = tuple(ExplainedCode(code, says, means, do, title) for code, (says, means, do) in data["codes"].items())
    return CodeTheme(title, data["where"], tuple(data["more"]), codes)
