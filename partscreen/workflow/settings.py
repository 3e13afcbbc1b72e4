"""Settings shared by the questions: the library, a temperature, a polarity."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnknownType, UnusableInput

if TYPE_CHECKING:
    from partscreen.reference import Library


def load_library(references: Sequence[Path] = ()) -> Library:
    """The library, files of the user before it."""
    from partscreen.reference import Library

    return Library.load(extra_files=tuple(references))


def polarity_of(library: Library, name: str | None) -> str | None:
    """NPN or PNP of a type; None: unknown."""
    if not name:
        return None
    try:
        return str(library.find(name).type.device.polarity)
    except UnknownType:
        return None


def kelvin(celsius: float | None) -> float | None:
    """Case temperature in kelvin.

    Raises
    ------
    UnusableInput
        It is no temperature of a transistor on a bench.
    """
    from partscreen.quantities import ZERO_CELSIUS

    if celsius is None:
        return None
    if not -70.0 <= celsius <= 220.0:
        fix = "give the case temperature in degrees Celsius, say --temperature 25"
        raise UnusableInput(
            [Problem("TEMPERATURE", f"{celsius:g} degC is no case temperature of a transistor on a bench", fix)]
        )
    return celsius + ZERO_CELSIUS
