"""Part after part until enough is known: Wald's sequential plan, its boundaries and its exact risks.

After n parts with d against the lot: accept at d <= -h0 + s n, refuse at d >= h1 + s n, else read one more.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import xlogy

from partscreen.lots.operating_curve import apparent_share
from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.lots.stopping import against_in_lot, ln_choose

Floats = npt.NDArray[np.float64]
Decision = Literal["go on", "accept", "refuse"]
Outcome = Literal["pass", "fail", "held"]

_TINY = 1e-9
MOST_PARTS = 20_000


def log_bounds(producer_risk: float, consumer_risk: float) -> tuple[float, float]:
    """ln B and ln A: accept at or below the first, refuse at or above the second (A. Wald, 1947)."""
    return math.log(consumer_risk / (1.0 - producer_risk)), math.log((1.0 - consumer_risk) / producer_risk)


def walk_ratios(increments: Iterable[float], producer_risk: float, consumer_risk: float) -> tuple[Floats, Decision]:
    """Running sums of log likelihood ratios (bad against good) up to the decision, and the decision.

    Works for any readings whose log ratio is known: counted parts or measured values.
    """
    low, high = log_bounds(producer_risk, consumer_risk)
    sums: list[float] = []
    for increment in increments:
        sums.append((sums[-1] if sums else 0.0) + increment)
        if sums[-1] <= low:
            return np.array(sums), "accept"
        if sums[-1] >= high:
            return np.array(sums), "refuse"
    return np.array(sums), "go on"


@dataclass(frozen=True)
class SequentialPlan:
    """A sequential plan between a good and a bad share.

    Parameters
    ----------
    good, bad : bad shares of a lot to accept and of one to refuse, 0 < good < bad < 1 (good may be 0 where readings
        give false alarms)
    producer_risk, consumer_risk : chance to refuse the good lot and to accept the bad one
    last : parts after which a decision is forced (the lot size, or a chosen end); None: `default_last`
    readings : how well they tell a bad part
    """

    good: float
    bad: float
    producer_risk: float = 0.05
    consumer_risk: float = 0.10
    last: int | None = None
    readings: ReadingsPower = PERFECT

    def __post_init__(self) -> None:
        p0, p1 = self.apparent
        if not 0.0 < p0 < p1 < 1.0:
            raise ValueError(
                f"the share found must lie between 0 and 1 and rise from good to bad; found {p0:.3g} and {p1:.3g}"
            )
        if self.producer_risk + self.consumer_risk >= 1.0 or min(self.producer_risk, self.consumer_risk) <= 0.0:
            raise ValueError("both risks lie above 0 and together below 1")

    @cached_property
    def apparent(self) -> tuple[float, float]:
        """Shares of parts that count against a good and a bad lot."""
        return float(apparent_share(self.good, self.readings)), float(apparent_share(self.bad, self.readings))

    @cached_property
    def _gain(self) -> float:
        p0, p1 = self.apparent
        return math.log(p1 * (1.0 - p0) / (p0 * (1.0 - p1)))

    @cached_property
    def slope(self) -> float:
        """s: parts against the lot that each further part allows."""
        p0, p1 = self.apparent
        return math.log((1.0 - p0) / (1.0 - p1)) / self._gain

    @cached_property
    def h0(self) -> float:
        """Height of the acceptance line below 0."""
        return -log_bounds(self.producer_risk, self.consumer_risk)[0] / self._gain

    @cached_property
    def h1(self) -> float:
        """Height of the refusal line above 0."""
        return log_bounds(self.producer_risk, self.consumer_risk)[1] / self._gain

    @cached_property
    def end(self) -> int:
        """Parts after which a decision is forced."""
        return self.last if self.last is not None else self.default_last()

    def default_last(self) -> int:
        """Four times the largest of the average numbers, where hardly any lot is undecided (assumption)."""
        middle = self.h0 * self.h1 / (self.slope * (1.0 - self.slope))
        return min(MOST_PARTS, math.ceil(4.0 * max(middle, *self.average_numbers(), self.first_accept())))

    def accept_at(self, n: npt.ArrayLike) -> npt.NDArray[np.int64]:
        """Accept with so many against the lot or fewer after n parts; -1: not yet. At the end: as the ratio leans."""
        n = np.asarray(n)
        line = np.floor(self.slope * n - self.h0 + _TINY)
        return np.where(n >= self.end, self._lean(), np.maximum(line, -1)).astype(np.int64)

    def refuse_at(self, n: npt.ArrayLike) -> npt.NDArray[np.int64]:
        """Refuse with so many against the lot or more after n parts (beyond n: not yet)."""
        n = np.asarray(n)
        line = np.ceil(self.slope * n + self.h1 - _TINY)
        return np.where(n >= self.end, self._lean() + 1, line).astype(np.int64)

    def _lean(self) -> int:
        """Most against the lot at the end with which it still is likelier good than bad."""
        return math.floor(self.slope * self.end + _TINY)

    def first_accept(self) -> int:
        """Fewest parts after which a lot can be accepted."""
        return math.ceil(self.h0 / self.slope - _TINY)

    def first_refuse(self) -> int:
        """Fewest parts after which a lot can be refused."""
        return math.ceil(self.h1 / (1.0 - self.slope) - _TINY)

    def average_numbers(self) -> tuple[float, float]:
        """Wald's approximate average number of parts for a good and a bad lot, without an end."""
        low, high = log_bounds(self.producer_risk, self.consumer_risk)
        p0, p1 = self.apparent
        up, down = math.log(p1 / p0), math.log((1.0 - p1) / (1.0 - p0))
        a, b = self.producer_risk, self.consumer_risk
        at_good = ((1.0 - a) * low + a * high) / (p0 * up + (1.0 - p0) * down)
        at_bad = (b * low + (1.0 - b) * high) / (p1 * up + (1.0 - p1) * down)
        return at_good, at_bad

    def log_ratio(self, outcome: Outcome) -> float:
        """What one part adds to the log likelihood ratio; a held part counts as the readings say."""
        p0, p1 = self.apparent
        held_against = outcome == "held" and self.readings.held_counts == "against"
        if outcome == "fail" or held_against:
            return math.log(p1 / p0)
        return math.log((1.0 - p1) / (1.0 - p0))

    def decide(self, outcomes: Sequence[Outcome]) -> tuple[Decision, int, int]:
        """Decision after these parts, in order; the number of parts it took and of those against the lot.

        Parts after the decision are not counted.
        """
        against = 0
        for n, outcome in enumerate(outcomes, 1):
            against += self.log_ratio(outcome) > 0.0
            if against <= self.accept_at(n):
                return "accept", n, against
            if against >= self.refuse_at(n):
                return "refuse", n, against
        return "go on", len(outcomes), against

    @cached_property
    def _stops(self) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], Floats, npt.NDArray[np.bool_]]:
        """All points where the walk ends: n, d, ln of the number of ways to get there first, accepted or not."""
        found: list[tuple[int, int, float, bool]] = []
        ln = np.array([0.0])  # ln ways to be alive after n parts with first, first + 1, ... against
        first = 0
        accept, refuse = self.accept_at(np.arange(self.end + 1)), self.refuse_at(np.arange(self.end + 1))
        for n in range(1, self.end + 1):
            wide = np.logaddexp(np.append(ln, -np.inf), np.insert(ln, 0, -np.inf))
            d = first + np.arange(wide.size)
            ends = (d <= accept[n]) | (d >= refuse[n])
            found += [
                (n, int(k), float(w), bool(k <= accept[n]))
                for k, w in zip(d[ends], wide[ends], strict=True)
                if w > -np.inf
            ]
            alive = np.flatnonzero(~ends)
            if not alive.size:
                break
            first, ln = int(d[alive[0]]), wide[alive]
        n_at, d_at, ways, taken = zip(*found, strict=True)
        return np.array(n_at), np.array(d_at), np.array(ways), np.array(taken)

    def operating(self, share: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Exact chance of acceptance and average number of parts, in a large lot; both in the shape of `share`."""
        n, d, ways, taken = self._stops
        p = apparent_share(share, self.readings)[..., None]
        chance = np.exp(ways + xlogy(d, p) + xlogy(n - d, 1.0 - p))
        return np.minimum((chance * taken).sum(axis=-1), 1.0), (chance * n).sum(axis=-1)

    def operating_in_lot(self, lot_size: int, bad: int) -> tuple[float, float]:
        """The same for a lot of `lot_size` parts with `bad` bad ones, read without putting back (exact).

        Raises
        ------
        ValueError
            The plan's end lies beyond the lot.
        """
        if self.end > lot_size:
            raise ValueError(f"the plan may read {self.end} parts, the lot has {lot_size}")
        n, d, ways, taken = self._stops
        against, weight = against_in_lot(lot_size, bad, self.readings)
        accepted = average = 0.0
        for k, w in zip(against, weight, strict=True):
            left, still = lot_size - n, k - d
            possible = (still >= 0) & (still <= left)
            chance = np.zeros(n.size)
            chance[possible] = np.exp(
                ways[possible] + ln_choose(left[possible], still[possible]) - ln_choose(lot_size, k)
            )
            accepted += float(w * chance[taken].sum())
            average += float(w * (chance * n).sum())
        return min(accepted, 1.0), average
