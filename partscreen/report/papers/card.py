"""The power-up card: one page a stage of up to eight devices, to be taken to the bench and filled in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from partscreen.report.numbers import COVERAGE
from partscreen.report.papers.press import press
from partscreen.results.power_up import PowerUp, PowerUpPlace

SIZES = (10.0, 9.6, 9.2, 8.8, 8.4, 8.0, 7.6)  # of the letters [pt]: the largest that keeps a card on one page
SHORT = 18  # letters of a part's name that keep to one line beside the columns to be filled in
CLEAR = (
    "The checks of the stage found nothing that forbids power.",
    "The checks of the stage that could be made found nothing that forbids power.",
)
NO_SOURCE = (
    "Procedure and readings without a figure of this stage: common practice, no source. Local codes, licensed practice "
    "and the service manual come first."
)


def card_pdf(cards: Sequence[PowerUp]) -> bytes:
    """Cards as one PDF, each beginning a page.

    Raises
    ------
    ValueError
        No card.
    """
    if not cards:
        raise ValueError("no card to print")
    return press(
        "card", {"title": _title(cards[0]), "sizes": list(SIZES), "cards": [card_data(card) for card in cards]}
    )


def _title(card: PowerUp) -> str:
    return f"Power-up card: {card.name}" if card.name else "Power-up card"


def card_data(card: PowerUp) -> dict[str, Any]:
    """What the template prints; every text ready."""
    return {
        "title": _title(card),
        "channel": card.channel,
        "types": f"{card.npn} and {card.pnp}",
        "forbidden": bool(card.stop),
        "verdict": card.stop or [CLEAR[bool(card.not_known)]],
        "not_known": ", ".join(card.not_known),
        "marginal": ", ".join(card.marginal),
        "look_at": card.look_at,
        "cautions": card.cautions,
        "facts": card.facts,
        "checks": [[check.what, check.go_on, check.stop] for check in card.checks],
        "steps": [step.model_dump() for step in card.steps],
        "places": [_row(place) for place in card.places],
        "long_names": any(len(place.part or "") > SHORT for place in card.places),
        "notes": card.expected_words,
        "stops": card.stops,
        "source": NO_SOURCE,
        "program": f"partscreen {card.version}",
    }


def _row(place: PowerUpPlace) -> list[str]:
    """Place, part, resistor, cold, warm with its uncertainty, allowed; three cells stay blank."""
    ohms = "not known" if place.ohms is None else f"{place.ohms:.4g} Ω"
    marks = {"measured": " measured", "mean of the measured": " mean", "marked": " marked"}.get(
        place.ohms_from or "", ""
    )
    named = f"{place.resistor}, " if place.resistor else ""
    spread = "" if place.std is None else f" ± {COVERAGE * place.std * 1e3:.1f}"
    allowed = "not known"
    if place.low is not None and place.high is not None:
        allowed = f"{_mv(place.low)} to {_mv(place.high)}"
    warm = _mv(place.warm) + spread
    return [place.place, place.part or "not known", f"{named}{ohms}{marks}", _mv(place.cold), warm, allowed]


def _mv(volts: float | None) -> str:
    return "not known" if volts is None else f"{volts * 1e3:.1f}"
