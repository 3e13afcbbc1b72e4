"""The smallest single plan that passes good lots and stops bad ones: two points of the operating curve."""

from __future__ import annotations

from collections.abc import Callable

from partscreen.lots.operating_curve import accepted_from_lot, accepted_from_process
from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.lots.zero_acceptance import OutOfReach, least_bad, most_bad, sample_size

LARGEST_ACCEPTANCE = 3000
LOOK_BACK = 12


def two_point_plan(
    good: float,
    bad: float,
    producer_risk: float,
    consumer_risk: float,
    *,
    lot_size: int | None = None,
    readings: ReadingsPower = PERFECT,
) -> tuple[int, int]:
    """Smallest sample n and its acceptance number c.

    A lot with `good` bad share is refused with a chance of at most `producer_risk`, one with `bad` accepted with a
    chance of at most `consumer_risk`; in a lot of known size the shares are taken as whole parts, the good one rounded
    down, the bad one up.

    Raises
    ------
    ValueError
        `good` is not below `bad`, also after rounding to parts.
    OutOfReach
        No plan keeps both risks.
    """
    if not 0.0 <= good < bad < 1.0:
        raise ValueError(f"good is {good} and bad {bad}; 0 <= good < bad < 1 is needed")
    if lot_size is not None and most_bad(lot_size, good) >= least_bad(lot_size, bad):
        raise OutOfReach(f"in {lot_size} parts {good:.3g} and {bad:.3g} are the same number of bad parts")
    most = LARGEST_ACCEPTANCE
    if lot_size is not None:
        most = min(most, _most_in_reach(lot_size, bad, consumer_risk, readings))

    def smallest(c: int) -> tuple[int, bool]:
        """The sample that keeps the consumer's risk, and whether it keeps the producer's."""
        n = sample_size(bad, 1.0 - consumer_risk, lot_size=lot_size, c=c, readings=readings)
        return n, 1.0 - _passes(good, n, c, lot_size, readings) <= producer_risk * (1.0 + 1e-12)

    c = _first_that_keeps(lambda c: smallest(c)[1], most)
    if c is None:
        raise OutOfReach(f"no plan that accepts with up to {most} bad parts keeps both risks")
    return smallest(c)[0], c


def _most_in_reach(lot_size: int, bad: float, consumer_risk: float, readings: ReadingsPower) -> int:
    """The most that may be allowed if the whole lot is read; 0 where even none keeps the risk."""
    low, high = 0, lot_size - 1
    allowed = 1.0 - (1.0 - consumer_risk)  # rounded as where the sample is sought by its confidence
    while low < high:  # the chance to pass rises with the number allowed
        middle = (low + high + 1) // 2
        passes = float(accepted_from_lot(lot_size, lot_size, middle, least_bad(lot_size, bad), readings))
        low, high = (middle, high) if passes <= allowed else (low, middle - 1)
    return low


def _first_that_keeps(keeps: Callable[[int], bool], most: int) -> int | None:
    """The smallest c that keeps the risks: by doubling and halving, then every one of the last ones before it.

    The producer's risk falls with c but for small steps that whole numbers make, hence the last look.
    """
    high = 1
    while not keeps(min(high, most)):
        if high >= most:
            return 0 if keeps(0) else None
        high *= 2
    low, high = -1, min(high, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if keeps(middle) else (middle, high)
    return next(c for c in range(max(0, high - LOOK_BACK), high + 1) if c == high or keeps(c))


def _passes(good: float, n: int, c: int, lot_size: int | None, readings: ReadingsPower) -> float:
    if lot_size is None:
        return float(accepted_from_process(n, c, good, readings))
    return float(accepted_from_lot(lot_size, n, c, most_bad(lot_size, good), readings))
