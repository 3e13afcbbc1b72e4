"""Reference types: what one type number should be, as printed, with the source of every figure.

The models are the file format of `reference_curves/*.toml` and of a `--reference` file; the rows are in
`partscreen.reference.rows`.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import Annotated, Literal

from pydantic import BeforeValidator, ConfigDict, Field

from partscreen.reference.rows import (
    Characteristic,
    Curve,
    FieldReading,
    Frozen,
    MarkingFact,
    Rating,
    SafeArea,
    Sources,
    as_tuple,
)

__all__ = [
    "Basis",
    "Characteristic",
    "Curve",
    "Device",
    "Edition",
    "FieldReading",
    "MarkingFact",
    "Note",
    "Rating",
    "ReferenceType",
    "SafeArea",
    "Source",
]

Basis = Literal["stored copy", "memory"]


class Device(Frozen):
    """The type number and what it is."""

    type_number: str = Field(min_length=2)
    polarity: Literal["NPN", "PNP"]
    construction: Literal["single", "darlington"] = "single"
    complement: str = ""
    package: str = ""
    maker: str = ""
    role: str = ""
    printed: dict[str, str] = Field(default_factory=dict)
    """Other printed forms of the same type, each with the reason it is one (order code, later package)."""


class Source(Frozen):
    """Where figures come from. Basis "memory": recalled, not read in a copy."""

    id: str = Field(min_length=1)
    title: str = Field(min_length=3)
    publisher: str = ""
    revision: str = ""
    address: str = ""
    basis: Basis

    @property
    def text(self) -> str:
        """One line naming the source."""
        bits = [self.publisher, self.title, self.revision]
        return ", ".join(b for b in bits if b) + (" (memory)" if self.basis == "memory" else "")


class Edition(Frozen):
    """One maker's data sheet at one revision or process. `from`, `to`: dates of it and of the maker's next one."""

    model_config = ConfigDict(populate_by_name=True)

    id: str = Field(min_length=1)
    maker: str = ""
    revision: str = ""
    from_: str = Field(default="", alias="from")
    to: str = ""
    sources: Sources
    note: str = ""


class Note(Frozen):
    """A remark on the type. `computed`: found by a cross-check of the figures, not written in the file."""

    text: str = Field(min_length=3)
    source: Annotated[tuple[str, ...], BeforeValidator(as_tuple)] = ()
    computed: bool = False


class ReferenceType(Frozen):
    """Everything known of one type number."""

    device: Device
    sources: tuple[Source, ...] = Field(min_length=1)
    editions: tuple[Edition, ...] = ()
    ratings: tuple[Rating, ...] = ()
    characteristics: tuple[Characteristic, ...] = ()
    curves: tuple[Curve, ...] = ()
    soa: tuple[SafeArea, ...] = ()
    marking: tuple[MarkingFact, ...] = ()
    readings: tuple[FieldReading, ...] = ()
    notes: tuple[Note, ...] = ()

    @property
    def name(self) -> str:
        """The type number."""
        return self.device.type_number

    @property
    def polarity(self) -> str:
        """NPN or PNP."""
        return self.device.polarity

    @property
    def is_darlington(self) -> bool:
        """Darlingtons get limits and lot statistics only."""
        return self.device.construction == "darlington"

    @cached_property
    def source_by_id(self) -> dict[str, Source]:
        """Sources by their id."""
        return {s.id: s for s in self.sources}

    @cached_property
    def gain_groups(self) -> tuple[str, ...]:
        """Gain groups the sheets name."""
        return tuple(dict.fromkeys(c.rank for c in self.characteristics if c.rank))

    @cached_property
    def sheet_editions(self) -> tuple[Edition, ...]:
        """Editions; a file without any is one edition, "sheet", of all its sources."""
        whole = Edition(id="sheet", maker=self.device.maker, sources=tuple(s.id for s in self.sources))
        return self.editions or (whole,)

    def editions_of(self, source: Iterable[str]) -> tuple[str, ...]:
        """Ids of the editions that any of these sources belongs to."""
        wanted = set(source)
        return tuple(e.id for e in self.sheet_editions if wanted & set(e.sources))

    def basis(self, source: Iterable[str]) -> Basis:
        """ "memory" where every one of these sources is recalled, else "stored copy"."""
        return "memory" if all(self.source_by_id[s].basis == "memory" for s in source) else "stored copy"

    def source_text(self, source: Iterable[str]) -> str:
        """These sources in words."""
        return "; ".join(self.source_by_id[s].text for s in source)

    def ratings_of(self, symbol: str, edition: str | None = None) -> tuple[Rating, ...]:
        """Ratings of a symbol, of one edition or of all."""
        return tuple(
            r for r in self.ratings if r.symbol == symbol and (edition is None or edition in self.editions_of(r.source))
        )

    def rating(self, symbol: str, edition: str | None = None) -> float | None:
        """The rating in its unit (SI, degC); where editions differ the largest; None where none prints it."""
        return max((r.value for r in self.ratings_of(symbol, edition)), default=None)
