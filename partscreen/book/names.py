"""Names in an export: as they are, or numbers in their place, so that lots can be shown to others.

Without names nothing that a person typed as free text leaves the book: people, suppliers, jobs, lots, parts, files,
kits and sittings become numbers in the order of the book, words outside a closed list are left out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

_CONDITIONS = frozenset(
    {"VCB", "VEB", "VCE", "VBE", "VEC", "IC", "IB", "IE", "f", "t", "TC", "TA", "TJ", "RBE", "V", "I", "forced_gain"}
)
_TERMINALS = frozenset({"base", "emitter", "collector"})
_TERMINAL_WORDS = frozenset({"open", "shorted", "short", "resistor"})
_GROUP = re.compile(r"[A-Z0-9]{1,2}")


class Names:
    """What an export calls things. `known_type` gives the library's number of a marked type, None where it has none."""

    def __init__(self, *, left_out: bool, known_type: Callable[[str], str | None]) -> None:
        self.left_out = left_out
        self._known_type = known_type
        self._numbers: dict[str, dict[Any, int]] = {}

    def _numbered(self, what: str, key: Any) -> str:
        known = self._numbers.setdefault(what, {})
        return f"{what}-{known.setdefault(key, len(known) + 1)}"

    def of(self, what: str, value: str | None, within: Any = None) -> str | None:
        """A supplier, lot, job, file, kit, session or set; `within`: what makes the name unique."""
        if value is None or not self.left_out:
            return value
        return self._numbered(what, (within, value))

    def part(self, supplier: str | None, lot: str | None, part: str | None) -> str | None:
        """A part's number; without names its place in its lot."""
        if part is None or not self.left_out:
            return part
        known = self._numbers.setdefault(f"part of {supplier!r} {lot!r}", {})
        return str(known.setdefault(part, len(known) + 1))

    def text(self, value: str | None) -> str | None:
        """Free text, or a person."""
        return None if self.left_out else value

    def type(self, value: str | None) -> str | None:
        """A type number; without names only one that the library knows."""
        return self._known_type(value) if self.left_out and value else value

    def gain_group(self, value: str | None) -> str | None:
        """The letter of a gain group."""
        return None if self.left_out and value and not _GROUP.fullmatch(value) else value

    def conditions(self, told: Mapping[str, Any]) -> str:
        """Conditions of a spot reading as `VCB=10, f=1e+06`, SI units."""
        return ", ".join(f"{key}={value}" for key, value in told.items() if self._may(key, value))

    def _may(self, key: str, value: Any) -> bool:
        if not self.left_out or (key in _CONDITIONS and isinstance(value, int | float)):
            return True
        return key in _TERMINALS and (isinstance(value, int | float) or value in _TERMINAL_WORDS)
