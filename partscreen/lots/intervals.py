"""What a test of a sample says of the share: intervals without a prior."""

from __future__ import annotations

from scipy.stats import binomtest, hypergeom

from partscreen.lots.operating_curve import true_share
from partscreen.lots.readings_power import PERFECT, ReadingsPower


def clopper_pearson(
    found: int, tested: int, confidence: float = 0.95, *, readings: ReadingsPower = PERFECT
) -> tuple[float, float]:
    """Exact two-sided interval of the bad share of a large lot; its chance to miss is at most 1 - `confidence`.

    With imperfect readings the limits of the apparent share are carried to the bad share.
    """
    interval = binomtest(found, tested).proportion_ci(confidence, method="exact")
    low, high = true_share([interval.low, interval.high], readings)
    return float(low), float(high)


def wilson(
    found: int,
    tested: int,
    confidence: float = 0.95,
    *,
    continuity: bool = False,
    readings: ReadingsPower = PERFECT,
) -> tuple[float, float]:
    """Wilson's score interval, two-sided: nearer to its confidence on average, not on every share."""
    interval = binomtest(found, tested).proportion_ci(confidence, method="wilsoncc" if continuity else "wilson")
    low, high = true_share([interval.low, interval.high], readings)
    return float(low), float(high)


def upper_limit(found: int, tested: int, confidence: float = 0.95, *, readings: ReadingsPower = PERFECT) -> float:
    """One-sided exact upper limit of the bad share of a large lot."""
    high = binomtest(found, tested, alternative="less").proportion_ci(confidence, method="exact").high
    return float(true_share(high, readings))


def lower_limit(found: int, tested: int, confidence: float = 0.95, *, readings: ReadingsPower = PERFECT) -> float:
    """One-sided exact lower limit of the bad share of a large lot."""
    low = binomtest(found, tested, alternative="greater").proportion_ci(confidence, method="exact").low
    return float(true_share(low, readings))


def most_bad_in_lot(found: int, tested: int, lot_size: int, confidence: float = 0.95) -> int:
    """One-sided exact upper limit of the number of bad parts in a lot, the found ones included (perfect readings).

    The largest number that would give `found` or fewer with a chance above 1 - `confidence`.
    """
    low, high = found, lot_size - (tested - found)
    while low < high:  # the chance falls with the number
        middle = (low + high + 1) // 2
        kept = float(hypergeom.cdf(found, lot_size, middle, tested)) > 1.0 - confidence
        low, high = (middle, high) if kept else (low, middle - 1)
    return low
