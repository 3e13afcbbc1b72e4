"""Does a value meet a limit, given how well it was measured?

After JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in conformity assessment.
Specific risk belongs to one measured part; global risk to a stream of parts of known spread, before any is measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

Floats = npt.NDArray[np.float64]

CONFORMING, UNDECIDED, NONCONFORMING = 1, 0, -1
DECISION_WORDS = {CONFORMING: "conforming", UNDECIDED: "undecided", NONCONFORMING: "nonconforming"}

# ANSI/NCSL Z540.3 clause 5.3: probability of false acceptance at most 2 %.
DEFAULT_RISK = 0.02


class Spread(Protocol):
    """A frozen scipy.stats distribution of true values."""

    def pdf(self, x: float) -> float: ...
    def cdf(self, x: float) -> float: ...
    def ppf(self, q: float) -> float: ...


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Limits of one quantity, in its own unit; an open side is infinite."""

    low: float = -np.inf
    high: float = np.inf

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(f"lower limit {self.low} must lie below upper limit {self.high}")

    def shrunk(self, guard: float) -> Tolerance:
        """Acceptance limits: each closed side moved inward by the guard band (outward where it is negative)."""
        return Tolerance(self.low + guard, self.high - guard)


def conformance_probability(value: npt.ArrayLike, std: npt.ArrayLike, tolerance: Tolerance) -> Floats:
    """Probability that the true value lies within the limits, for a Gaussian estimate.

    Parameters
    ----------
    value, std : array, broadcastable to each other
        Estimate and its standard uncertainty, in the unit of the limits. `std` 0 means exactly known.

    Returns
    -------
    array
        Between 0 and 1; NaN where value or std is NaN.

    Raises
    ------
    ValueError
        A negative std.

    References
    ----------
    JCGM 106:2012, 7.2 to 7.4: pc = Phi((TU - y)/u) - Phi((TL - y)/u), one-sided by dropping a term.
    """
    y, u = np.broadcast_arrays(np.asarray(value, dtype=float), np.asarray(std, dtype=float))
    if np.any(u < 0):
        raise ValueError("a standard uncertainty is negative; it is a size and cannot be")
    exact = u == 0
    scale = np.where(exact, 1.0, u)
    up, down = (tolerance.high - y) / scale, (y - tolerance.low) / scale
    # Both tails subtracted from one: no cancellation where the value lies far outside one limit.
    within = np.where(up < down, ndtr(up) - ndtr(-down), ndtr(down) - ndtr(-up))
    sharp = np.where(np.isnan(y), np.nan, ((y >= tolerance.low) & (y <= tolerance.high)).astype(float))
    result: Floats = np.where(exact, sharp, np.clip(within, 0.0, 1.0))
    return result


def guard_band(std: npt.ArrayLike, risk: float) -> Floats:
    """One-sided guard band whose edge carries the specific consumer's risk `risk`: w = u * Phi^-1(1 - risk).

    Between two limits many uncertainties apart it holds for each side; where the limits are close, judge by
    `conformance_probability` instead, as `decide` does.

    References
    ----------
    JCGM 106:2012, 8.3.2 and A.4; ILAC-G8:09/2019 (w = 1.96 u keeps the risk below 2.5 %).
    """
    if not 0 < risk < 1:
        raise ValueError(f"risk is {risk}; a probability between 0 and 1 is expected (2 % is 0.02)")
    result: Floats = np.asarray(std, dtype=float) * float(ndtri(1 - risk))
    return result


def decide(probability: npt.ArrayLike, risk: float) -> npt.NDArray[np.int8]:
    """Three-way decision: CONFORMING when the chance of being wrong is at most `risk`, NONCONFORMING when that of the
    opposite claim is, else UNDECIDED (also for NaN).

    References
    ----------
    ISO 14253-1: uncertainty counts against whoever must prove; in between undecided.
    """
    if not 0 < risk <= 0.5:
        raise ValueError(f"risk is {risk}; between 0 and 0.5 is expected (0.5 is simple acceptance, 2 % is 0.02)")
    p = np.asarray(probability, dtype=float)
    with np.errstate(invalid="ignore"):
        return np.where(p >= 1 - risk, CONFORMING, np.where(p <= risk, NONCONFORMING, UNDECIDED)).astype(np.int8)


def _accepted(x: float, std: float, acceptance: Tolerance) -> float:
    return float(conformance_probability(x, std, acceptance))


def _integral(spread: Spread, std: float, acceptance: Tolerance, low: float, high: float, *, accepted: bool) -> float:
    """Integral over true values in [low, high] of density times probability of being accepted (or rejected)."""
    from scipy.integrate import quad

    low, high = max(low, float(spread.ppf(1e-14))), min(high, float(spread.ppf(1 - 1e-14)))
    if not low < high:
        return 0.0

    def integrand(x: float) -> float:
        p = _accepted(x, std, acceptance)
        return float(spread.pdf(x)) * (p if accepted else 1 - p)

    # The acceptance probability turns over within a few std of each edge: piece by piece.
    edges = [e + k * std for e in (acceptance.low, acceptance.high) for k in (-4.0, 0.0, 4.0)]
    cuts = np.unique(np.clip([low, *edges, high], low, high))
    return float(sum(quad(integrand, a, b, epsabs=1e-12, epsrel=1e-10)[0] for a, b in pairwise(cuts)))


def global_consumer_risk(spread: Spread, std: float, tolerance: Tolerance, acceptance: Tolerance) -> float:
    """Probability that a part drawn from `spread` is nonconforming and yet accepted (JCGM 106:2012, 9.5.2)."""
    below = _integral(spread, std, acceptance, -np.inf, tolerance.low, accepted=True)
    above = _integral(spread, std, acceptance, tolerance.high, np.inf, accepted=True)
    return below + above


def global_producer_risk(spread: Spread, std: float, tolerance: Tolerance, acceptance: Tolerance) -> float:
    """Probability that a part drawn from `spread` conforms and is rejected all the same (JCGM 106:2012, 9.5.3)."""
    return _integral(spread, std, acceptance, tolerance.low, tolerance.high, accepted=False)


def acceptance_rate(spread: Spread, std: float, acceptance: Tolerance) -> float:
    """Share of parts that would be accepted; consumer's risk over it is the risk given acceptance."""
    return _integral(spread, std, acceptance, -np.inf, np.inf, accepted=True)


def global_guard_band(spread: Spread, std: float, tolerance: Tolerance, risk: float) -> float:
    """Guard band (same on each closed side) that brings the global consumer's risk down to `risk`.

    Zero is not a floor: where simple acceptance already does better, the band comes out negative.

    Raises
    ------
    ValueError
        No band reaches the risk: it is above the share of nonconforming parts, or the limits would cross.
    """
    from scipy.optimize import brentq

    far = 40 * std  # no part is measured that much off
    top = min((tolerance.high - tolerance.low) / 2 * (1 - 1e-9), far)

    def excess(guard: float) -> float:
        return global_consumer_risk(spread, std, tolerance, tolerance.shrunk(guard)) - risk

    if excess(-far) < 0 or excess(top) > 0:
        raise ValueError(f"no guard band brings the consumer's risk to {risk}")
    root: float = brentq(excess, -far, top, xtol=1e-10)
    return root


def capability(mean: float, std: float, tolerance: Tolerance) -> tuple[float, float]:
    """Cpk and the share outside the limits of a Gaussian process."""
    cpk = min(tolerance.high - mean, mean - tolerance.low) / (3 * std)
    return cpk, 1 - float(conformance_probability(mean, std, tolerance))
