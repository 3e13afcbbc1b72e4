"""What a judgement was made with: hashes of the library and of the reference file of each type."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from partscreen.errors import UnknownType
from partscreen.reference.library import Library, packaged_directory
from partscreen.reference.population_spreads import SPREADS_FILE


def _hash(content: bytes) -> str:
    """Of a text file; line ends do not matter."""
    return hashlib.sha256(content.replace(b"\r\n", b"\n")).hexdigest()


def library_hash(library: Library) -> str:
    """One hash over every reference file a run could have used, and the process spreads."""
    spreads = packaged_directory() / SPREADS_FILE
    lines = [f"{name} {_hash(path.read_bytes())}" for name, path in sorted(library.files.items())]
    if spreads.is_file():
        lines.append(f"{SPREADS_FILE} {_hash(spreads.read_bytes())}")
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def reference_hashes(library: Library, types: Iterable[str | None]) -> dict[str, str]:
    """Hash of the reference file of each type that the library knows, by the name given."""
    found = {}
    for name in types:
        if name and name not in found:
            try:
                number = library.find(name).type.name
            except UnknownType:
                continue
            found[name] = _hash(library.files[number.upper()].read_bytes())
    return found
