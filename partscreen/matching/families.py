"""Which types may be matched with which: one type with itself, an NPN type with its complement."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.matching.stock import PartCurves
from partscreen.results import Reason
from partscreen.results.matching import Unmatched

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Family:
    """Parts that may be matched: rows of the stock. `b` is empty in groups of one type."""

    name: str
    a: Ints
    b: Ints


def one_type_each(parts: Sequence[PartCurves]) -> list[Family]:
    """A family for every type."""
    types = sorted({(p.polarity, p.type) for p in parts})
    none = np.zeros(0, dtype=np.int64)
    return [Family(name, _rows(parts, name), none) for _, name in types]


def complements(
    parts: Sequence[PartCurves], complement_of: Callable[[str], str | None]
) -> tuple[list[Family], list[Reason], list[Unmatched]]:
    """A family for every NPN type and its complement; one NPN and one PNP type are taken together in any case."""
    npn = sorted({p.type for p in parts if p.polarity == "NPN"})
    pnp = sorted({p.type for p in parts if p.polarity == "PNP"})
    families, reasons = [], []
    for a in npn:
        b = next((b for b in pnp if complement_of(a) == b or complement_of(b) == a), None)
        if b is None and len(npn) == len(pnp) == 1:
            b = pnp[0]
            reasons.append(
                Reason(
                    code="NOT_COMPLEMENTS",
                    sentence=f"{a} and {b} are not named as complements of each other in the library; they are paired "
                    "because they are the only types here.",
                )
            )
        if b is not None:
            families.append(Family(f"{a} with {b}", _rows(parts, a), _rows(parts, b)))
    used = {int(row) for family in families for row in (*family.a, *family.b)}
    alone = [
        Unmatched(part=p.part, lot=p.lot, why=f"no complement of {p.type} among the parts")
        for row, p in enumerate(parts)
        if row not in used
    ]
    return families, reasons, alone


def _rows(parts: Sequence[PartCurves], name: str) -> Ints:
    return np.array([i for i, p in enumerate(parts) if p.type == name], dtype=np.int64)
