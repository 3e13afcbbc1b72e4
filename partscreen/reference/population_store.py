"""Populations computed beforehand: `reference_curves/populations.tsv`, by `python -m benchmarks.population_store`.

A line a type: name, polarity, key of its file, key of its content, and its population as JSON ("null" where it has
none). The first line holds a key of the process spreads and of this format. A population is used only where the keys
agree with what is there now; whatever has changed, or is not there, is computed. So the file saves time and decides
nothing; a test holds it to what is computed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.reference.library import packaged_directory
from partscreen.reference.population_constants import Grading
from partscreen.reference.population_spreads import SPREADS_FILE

if TYPE_CHECKING:
    from partscreen.reference.models import ReferenceType

Floats = npt.NDArray[np.float64]

STORE_FILE = "populations.tsv"
VERSION = 1
"""To be raised where the computation of a population changes: what was stored before is then no longer used."""

TRIANGLE = np.tril_indices(N_PARAMETERS)


def key_of_bytes(content: bytes) -> str:
    """Key of a text file; line ends do not matter."""
    return hashlib.sha256(content.replace(b"\r\n", b"\n")).hexdigest()[:32]


def key_of_type(of: ReferenceType) -> str:
    """Key of everything a type holds."""
    return hashlib.sha256(of.model_dump_json().encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class Entry:
    """One line. `text`: its population as JSON, read only when asked for."""

    name: str
    polarity: str
    file_key: str
    type_key: str
    text: str

    def fields(self) -> dict[str, Any] | None:
        """Fields of the `Population`; None where the type has none."""
        raw = json.loads(self.text)
        return None if raw is None else _decoded(self.name, raw)


@dataclass(frozen=True, slots=True)
class Store:
    """Entries by the key of the type's file, and of its content."""

    by_file: Mapping[str, Entry] = field(default_factory=dict)
    by_type: Mapping[str, Entry] = field(default_factory=dict)


@lru_cache(maxsize=4)
def load_store(folder: Path | None = None) -> Store:
    """The store of a folder (the packaged one by default); empty where missing or written for other spreads."""
    place = folder or packaged_directory()
    try:
        lines = (place / STORE_FILE).read_text(encoding="utf-8").splitlines()
        spreads = (place / SPREADS_FILE).read_bytes()
    except OSError:
        return Store()
    if not lines or lines[0] != head(spreads):
        return Store()
    entries = [Entry(*line.split("\t")) for line in lines[1:]]
    return Store({e.file_key: e for e in entries}, {e.type_key: e for e in entries})


def head(spreads: bytes) -> str:
    """First line of the file: this format and these spreads."""
    return f"partscreen.populations/{VERSION}\t{key_of_bytes(spreads)}"


def _decoded(name: str, raw: dict[str, Any]) -> dict[str, Any]:
    def matrix(key: str) -> Floats:
        out = np.zeros((N_PARAMETERS, N_PARAMETERS))
        out[TRIANGLE] = raw[key]
        out.T[TRIANGLE] = raw[key]
        return out

    infinite = {"var": np.inf, "ikr": np.inf}
    first, second = (Grading(**g) for g in raw["gradings"])
    return {
        "type_number": name,
        "centre": np.array(raw["centre"]),
        "centre_covariance": matrix("centre_covariance"),
        "between": matrix("between"),
        "within": matrix("within"),
        "constants": TypeConstants(**{**infinite, **raw["constants"]}),
        "gradings": (first, second),
        "sources": raw["sources"],
        "chi_square": raw["chi_square"],
        "dof": raw["dof"],
    }
