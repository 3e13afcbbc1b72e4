"""One lot: where its main population lies, and which parts do not belong to it.

The parts of a lot share one centre m. A mode says what the main population is: the marked type, another die (an area
ratio), another type, or something unlike. In each mode m has a Gaussian prior; parts outside the main population are
explained by the families of `hypotheses`. The mode's centre is found by expectation maximisation from several starts;
modes are then weighed by their likelihood, so that a wholly substituted lot is one explanation among others, paid for
once and not part by part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, betaln, expit, gammaln

from partscreen.screening.evidence.hypotheses import AREAS, OTHER_PROCESS, TYPES_WEIGHT, Family, area_name
from partscreen.screening.evidence.linear import AREA
from partscreen.screening.evidence.quadratic import Information, Quadratic, integrate, inverse, ln_sum

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CONCENTRATION = 1.0
"""k of the prior of a lot's bad share s, Beta(k s, k (1 - s)): lots are clean or bad (assumption)."""

ALIKE = 4.0
"""How alike the unfit parts of one lot are: weight, in parts, of the explanations' prior weights (assumption). Once a
few parts of a lot have dies of half the area, the next bad one has; without it a lot with alike bad parts was taken for
another type, or for a larger die whose rest is as marked."""

MARKED_SHARE = 0.5
"""In a lot whose main population is not the marked type: weight of "as marked" among the rest (assumption)."""

SAME_AREA = 0.223  # ln; areas nearer to each other than the grid's own steps are one (0.8 and 1.25 are told from 1)

MOST_FOR_STARTS = 40
MOST_ITERATIONS = 40


@dataclass(frozen=True, slots=True)
class Mode:
    """What the main population is: prior of its centre, and natural log of the mode's prior probability.

    ln_area : of its die against the marked type's, where it is of kind "die". spread : number of the spread of its
    parts in `spreads.main_spreads`.
    """

    name: str
    kind: str  # "marked", "die", "type" or "unfit"
    mean: Floats
    covariance: Floats
    ln_prior: float
    ln_area: float = 0.0
    spread: int = 0


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
    ln_others (n, f), ln_explained (f,): ln weights of the explanations of the rest, as the other parts and as
    all parts say. main: the parts' own say in the centre.
    """

    mode: Mode
    centre: Floats
    precision: Floats
    weight: Floats
    share: float
    ln_likelihood: float
    ln_others: Floats
    ln_explained: Floats
    main: Quadratic


@dataclass(frozen=True, slots=True)
class Alternatives:
    """The families of what else a part may be, and its log likelihood under each as a function of the lot's centre.

    Every hypothesis of a family is a shift of one quadratic form: c + u'd - d'Md / 2 at d + s is worked out once for
    all centres, level (n, h) and slope (n, h, q). curve (f, n, q, q): M of each family; count (f,): its hypotheses.
    """

    families: list[Family]
    forms: list[Quadratic]
    level: Floats
    slope: Floats
    curve: Floats
    count: Ints

    def at(self, centre: Floats) -> Floats:
        """ln p of every part (n, h) under every hypothesis, the lot centred at `centre` (q,)."""
        d = centre - self.forms[0].origin
        bend = 0.5 * ((self.curve @ d) @ d)
        return np.asarray(self.level + self.slope @ d - np.repeat(bend, self.count, axis=0).T)


def alternatives_of(info: Information, families: Sequence[Family]) -> Alternatives:
    """The families, parts' spreads integrated out."""
    forms = [integrate(info, family.spread) for family in families]
    levels, slopes = [], []
    for family, form in zip(families, forms, strict=True):
        bent = form.m @ family.shifts.T  # (n, q, h)
        levels.append(form.c[:, None] + form.u @ family.shifts.T - 0.5 * (bent * family.shifts.T).sum(axis=1))
        slopes.append(form.u[:, None, :] - bent.transpose(0, 2, 1))
    count = np.array([family.shifts.shape[0] for family in families], dtype=np.int64)
    level, slope = np.concatenate(levels, axis=1), np.concatenate(slopes, axis=1)
    return Alternatives(list(families), forms, level, slope, np.stack([form.m for form in forms]), count)


def rest_log_densities(
    mode: Mode, centre: Floats, alternatives: Alternatives, types: Floats, marked: Floats | None
) -> Floats:
    """ln p of every part as one of the rest of a lot centred at `centre`, by explanation, shape (n, f).

    Columns as in `prior_weights`: the hypotheses of the families, the other types together, and, where the main
    population is not the type, as marked by the reference alone and as marked by the lot's own process. `types`,
    `marked`: (n,).
    """
    columns = [alternatives.at(centre), types[:, None]]
    if marked is not None:
        columns += [marked[:, None], alternatives.forms[0].at(centre + back(mode))]
    return np.concatenate(columns, axis=1)


def back(mode: Mode) -> Floats:
    """From the centre of a lot of dies of another area to a sound part of the same process; (q,)."""
    return np.asarray(-mode.ln_area * AREA)


def prior_weights(groups: Sequence[Family], mode: Mode) -> Floats:
    """Weights of the explanations of the rest of a lot, before the lot is read; they sum to one.

    Where the main population is a die of another area, the dies that have the marked type's area again are no
    alternative to "as marked": they are it. Sound parts of the lot's own process are looked for among smaller dies
    only: a lot of the type with some small dies in it would else be as well a lot of larger dies with some sound ones,
    and those are rare (assumption).
    """
    weights = np.array([*np.exp(np.concatenate([family.ln_weights for family in groups])), TYPES_WEIGHT])
    if mode.kind == "marked":
        return np.asarray(weights / weights.sum())
    if mode.kind == "die":
        names = [name for family in groups for name in family.names]
        again = {area_name(area) for area in AREAS if abs(np.log(area) + mode.ln_area) < SAME_AREA}
        weights[:-1] *= [not again.intersection({name, name.removesuffix(OTHER_PROCESS)}) for name in names]
    weights *= (1.0 - MARKED_SHARE) / weights.sum()
    own = 0.5 * MARKED_SHARE if mode.ln_area < 0.0 else 0.0
    return np.append(weights, (MARKED_SHARE - own, own))


