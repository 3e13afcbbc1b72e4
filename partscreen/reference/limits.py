"""Printed limits of a type, one a side, with conditions, editions, basis and source. Typical values are never limits.

Ratings are no limits here: VCEO becomes one through the sheet's V(BR)CEO row, which says at which current it is tested.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.models import Basis, Characteristic, ReferenceType
from partscreen.reference.symbols import CHARACTERISTICS

REFERENCE_TEMPERATURE = ZERO_CELSIUS + 25.0


@dataclass(frozen=True, slots=True)
class Limit:
    """One side of one row.

    Attributes
    ----------
    symbol : str
        Unified symbol (hFE, VCE(sat), C_CB, ...).
    quantity : key in `partscreen.quantities`; None where no reading has it
    conditions : mapping of SI magnitudes: IC, VCE, IB, VCB, VEB, f, IE, RBE, VBE_off, ...
    temperature : float
        [K]. 298.15 where the file states none (`temperature_of` = "not stated").
    editions : ids of the editions that print it
    basis : "memory" where every source (of the editions asked for) is recalled
    is_limit, why_not : False with the reason where the figure is shown only
    """

    symbol: str
    side: Literal["min", "max"]
    value: float
    unit: str
    conditions: Mapping[str, float]
    temperature: float
    temperature_of: str
    editions: tuple[str, ...]
    basis: Basis
    doubt: str
    source: str
    source_ids: tuple[str, ...]
    gain_group: str | None = None
    quantity: str | None = None
    note: str = ""
    is_limit: bool = True
    why_not: str = ""
    typical: float | None = field(default=None, compare=False)

    @property
    def conditions_text(self) -> str:
        """Conditions in words, as a report prints them."""
        from partscreen.reference.wording import conditions_text

        return conditions_text(self.conditions)


def _rows(kind: ReferenceType, edition: str | None) -> list[tuple[Characteristic, tuple[str, ...]]]:
    """Rows with the sources that print them in the edition (all editions: all sources)."""
    if edition is None:
        return [(row, row.source) for row in kind.characteristics]
    known = {e.id: set(e.sources) for e in kind.sheet_editions}
    if edition not in known:
        raise KeyError(f"{kind.name} has no edition {edition!r}; it has {', '.join(known)}")
    rows = []
    for row in kind.characteristics:
        sources = tuple(s for s in row.source if s in known[edition])
        if sources:
            rows.append((row, sources))
    return rows


def limits(kind: ReferenceType, edition: str | None = None, gain_group: str | None = None) -> tuple[Limit, ...]:
    """Every printed limit of a type, those that cannot be used included (`is_limit` False, with the reason).

    Parameters
    ----------
    kind : ReferenceType
    edition : id of one edition; None: all, each limit naming its editions
    gain_group : the group the lot sheet names. Rows of a group count only for it; plain rows hold for every group.

    Raises
    ------
    KeyError
        The type has no such edition.
    """
    out: list[Limit] = []
    for row, sources in _rows(kind, edition):
        degrees, of = row.temperature
        why_not = row.limit_refused
        if not why_not and row.rank is not None and row.rank != gain_group:
            why_not = f"holds for gain group {row.rank} only" + (
                f", the lot is group {gain_group}" if gain_group else ""
            )
        for side in ("min", "max"):
            value = row.min if side == "min" else row.max
            if value is None:
                continue
            out.append(
                Limit(
                    symbol=row.symbol,
                    side="min" if side == "min" else "max",
                    value=value,
                    unit=row.unit,
                    conditions=dict(row.conditions),
                    temperature=REFERENCE_TEMPERATURE if degrees is None else degrees + ZERO_CELSIUS,
                    temperature_of=of,
                    editions=(edition,) if edition else kind.editions_of(sources),
                    basis=kind.basis(sources),
                    doubt=row.doubt,
                    source=kind.source_text(sources),
                    source_ids=sources,
                    gain_group=row.rank,
                    quantity=CHARACTERISTICS[row.symbol].quantity,
                    note=row.note,
                    is_limit=not why_not,
                    why_not=why_not,
                    typical=row.typ,
                )
            )
    return tuple(out)
