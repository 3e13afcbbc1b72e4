"""What is believed of a lot's bad share: a mixture of beta distributions, before and after parts were read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import betainc, betaln, gammaln, roots_jacobi, xlogy

from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.screening.evidence.lot import share_priors

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ShareBelief:
    """Sum of weight[i] Beta(a[i], b[i]); arrays of one length, weights sum to 1."""

    weight: Floats
    a: Floats
    b: Floats

    @property
    def mean(self) -> float:
        """Expected bad share."""
        return float((self.weight * self.a / (self.a + self.b)).sum())

    def chance_below(self, share: float) -> float:
        """Chance that the bad share is at most `share`."""
        return float((self.weight * betainc(self.a, self.b, share)).sum())

    def quantile(self, chance: float) -> float:
        """The bad share that is not exceeded with this chance."""
        if chance <= self.chance_below(0.0):
            return 0.0
        return float(brentq(lambda share: self.chance_below(share) - chance, 0.0, 1.0, xtol=1e-12))

    def counts(self, n: int) -> Floats:
        """Chance of 0, 1, ... n bad parts among n further parts (beta-binomial); shape (n + 1,)."""
        k = np.arange(n + 1)[:, None]
        ways = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
        ln = ways + betaln(self.a + k, self.b + n - k) - betaln(self.a, self.b)
        return np.asarray(np.exp(ln) @ self.weight)

    def after(self, found: int, tested: int, readings: ReadingsPower = PERFECT) -> ShareBelief:
        """The belief after `tested` parts were read and `found` of them counted against the lot (exact).

        With imperfect readings a part that counts against the lot may be good and one that does not may be bad; the
        likelihood is expanded in the number of truly bad ones, which leaves a mixture of betas again.
        """
        ln_truly = _ln_truly_bad(found, tested, readings)
        t = np.flatnonzero(np.isfinite(ln_truly))[:, None]
        a, b = self.a + t, self.b + tested - t
        with np.errstate(divide="ignore"):
            ln = ln_truly[t] + np.log(self.weight) + betaln(a, b) - betaln(self.a, self.b)
        weight = np.exp(ln - ln.max())
        kept = weight > 1e-15
        return ShareBelief(weight[kept] / weight[kept].sum(), a[kept], b[kept])

    def nodes(self, count: int) -> tuple[Floats, Floats]:
        """Shares and weights that integrate polynomials up to degree 2 count - 1 exactly (Gauss-Jacobi)."""
        shares, weights = [], []
        for w, a, b in zip(self.weight, self.a, self.b, strict=True):
            with np.errstate(invalid="ignore", divide="ignore"):  # scipy divides 0 by 0 where a + b = 1, then drops it
                x, v = roots_jacobi(count, b - 1.0, a - 1.0)
            shares.append((x + 1.0) / 2.0)
            weights.append(w * v / v.sum())
        return np.concatenate(shares), np.concatenate(weights)


def _ln_truly_bad(found: int, tested: int, readings: ReadingsPower) -> Floats:
    """ln of the coefficients of share^t (1 - share)^(tested - t) in the likelihood; shape (tested + 1,).

    In logarithms throughout: of thousands of parts the coefficients that count are far below the largest one.
    """
    against = _ln_expanded(found, readings.against_if_bad, readings.against_if_good)
    passed = _ln_expanded(tested - found, 1.0 - readings.against_if_bad, 1.0 - readings.against_if_good)
    few, many = sorted((against, passed), key=lambda terms: terms.size)
    out = np.full(tested + 1, -np.inf)
    for i in np.flatnonzero(np.isfinite(few)):
        place = out[i : i + many.size]
        np.logaddexp(place, few[i] + many, out=place)
    return out


def _ln_expanded(n: int, if_bad: float, if_good: float) -> Floats:
    """ln of the binomial terms of (share if_bad + (1 - share) if_good)^n; shape (n + 1,)."""
    i = np.arange(n + 1)
    ways = gammaln(n + 1) - gammaln(i + 1) - gammaln(n - i + 1)
    return np.asarray(ways + xlogy(i, if_bad) + xlogy(n - i, if_good))


def clean_or_bad(prior_share: float) -> ShareBelief:
    """The belief before a lot is read, as screening holds it: U-shaped, lots are clean or bad.

    `prior_share` is its mean, between 0 and 1. One component for lots whose main population is the marked type, one
    for lots where it is not (assumption, see `partscreen.screening.evidence.lot`).
    """
    bad_lot, good, rest = share_priors(prior_share)
    weight = np.array([1.0 - bad_lot, bad_lot])
    return ShareBelief(weight, np.array([good.a, rest.b]), np.array([good.b, rest.a]))
