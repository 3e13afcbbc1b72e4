"""From fitted modes of a lot to evidence and probabilities of its parts, each weighed against the rest of its lot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import logsumexp
from scipy.stats import beta

from partscreen.screening.evidence.hypotheses import TYPES_WEIGHT, Family, families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import ORDER, Linearised
from partscreen.screening.evidence.lot import MARKED_SHARE, Fitted, Share
from partscreen.screening.evidence.quadratic import Quadratic, inverse, ln_sum
from partscreen.screening.evidence.weigh import cumulative_log_likelihood, factor

Floats = npt.NDArray[np.float64]
MARKED = "as marked"


@dataclass(frozen=True, slots=True)
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

    @property
    def probability_unfit(self) -> Floats:
        """Probability of all alternatives, shape (n,)."""
        return np.asarray(1.0 - self.probability[:, 0])

    @property
    def probability_of_substitution(self) -> Floats:
        """Probability of another die or another type, shape (n,)."""
        rows = [i for i, kind in enumerate(self.kinds) if kind in ("die", "type")]
        return np.asarray(self.probability[:, rows].sum(axis=1))

    @property
    def main_unfit(self) -> float:
        """Probability that the lot's main population is not the marked type."""
        return sum(p for _, kind, p in self.modes if kind != "marked")


def combine(
    readings: Linearised,
    known: Knowledge,
    fitted: list[Fitted],
    main: Quadratic | None,
    good: Share,
    bad: Share,
) -> Weighed:
    """Weigh every part in every mode against the rest of the lot, and add the modes up by their probabilities.

    `main`: the parts' own say in the lot's centre, to be left out in turn; None where the lot is so large that one
    part's say is nil.
    """
    groups = families(known.within, known.device_between)
    names, kinds = _labels(groups, known)
    place = {name: i for i, name in enumerate(names)}
    n = readings.point.shape[0]
    shape = (n, len(names), len(ORDER) + 1)
    total = np.full(shape, -np.inf)
    absolute = _absolute(readings, known)
    ln_mode = np.array([f.ln_likelihood for f in fitted])
    probability = np.exp(ln_mode - logsumexp(ln_mode))
    for one in fitted:
        centre, covariance = without_each(one, main, n)
        total = np.logaddexp(
            total,
            _mode_terms(readings, one, centre, covariance, groups, absolute, place, shape, known, good, bad),
        )
    ln_bad = ln_sum(total[:, 1:])
    against = ln_bad - total[:, 0]
    steps = np.diff(against, axis=1)
    posterior = np.exp(total[:, :, -1] - ln_sum(total[:, :, -1])[:, None])
    marked = next(f for f in fitted if f.mode.kind == "marked")
    centre, covariance = without_each(marked, main, n)
    if probability[fitted.index(marked)] < 0.5:  # the lot is not the type: only the reference says where the type lies
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


def without_each(one: Fitted, main: Quadratic | None, n: int) -> tuple[Floats, Floats]:
    """The lot's centre and its covariance with each part left out in turn: (n, q), (n, q, q)."""
    if main is None:
        covariance = inverse(one.precision)
        return np.broadcast_to(one.centre, (n, one.centre.size)), np.broadcast_to(covariance, (n, *covariance.shape))
    precision = one.precision - one.weight[:, None, None] * main.m
    pull = one.precision @ (one.centre - main.origin) - one.weight[:, None] * main.u
    covariance = inverse(precision)
    return main.origin + np.einsum("nqr,nr->nq", covariance, pull), covariance


def _labels(groups: tuple[Family, ...], known: Knowledge) -> tuple[tuple[str, ...], tuple[str, ...]]:
    names, kinds = [MARKED], ["marked"]
    for group in groups:
        names += group.names
        kinds += [group.kind] * len(group.names)
    names += [f"die of {o.name}" for o in known.others]
    kinds += ["type"] * len(known.others)
    return tuple(names), tuple(kinds)


def _absolute(readings: Linearised, known: Knowledge) -> Floats:
    """Cumulative ln p as marked by the reference alone, then under each other type: (n, 1 + n_types, len(ORDER))."""
    parts = [(known.centre, known.lot_covariance + known.within)]
    parts += [(o.mean, o.covariance + known.session) for o in known.others]
    columns = [cumulative_log_likelihood(readings, mean[None], factor(readings, cov)) for mean, cov in parts]
    return np.concatenate(columns, axis=1)


def _mode_terms(
    readings: Linearised, one: Fitted, centre: Floats, covariance: Floats, groups: tuple[Family, ...], absolute: Floats,
    place: dict[str, int], shape: tuple[int, ...], known: Knowledge, good: Share, bad: Share,
) -> Floats:  # fmt: skip
    """ln of (mode's probability from the rest of the lot, state's prior, readings so far), by hypothesis."""
    n = shape[0]
    is_marked = one.mode.kind == "marked"
    prior = good if is_marked else bad
    own = 1.0 - one.weight if one.weight.size == n else np.zeros(n)
    rest = (prior.a + (1.0 - one.weight).sum() - own) / (prior.a + prior.b + one.weight.size - 1.0)
    rest = np.clip(rest, 1e-12, 1.0 - 1e-12)[:, None]
    out = np.full(shape, -np.inf)

    def add(index: int, ln_prior: Floats, cumulative: Floats) -> None:
        whole = np.concatenate((np.zeros((n, 1)), cumulative), axis=1) + ln_prior
        out[:, index] = np.logaddexp(out[:, index], whole)

    lower = factor(readings, known.within + covariance)
    add(place[one.mode.name], np.log1p(-rest), cumulative_log_likelihood(readings, centre[:, None, :], lower)[:, 0])
    ln_rest = np.log(rest)
    if not is_marked:
        add(0, ln_rest + np.log(MARKED_SHARE), absolute[:, 0])
        ln_rest = ln_rest + np.log1p(-MARKED_SHARE)
    for group in groups:
        lower = factor(readings, group.spread + covariance)
        cumulative = cumulative_log_likelihood(readings, centre[:, None, :] + group.shifts, lower)
        for h, name in enumerate(group.names):
            add(place[name], ln_rest + group.ln_weights[h], cumulative[:, h])
    for t, other in enumerate(known.others):
        add(place[f"die of {other.name}"], ln_rest + np.log(TYPES_WEIGHT / len(known.others)), absolute[:, 1 + t])
    predictive = ln_sum(out[:, :, -1])  # p(this part | rest of the lot, mode)
    return np.asarray(out + (one.ln_likelihood - predictive)[:, None, None])


def _share(fitted: list[Fitted], probability: Floats, good: Share, bad: Share) -> tuple[float, float, float]:
    """Expected share of unfit parts of the bag the lot was drawn from, with its 95 % interval: Betas, modes mixed."""
    betas = []
    for one in fitted:
        rest = float((1.0 - one.weight).sum())
        belongs = float(one.weight.sum())
        if one.mode.kind == "marked":
            betas.append(beta(good.a + rest, good.b + belongs))
        else:
            betas.append(beta(bad.b + belongs + (1.0 - MARKED_SHARE) * rest, bad.a + MARKED_SHARE * rest))

    def cdf(x: float) -> float:
        return float(sum(p * b.cdf(x) for p, b in zip(probability, betas, strict=True)))

    mean = float(sum(p * b.mean() for p, b in zip(probability, betas, strict=True)))
    low, high = (float(brentq(lambda x, q=q: cdf(x) - q, 0.0, 1.0)) if cdf(0.0) < q else 0.0 for q in (0.025, 0.975))
    return mean, low, high
