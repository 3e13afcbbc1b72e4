"""One lot: where its main population lies, and which parts do not belong to it.

The parts of a lot share one centre m. A mode says what the main population is: the marked type, another die (an area
ratio), another type, or something unlike. In each mode m has a Gaussian prior; parts outside the main population are
explained by the families of `hypotheses`. The mode's centre is found by expectation maximisation from several starts;
modes are then weighed by their likelihood, so that a wholly substituted lot is one explanation among others, paid for
once and not part by part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc

from partscreen.screening.evidence.hypotheses import TYPES_WEIGHT, Family
from partscreen.screening.evidence.quadratic import Quadratic, inverse, ln_sum

Floats = npt.NDArray[np.float64]

CONCENTRATION = 1.0
"""k of the prior of a lot's bad share s, Beta(k s, k (1 - s)): lots are clean or bad (assumption)."""

MARKED_SHARE = 0.5
"""In a lot whose main population is not the marked type: weight of "as marked" among the rest (assumption)."""

MOST_FOR_STARTS = 40
MOST_ITERATIONS = 40


@dataclass(frozen=True, slots=True)
class Mode:
    """What the main population is: prior of its centre, and natural log of the mode's prior probability."""

    name: str
    kind: str  # "marked", "die", "type" or "unfit"
    mean: Floats
    covariance: Floats
    ln_prior: float


@dataclass(frozen=True, slots=True)
class Share:
    """Beta prior of the share of parts outside the main population."""

    a: float
    b: float


def share_priors(prior_share: float) -> tuple[float, Share, Share]:
    """Probability that the main population is bad, and the prior of the rest's share if it is not and if it is.

    The three together keep the expected bad share of a lot at `prior_share`.
    """
    a, b = CONCENTRATION * prior_share, CONCENTRATION * (1.0 - prior_share)
    bad_lot = 1.0 - float(betainc(a, b, 0.5))
    in_good_lots = prior_share * float(betainc(a + 1.0, b, 0.5))  # E[share; share < 1/2]
    good_share = in_good_lots / (1.0 - bad_lot)
    rest = 1.0 - (prior_share - in_good_lots) / bad_lot
    return (
        bad_lot,
        Share(CONCENTRATION * good_share, CONCENTRATION * (1.0 - good_share)),
        Share(CONCENTRATION * rest, CONCENTRATION * (1.0 - rest)),
    )


@dataclass(frozen=True, slots=True)
class Fitted:
    """A mode fitted to a lot.

    centre (q,), precision (q, q) of it; weight (n,): probability of being of the main population; share: of the rest.
    ln_likelihood: of the whole lot with the centre integrated out (Laplace), the mode's prior included.
    """

    mode: Mode
    centre: Floats
    precision: Floats
    weight: Floats
    share: float
    ln_likelihood: float


def rest_log_density(
    centre: Floats, alternatives: list[tuple[Family, Quadratic]], types: Floats, marked: Floats | None
) -> Floats:
    """ln p of every part as one of the rest of a lot centred at `centre`, shape (n,).

    `types`: (n,), mixture over other library types; `marked`: (n,), as marked by the reference alone, given where the
    main population is not the type.
    """
    columns = [types + np.log(TYPES_WEIGHT)]
    for family, form in alternatives:
        columns.append(ln_sum(form.at(centre + family.shifts) + family.ln_weights))
    rest = ln_sum(np.stack(columns, axis=1))
    if marked is None:
        return np.asarray(rest)
    return np.asarray(np.logaddexp(rest + np.log(1.0 - MARKED_SHARE), marked + np.log(MARKED_SHARE)))


def fit_mode(
    mode: Mode,
    main: Quadratic,
    alternatives: list[tuple[Family, Quadratic]],
    types: Floats,
    marked: Floats | None,
    share: Share,
    starts: list[Floats] | None = None,
) -> list[Fitted]:
    """Centre, memberships and likelihood of a lot in one mode from every start, the likeliest first.

    `starts`: centres to climb from, besides that of all parts together; None: searched for.
    """
    prior_precision = inverse(mode.covariance)
    together = posterior(mode, prior_precision, main, np.ones(main.c.shape[0]))[0]
    begun = [together, *(_searched(mode, prior_precision, main, types) if starts is None else starts)]
    found = [_climb(mode, prior_precision, start, main, alternatives, types, marked, share) for start in begun]
    return sorted(found, key=lambda one: -one.ln_likelihood)


def posterior(mode: Mode, prior_precision: Floats, main: Quadratic, weight: Floats) -> tuple[Floats, Floats]:
    """Centre and its precision, given how much each part counts."""
    precision = prior_precision + np.einsum("n,nqr->qr", weight, main.m)
    pull = prior_precision @ (mode.mean - main.origin) + weight @ main.u
    return main.origin + np.linalg.solve(precision, pull), precision


def _searched(mode: Mode, prior_precision: Floats, main: Quadratic, types: Floats) -> list[Floats]:
    """The prior's centre, and the parts whose own centre explains most of the others."""
    n = main.c.shape[0]
    if n <= 2:
        return []
    chosen = np.unique(np.linspace(0, n - 1, min(n, MOST_FOR_STARTS)).astype(int))
    centres = np.stack([posterior(mode, prior_precision, main, np.eye(n)[i])[0] for i in chosen])
    d = centres - mode.mean
    score = np.logaddexp(main.at(centres) + np.log(0.75), types[:, None] + np.log(0.25)).sum(axis=0)
    score -= 0.5 * np.einsum("hq,qr,hr->h", d, prior_precision, d)
    score = np.where(np.isfinite(score), score, -np.inf)
    return [mode.mean, *centres[np.argsort(-score)[:2]]]


def _climb(
    mode: Mode,
    prior_precision: Floats,
    centre: Floats,
    main: Quadratic,
    alternatives: list[tuple[Family, Quadratic]],
    types: Floats,
    marked: Floats | None,
    share: Share,
) -> Fitted:
    n = main.c.shape[0]
    rest_share = (share.a + 0.1 * n) / (share.a + share.b + n)
    weight = np.ones(n)
    precision = prior_precision
    for _ in range(MOST_ITERATIONS):
        belongs = main.at(centre)[:, 0] + np.log1p(-rest_share)
        rest = rest_log_density(centre, alternatives, types, marked) + np.log(rest_share)
        weight = np.exp(belongs - np.logaddexp(belongs, rest))
        new_share = (share.a + (1.0 - weight).sum()) / (share.a + share.b + n)
        new_centre, precision = posterior(mode, prior_precision, main, weight)
        moved = (new_centre - centre) @ precision @ (new_centre - centre)
        settled = moved < 1e-4 and abs(new_share - rest_share) < 1e-4
        centre, rest_share = new_centre, new_share
        if settled:
            break
    belongs = main.at(centre)[:, 0] + np.log1p(-rest_share)
    rest = rest_log_density(centre, alternatives, types, marked) + np.log(rest_share)
    d = centre - mode.mean
    ln_likelihood = (
        np.logaddexp(belongs, rest).sum()
        - 0.5 * d @ prior_precision @ d
        + 0.5 * (np.linalg.slogdet(prior_precision)[1] - np.linalg.slogdet(precision)[1])
        + mode.ln_prior
    )
    return Fitted(mode, centre, precision, weight, float(rest_share), float(ln_likelihood))
