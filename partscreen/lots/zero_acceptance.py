"""How many parts to read so that a lot that passes is good enough: none, or at most `c`, may count against it."""

from __future__ import annotations

import math
from collections.abc import Callable

from partscreen.lots.operating_curve import accepted_from_lot, accepted_from_process
from partscreen.lots.readings_power import PERFECT, ReadingsPower

TOLERABLE = 0.10
CONFIDENCE = 0.95
"""Defaults of the question (assumption: the bad share at which a bench stops trusting a lot, as for the judgement of a
screened lot, and the confidence usual in the trade)."""

LARGEST_SAMPLE = 10_000_000
_ROUNDING = 1e-9  # 0.07 x 100 is not 7 in binary: a share this near to a whole number of parts is that number


class OutOfReach(ValueError):
    """No sample reaches what was asked; the message says what the whole lot would give."""


def least_bad(lot_size: int, share: float) -> int:
    """The smallest number of bad parts that is `share` of the lot or more, at least 1."""
    return max(1, math.ceil(share * lot_size - _ROUNDING * lot_size))


def most_bad(lot_size: int, share: float) -> int:
    """The largest number of bad parts that is `share` of the lot or less."""
    return math.floor(share * lot_size + _ROUNDING * lot_size)


def sample_size(
    tolerable: float,
    confidence: float,
    *,
    lot_size: int | None = None,
    c: int = 0,
    readings: ReadingsPower = PERFECT,
) -> int:
    """Smallest sample that accepts a lot with `tolerable` or more bad with a chance of at most 1 - `confidence`.

    Parameters
    ----------
    tolerable, confidence : between 0 and 1, both excluded
    lot_size : exact for this many parts (hypergeometric); None: a lot much larger than the sample (binomial)
    c : how many parts of the sample may count against the lot

    Raises
    ------
    OutOfReach
        Even the whole lot read leaves a larger risk: the readings miss too many, or `c` is too large.

    References
    ----------
    Success-run relation n = ln(1 - C) / ln(1 - p), as in AEC-Q100 sample sizes; MIL-PRF-19500 LTPD tables, c = 0.
    """
    _check_chances(tolerable=tolerable, confidence=confidence)
    risk = 1.0 - confidence
    if lot_size is None:
        top = LARGEST_SAMPLE

        def chance(n: int) -> float:
            return float(accepted_from_process(n, c, tolerable, readings))

    else:
        top, bad = lot_size, least_bad(lot_size, tolerable)

        def chance(n: int) -> float:
            return float(accepted_from_lot(lot_size, n, c, bad, readings))

    n = _first(chance, risk, c + 1, top)
    if n is None:
        raise OutOfReach(_out_of_reach(lot_size, tolerable, c, chance(top)))
    return n


def _check_chances(**chances: float) -> None:
    for name, value in chances.items():
        if not 0.0 < value < 1.0:
            raise ValueError(f"{name} is {value}; it lies between 0 and 1")


def _first(chance: Callable[[int], float], risk: float, low: int, top: int) -> int | None:
    """The first n with chance(n) <= risk; the chance falls with n. None where even `top` does not reach it."""
    risk *= 1.0 + 1e-12
    if low > top or chance(top) > risk:
        return None
    high = low
    while chance(high) > risk:  # doubling first: large samples are dear to compute
        low, high = high + 1, min(2 * high, top)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(middle) <= risk else (middle + 1, high)
    return low


def _out_of_reach(lot_size: int | None, tolerable: float, c: int, left: float) -> str:
    if lot_size is None:
        return f"no sample of up to {LARGEST_SAMPLE} parts reaches that"
    bad = least_bad(lot_size, tolerable)
    allowed = f"with up to {c} allowed " if c else ""
    return (
        f"even with all {lot_size} parts read, a lot with {bad} bad one{'' if bad == 1 else 's'} would pass {allowed}"
        f"with a chance of {100 * left:.3g} %"
    )
