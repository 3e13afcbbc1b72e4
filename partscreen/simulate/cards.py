"""Type cards the simulator draws parts around: invented, shaped after published typical curves (`demo_cards.toml`)."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import INDEX, N_PARAMETERS, PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.errors import UnknownType

Floats = npt.NDArray[np.float64]

CARD_TEMPERATURE = 298.15  # the curves behind the cards are given at 25 degC [K]


@dataclass(frozen=True, slots=True)
class GainLimit:
    """A limit on hFE that the maker's last test applies: at `ic` [A] and `vce` [V], 25 degC; infinite where open."""

    ic: float
    vce: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class TypeCard:
    """A type as the simulator sees it.

    Attributes
    ----------
    theta : array, shape (n_parameters,)
        Typical part, in the coordinates of `partscreen.device.parameters`.
    constants : TypeConstants
    final_test : limits that sound parts of the type have passed at their maker
    shaped_after : str
        The published curves the card imitates.
    """

    type_number: str
    theta: Floats
    constants: TypeConstants
    final_test: tuple[GainLimit, ...]
    shaped_after: str


def theta_of(card: dict[str, float]) -> Floats:
    """Coordinates of a card given by name; logarithms of positive figures, as `partscreen.device.parameters` says."""
    theta = np.full(N_PARAMETERS, np.nan)
    for parameter in PARAMETERS:
        value = float(card[parameter.name])
        theta[INDEX[parameter.name]] = np.log(value) if parameter.log else value
    return theta


@lru_cache(maxsize=1)
def _all() -> dict[str, Any]:
    text = files("partscreen.simulate").joinpath("demo_cards.toml").read_text(encoding="utf-8")
    types: dict[str, Any] = tomllib.loads(text)["types"]
    return types


def card_names() -> tuple[str, ...]:
    """Types the simulator has a card of."""
    return tuple(_all())


def type_card(type_number: str) -> TypeCard:
    """The invented card of a type.

    Raises
    ------
    UnknownType
        The simulator has no card of it.
    """
    if type_number not in _all():
        raise UnknownType(type_number, card_names())
    entry = _all()[type_number]
    limits = tuple(
        GainLimit(float(row["ic"]), float(row["vce"]), float(row.get("min", 0.0)), float(row.get("max", np.inf)))
        for row in entry["final_test"]
    )
    constants = TypeConstants(
        polarity=entry["polarity"], ic_rated=float(entry["ic_rated"]), tnom=CARD_TEMPERATURE, **entry["constants"]
    )
    return TypeCard(type_number, theta_of(entry["card"]), constants, limits, entry["shaped_after"])
