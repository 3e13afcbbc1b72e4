"""What a user sets for one match."""

from __future__ import annotations

from dataclasses import dataclass

from partscreen.errors import Problem, UnusableInput
from partscreen.matching.distance import Tolerance
from partscreen.results.matching import MatchKind

AIMS = ("sum", "worst", "count", "worst-then-sum")
_SMALLEST_VBE = 0.5  # mV; a smaller tolerance was most likely meant in volts (assumption: no bench holds VBE to it)


@dataclass(frozen=True, slots=True)
class MatchOptions:
    """What to make and for which stage.

    kind : "pairs" (NPN with PNP), "groups" (`k` of one polarity) or "sets" (`k` NPN and `k` PNP each).
    aim : "sum" of the distances, "worst" pair, "count" within tolerance, "worst-then-sum".
    best : pairs or groups to make, or the number of sets; None: as many as there are.
    tolerance_hfe [%], tolerance_vbe [mV].
    by_vbe : groups by VBE alone. ways : further ways to pair to be told. prove : seconds to spend on a bound.
    power [W], load [ohm], signal, crest [dB], idle [A per device], per_rail, emitter_resistor [ohm] : the stage.
    buy_for : sets for which to say how many parts to buy.
    """

    kind: MatchKind = "pairs"
    k: int = 1
    aim: str = "sum"
    best: int | None = None
    tolerance_hfe: float = 10.0
    tolerance_vbe: float = 20.0
    held: bool = False
    lots: tuple[str, ...] = ()
    by_vbe: bool = False
    ways: int = 1
    prove: float = 0.0
    power: float | None = None
    load: float | None = None
    signal: str = "sine"
    crest: float | None = None
    idle: float | None = None
    per_rail: int | None = None
    emitter_resistor: float | None = None
    buy_for: int | None = None

    @property
    def tolerance(self) -> Tolerance:
        """The tolerances in SI units."""
        return Tolerance(self.tolerance_hfe, self.tolerance_vbe / 1e3)

    def checked(self) -> MatchOptions:
        """These options, if they can be.

        Raises
        ------
        UnusableInput
            Every option that cannot be, at once.
        """
        problems = [Problem("OPTION", what, fix) for wrong, what, fix in self._faults() if wrong]
        if problems:
            raise UnusableInput(problems)
        return self

    def _faults(self) -> list[tuple[bool, str, str]]:
        below = "give a number above 0"
        whole = "whole number above 0"
        return [
            (self.kind not in ("pairs", "groups", "sets"), f"kind {self.kind!r}", "pairs, groups or sets"),
            (self.aim not in AIMS, f"aim {self.aim!r} is not known", f"take one of {', '.join(AIMS)}"),
            (self.kind == "groups" and self.k < 2, f"groups of {self.k}", "a group has 2 parts or more"),
            (self.kind == "sets" and self.k < 1, f"{self.k} devices per rail", whole),
            (self.best is not None and self.best < 1, f"{self.best} asked for", whole),
            (self.ways < 1, f"{self.ways} ways", whole),
            (self.buy_for is not None and self.buy_for < 1, f"parts to buy for {self.buy_for} sets", whole),
            (not self.tolerance_hfe > 0, f"tolerance of hFE is {self.tolerance_hfe} %", below),
            (
                not self.tolerance_vbe >= _SMALLEST_VBE,
                f"tolerance of VBE is {self.tolerance_vbe} mV",
                f"it is in millivolts: for {self.tolerance_vbe} V give {self.tolerance_vbe * 1e3:g}",
            ),
            (
                self.kind == "sets" and self.aim != "sum",
                f"aim {self.aim} for channel sets",
                "channel sets are made by the smallest sum; leave --aim out",
            ),
            (
                self.kind == "groups" and self.aim != "sum" and not self.by_vbe,
                f"aim {self.aim} for groups by hFE and VBE together",
                "add --by-vbe (exact by VBE alone), or leave --aim out",
            ),
            (self.by_vbe and self.kind != "groups", "--by-vbe without --groups", "it is for groups of one polarity"),
            (
                self.emitter_resistor is not None and not self.emitter_resistor > 0,
                f"emitter resistor of {self.emitter_resistor} ohm",
                below,
            ),
            (self.per_rail is not None and self.per_rail < 1, f"{self.per_rail} devices per rail", whole),
        ]
