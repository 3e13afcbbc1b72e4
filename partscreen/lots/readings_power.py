"""How well readings tell a bad part from a good one: rejected, passed, or held as undecided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

HeldCounts = Literal["nothing", "against"]


@dataclass(frozen=True, slots=True)
class ReadingsPower:
    """Chances of the three outcomes of reading one part.

    A part is first held or decided; `power` and `false_alarm` are chances among the decided ones, so that any of the
    numbers may be changed alone.

    Parameters
    ----------
    power : that a bad part, if decided, is rejected (sensitivity). 0 to 1, above `false_alarm`.
    false_alarm : that a good part, if decided, is rejected (1 - specificity). 0 to 1.
    held_if_good, held_if_bad : that a part stays undecided. 0 to below 1.
    held_counts : what a held part counts in a rule that counts bad parts: "nothing", or "against" the lot as a
        rejected one does.

    Raises
    ------
    ValueError
        A chance outside its range, or a power that does not exceed the false alarms.
    """

    power: float = 1.0
    false_alarm: float = 0.0
    held_if_good: float = 0.0
    held_if_bad: float = 0.0
    held_counts: HeldCounts = "nothing"

    def __post_init__(self) -> None:
        for name in ("power", "false_alarm", "held_if_good", "held_if_bad"):
            value = getattr(self, name)
            if not 0.0 <= value <= 1.0:
                raise ValueError(f"{name} is {value}; a chance lies between 0 and 1")
        if max(self.held_if_good, self.held_if_bad) >= 1.0:
            raise ValueError("readings that hold every part decide nothing")
        if self.against_if_bad <= self.against_if_good:
            raise ValueError("bad parts must be counted against the lot more often than good ones")

    @property
    def against_if_bad(self) -> float:
        """Chance that a bad part counts against the lot."""
        held = self.held_if_bad if self.held_counts == "against" else 0.0
        return (1.0 - self.held_if_bad) * self.power + held

    @property
    def against_if_good(self) -> float:
        """Chance that a good part counts against the lot."""
        held = self.held_if_good if self.held_counts == "against" else 0.0
        return (1.0 - self.held_if_good) * self.false_alarm + held

    @property
    def passes_if_bad(self) -> float:
        """Chance that a bad part passes."""
        return (1.0 - self.held_if_bad) * (1.0 - self.power)

    @property
    def perfect(self) -> bool:
        """Whether every bad part and no good one counts against the lot."""
        return self.against_if_bad == 1.0 and self.against_if_good == 0.0


PERFECT = ReadingsPower()