def themes(groups: Sequence[Family], mode: Mode) -> Ints:
    """Number of the theme of each explanation of `prior_weights`; shape (f,)."""
    names = [family.theme for family in groups for _ in family.names]
    names += ["type"] if mode.kind == "marked" else ["type", "as marked", "as marked"]
    return np.unique(names, return_inverse=True)[1].astype(np.int64)


def fit_mode(
    mode: Mode,
    main: Quadratic,
    alternatives: Alternatives,
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
    alternatives: Alternatives,
    types: Floats,
    marked: Floats | None,
    share: Share,
) -> Fitted:
    n = main.c.shape[0]
    groups = alternatives.families
    alike = _Alike(prior_weights(groups, mode), themes(groups, mode))
    rest_share = (share.a + 0.1 * n) / (share.a + share.b + n)
    explained = alike.prior
    precision = prior_precision
    for step in range(MOST_ITERATIONS + 1):
        belongs = main.at(centre)[:, 0]
        densities = rest_log_densities(mode, centre, alternatives, types, marked)
        joint = densities + _ln(explained)
        rest = ln_sum(joint)
        weight = expit(belongs - rest + np.log1p(-rest_share) - np.log(rest_share))
        members = (1.0 - weight)[:, None] * np.exp(joint - rest[:, None])
        if step == MOST_ITERATIONS:
            break
        new_share = (share.a + (1.0 - weight).sum()) / (share.a + share.b + n)
        explained = alike.learnt(members.sum(axis=0))
        new_centre, precision = posterior(mode, prior_precision, main, weight)
        moved = (new_centre - centre) @ precision @ (new_centre - centre)
        settled = moved < 1e-4 and abs(new_share - rest_share) < 1e-4
        centre, rest_share = new_centre, new_share
        if settled:
            break
    d = centre - mode.mean
    ln_likelihood = (
        _mixed(belongs, densities, weight, members, share)
        + alike.ln_likelihood(members.sum(axis=0))
        - 0.5 * d @ prior_precision @ d
        + 0.5 * (np.linalg.slogdet(prior_precision)[1] - np.linalg.slogdet(precision)[1])
        + mode.ln_prior
    )
    counts = members.sum(axis=0)
    others = _ln(alike.learnt(counts[None] - members))
    return Fitted(
        mode,
        centre,
        precision,
        weight,
        float(rest_share),
        float(ln_likelihood),
        others,
        _ln(alike.learnt(counts)),
        main,
    )


def _ln(weights: Floats) -> Floats:
    """Natural log, very low instead of minus infinity for what has no weight."""
    return np.asarray(np.log(np.maximum(weights, 1e-300)))


@dataclass(frozen=True, slots=True)
class _Alike:
    """How alike the unfit parts of a lot are: first in what is wrong with them (the theme), then in how much.

    Two steps of Dirichlet weights, both of the weight `ALIKE`. prior : (f,), sums to one; theme : (f,).
    """

    prior: Floats
    theme: Ints

    def _by_theme(self, values: Floats) -> Floats:
        """Sums by theme, last axis."""
        return np.asarray(values @ np.eye(int(self.theme.max()) + 1)[self.theme])

    def learnt(self, counts: Floats) -> Floats:
        """Weights of the explanations after `counts` parts were explained so; (f,) or (n, f)."""
        prior, by_theme = self._by_theme(self.prior), self._by_theme(counts)
        outer = (ALIKE * prior + by_theme) / (ALIKE + counts.sum(axis=-1, keepdims=True))
        inner = (ALIKE * self.prior / prior[self.theme] + counts) / (ALIKE + by_theme[..., self.theme])
        return np.asarray(np.where(self.prior > 0.0, outer[..., self.theme] * inner, 0.0))

    def ln_likelihood(self, counts: Floats) -> float:
        """ln p of the counts, weights integrated out."""
        prior, by_theme = self._by_theme(self.prior), self._by_theme(counts)
        some = self.prior > 0.0
        inner = ALIKE * (self.prior / prior[self.theme])[some]
        outer = ALIKE * prior
        out = gammaln(ALIKE) - gammaln(ALIKE + counts.sum())
        out += (gammaln(outer + by_theme) - gammaln(outer)).sum()
        out += (gammaln(ALIKE) - gammaln(ALIKE + by_theme)).sum()
        out += (gammaln(inner + counts[some]) - gammaln(inner)).sum()
        return float(out)


def _mixed(belongs: Floats, rest: Floats, weight: Floats, members: Floats, share: Share) -> float:
    """ln p of the parts given what explains each, their share integrated out (lower bound at the memberships found)."""
    n, bad = weight.size, float((1.0 - weight).sum())
    all_members = np.concatenate((weight[:, None], members), axis=1)
    terms = np.concatenate((belongs[:, None], rest), axis=1)
    counted = all_members > 0.0
    likely = all_members[counted] * (terms[counted] - np.log(all_members[counted]))
    beta_term = betaln(share.a + bad, share.b + n - bad) - betaln(share.a, share.b)
    return float(likely.sum() + beta_term)
