"""All lots weighed together: the posteriors of suppliers, their types, and their order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from partscreen.lots.trust_model import (
    Grids,
    Groups,
    PairTerms,
    Population,
    gathered,
    pair_terms,
    population,
    supplier_given_nodes,
    supplier_posterior,
    supplier_terms,
    through_types,
)

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Fitted:
    """Suppliers weighed. pairs, of_pairs, whole, suppliers: of `trust_model`; posterior (n_suppliers, n_means)."""

    of: Grids
    groups: Groups
    pairs: PairTerms
    of_pairs: Floats
    whole: Floats
    suppliers: Floats
    people: Population
    posterior: Floats

    @property
    def expected(self) -> Floats:
        """Expected mean share of each supplier."""
        return np.asarray(self.posterior @ self.of.means.middle)

    def ends(self, chance: float = 0.95) -> tuple[Floats, Floats]:
        """Ends of the interval that holds this chance, as much beyond either end."""
        return self.of.means.ends(self.posterior, chance)


def fit_suppliers(of: Grids, ln_lots: Floats, groups: Groups) -> Fitted:
    """Weigh all lots together.

    Parameters
    ----------
    of : Grids
    ln_lots : (n_lots, n_shares)
        Ln likelihood of each lot at `of.shares.middle`, up to a constant by lot.
    groups : Groups
    """
    pairs = pair_terms(of, ln_lots, groups)
    of_pairs = through_types(of, pairs)
    whole = gathered(of_pairs, groups)
    suppliers = supplier_terms(whole)
    people = population(of, suppliers)
    return Fitted(of, groups, pairs, of_pairs, whole, suppliers, people, supplier_posterior(suppliers, people))


def population_share(fit: Fitted) -> tuple[float, float, float]:
    """Mean share over all suppliers: expected value, 2.5 % and 97.5 % points over the nodes."""
    order = np.argsort(fit.people.mean)
    mean, total = fit.people.mean[order], np.cumsum(fit.people.weight[order])
    low, high = (float(mean[min(int(np.searchsorted(total, q)), mean.size - 1)]) for q in (0.025, 0.975))
    return float(fit.people.weight @ fit.people.mean), low, high


def smaller(fit: Fitted, first: Ints, second: Ints) -> Floats:
    """P(share of the first < share of the second), pair by pair; within a cell either is as likely.

    Suppliers are independent of each other given the population, which is integrated out.
    """
    used = np.unique(np.concatenate((first, second)))
    place = np.searchsorted(used, first), np.searchsorted(used, second)
    out = np.zeros(first.size)
    for begin in range(0, fit.people.weight.size, 16):
        nodes = slice(begin, begin + 16)
        some = Population(*(getattr(fit.people, name)[nodes] for name in Population.__slots__))
        mass, _ = supplier_given_nodes(fit.suppliers[used], some)
        at_most = np.cumsum(mass, axis=-1) - mass / 2
        out += np.einsum("pnu,pnu,n->p", at_most[place[0]], mass[place[1]], some.weight)
    return out


def next_lot_above(fit: Fitted, tolerable: float) -> Floats:
    """P(the next lot, of a type not bought there before, has a share above `tolerable`); (n_suppliers,).

    The supplier's style is taken as its lots say, the population's nodes as all suppliers say.
    """
    of = fit.of
    above = of.shares.chance_above(of.lot_prior, tolerable)  # (component, means v)
    w = np.array(of.assumed.spread_chances)
    by_style = (w[:, None, None] * above[:1] + (1.0 - w)[:, None, None] * above[1:]).reshape(-1, of.means.size)
    given_u = np.einsum("sv,cuv->csu", by_style, of.type_prior)
    joint = state_posterior(fit, np.arange(fit.groups.n_suppliers))
    return np.asarray(np.einsum("jcsu,csu->j", joint, given_u))


def state_posterior(fit: Fitted, suppliers: Ints) -> Floats:
    """P(c, style, u | everything) of some suppliers; (n, n_c, n_styles, n_means), sums to 1 for each."""
    mine = fit.whole[suppliers]
    joint = np.exp(mine - mine.max(axis=(1, 2, 3), keepdims=True)) * outside(fit, suppliers)[:, :, None]
    return np.asarray(joint / joint.sum(axis=(1, 2, 3), keepdims=True))


def outside(fit: Fitted, suppliers: Ints) -> Floats:
    """What everything but the supplier's own lots says of its u and c, up to a factor; (n, n_c, n_means)."""
    people = fit.people
    top = fit.suppliers[suppliers].max(axis=(1, 2), keepdims=True)
    heights = np.exp(fit.suppliers[suppliers] - top)
    out = np.zeros_like(heights)
    for c in range(heights.shape[1]):
        mine = people.type_spread == c
        if mine.any():
            explained = heights[:, c] @ people.prior[mine].T
            out[:, c] = (people.weight[mine] / np.maximum(explained, 1e-300)) @ people.prior[mine]
    return np.asarray(out)


