"""Robust statistics of a lot: scores against the lot's own middle, and the best split into two groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

QUARTILE_TO_STD = 1.35  # AEC-Q001: (Q3 - Q1) / 1.35; 2 Phi^-1(0.75) = 1.349, rounded there
PAT_MULTIPLE = 6.0  # AEC-Q001: robust mean +- 6 robust sigma (memory)

# The largest robust score of n clean Gaussian parts exceeds this in one lot of 500 (simulated, 20 000 to 200 000 lots
# a size): the quartiles of a small lot are too shaky for a flat 6.
_SIZES = np.array([6, 7, 8, 10, 12, 15, 20, 30, 50])
_SCORE_998 = np.array([17.54, 11.68, 10.18, 10.29, 8.18, 7.29, 6.51, 6.0, 6.0])

# The best split of n clean Gaussian parts exceeds this in one lot of 100 (simulated as above).
_SPLIT_SIZES = np.array([6, 7, 8, 10, 12, 15, 20, 30, 50, 100, 200, 500, 1000])
_SPLIT_99 = np.array([30.35, 19.47, 14.44, 9.96, 7.78, 6.14, 4.94, 3.86, 3.12, 2.59, 2.28, 2.06, 1.96])
SMALLEST_GROUP = 2  # one part alone is an outlier, not a group
SMALLEST_LOT = 6


def robust_centre(values: Floats) -> tuple[float, float]:
    """Median and robust sigma (Q3 - Q1)/1.35 after AEC-Q001; quartiles by linear interpolation (NumPy's default, type
    7)."""
    low, middle, high = np.quantile(values, [0.25, 0.5, 0.75])
    return float(middle), float((high - low) / QUARTILE_TO_STD)


def pat_limits(values: Floats) -> tuple[float, float]:
    """Part average testing limits after AEC-Q001: robust mean +- 6 robust sigma."""
    middle, sigma = robust_centre(values)
    return middle - PAT_MULTIPLE * sigma, middle + PAT_MULTIPLE * sigma


def modified_z(values: Floats) -> Floats:
    """0.6745 (x - median) / MAD (Iglewicz and Hoaglin, How to Detect and Handle Outliers, ASQC 1993; flag above
    3.5)."""
    away = values - np.median(values)
    with np.errstate(divide="ignore", invalid="ignore"):
        result: Floats = 0.6745 * away / np.median(np.abs(away))
    return result


def outlying(values: Floats, measured_std: float = 0.0) -> tuple[npt.NDArray[np.bool_], Floats]:
    """Parts far outside their lot, and their robust scores.

    The bar is 6 robust sigma (AEC-Q001), raised in lots below 30 so that a clean Gaussian lot is flagged once in 500.
    The
    scale is never taken smaller than the measurement itself. NaN is left out; fewer than 6 figures flag nothing.
    """
    score = np.full(values.shape, np.nan)
    known = np.isfinite(values)
    if known.sum() < SMALLEST_LOT:
        return np.zeros(values.shape, dtype=np.bool_), score
    middle, sigma = robust_centre(values[known])
    scale = max(sigma, measured_std)
    if scale <= 0:
        return np.zeros(values.shape, dtype=np.bool_), score
    score[known] = (values[known] - middle) / scale
    bar = max(PAT_MULTIPLE, float(np.interp(known.sum(), _SIZES, _SCORE_998)))
    with np.errstate(invalid="ignore"):
        return np.abs(score) > bar, score


@dataclass(frozen=True, slots=True)
class Split:
    """Best split of a lot into two groups on one figure.

    `low`, `high`: indices of the parts; `statistic`: sum of squares between over within; `bar`: what one clean lot in
    100
    of this size exceeds; `gap`: distance of the groups' nearest parts in standard deviations within the groups.
    """

    low: Ints
    high: Ints
    statistic: float
    bar: float
    gap: float

    @property
    def found(self) -> bool:
        """Two groups, beyond what one clean lot in 100 shows."""
        return self.statistic > self.bar

    @property
    def smaller_share(self) -> float:
        """Share of the smaller group."""
        return min(self.low.size, self.high.size) / (self.low.size + self.high.size)


def best_split(values: Floats, measured_std: float = 0.0) -> Split | None:
    """The split in two that leaves least scatter within the groups; None below 6 figures.

    A largest-of-all-splits statistic, judged against its own distribution on clean Gaussian lots of the same size. The
    scatter within is never taken smaller than the measurement itself, so that a lot of one die, read coarsely, is not
    cut.
    """
    known = np.flatnonzero(np.isfinite(values))
    n = known.size
    if n < SMALLEST_LOT:
        return None
    order = known[np.argsort(values[known], kind="stable")]
    x = values[order] - np.mean(values[order])
    k = np.arange(1, n)
    head, head_square = np.cumsum(x)[:-1], np.cumsum(x**2)[:-1]
    total, total_square = float(x.sum()), float((x**2).sum())
    mean_low, mean_high = head / k, (total - head) / (n - k)
    within = (head_square - k * mean_low**2) + (total_square - head_square - (n - k) * mean_high**2)
    within = np.maximum(within, (n - 2) * measured_std**2)
    between = k * (n - k) / n * (mean_high - mean_low) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(within > 0, between / within, 0.0)
    ratio[(k < SMALLEST_GROUP) | (n - k < SMALLEST_GROUP)] = -1.0
    best = int(np.argmax(ratio))
    spread = float(np.sqrt(within[best] / (n - 2)))
    gap = float((x[best + 1] - x[best]) / spread) if spread > 0 else 0.0
    bar = float(np.exp(np.interp(np.log(n), np.log(_SPLIT_SIZES), np.log(_SPLIT_99))))
    return Split(np.sort(order[: best + 1]), np.sort(order[best + 1 :]), float(ratio[best]), bar, gap)
