"""Capacitance readings: held against a limit only where the sheet prints one, and beside published readings only of
the same maker
and process. Anything else is no reference: dies of one type number differ tenfold in capacitance between processes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from partscreen.results import Reason
from partscreen.screening.limits.spots import SpotTable
from partscreen.screening.reasons import QUANTITY_WORDS, capacitance_no_reference, capacitance_reference

_SYMBOLS = {"c_be": "C_BE", "c_cb": "C_CB"}


class FieldReadingLike(Protocol):
    """What is needed of `partscreen.reference.models.FieldReading`."""

    @property
    def quantity(self) -> str: ...
    @property
    def value(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def maker(self) -> str: ...
    @property
    def process(self) -> str: ...
    @property
    def author_judgement(self) -> str: ...
    @property
    def circumstances(self) -> str: ...


@dataclass(frozen=True, slots=True)
class FieldReference:
    """A published reading of one maker (and process), with its source in words."""

    reading: FieldReadingLike
    source: str


def _same(a: str | None, b: str | None) -> bool:
    return bool(a) and bool(b) and str(a).strip().casefold() == str(b).strip().casefold()


def matching_references(
    references: Sequence[FieldReference], symbol: str, maker: str | None, process: str | None
) -> list[FieldReference]:
    """References of the maker and process the lot names.

    A reading that tells its process counts only when that process is named; one that does not, when its maker is.
    """
    out = []
    for reference in references:
        told = reference.reading
        if told.quantity != symbol or told.author_judgement == "substituted":
            continue
        fits = _same(told.process, process) if told.process else _same(told.maker, maker) and not process
        if fits and (maker is None or not told.maker or _same(told.maker, maker)):
            out.append(reference)
    return out


def capacitance_remarks(
    tables: dict[str, SpotTable],
    judged: dict[str, np.ndarray],
    references: Sequence[FieldReference],
    maker: str | None,
    process: str | None,
) -> dict[int, tuple[Reason, ...]]:
    """Remarks by part. `judged`: per quantity, which parts had it held against a printed limit (shape (n_parts,))."""
    silent: dict[int, list[str]] = {}
    out: dict[int, list[Reason]] = {}
    for quantity, symbol in _SYMBOLS.items():
        table = tables.get(quantity)
        if table is None:
            continue
        found = matching_references(references, symbol, maker, process)
        for part, value in zip(table.part.tolist(), table.value.tolist(), strict=True):
            for reference in found:
                told = reference.reading
                who = " ".join(w for w in (told.maker, told.process) if w)
                out.setdefault(part, []).append(
                    capacitance_reference(symbol, value, told.value, who, told.unit, reference.source)
                )
            if not found and not judged[quantity][part] and QUANTITY_WORDS[quantity] not in silent.get(part, ()):
                silent.setdefault(part, []).append(QUANTITY_WORDS[quantity])
    for part, symbols in silent.items():
        out.setdefault(part, []).append(capacitance_no_reference(symbols))
    return {part: tuple(reasons) for part, reasons in out.items()}
