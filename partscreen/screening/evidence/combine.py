"""From fitted modes of a lot to evidence and probabilities of its parts, each weighed against the rest of its lot."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, logsumexp

from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import ORDER, Linearised
from partscreen.screening.evidence.lot import MARKED_SHARE, Fitted, Share
from partscreen.screening.evidence.mode_likelihoods import modes_alike, without_each
from partscreen.screening.evidence.mode_terms import labels, weigh_rows
from partscreen.screening.evidence.quadratic import ln_sum
from partscreen.screening.evidence.weigh import CHUNK

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Weighed:
    """A lot of n parts, weighed.

    evidence (n,): ln P(readings, substituted or unfit) - ln P(readings, as marked), given the rest of the lot.
    by_reading (n, len(ORDER)): terms that sum to it. names, kinds, probability (n, h): hypotheses, "as marked" first.
    centre (n, q), centre_covariance (n, q, q): the lot's centre as marked, seen from the rest of the lot.
    modes: (name, kind, probability) of what the main population is. share: expected share of unfit parts, 2.5 % and
    97.5 % points.
    """

    evidence: Floats
    by_reading: Floats
    names: tuple[str, ...]
    kinds: tuple[str, ...]
    probability: Floats
    centre: Floats
    centre_covariance: Floats
    modes: tuple[tuple[str, str, float], ...]
    share: tuple[float, float, float]

    def pick(self, rows: npt.NDArray[np.int64]) -> Weighed:
        """The same for some of the parts."""
        return replace(
            self,
            evidence=self.evidence[rows],
            by_reading=self.by_reading[rows],
            probability=self.probability[rows],
            centre=self.centre[rows],
            centre_covariance=self.centre_covariance[rows],
        )

    @cached_property
    def probability_unfit(self) -> Floats:
        """Probability of all alternatives, shape (n,)."""
        return np.asarray(1.0 - self.probability[:, 0])

    @cached_property
    def probability_of_substitution(self) -> Floats:
        """Probability of another die or another type, shape (n,)."""
        rows = [i for i, kind in enumerate(self.kinds) if kind in ("die", "type")]
        return np.asarray(self.probability[:, rows].sum(axis=1))

    @property
    def main_unfit(self) -> float:
        """Probability that the lot's main population is not the marked type."""
        return math.fsum(p for _, kind, p in self.modes if kind != "marked")


def combine(
    readings: Linearised,
    known: Knowledge,
    fitted: list[Fitted],
    good: Share,
    bad: Share,
    *,
    every: bool,
) -> Weighed:
    """Weigh every part in every mode against the rest of the lot, and add the modes up by their probabilities.

    `every`: each part's own say in the lot's centre is left out in turn; False where the lot is so large that one
    part's say is nil (modes are then fitted to some of the parts).
    """
    groups = families(known.within, known.device_between)
    names, kinds = labels(groups, known)
    n = readings.point.shape[0]
    ln_mode = np.array([f.ln_likelihood for f in fitted])
    probability = np.exp(ln_mode - logsumexp(ln_mode))
    against, ln_posterior = np.zeros((n, len(ORDER) + 1)), np.zeros((n, len(names)))
    alike = modes_alike(readings, known, fitted, every=every)
    for begin in range(0, n, CHUNK):
        rows = np.arange(begin, min(begin + CHUNK, n))
        found = weigh_rows(readings, rows, known, groups, fitted, alike, good, bad, every=every)
        against[rows], ln_posterior[rows] = found.bad - found.marked, found.final
    steps = np.diff(against, axis=1)
    posterior = np.exp(ln_posterior - ln_sum(ln_posterior)[:, None])
    of_the_type = [i for i, f in enumerate(fitted) if f.mode.kind == "marked"]
    marked = fitted[max(of_the_type, key=lambda i: ln_mode[i])]
    centre, covariance = without_each(marked, n, every=every)
    if probability[of_the_type].sum() < 0.5:  # the lot is not the type: only the reference says where the type lies
        centre = np.broadcast_to(known.centre, centre.shape)
        covariance = np.broadcast_to(known.lot_covariance, covariance.shape)
    modes = tuple((f.mode.name, f.mode.kind, float(p)) for f, p in zip(fitted, probability, strict=True))
    return Weighed(
        steps.sum(axis=1),
        steps,
        names,
        kinds,
        posterior,
        centre,
        covariance,
        modes,
        _share(fitted, probability, good, bad),
    )


def _share(fitted: list[Fitted], probability: Floats, good: Share, bad: Share) -> tuple[float, float, float]:
    """Expected share of unfit parts of the bag the lot was drawn from, with its 95 % interval: Betas, modes mixed."""
    betas = []
    for one in fitted:
        rest = float((1.0 - one.weight).sum())
        belongs = float(one.weight.sum())
        if one.mode.kind == "marked":
            betas.append((good.a + rest, good.b + belongs))
        else:
            betas.append((bad.b + belongs + (1.0 - MARKED_SHARE) * rest, bad.a + MARKED_SHARE * rest))

    a, b = np.array(betas).T
    mean = float(probability @ (a / (a + b)))
    return mean, _quantile(probability, a, b, 0.025), _quantile(probability, a, b, 0.975)


def _quantile(probability: Floats, a: Floats, b: Floats, level: float) -> float:
    """Of a mixture of Betas, by halving: scipy.optimize alone would cost a fifth of a first answer's time to load."""
    low, high = 0.0, 1.0
    for _ in range(60):  # to the last digit a float has below 1
        middle = 0.5 * (low + high)
        if float(probability @ betainc(a, b, middle)) < level:
            low = middle
        else:
            high = middle
    return high
