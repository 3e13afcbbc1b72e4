"""What each way of going on with a lot costs, by bad share: parts used, read, held, lost, sent back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

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
    """One way to read a part: how well it tells, the minutes it takes, whether the part is lost by it."""

    readings: ReadingsPower = PERFECT
    minutes: float = 0.0
    destroys: bool = False


def use_unread(share: Floats, prices: Prices) -> Floats:
    """Cost of fitting one part unread."""
    return share * prices.harm


def read_and_sort(share: Floats, prices: Prices, how: Reading) -> Floats:
    """Cost of reading one part and fitting it if it passes."""
    r = how.readings
    passes = share * r.passes_if_bad + (1.0 - share) * r.passes_if_good
    slipped = share * r.passes_if_bad * prices.harm
    return how.minutes * prices.minute_value + slipped + (1.0 - passes) * prices.price


def send_back(parts: int, prices: Prices) -> float:
    """Cost of sending back this many parts of a lot."""
    return parts * prices.price * (1.0 - prices.refund) + prices.return_cost


def cleared_in_sample(share: Floats, prices: Prices, how: Reading) -> Floats:
    """Cost of one part of the sample that did not count against the lot, if the lot is kept (minutes left out)."""
    if how.destroys:
        return np.full_like(share, prices.price)
    r = how.readings
    clear = share * (1.0 - r.against_if_bad) + (1.0 - share) * (1.0 - r.against_if_good)
    slipped = share * r.passes_if_bad * prices.harm
    passes = share * r.passes_if_bad + (1.0 - share) * r.passes_if_good
    held = np.maximum(clear - passes, 0.0)  # held parts that count for nothing
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(clear > 0.0, (slipped + held * prices.price) / clear, 0.0)
