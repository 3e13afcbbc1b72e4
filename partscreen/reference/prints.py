"""What is printed on a part, turned into a type number. Nothing is guessed: several candidates are listed."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from partscreen.errors import UnknownType

if TYPE_CHECKING:
    from partscreen.reference.models import ReferenceType

# Gain group letters of Japanese types (common practice, no source), written apart from the number.
_JAPANESE_GROUPS = frozenset({"R", "O", "Y", "P", "G", "GR", "BL"})
_MOST_WORDS = 8  # a print has no more; a longer line is no type number
_TOO_SHORT = re.compile(r"\d+[A-Z]{0,2}")


@dataclass(frozen=True, slots=True)
class Resolution:
    """What a print was taken to mean. `how`: in words, empty where the print is the type number itself."""

    type: ReferenceType
    gain_group: str | None = None
    how: str = ""


class Types(Protocol):
    """What a print is looked up in: type numbers with their files, and each type by its number."""

    @property
    def files(self) -> Mapping[str, Path]: ...

    @property
    def names(self) -> tuple[str, ...]: ...

    def type(self, name: str) -> ReferenceType: ...

    def __iter__(self) -> Iterator[ReferenceType]: ...


def squeeze(printed: str) -> str:
    """Letters and digits of a print, upper case."""
    return "".join(c for c in printed.upper() if c.isalnum())


def resolve(library: Types, printed: str) -> Resolution:
    """See `Library.find`."""
    text = squeeze(printed)
    tried = [text] if text else []
    found = _candidates(library, text, printed)
    if not found and 1 < len(printed.split()) <= _MOST_WORDS:
        # Maker or package words around the number: each word alone, and neighbours together ("2N 3055").
        words = printed.split()
        pieces = [" ".join(words[i:j]) for i in range(len(words)) for j in range(i + 1, len(words) + 1)]
        for piece in sorted(pieces, key=len, reverse=True):
            if piece != printed:
                found |= {k: v for k, v in _candidates(library, squeeze(piece), piece).items() if k not in found}
                tried.append(squeeze(piece))
    if len(found) == 1:
        return next(iter(found.values()))
    if found:
        raise UnknownType(printed, tuple(sorted(found)))
    raise UnknownType(printed, _close(library, tried))


def _candidates(library: Types, text: str, printed: str) -> dict[str, Resolution]:
    """Every type this one piece of text may mean."""
    known = {squeeze(name): name for name in library.files}
    if text in known:
        return {known[text]: Resolution(library.type(known[text]))}
    if len(text) < 3 or _TOO_SHORT.fullmatch(text):
        return {}
    out: dict[str, Resolution] = {}
    for full, how in _short_forms(text):
        if full in known:
            out[known[full]] = Resolution(library.type(known[full]), None, how)
            continue
        for bare, name in known.items():
            found = _with_suffix(library, name, full[len(bare) :], printed, how) if full.startswith(bare) else None
            if found is not None:
                out[name] = found
        if full + "G" in known:
            name = known[full + "G"]
            out[name] = Resolution(library.type(name), None, f"{name} without its lead-free G")
    return out or _other_forms(library, text)


def _short_forms(text: str) -> list[tuple[str, str]]:
    out = [(text, "")]
    if re.match(r"[ABCD]\d{3,4}", text):
        out.append(("2S" + text, f"{text} is short for 2S{text}"))
    return out


def _with_suffix(library: Types, name: str, rest: str, printed: str, how: str) -> Resolution | None:
    """`rest` after the type number read as gain group, lead-free G, or both; None where it is neither."""
    kind = library.type(name)
    words = [how] if how else []
    apart = re.search(r"[\s\-(/_]\s*" + re.escape(rest) + r"\)?\s*$", printed.upper()) is not None
    if rest in kind.gain_groups:
        return Resolution(kind, rest, "; ".join([*words, f"gain group {rest}"]))
    if rest == "G":
        return Resolution(kind, None, "; ".join([*words, "G marks the lead-free part"]))
    for tail, meaning in (("G", "G marks the lead-free part"), ("TU", "TU is an order suffix")):
        if rest.endswith(tail) and rest[: -len(tail)] in kind.gain_groups:
            group = rest[: -len(tail)]
            return Resolution(kind, group, "; ".join([*words, f"gain group {group}, {meaning}"]))
    if apart and name.startswith("2S") and rest in _JAPANESE_GROUPS:
        known = ", ".join(kind.gain_groups) or "none"
        words.append(f"gain group {rest}, whose limits are not in the library (groups known: {known})")
        return Resolution(kind, rest, "; ".join(words))
    return None


def _other_forms(library: Types, text: str) -> dict[str, Resolution]:
    """Printed forms that files list ([device] printed): order codes, house numbers."""
    out: dict[str, Resolution] = {}
    for kind in library:
        for form, why in kind.device.printed.items():
            bare = squeeze(form)
            if text == bare:
                out[kind.name] = Resolution(kind, None, why)
            elif text.startswith(bare):
                found = _with_suffix(library, kind.name, text[len(bare) :], text, why)
                if found is not None:
                    out[kind.name] = found
    return out


def _close(library: Types, tried: list[str]) -> tuple[str, ...]:
    """Close names for the message: the same digits first, then alike spellings."""
    out: list[str] = []
    for text in tried:
        digits = max(re.findall(r"\d{3,}", text), key=len, default="")
        if digits:
            out.extend(n for n in library.names if digits in n)
        out.extend(difflib.get_close_matches(text, library.names, 5, 0.75))
    return tuple(dict.fromkeys(out))[:6]
