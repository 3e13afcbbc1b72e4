"""Fonts of papers, and what to do about letters that none of them holds."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import lru_cache
from pathlib import Path
from typing import Any

from partscreen.report.papers.visible import each_text, number_of

_SHIPPED = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSansMono.ttf", "DejaVuSansMono-Bold.ttf")


def _folder() -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@lru_cache(maxsize=1)
def fonts() -> Any:
    """Fonts that come with typst and matplotlib; the machine's own only for letters that those do not have.

    Four files are copied, for the folder they come from also holds a font that has an empty box for every letter.
    """
    import typst

    place = tempfile.mkdtemp(prefix="partscreen_fonts_")
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    for name in _SHIPPED:
        shutil.copy(_folder() / name, place)
    return typst.Fonts(include_system_fonts=True, font_paths=[place])


@lru_cache(maxsize=1)
def _shipped_letters() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(_folder() / _SHIPPED[0])).get_charmap())


@lru_cache(maxsize=1)
def _own_letters() -> frozenset[int]:
    """Letters of the machine's own fonts; looked up only for a letter that the shipped ones do not hold."""
    from matplotlib.ft2font import FT2Font

    found: set[int] = set()
    for path in {font.path for font in fonts().fonts() if font.path}:
        try:
            found |= FT2Font(path).get_charmap().keys()
        except (RuntimeError, OSError):  # a font file that cannot be read holds no letters for us
            continue
    return frozenset(found)


def readable(text: str) -> str:
    """The text with every letter that no font holds as ⟨U+6DF1⟩, so that nobody meets an empty box."""
    if text.isascii():
        return text
    strange = {c for c in text if ord(c) > 127 and not c.isspace() and ord(c) not in _shipped_letters()}
    missing = {c for c in strange if ord(c) not in _own_letters() and c != "\N{ZERO WIDTH SPACE}"}
    return "".join(number_of(c) if c in missing else c for c in text) if missing else text


def all_readable(value: Any) -> Any:
    """`readable` for every text of nested lists and dicts."""
    return each_text(value, readable)
