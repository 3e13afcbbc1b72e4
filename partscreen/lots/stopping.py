"""Reading part after part and stopping early: what the whole lot would show, and how many parts it takes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln
from scipy.stats import binom

from partscreen.lots.operating_curve import apparent_share
from partscreen.lots.readings_power import PERFECT, ReadingsPower

Floats = npt.NDArray[np.float64]


def ln_choose(n: npt.ArrayLike, k: npt.ArrayLike) -> Floats:
    """ln of the number of ways to choose k of n; 0 <= k <= n."""
    n, k = np.asarray(n, dtype=float), np.asarray(k, dtype=float)
    return np.asarray(gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0))


def against_in_lot(lot_size: int, bad: int, readings: ReadingsPower = PERFECT) -> tuple[npt.NDArray[np.int64], Floats]:
    """How many parts of the whole lot would count against it if all were read: numbers and their chances.

    Parts are read in random order, so any first n of them are a draw without putting back from this number.
    """
    if readings.perfect:
        return np.array([bad]), np.array([1.0])
    of_bad = binom.pmf(np.arange(bad + 1), bad, readings.against_if_bad)
    of_good = binom.pmf(np.arange(lot_size - bad + 1), lot_size - bad, readings.against_if_good)
    chance = np.convolve(of_bad, of_good)
    kept = np.flatnonzero(chance > 1e-14)
    return kept, chance[kept]


def average_read_until_first(n: int, share: npt.ArrayLike, readings: ReadingsPower = PERFECT) -> Floats:
    """Average number of parts read of a large lot if reading stops at the first against it, at most n."""
    q = apparent_share(share, readings)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(q > 0.0, (1.0 - (1.0 - q) ** n) / q, float(n)))


def average_read_in_lot(lot_size: int, n: int, bad: int, readings: ReadingsPower = PERFECT) -> float:
    """The same in a lot of `lot_size` parts with `bad` bad ones (exact)."""
    against, chance = against_in_lot(lot_size, bad, readings)
    left = lot_size - np.arange(n)[:, None]  # unread when the next part is taken
    possible = against <= left
    ln = ln_choose(np.maximum(left, against), against) - ln_choose(lot_size, against)
    return float(np.where(possible, np.exp(ln), 0.0).sum(axis=0) @ chance)
