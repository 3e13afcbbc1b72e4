"""Packages and their pin order, as far as the library's package names tell."""

from __future__ import annotations

import re

from partscreen.reference.models import ReferenceType

_FAMILIES = (
    ("TO-3 metal", r"TO-204|TO-3(?!P)\b"),
    ("TO-264", r"TO-264"),
    ("MT-200", r"MT-200"),
    ("TO-3P", r"TO-3P|MT-100|TO-247|TO-218|SOT-93"),
    ("TO-220", r"TO-220"),
    ("TO-126", r"TO-126|TO-225|SOT-32"),
    ("TO-92", r"TO-92"),
)


def package_families(kind: ReferenceType) -> tuple[str, ...]:
    """Families of outline the package name belongs to; empty where it is not known."""
    name = kind.device.package
    return tuple(family for family, pattern in _FAMILIES if re.search(pattern, name))


def package_caution(old: ReferenceType, new: ReferenceType) -> str:
    """What to say of the two packages; empty where both names are the same.

    Outline families only: the library holds no pin order, so that pins are to be compared with the sheets anyway.
    """
    ours, theirs = old.device.package, new.device.package
    if not ours or not theirs:
        return "Package not known for both types: compare outline and pins with the sheets."
    if ours == theirs:
        return ""
    if set(package_families(old)) & set(package_families(new)):
        return f"Package {theirs} in place of {ours}: alike in outline, compare size, holes and pins."
    return f"Other package: {theirs} in place of {ours}. Holes, insulator and pins differ."
