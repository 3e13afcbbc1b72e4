"""Operating curves: the chance that a plan accepts a lot, by the bad parts in it.

A plan reads `n` parts and accepts the lot if at most `c` of them count against it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv
from scipy.stats import binom, hypergeom

from partscreen.lots.readings_power import PERFECT, ReadingsPower

Floats = npt.NDArray[np.float64]

MOST_POINTS = 120  # of an operating curve that is printed or drawn


def apparent_share(share: npt.ArrayLike, readings: ReadingsPower = PERFECT) -> Floats:
    """Share of parts that count against the lot, from the share that is bad; any shape, 0 to 1."""
    share = np.asarray(share, dtype=float)
    return np.asarray(share * readings.against_if_bad + (1.0 - share) * readings.against_if_good)


def true_share(apparent: npt.ArrayLike, readings: ReadingsPower = PERFECT) -> Floats:
    """Inverse of `apparent_share`, kept within 0 to 1."""
    low, high = readings.against_if_good, readings.against_if_bad
    return np.asarray(np.clip((np.asarray(apparent, dtype=float) - low) / (high - low), 0.0, 1.0))


def accepted_from_process(n: int, c: int, share: npt.ArrayLike, readings: ReadingsPower = PERFECT) -> Floats:
    """Chance of acceptance of a lot much larger than the sample (binomial).

    Parameters
    ----------
    n, c : parts read, and how many of them may count against the lot
    share : bad share, any shape
    """
    return np.asarray(binom.cdf(c, n, apparent_share(share, readings)))


def accepted_from_lot(lot_size: int, n: int, c: int, bad: npt.ArrayLike, readings: ReadingsPower = PERFECT) -> Floats:
    """Chance of acceptance of a lot of `lot_size` parts that holds `bad` bad ones (hypergeometric, exact).

    Parameters
    ----------
    n : parts read, drawn at random without putting back, at most `lot_size`
    bad : whole numbers 0 to `lot_size`, any shape

    Raises
    ------
    ValueError
        A sample larger than the lot, or more bad parts than parts.
    """
    bad = np.asarray(bad, dtype=int)
    if n > lot_size or np.any(bad > lot_size) or np.any(bad < 0):
        raise ValueError(f"{n} read, up to {bad.max(initial=0)} bad, of a lot of {lot_size}")
    if readings.perfect:
        return np.asarray(hypergeom.cdf(c, lot_size, bad, n))
    drawn = _likely_drawn(lot_size, n, bad)
    given = _accepted_with_bad_in_sample(n, c, drawn, readings)
    weights = hypergeom.pmf(drawn, lot_size, bad[..., None], n)
    return np.asarray(np.minimum(weights @ given, 1.0))


def _likely_drawn(lot_size: int, n: int, bad: npt.NDArray[np.int_]) -> npt.NDArray[np.int_]:
    """Numbers of bad parts a sample may hold, without those of a chance below 1e-16 or so (Hoeffding)."""
    mean = n * bad / lot_size
    far = 4.5 * np.sqrt(min(n, lot_size - n)) + 1.0  # exp(-2 x 4.5^2) is 3e-18
    low = np.maximum(np.maximum(0, n + bad - lot_size), np.floor(mean - far))
    high = np.minimum(np.minimum(n, bad), np.ceil(mean + far))
    return np.arange(int(low.min()), int(high.max()) + 1)


def _accepted_with_bad_in_sample(n: int, c: int, bad: npt.NDArray[np.int_], readings: ReadingsPower) -> Floats:
    """Chance that at most c count against the lot, with so many bad parts in the sample; the shape of `bad`."""
    found = np.arange(min(c, n) + 1)[None]
    found_bad = binom.pmf(found, bad[:, None], readings.against_if_bad)
    rest = binom.cdf(c - found, n - bad[:, None], readings.against_if_good)
    return np.asarray(np.sum(found_bad * rest, axis=1))


def accepted(lot_size: int | None, n: int, c: int, share: npt.ArrayLike, readings: ReadingsPower = PERFECT) -> Floats:
    """Chance of acceptance by bad share; in a lot of known size the share is rounded to whole parts first."""
    if lot_size is None:
        return accepted_from_process(n, c, share, readings)
    bad = np.rint(np.asarray(share, dtype=float) * lot_size).astype(int)
    return accepted_from_lot(lot_size, n, c, bad, readings)


def share_accepted_with(chance: float, n: int, c: int, readings: ReadingsPower = PERFECT) -> float:
    """The bad share of a large lot that the plan accepts with this chance (0.1: the plan's LTPD at 10 %).

    0 where even a lot without bad parts is accepted more rarely, 1 where a lot of bad parts is accepted more often.
    """
    if c >= n:
        return 1.0
    return float(true_share(betaincinv(c + 1, n - c, 1.0 - chance), readings))


def curve_shares(lot_size: int | None, n: int, c: int, readings: ReadingsPower = PERFECT) -> Floats:
    """Bad shares at which to show a plan's curve: up to where nearly every lot is refused, at most 120 of them."""
    top = share_accepted_with(0.005, n, c, readings) if n else 1.0
    if lot_size is None:
        return np.linspace(0.0, max(top, 1e-6), 61)
    most = min(lot_size, max(int(np.ceil(top * lot_size)), min(lot_size, 10)))
    step = max(1, -(-most // MOST_POINTS))
    return np.arange(0, most + 1, step) / lot_size
