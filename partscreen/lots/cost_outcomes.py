"""What each way of going on with a lot costs, by bad share: parts used, read, held, lost, sent back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.lots.operating_curve import apparent_share
from partscreen.lots.readings_power import PERFECT, ReadingsPower

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost, in one currency.

    Costs are counted beside the price already paid: a sound part that is fitted costs nothing more, a part that is not
    fitted (rejected, held, destroyed) costs its price again, a bad part that is fitted costs the harm.

    Parameters
    ----------
    price : of one part
    minute_value : of one minute at the bench
    harm : of one bad part fitted: repair, blown parts, a comeback; its own price included
    refund : share of the price that comes back with a lot sent back, 0 to 1
    return_cost : of sending one lot back: carriage, letters
    """

    price: float
    minute_value: float
    harm: float
    refund: float = 0.0
    return_cost: float = 0.0

    def __post_init__(self) -> None:
        for name in ("price", "minute_value", "harm", "return_cost"):
            if not getattr(self, name) >= 0.0:
                raise ValueError(f"{name} is {getattr(self, name)}; a cost is 0 or more")
        if not 0.0 <= self.refund <= 1.0:
            raise ValueError(f"refund is {self.refund}; a share lies between 0 and 1")


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a part.

    readings : how well it tells; minutes : it takes
    destroys : whether the part is lost by it
    held_minutes : further minutes that settle a held part, as well as the reading tells decided ones; None: a held
        part is not fitted
    """

    readings: ReadingsPower = PERFECT
    minutes: float = 0.0
    destroys: bool = False
    held_minutes: float | None = None


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of one part, by bad share: cost, further bench minutes (in the cost too), bad parts fitted."""

    cost: Floats
    minutes: Floats
    bad: Floats

    def given(self, chance: Floats) -> Fate:
        """The same where this fate has `chance` and the part is known to have met it; 0 where it cannot."""
        with np.errstate(invalid="ignore", divide="ignore"):
            cost, minutes, bad = (np.where(chance > 0.0, x / chance, 0.0) for x in (self.cost, self.minutes, self.bad))
        return Fate(cost, minutes, bad)

    def columns(self) -> Floats:
        """Cost, minutes, bad parts; shape (k, 3)."""
        return np.stack([self.cost, self.minutes, self.bad], axis=1)


def _sum(*fates: Fate) -> Fate:
    cost, minutes, bad = (np.sum([getattr(f, name) for f in fates], axis=0) for name in ("cost", "minutes", "bad"))
    return Fate(cost, minutes, bad)


def send_back(parts: int, prices: Prices) -> float:
    """Cost of sending back this many parts of a lot."""
    return parts * prices.price * (1.0 - prices.refund) + prices.return_cost


def used_unread(share: Floats, prices: Prices) -> Fate:
    """One part fitted unread."""
    return Fate(share * prices.harm, np.zeros_like(share), share)


def read_and_sorted(share: Floats, prices: Prices, how: Reading) -> Fate:
    """One part read now and fitted if it passes (or is settled so)."""
    minutes = np.full_like(share, how.minutes)
    reading = Fate(minutes * prices.minute_value, minutes, np.zeros_like(share))
    return _sum(reading, _passed(share, prices, how), _failed(share, prices, how), _held(share, prices, how))


def cleared_in_sample(share: Floats, prices: Prices, how: Reading) -> Fate:
    """One part of the sample that does not count against the lot, if the lot is kept; its reading is left out."""
    if how.destroys:
        return _lost(share, prices)
    clear = 1.0 - apparent_share(share, how.readings)
    if how.readings.held_counts == "against":
        return _passed(share, prices, how).given(clear)
    return _sum(_passed(share, prices, how), _held(share, prices, how)).given(clear)


def counted_in_sample(share: Floats, prices: Prices, how: Reading) -> Fate:
    """One part of the sample that counts against the lot, if the lot is kept; its reading is left out."""
    if how.destroys or how.readings.held_counts == "nothing":
        return _lost(share, prices)
    against = apparent_share(share, how.readings)
    return _sum(_failed(share, prices, how), _held(share, prices, how)).given(against)


def _lost(share: Floats, prices: Prices) -> Fate:
    none = np.zeros_like(share)
    return Fate(np.full_like(share, prices.price), none, none)


def _passed(share: Floats, prices: Prices, how: Reading) -> Fate:
    slipped = share * how.readings.passes_if_bad
    return Fate(slipped * prices.harm, np.zeros_like(share), slipped)


def _failed(share: Floats, prices: Prices, how: Reading) -> Fate:
    r = how.readings
    failed = share * (1.0 - r.held_if_bad) * r.power + (1.0 - share) * (1.0 - r.held_if_good) * r.false_alarm
    none = np.zeros_like(share)
    return Fate(failed * prices.price, none, none)


def _held(share: Floats, prices: Prices, how: Reading) -> Fate:
    """Held parts: not fitted, or settled by further minutes."""
    r = how.readings
    bad, good = share * r.held_if_bad, (1.0 - share) * r.held_if_good
    if how.held_minutes is None:
        none = np.zeros_like(share)
        return Fate((bad + good) * prices.price, none, none)
    minutes = (bad + good) * how.held_minutes
    slipped = bad * (1.0 - r.power)
    rejected = bad * r.power + good * r.false_alarm
    return Fate(minutes * prices.minute_value + slipped * prices.harm + rejected * prices.price, minutes, slipped)
