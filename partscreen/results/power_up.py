"""What the power-up card of one stage says. SI units; unknown is None and the card says so."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from partscreen.results.base import Result

ResistorFrom = Literal["measured", "mean of the measured", "marked"]
"""Of this place, of all that were measured (the stage file does not say which stands where), or as printed."""


class PowerUpPlace(Result):
    """One device in its place and what its emitter resistor should read at idle. [V], [ohm]

    `cold`: on switching on, if the bias circuit did not follow the heat; `warm`: after the warm-up, the mean of the
    side at the target. `std`: standard uncertainty of `warm`. `low`, `high`: what the stage file allows. `ohms_from`:
    whence `ohms` is.
    """

    place: str
    type: str
    part: str | None = None
    resistor: str | None = None
    ohms: float | None = None
    ohms_from: ResistorFrom | None = None
    cold: float | None = None
    warm: float | None = None
    std: float | None = None
    low: float | None = None
    high: float | None = None


class PowerUpCheck(Result):
    """A check with the power off: where the meter goes, what lets you go on, what stops you."""

    what: str
    go_on: str
    stop: str


class PowerUpStep(Result):
    """A step with power. `blanks`: what is written down in it."""

    title: str
    words: str
    blanks: list[str] = Field(default_factory=list)


class PowerUp(Result):
    """The card.

    `stop`: why the stage must not be powered up (empty: nothing found); `not_known`: checks that could not be made;
    `marginal`: checks with little or nothing in hand; `look_at`: what lies outside but is put right by this very
    procedure. `channel`: which set of a match.
    """

    name: str
    channel: str = ""
    npn: str
    pnp: str
    version: str
    stop: list[str]
    not_known: list[str]
    marginal: list[str]
    look_at: list[str]
    cautions: list[str]
    facts: list[tuple[str, str]]
    checks: list[PowerUpCheck]
    steps: list[PowerUpStep]
    places: list[PowerUpPlace]
    expected_words: list[str]
    stops: list[str]
