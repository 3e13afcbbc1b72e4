"""Writing the populations computed beforehand; `population_store` reads them."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from partscreen.reference.population_store import TRIANGLE, head, key_of_bytes, key_of_type

if TYPE_CHECKING:
    from partscreen.reference.models import ReferenceType
    from partscreen.reference.population import Population

DIGITS = 13  # significant, written; more differ between machines


def store_text(found: Iterable[tuple[ReferenceType, bytes, Population | None]], spreads: bytes) -> str:
    """The file's text, from types with the bytes of their files and their populations."""
    lines = [head(spreads)]
    for of, content, population in found:
        text = json.dumps(None if population is None else _encoded(population), separators=(",", ":"))
        lines.append("\t".join((of.name, of.polarity, key_of_bytes(content), key_of_type(of), text)))
    return "\n".join(lines) + "\n"


def _rounded(values: Iterable[float]) -> list[float]:
    return [float(f"{v:.{DIGITS}g}") for v in values]


def _encoded(of: Population) -> dict[str, Any]:
    constants = {k: v for k, v in asdict(of.constants).items() if v != np.inf}  # JSON knows no infinity
    return {
        "centre": _rounded(of.centre),
        "centre_covariance": _rounded(of.centre_covariance[TRIANGLE]),
        "between": _rounded(of.between[TRIANGLE]),
        "within": _rounded(of.within[TRIANGLE]),
        "constants": constants,
        "gradings": [asdict(g) for g in of.gradings],
        "sources": of.sources,
        "chi_square": of.chi_square,
        "dof": of.dof,
    }