@dataclass(frozen=True, slots=True)
class Trial:
    """Further lots tried on one pair of each supplier. own (n, n_styles, n_means): terms of that pair; rest (n, n_c,
    n_styles, n_means): of the supplier's other pairs. explained, expected (n, n_nodes): ln P(lots | node) and the
    expected share given the node, as things are."""

    of: Grids
    people: Population
    own: Floats
    rest: Floats
    explained: Floats
    expected: Floats

    def after(self, added: Floats, rows: Ints) -> tuple[Floats, Floats]:
        """What follows when `added` (n_rows, n_styles, n_means) comes to some suppliers, each on its own.

        Returns
        -------
        mass (n_rows, n_means) of u, nodes (n_rows, n_nodes): weights of the population's nodes, which the new lots
        move as well
        """
        mine = self.rest[rows] + through_types(self.of, PairTerms(self.own[rows] + added))
        heights, explained = _explained(logsumexp(mine, axis=2), self.people)
        ln = np.log(self.people.weight) + explained - self.explained[rows]
        nodes = np.exp(ln - ln.max(axis=1, keepdims=True))
        nodes /= nodes.sum(axis=1, keepdims=True)
        # Given a node the mass is its heights over its total; the top of each supplier cancels.
        share = nodes / np.exp(explained - explained.max(axis=1, keepdims=True))
        mass = np.zeros((rows.size, self.of.means.size))
        for c in range(heights.shape[1]):
            of_c = self.people.type_spread == c
            mass += heights[:, c] * (share[:, of_c] @ self.people.prior[of_c])
        return mass / mass.sum(axis=1, keepdims=True), nodes


def _explained(suppliers: Floats, people: Population) -> tuple[Floats, Floats]:
    """Heights of the terms (n, n_c, n_means), largest 1, and ln P(lots | node) (n, n_nodes)."""
    top = suppliers.max(axis=(1, 2), keepdims=True)
    heights = np.exp(suppliers - top)
    out = np.zeros((suppliers.shape[0], people.weight.size))
    for c in range(heights.shape[1]):
        of_c = people.type_spread == c
        out[:, of_c] = heights[:, c] @ people.prior[of_c].T
    return heights, np.log(np.maximum(out, 1e-300)) + top[:, :, 0]


def trial(fit: Fitted, pair: Ints) -> Trial:
    """Prepare to try lots on `pair` (n_suppliers,), one of each supplier."""
    people, middle = fit.people, fit.of.means.middle
    heights, explained = _explained(logsumexp(fit.whole, axis=2), people)
    expected = np.zeros_like(explained)
    total = np.zeros_like(explained)
    for c in range(heights.shape[1]):
        of_c = people.type_spread == c
        expected[:, of_c] = (heights[:, c] * middle) @ people.prior[of_c].T
        total[:, of_c] = heights[:, c] @ people.prior[of_c].T
    return Trial(fit.of, people, fit.pairs.ln[pair], fit.whole - fit.of_pairs[pair], explained, expected / total)
